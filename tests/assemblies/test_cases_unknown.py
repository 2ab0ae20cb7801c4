"""What is not known never turns a bad quantity into a good one.

No figure is taken from a book here: each unknown answer is compared with every answer that the
survey's own code list has (COMPUTED), by which side of the rules' limits the quantity is on.
"""

import polars as pl
import pytest
from rule_homes import BASES, CONTRACT, HELD, POLICY, Answer, Home, judge

HOMES = {**BASES, **{name: home for name, (home, _) in HELD.items()}}
LIMITED = {name: q.limits for name, q in POLICY.quantities.items() if q.limits}
# Codes that say too little to draw a layer: the quantity is then missing, not on a side.
# A pitched roof of a home has no deck of concrete, metal or woodwool; a flat one needs a deck.
IMPLAUSIBLE = {"pitched": ("concrete", "metal", "woodwool"), "low_slope": ("battens_only",)}
VAGUE = ("unknown", "other", "mixed", "combined")
NUMBERS = {
    "ceiling_insulation_mm": (25.0, 60.0, 100.0, 150.0, 300.0),
    "wall_thickness_mm": (215.0, 228.0, 330.0),
    "cavity_width_mm": (50.0, 60.0, 100.0),
}
ROOFS = ("rafter", "rafter_open_foam_warm", "rafter_closed_foam", "over_deck", "loft")
WALLS = ("cavity", "inside_wall", "outside_wall", "frame_wall")
FIELDS = [
    *(
        (home, name)
        for home in ROOFS
        for name in ("roof_covering", "roof_underlay", "roof_deck", "interior_vapour_control")
        # Foam that is proposed without an inner layer comes without one: specified, not unknown.
        if not (name == "interior_vapour_control" and "foam" in home)
    ),
    *((home, "ceiling_insulation_mm") for home in ("rafter", "loft")),
    *(
        (home, name)
        for home in WALLS
        for name in ("wall_finish_external", "wall_insulation_existing")
    ),
    *((home, "wall_thickness_mm") for home in ("inside_wall", "outside_wall")),
    *((home, "cavity_width_mm") for home in ("cavity", "inside_cavity_wall")),
]


def answers_of(field: str, home: Home) -> list[Answer]:
    """Every answer of a field that says something and that such a home can have."""
    if field in NUMBERS:
        return list(NUMBERS[field])
    codes = CONTRACT.definitions(CONTRACT.fields[field])
    form = str(home.answers("roof_form"))
    never = [c for kind, decks in IMPLAUSIBLE.items() if form.startswith(kind) for c in decks]
    return [code.code for code in codes if code.code not in (*VAGUE, *never)]


def quantities(homes: list[Home]) -> pl.DataFrame:
    """Quantities of each home's own measure, in the order given."""
    judged = judge(homes).whole.quantities
    keys = pl.DataFrame(
        {
            "property_id": [f"H{n:06d}" for n in range(len(homes))],
            "measure_code": [home.measure for home in homes],
        }
    )
    return keys.join(judged, on=list(keys.columns), how="left", maintain_order="left")


def sides(value: float | None, limits: tuple[str, ...]) -> tuple[bool, ...] | None:
    """On which side of each limit a value lies, and whether it is on it."""
    if value is None:
        return None
    numbers = [POLICY.number(name) for name in limits]
    return tuple(test for limit in numbers for test in (value >= limit, value > limit))


@pytest.mark.parametrize("place", ["mild", "cold", "warm"])
def test_an_unknown_answer_has_the_side_of_every_answer_or_none(place: str) -> None:
    homes: list[Home] = []
    spans: list[tuple[str, str, int, int]] = []
    for name, field in FIELDS:
        base = HOMES[name].but(place=place)
        told = [base.but(**{field: answer}) for answer in answers_of(field, base)]
        spans.append((name, field, len(homes), len(told)))
        homes += [base.without(field), *told]
    table = quantities(homes)
    wrong, decided = [], 0
    for name, field, start, count in spans:
        for quantity, limits in LIMITED.items():
            blank, *known = table[quantity][start : start + count + 1].to_list()
            side = sides(blank, limits)
            decided += side is not None
            others = {sides(value, limits) for value in known} - {None}
            if side is not None and not others <= {side}:
                wrong.append((name, field, quantity, blank, known))
    assert not wrong, "\n".join(map(str, wrong))
    assert decided > 50, "too few are left to say anything"
