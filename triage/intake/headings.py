"""Finds the heading lines of a sheet and says which column fills which field."""

from collections.abc import Mapping
from dataclasses import dataclass, field

import polars as pl

from triage.contract import Contract, nearest, normalise
from triage.contract.profile import Column, Profile
from triage.errors import HeadingError, Place, TriageError
from triage.intake.sheets import Sheet, column_index
from triage.intake.units import unit_in_heading

_LOOKED_AT = 15
KEY = "property_id"


@dataclass(frozen=True, slots=True)
class MappedColumn:
    """One column of a sheet: where it stands, what it is called, what becomes of it.

    `status` is mapped, ignored or empty. `unit` is that of its bare numbers if profile, units
    row or heading name one.
    """

    letters: str
    heading: str | None
    status: str
    field: str | None = None
    unit: str | None = None
    grade: str | None = None

    @property
    def position(self) -> int:
        """Number of the column in the sheet; A is 1."""
        return column_index(self.letters) + 1


@dataclass(frozen=True, slots=True)
class SheetMap:
    """The columns of a sheet, the first row of its data (counted in `cells`), what is wrong."""

    columns: tuple[MappedColumn, ...]
    start: int
    errors: list[TriageError] = field(default_factory=list)

    @property
    def mapped(self) -> tuple[MappedColumn, ...]:
        """The columns that fill a field."""
        return tuple(column for column in self.columns if column.field is not None)


@dataclass(frozen=True, slots=True)
class _Headings:
    """Known headings by their folded text, and how each is shown in a hint."""

    columns: Mapping[str, Column]
    ignore: Mapping[str, str]
    hints: Mapping[str, str]


def find_header(
    sheet: Sheet, profile: Profile | None, contract: Contract, key: str = KEY
) -> int | None:
    """Index in `cells` of the first heading line; None if the sheet holds no survey table.

    A profile states its row. Without one, the line among the first 15 with the most field names
    is taken, which must hold the field `key`.
    """
    known = _known(profile, contract)
    found = {
        index: _hits(sheet, index, known) for index in range(min(_LOOKED_AT, sheet.cells.height))
    }
    if profile is not None and sheet.first_row == 1:
        stated = profile.layout.header_row - 1
        lines = range(stated, stated + profile.layout.header_lines)
        return (
            stated if any(found.get(line) or _hits(sheet, line, known) for line in lines) else None
        )
    with_key = {i: hits for i, hits in found.items() if profile is not None or key in hits}
    best = max(with_key, key=lambda index: (len(with_key[index]), -index), default=None)
    return best if best is not None and with_key[best] else None


def misplaced_header(sheet: Sheet, profile: Profile, contract: Contract) -> int | None:
    """File row of a line that looks like the headings but is not where the profile says."""
    known = _known(profile, contract)
    hits = {i: len(_hits(sheet, i, known)) for i in range(min(_LOOKED_AT, sheet.cells.height))}
    best = max(hits, key=lambda index: (hits[index], -index), default=None)
    return None if best is None or not hits[best] else best + sheet.first_row


def map_sheet(
    sheet: Sheet, header: int, profile: Profile | None, contract: Contract, shown: str
) -> SheetMap:
    """Map every column of a sheet to a field.

    Parameters
    ----------
    sheet, header
        The sheet, and its first heading line as `find_header` gives it.
    profile, contract
        What the headings mean. Without a profile only field names are known.
    shown
        Name of the file for messages.

    Returns
    -------
    SheetMap
        With an error for each heading that is unknown, there twice, or claims a field that
        another one has, and for a column that has cells but no heading.
    """
    known = _known(profile, contract)
    is_table = sheet.first_row == 0  # Parquet: column names, no lines
    lines = 1 if profile is None or is_table else profile.layout.header_lines
    has_units = profile is not None and profile.layout.units_row and not is_table
    start = header + lines + has_units
    units = sheet.cells.row(start - 1) if has_units and start <= sheet.cells.height else None
    joined, own = heading_texts(sheet, header, lines)
    where = Place(shown, sheet.name, header + lines - 1 + sheet.first_row)
    filled = _filled_columns(sheet.cells.slice(start))
    columns: list[MappedColumn] = []
    errors: list[TriageError] = []
    for index, name in enumerate(sheet.cells.columns):
        place = Place(where.file, where.sheet, where.row, name)
        unit = units[index] if units is not None else None
        column, error = _map_column(
            (joined[index], own[index]), unit, known, contract, place, is_filled=name in filled
        )
        columns.append(column)
        errors += [error] if error is not None else []
    errors += _claims(columns, where)
    return SheetMap(tuple(columns), start, errors)


def _known(profile: Profile | None, contract: Contract) -> _Headings:
    hints = {heading: name for name, asked in contract.fields.items() for heading in asked.headings}
    hints |= {name: name for name in contract.fields}
    if profile is None:
        columns = {normalise(name): Column(name, name) for name in contract.fields}
        return _Headings(columns, {}, hints)
    hints |= {column.heading: column.field for column in profile.columns.values()}
    return _Headings(profile.columns, profile.ignore, hints)


def _hits(sheet: Sheet, index: int, known: _Headings) -> set[str]:
    """Fields that the cells of a line name."""
    if index >= sheet.cells.height:
        return set()
    words = {normalise(text) for text in sheet.cells.row(index) if text}
    named = {known.columns[word].field for word in words if word in known.columns}
    # With two heading lines a profile names both, joined: the lower part is enough to find them.
    lower = {key.rsplit(" / ", 1)[-1]: c.field for key, c in known.columns.items() if " / " in key}
    return named | {lower[word] for word in words if word in lower}


def heading_texts(
    sheet: Sheet, header: int, lines: int
) -> tuple[list[str | None], list[str | None]]:
    """Heading of each column, with upper lines filled to the right and without; None for none."""
    rows = [
        [_clean(text) for text in sheet.cells.row(index)]
        for index in range(header, min(header + lines, sheet.cells.height))
    ]
    lowest = rows[-1]
    own = [_join(parts) for parts in zip(*rows, strict=True)]
    joined: list[str | None] = []
    last: list[str | None] = [None] * (len(rows) - 1)
    for index, text in enumerate(lowest):
        last = [row[index] or before for row, before in zip(rows[:-1], last, strict=True)]
        joined.append(_join([*last, text]) if text else own[index])
    return joined, own


def _clean(text: str | None) -> str | None:
    return (" ".join(text.split()) or None) if text else None


def _join(parts: list[str | None] | tuple[str | None, ...]) -> str | None:
    return " / ".join(part for part in parts if part) or None


def _filled_columns(cells: pl.DataFrame) -> set[str]:
    if cells.height == 0:
        return set()
    has_text = cells.select((pl.all().str.strip_chars() != "").any()).row(0)
    return {name for name, is_filled in zip(cells.columns, has_text, strict=True) if is_filled}


def _map_column(
    headings: tuple[str | None, str | None],
    units_cell: str | None,
    known: _Headings,
    contract: Contract,
    place: Place,
    *,
    is_filled: bool,
) -> tuple[MappedColumn, TriageError | None]:
    letters = place.column or ""
    shown = headings[0]
    if shown is None:
        if not is_filled:
            return MappedColumn(letters, None, "empty"), None
        fix = "give it a heading, or empty it"
        error = HeadingError("a column has cells but no heading", place, fix)
        return MappedColumn(letters, None, "empty"), error
    for heading in dict.fromkeys((*headings, shown.rsplit(" / ", 1)[-1])):
        key = normalise(heading or "")
        if key in known.columns:
            column = known.columns[key]
            unit = column.unit or _stated_unit(column.field, shown, units_cell, contract)
            return MappedColumn(letters, shown, "mapped", column.field, unit, column.grade), None
        if key in known.ignore:
            return MappedColumn(letters, shown, "ignored"), None
    error = HeadingError(f"the heading {shown!r} is not known", place, _hint(shown, known))
    return MappedColumn(letters, shown, "unknown"), error


def _stated_unit(name: str, heading: str, units_cell: str | None, contract: Contract) -> str | None:
    """The unit that the units row, the heading or the field's own name states."""
    asked = contract.fields[name]
    if asked.quantity is None:
        return None
    if normalise(heading) == normalise(name):
        return asked.unit  # the field's own name stands for its own unit
    stated = unit_in_heading(asked.quantity, f"({units_cell})") if units_cell else None
    return stated or unit_in_heading(asked.quantity, heading)


def _hint(heading: str, known: _Headings) -> str:
    near = nearest(heading, known.hints)
    named = [text if text == (name := known.hints[text]) else f"{text!r} ({name})" for text in near]
    guess = f"did you mean {' or '.join(named)}? " if named else ""
    return f"{guess}map it under [columns] of the profile, or list it under [ignore]"


def _claims(columns: list[MappedColumn], where: Place) -> list[TriageError]:
    """Headings that are there twice, and fields that two headings claim."""
    errors: list[TriageError] = []
    by_heading: dict[str, MappedColumn] = {}
    by_field: dict[str, MappedColumn] = {}
    for column in columns:
        if column.heading is None or column.status == "ignored":
            continue
        place = Place(where.file, where.sheet, where.row, column.letters)
        first = by_heading.setdefault(normalise(column.heading), column)
        owner = by_field.setdefault(column.field, column) if column.field else column
        if first is not column:
            what = f"the heading {column.heading!r} is there twice, first in column {first.letters}"
            errors.append(HeadingError(what, place, "rename or delete one of the two columns"))
        elif owner is not column:
            what = f"{column.heading!r} and {owner.heading!r} both fill {column.field}"
            errors.append(HeadingError(what, place, "ignore one of them in the profile"))
    return errors
