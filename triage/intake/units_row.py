"""Finds a line of units under the headings, and units there that contradict what is declared."""

from collections.abc import Iterator, Sequence

from triage.contract import normalise
from triage.intake.sheets import Note
from triage.intake.units import TWO_HABITS, UNITS, find_unit, is_resistance

_NO_UNIT = frozenset(
    {"unit", "units", "date", "text", "code", "no", "nr", "number", "count", "yes/no", "y/n", "-"}
    | {"#", "deg", "year", "dd/mm/yyyy", "dd/mm/yy", "mm/dd/yyyy", "yyyy mm dd"}
)


def is_units_row(
    texts: Sequence[str | None], quantities: Sequence[str | None], key: int | None
) -> bool:
    """Whether a line holds units and nothing else, and no reference of a home.

    Parameters
    ----------
    texts
        Cells of the line.
    quantities
        Quantity of each column, None where it has none.
    key
        Position of the reference of the home.
    """
    cells = [(k, text) for k, text in enumerate(texts) if text and text.strip()]
    if any(k == key and normalise(text) not in _NO_UNIT for k, text in cells):
        return False
    if not all(_is_unit_like(text) for _, text in cells):
        return False
    return any(unit_of_cell(text, quantities[k]) is not None for k, text in cells)


def unit_of_cell(text: str | None, quantity: str | None) -> str | None:
    """The unit of that quantity that a cell of such a line names; None if it names none."""
    if not text or not quantity:
        return None
    bare = text.strip().strip("()[]{}").strip()
    is_unit = find_unit(quantity, bare) is not None
    return bare if is_unit or (quantity == "length_mm" and is_resistance(bare)) else None


def settled_unit(declared: str | None, in_row: str | None, quantity: str | None) -> str | None:
    """The unit of bare numbers; None where the line of units contradicts the declared one."""
    if declared is None or in_row is None or not quantity:
        return declared or in_row
    if is_resistance(declared) or is_resistance(in_row):
        is_same = is_resistance(declared) and is_resistance(in_row)
    else:
        is_same = find_unit(quantity, declared) == find_unit(quantity, in_row)
    return declared if is_same or quantity not in TWO_HABITS else None


def unit_notes(
    texts: Sequence[str | None],
    letters: Sequence[str],
    quantities: Sequence[str | None],
    declared: Sequence[str | None],
    row: int,
    *,
    is_told: bool,
) -> Iterator[Note]:
    """What has to be said of a line of units: that it was taken for one, and contradictions."""
    if not is_told:
        message = f"row {row} was taken for a line of units; say layout.units_row in the profile"
        yield Note("units_row", message)
    for text, column, quantity, unit in zip(texts, letters, quantities, declared, strict=True):
        in_row = unit_of_cell(text, quantity)
        if unit and in_row and settled_unit(unit, in_row, quantity) is None:
            message = (
                f"row {row} says {in_row}, the heading or the profile {unit}; numbers without a "
                "unit are not read until both agree"
            )
            yield Note("unit_conflict", message, column=column, raw=text)


def _is_unit_like(text: str) -> bool:
    bare = text.strip().strip("()[]{}").strip()
    known = any(find_unit(quantity, bare) is not None for quantity in UNITS)
    return known or is_resistance(bare) or normalise(text) in _NO_UNIT or not bare
