"""Slips and habits of a whole sheet: lost identifiers, doubled rows, odd answers, remarks."""

import numpy as np

from making.draw import chance
from making.forms import Form, Row


def remarks(rng: np.random.Generator, rows: list[Row], words: list[str], count: int) -> None:
    """Add columns that the profile ignores, filled here and there."""
    for _ in range(count):
        said = chance(rng, len(rows), 0.12)
        for row, speaks in zip(rows, said, strict=True):
            row.append(words[rng.integers(len(words))] if speaks else None)


def spoil(
    rng: np.random.Generator, rows: list[Row], at: int, *, lost: int, damaged: int, twice: int
) -> list[Row]:
    """Rows that a tool has to refuse or to see through.

    `lost` rows lose their identifier, `damaged` ones show it as a spreadsheet does that took it
    for a number, `twice` ones stand there a second time. They are rows added to the others.
    """
    picked = rng.choice(len(rows), lost + damaged + twice, replace=False)
    copies = [list(rows[position]) for position in picked]
    for row in copies[:lost]:
        row[at] = None
    for row in copies[lost : lost + damaged]:
        row[at] = "1.00E+11"
    places = sorted(rng.integers(0, len(rows) + 1, len(copies)), reverse=True)
    result = list(rows)
    for place, row in zip(places, copies, strict=True):
        result.insert(int(place), row)
    return result


def slips(rng: np.random.Generator, form: Form, table: list[Row]) -> None:
    """Answers that are no answer, limits, another scale, and a zero too many."""
    for field, texts in (
        ("roof_covering", ["tile"] * 4),  # nobody can say which
        ("timber_mc_pct", ["<20"] * 4 + ["dry"] * 3 + ["200 REL"] * 2),
        ("ceiling_insulation_mm", [2700, 1000]),
        ("foam_type", ["foam", "spray"]),
    ):
        at = form.position(field)
        answered = [k for k, row in enumerate(table) if row[at] not in (None, "-", "N/I")]
        for place, text in zip(rng.choice(answered, len(texts), replace=False), texts, strict=True):
            table[place][at] = text


def describe(form: Form, table: list[Row]) -> None:
    """Certificates describe wall and roof in a phrase that agrees with their insulation."""
    wall, filled = form.position("wall_construction"), form.position("wall_insulation_existing")
    roof, depth = form.position("roof_form"), form.position("ceiling_insulation_mm")
    for row in table:
        if str(row[filled]).lower().startswith("filled") and row[wall] is not None:
            row[wall] = "Cavity wall, filled cavity"
        if str(row[roof]).lower().startswith("pitched") and str(row[depth]).startswith("0"):
            row[roof] = "Pitched, no insulation"
