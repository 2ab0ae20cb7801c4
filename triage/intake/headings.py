"""Finds the heading lines of a sheet and says which column fills which field."""

from collections.abc import Mapping
from dataclasses import dataclass, field

import polars as pl

from triage.contract import Contract, nearest, normalise
from triage.contract.profile import Column, Profile
from triage.errors import HeadingError, Place, TriageError
from triage.intake.sheets import Note, Sheet, column_index
from triage.intake.units import unit_in_heading
from triage.intake.units_row import is_units_row, settled_unit, unit_notes, unit_of_cell

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
    """The columns of a sheet, the first row of its data, what is wrong and what is to be said.

    `header` is the first heading line and `start` the first row of data, counted in `cells`.
    """

    columns: tuple[MappedColumn, ...]
    start: int
    errors: list[TriageError] = field(default_factory=list)
    header: int = 0
    notes: tuple[Note, ...] = ()

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

    A profile states its row. Without one, it is the first line among the first 15 that names the
    field `key` and one more: a later one with more of them is a further table, see `blocks`.
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
    if profile is None and (several := [i for i, hits in with_key.items() if len(hits) > 1]):
        return min(several)
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
    start = header + lines
    columns, errors = _map_columns(sheet, header, lines, None, known, contract, shown)
    notes: tuple[Note, ...] = ()
    below = sheet.cells.row(start) if start < sheet.cells.height and not is_table else None
    told = profile is not None and profile.layout.units_row
    kinds = [contract.fields[c.field].quantity if c.field else None for c in columns]
    key = next((k for k, c in enumerate(columns) if c.field == KEY), None)
    if below is not None and (told or is_units_row(below, kinds, key)):
        units = [column.unit for column in columns]
        row, names = start + sheet.first_row, sheet.cells.columns
        notes = tuple(unit_notes(below, names, kinds, units, row, is_told=told))
        columns, errors = _map_columns(sheet, header, lines, below, known, contract, shown)
        start += 1
    errors += _claims(columns, Place(shown, sheet.name, header + lines - 1 + sheet.first_row))
    return SheetMap(tuple(columns), start, errors, header, notes)


def _map_columns(
    sheet: Sheet,
    header: int,
    lines: int,
    units: tuple[str | None, ...] | None,
    known: _Headings,
    contract: Contract,
    shown: str,
) -> tuple[list[MappedColumn], list[TriageError]]:
    joined, own = heading_texts(sheet, header, lines)
    start = header + lines + (units is not None)
    filled = _filled_columns(sheet.cells.slice(start))
    columns: list[MappedColumn] = []
    errors: list[TriageError] = []
    for index, name in enumerate(sheet.cells.columns):
        place = Place(shown, sheet.name, header + lines - 1 + sheet.first_row, name)
        unit = units[index] if units is not None else None
        column, error = _map_column(
            (joined[index], own[index]), unit, known, contract, place, is_filled=name in filled
        )
        if error is not None and joined[index] is None:
            error = _no_heading(place, filled[name] + start + sheet.first_row)
        columns.append(column)
        errors += [error] if error is not None else []
    return columns, errors


def key_words(profile: Profile | None, contract: Contract) -> list[str]:
    """Spellings, as sheets have them, of the headings of the home's reference."""
    columns = _known(profile, contract).columns.values()
    named = [column.heading.rsplit(" / ", 1)[-1] for column in columns if column.field == KEY]
    if profile is None:
        named += [KEY.replace("_", " "), KEY.replace("_", "-")]
    forms = [
        (word, word.lower(), word.upper(), word.title(), word.capitalize(), word.title()[:-1] + "D")
        for word in named
    ]
    return sorted({form for group in forms for form in group})


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


def _filled_columns(cells: pl.DataFrame) -> dict[str, int]:
    """Columns with any text, and the line that has the first, counted in `cells`."""
    if cells.height == 0:
        return {}
    has_text = (pl.all().str.strip_chars() != "").fill_null(False)
    first = cells.select(pl.when(has_text.any()).then(has_text.arg_max())).row(0)
    return {
        name: int(line) for name, line in zip(cells.columns, first, strict=True) if line is not None
    }


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
        return MappedColumn(letters, None, "empty"), _no_heading(place)
    for heading in dict.fromkeys((*headings, shown.rsplit(" / ", 1)[-1])):
        key = normalise(heading or "")
        if key in known.columns:
            column = known.columns[key]
            quantity = contract.fields[column.field].quantity
            declared = column.unit or _stated_unit(column.field, shown, contract)
            unit = settled_unit(declared, unit_of_cell(units_cell, quantity), quantity)
            return MappedColumn(letters, shown, "mapped", column.field, unit, column.grade), None
        if key in known.ignore:
            return MappedColumn(letters, shown, "ignored"), None
    error = HeadingError(f"the heading {shown!r} is not known", place, _hint(shown, known))
    return MappedColumn(letters, shown, "unknown"), error


def _no_heading(place: Place, row: int | None = None) -> TriageError:
    first = f", first in row {row}" if row is not None else ""
    fix = "give it a heading, or empty it; in a text file, look for a stray delimiter there"
    return HeadingError(f"a column has cells but no heading{first}", place, fix)


def _stated_unit(name: str, heading: str, contract: Contract) -> str | None:
    """The unit that the heading or the field's own name states."""
    asked = contract.fields[name]
    if asked.quantity is None:
        return None
    if normalise(heading) == normalise(name):
        return asked.unit  # the field's own name stands for its own unit
    return unit_in_heading(asked.quantity, heading)


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
