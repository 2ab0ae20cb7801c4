"""Refuses numbers of a column in which the unit changes on the way down; it is never guessed."""

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
import polars as pl

from triage.intake.columns import ODD_SCHEMA, TypedColumn
from triage.intake.units import TWO_HABITS, Unit, find_unit, is_resistance
from triage.intake.units_row import settled_unit, unit_of_cell

_BARE = r"^[+-]?[0-9]+(?:[.,][0-9]+)*$"
_LONGEST_MARK = 40
# Common practice, no source: a change is only told from two groups that are well apart.
_LEAST_READINGS = 4
_APART = 2.0  # least of the larger group over greatest of the smaller
_MEDIANS_APART = 5.0  # below this no two units of one quantity differ, but for temperatures
_MOST_INCHES = 60.0  # the greatest thickness in inches, or R-value, of any layer surveyed
_MM_STEP = 25.0  # what is read in millimetres comes in such steps: 25, 50
_LARGER_ABROAD = frozenset({"area", "flow", "temperature"})
"""Quantities whose other unit gives the larger number: square feet, cubic feet, Fahrenheit."""


@dataclass(frozen=True, slots=True)
class _Doubt:
    """Rows whose bare numbers are in doubt, and why."""

    rows: pl.Series
    message: str


def refuse_changed_units(
    cells: pl.Series, typed: TypedColumn, quantity: str | None, unit: str | None, rows: pl.Series
) -> TypedColumn:
    """Take back the numbers without a unit where the unit of the column is in doubt.

    Parameters
    ----------
    cells, typed
        The column as texts, and as typed.
    quantity, unit
        Of the column; the unit is that of numbers without one.
    rows
        Numbers of the rows in the file.

    Returns
    -------
    TypedColumn
        The cells in doubt are null, with the problem unit_changed.
    """
    if quantity not in TWO_HABITS or unit is None or cells.is_empty():
        return typed
    is_bare = cells.str.strip_chars().str.contains(_BARE).fill_null(False)
    is_bare &= typed.values.is_not_null()
    told = list(_after_marks(typed.odd, quantity, unit, rows))
    doubts = told or list(_apart(typed.values, is_bare, quantity, unit, rows))
    for doubt in doubts:
        at = doubt.rows.filter(is_bare.gather(doubt.rows))
        typed = _taken_back(cells, typed, at, doubt.message)
    return typed


def _after_marks(odd: pl.DataFrame, quantity: str, unit: str, rows: pl.Series) -> Iterator[_Doubt]:
    """Rows below a cell that names another unit, up to one that names the column's again."""
    marks = odd.filter(
        (pl.col("problem") == "not_a_number") & (pl.col("raw").str.len_chars() <= _LONGEST_MARK)
    ).sort("row")
    named = {raw: _named_unit(raw, quantity) for raw in marks.get_column("raw").unique()}
    found = [(row, named[raw]) for row, raw in marks.select("row", "raw").iter_rows() if named[raw]]
    ends = [*(row for row, _ in found), rows.len()][1:]
    for (row, other), end in zip(found, ends, strict=True):
        if settled_unit(unit, other, quantity) is None:
            below = pl.Series(range(row + 1, end), dtype=pl.UInt32)
            message = (
                f"row {rows[row]} of the column names the unit {other}, the column is in {unit}; "
                "write the unit into each of these cells"
            )
            yield _Doubt(below, message)


def _named_unit(text: str, quantity: str) -> str | None:
    whole = unit_of_cell(text, quantity)
    if whole is not None:
        return whole
    words = [word.strip(".,:;()[]") for word in text.split()]
    if any(word[:1].isdigit() for word in words):
        return None
    # Short words are more often words than units: "in", "m".
    return next((w for w in words if len(w) > 1 and w != "in" and unit_of_cell(w, quantity)), None)


def _apart(
    values: pl.Series, is_bare: pl.Series, quantity: str, unit: str, rows: pl.Series
) -> Iterator[_Doubt]:
    """Rows of the group that looks like another unit, where two groups are told apart by place."""
    at = (is_bare & (values != 0)).fill_null(False).arg_true()
    count = at.len()
    if count < 2 * _LEAST_READINGS:
        return
    numbers = values.gather(at).cast(pl.Float64).abs().to_numpy()
    split = _split(numbers)
    if split is None:
        return
    first_larger = numbers[0] > numbers[-1]
    small, large = (
        (numbers[split:], numbers[:split]) if first_larger else (numbers[:split], numbers[split:])
    )
    declared = find_unit(quantity, unit)
    is_foreign_large = (quantity in _LARGER_ABROAD) == _is_canonical(declared, unit)
    if quantity == "length_mm" and not _like_inches(small):
        return
    takes_first = first_larger == is_foreign_large
    doubtful = at.slice(0, split) if takes_first else at.slice(split)
    message = (
        f"from row {rows[int(at[split])]} on the readings are around "
        f"{np.median(numbers[split:]):g}, before around {np.median(numbers[:split]):g}, as if the "
        f"unit changed; write the unit into these cells"
    )
    if np.median(large) >= _MEDIANS_APART * np.median(small):
        yield _Doubt(doubtful.cast(pl.UInt32), message)


def _split(numbers: np.ndarray) -> int | None:
    """First place that parts the numbers into two groups well apart; None if there is none."""
    steps = np.diff(numbers)
    if (steps >= 0).all() or (steps <= 0).all():
        return None  # a sorted sheet parts anywhere
    before_low, before_high = np.minimum.accumulate(numbers), np.maximum.accumulate(numbers)
    after_low = np.minimum.accumulate(numbers[::-1])[::-1]
    after_high = np.maximum.accumulate(numbers[::-1])[::-1]
    places = np.arange(_LEAST_READINGS, len(numbers) - _LEAST_READINGS + 1)
    falls = before_low[places - 1] >= _APART * after_high[places]
    rises = after_low[places] >= _APART * before_high[places - 1]
    found = places[falls | rises]
    return int(found[0]) if found.size else None


def _is_canonical(declared: Unit | None, unit: str) -> bool:
    return declared is not None and declared.is_canonical and not is_resistance(unit)


def _like_inches(small: np.ndarray) -> bool:
    return bool(small.max() <= _MOST_INCHES and (small % _MM_STEP != 0).any())


def _taken_back(cells: pl.Series, typed: TypedColumn, at: pl.Series, message: str) -> TypedColumn:
    at = at.unique().sort()
    odd = pl.DataFrame({"row": at.cast(pl.UInt32), "raw": cells.gather(at)}).with_columns(
        pl.lit(None, dtype=pl.String).alias("flag"),
        pl.lit("illegible").alias("unknown"),
        pl.lit(None, dtype=pl.String).alias("grade"),
        pl.lit("unit_changed").alias("problem"),
        pl.lit(message).alias("message"),
    )
    rest = typed.odd.filter(~pl.col("row").is_in(at.cast(pl.UInt32).implode()))
    values = typed.values.scatter(at, None) if at.len() else typed.values
    return TypedColumn(values, pl.concat([rest, odd.select(ODD_SCHEMA.keys())]))
