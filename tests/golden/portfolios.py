"""Generated portfolios: homes that several surveyors visited, written as survey files.

Homes are those of the rule tests with a few answers changed, so that many stay safe. They stand in
real places, some have a second part, most are visited again: by other people, on other forms, on
the same day or years later, with the same answers, others, none, or words that nobody can read.
The same seed gives the same portfolio.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date, timedelta
from random import Random
from typing import Any

from rule_changes import WORSE
from rule_generated import NUMBERS, RARE
from rule_homes import AS_OF, BASES, CONTRACT, HELD, Home

Row = Mapping[
    str, Any
]  # field -> what the surveyor typed: a code, a list of codes, a number, a date
KEY = ("property_id", "building_part", "survey_id")


@dataclass(frozen=True)
class Look:
    """How a file is laid out, which must not matter."""

    suffix: str = ".xlsx"
    titles: int = 0  # lines above the headings
    notes: int = 0  # note rows and blank lines among the homes
    spare: bool = False  # empty columns, and where the form has them a column of remarks
    order: int | None = None  # columns shuffled by this seed


@dataclass(frozen=True)
class Book:
    """One survey file: who made it, what it is called and the rows that stand in it."""

    team: str
    stem: str
    rows: tuple[Row, ...]
    look: Look = Look()

    def but(self, **look: Any) -> "Book":
        return replace(self, look=replace(self.look, **look))


Portfolio = Sequence[Book]

# Mild and sheltered, wet and exposed, on neither side of a line; a dry and a cold one overseas.
_SPOTS: tuple[dict[str, Any], ...] = (
    {"latitude": 51.5, "longitude": -0.6},
    {"latitude": 52.2, "longitude": 0.4},
    {"latitude": 50.8, "longitude": -3.6},
    {"latitude": 57.4, "longitude": -5.6},
    {"postal_code": "EX4 3SB"},
    {"latitude": 33.45, "longitude": -112.07, "country_code": "US"},
    {"latitude": 44.98, "longitude": -93.27, "country_code": "US"},
    {},
)
_WEIGHTS = (6, 5, 3, 2, 2, 3, 1, 1)
_DAYS = tuple(AS_OF - timedelta(days=n) for n in (20, 60, 140, 258, 400, 800))
# Who goes on first visits, and who on later ones.
_FIRST, _LATER = ("field", "field", "form", "photos"), ("field", "form", "photos", "told", "desk")
_ODD = ("no access", "not seen", "??", "TBC", "n/a", "-")
_KEPT = ("survey_method", "survey_reach_inside", "survey_reach_outside")
_LEFT_OUT = (*_KEPT, "measure_code", "measure_material", "measure_thickness_mm", "place")
_READ = sorted({name for home in BASES.values() for name in home.facts} - {*_LEFT_OUT})
_CONDITIONS = sorted(WORSE)


def _another(dice: Random, name: str) -> Any:
    """Another answer to a field, or none."""
    asked = CONTRACT.fields[name]
    if dice.random() < 0.3:
        return None
    if asked.type == "code":
        return dice.choice(asked.known_codes)
    if asked.type == "codes":
        return dice.sample(asked.known_codes, dice.choice((1, 1, 2)))
    if asked.type == "date":
        return dice.choice(_DAYS)
    return dice.choice(NUMBERS[name]) if name in NUMBERS else None


def _changed(dice: Random, facts: Row, most: int) -> dict[str, Any]:
    names = [n for n in _READ if n not in RARE or dice.random() < 0.2]
    # Half of what changes is a condition or a reading: that is where a home gets held.
    changes = [dice.choice((names, _CONDITIONS)[dice.random() < 0.5]) for _ in range(most)]
    changes = changes[: dice.randint(0, most)]
    return {**facts, **{name: _another(dice, name) for name in changes}}


def _typed(dice: Random, facts: Row) -> dict[str, Any]:
    """The answers as somebody types them: some unreadable, some marked, lists in any order."""
    typed: dict[str, Any] = {}
    for name, value in facts.items():
        asked = CONTRACT.fields[name]
        luck = dice.random()
        typed[name] = value
        if name not in _LEFT_OUT and asked.type != "text":
            if luck < 0.006:
                typed[name] = dice.choice(_ODD)
            elif luck < 0.012 and asked.type == "code" and value:
                typed[name] = f"{value} (assumed)"
        if isinstance(value, list):
            typed[name] = dice.sample(value, len(value))
    return typed


@dataclass
class _Round:
    """The files under way, by team and number."""

    dice: Random
    files: dict[tuple[str, int], list[Row]]

    def add(self, team: str, row: Row) -> None:
        number = self.dice.randint(1, 2 if team in ("field", "form") else 1)
        self.files.setdefault((team, number), []).append(row)


def _visits(dice: Random, home: Home, ids: Row, made: _Round) -> None:
    """All visits to one home-part: the first proposes the measure, the others may again."""
    again = dice.choice((0, 0, 1, 1, 2, 2))
    for number in range(again + 1):
        facts = _changed(dice, home.facts, 1 if number else 2)
        team = dice.choice(_LATER if number else _FIRST)
        if number:
            facts = {k: v for k, v in facts.items() if k in _KEPT or dice.random() < 0.6}
        day = dice.choice(_DAYS)
        proposed = {
            "measure_code": home.measure if dice.random() < 0.9 else f"{home.measure}; air_sealing",
            "measure_material": home.material,
            "measure_thickness_mm": home.thickness_mm,
        }
        row = {
            **_typed(dice, facts),
            **ids,
            "survey_id": f"V{dice.randint(1, 9)}" if dice.random() < 0.5 else None,
            "survey_date": day if dice.random() < 0.97 else None,
            "mc_date": day if facts.get("timber_mc_pct") else None,
            "survey_method": "desk" if team == "desk" else "internal_void",
            "surveyor_id": f"S-{dice.randint(1, 5)}",
            **(proposed if not number or dice.random() < 0.3 else {}),
        }
        if number and dice.random() < 0.15:
            row["building_id"] = f"B{dice.randint(1, 9)}"
        made.add(team, row)
        if dice.random() < 0.04:
            made.add(team, row)  # the same row twice


def portfolio(seed: int, homes: int = 120, prefix: str = "H") -> list[Book]:
    """The survey files of a portfolio.

    Parameters
    ----------
    seed
        Decides everything.
    homes
        How many homes; about one in six has two parts.
    prefix
        Of the homes' references.
    """
    dice = Random(seed)
    made = _Round(dice, {})
    kinds = [*BASES.values(), *(home for home, _ in HELD.values())]
    for number in range(homes):
        ids: dict[str, Any] = {
            "property_id": f"{prefix}{number:03d}",
            **dice.choices(_SPOTS, _WEIGHTS)[0],
            "building_id": f"{prefix}-B{number // 3}" if dice.random() < 0.3 else None,
            "archetype_code": f"T{dice.randint(1, 4)}" if dice.random() < 0.7 else None,
        }
        for part in ("main", "ext1")[: 2 if dice.random() < 1 / 6 else 1]:
            _visits(dice, dice.choice(kinds), {**ids, "building_part": part}, made)
    return [
        Book(team, f"{team}_{number}", tuple(rows))
        for (team, number), rows in sorted(made.files.items())
    ]


def later(
    books: Portfolio, row: Row, team: str = "field", on: date = AS_OF - timedelta(days=1)
) -> list[Book]:
    """The portfolio and one more visit, on a form of its own."""
    more = {"survey_date": on, "survey_method": "internal_void", "surveyor_id": "S-9", **row}
    return [*books, Book(team, f"{team}_later", (more,))]
