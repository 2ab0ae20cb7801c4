"""The columns of survey files as somebody who drafts a profile must see them."""

from collections.abc import Sequence
from dataclasses import dataclass, field

import polars as pl

from triage.contract import normalise
from triage.contract.profile import Layout
from triage.errors import Place
from triage.intake.draft_layout import TableStart
from triage.intake.headings import heading_texts
from triage.intake.sheets import Sheet

ROWS_LOOKED_AT = 5_000
"""Rows of a sheet from which values are counted; more are sampled evenly, dates excepted."""

LONGEST_TEXT = 200
"""Characters of a cell that are looked at; longer texts are remarks."""

TEXTS_LOOKED_AT = 300
"""Different texts of a column that are tried; the most frequent ones."""


@dataclass(frozen=True, slots=True)
class SheetSeen:
    """One sheet that holds a table: where, and how many rows of it were looked at."""

    file: str
    sheet: Sheet
    start: TableStart
    rows: int
    looked_at: int


@dataclass(slots=True)
class Seen:
    """One heading, in all sheets and files where it stands.

    `values` has the most frequent texts with their counts, `cells` and `blanks` the counts in
    the rows looked at, `distinct` the number of different texts in them. `series` holds all
    cells, of which nothing was left out. `is_doubled`: the heading stands twice in one sheet.
    """

    heading: str
    places: list[Place] = field(default_factory=list)
    units: list[str] = field(default_factory=list)
    values: dict[str, int] = field(default_factory=dict)
    cells: int = 0
    blanks: int = 0
    distinct: int = 0
    is_doubled: bool = False
    comma_decimal: bool = False
    point_decimal: bool = True
    is_1904: bool = False
    series: list[pl.Series] = field(default_factory=list, repr=False)


@dataclass(frozen=True, slots=True)
class Nameless:
    """A column that has cells but no heading."""

    place: Place
    cells: int


def look_at(sheets: Sequence[SheetSeen]) -> tuple[dict[str, Seen], list[Nameless]]:
    """All headings by their folded text, in the order in which they stand, and nameless columns."""
    seen: dict[str, Seen] = {}
    nameless: list[Nameless] = []
    for part in sheets:
        cells, start = part.sheet.cells, part.start
        table = cells.slice(start.data)
        sampled = _sampled(table)
        units = cells.row(start.data - 1) if start.units_row else (None,) * cells.width
        headings, _ = heading_texts(part.sheet, start.header, start.lines)
        here: set[str] = set()
        for letters, heading, unit in zip(cells.columns, headings, units, strict=True):
            texts = _texts(table.get_column(letters))
            if heading is None:
                filled = texts.drop_nulls().len()
                nameless += [Nameless(_place(part, letters), filled)] if filled else []
                continue
            key = normalise(heading)
            entry = seen.setdefault(key, Seen(heading))
            entry.is_doubled |= key in here
            here.add(key)
            entry.places.append(_place(part, letters))
            entry.units += [unit.strip()] if unit and unit.strip() else []
            entry.series.append(texts)
            _add_sheet(entry, part.sheet)
            _count(entry, _texts(sampled.get_column(letters)))
    for entry in seen.values():
        _keep_frequent(entry)
    return seen, nameless


def table_of(file: str, sheet: Sheet, start: TableStart) -> SheetSeen:
    """A sheet with the counts of its rows."""
    rows = max(sheet.cells.height - start.data, 0)
    return SheetSeen(file, sheet, start, rows, _sampled(sheet.cells.slice(start.data)).height)


def layout_of(start: TableStart, sheet: Sheet) -> Layout:
    """The layout of a profile that finds the table."""
    row = 1 if sheet.first_row == 0 else start.header + sheet.first_row
    return Layout(("*",), row, start.lines, start.units_row)


def _place(part: SheetSeen, letters: str) -> Place:
    row = part.start.header + part.start.lines - 1 + part.sheet.first_row
    return Place(part.file, part.sheet.name, row, letters)


def _add_sheet(entry: Seen, sheet: Sheet) -> None:
    entry.comma_decimal |= sheet.decimal == ","
    entry.point_decimal &= not sheet.is_text or sheet.decimal == "."
    entry.is_1904 |= sheet.is_1904


def _sampled(table: pl.DataFrame) -> pl.DataFrame:
    """Rows with any text, evenly spaced if many: the last year may differ from the first."""
    step = -(-table.height // ROWS_LOOKED_AT) or 1
    chosen = table.gather_every(step)
    if not chosen.width:
        return chosen
    return chosen.filter(pl.any_horizontal(pl.all().str.strip_chars() != "").fill_null(False))


def _texts(cells: pl.Series) -> pl.Series:
    return cells.str.strip_chars().replace("", None).alias("text")


def _count(entry: Seen, texts: pl.Series) -> None:
    filled = texts.drop_nulls()
    entry.cells += filled.len()
    entry.blanks += texts.len() - filled.len()
    for text, count in filled.str.slice(0, LONGEST_TEXT).value_counts().iter_rows():
        entry.values[text] = entry.values.get(text, 0) + count


def _keep_frequent(entry: Seen) -> None:
    entry.distinct = len(entry.values)
    ordered = sorted(entry.values.items(), key=lambda item: (-item[1], item[0]))
    entry.values = dict(ordered[:TEXTS_LOOKED_AT])
