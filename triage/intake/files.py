"""Reads one survey file into typed sheets; collects what is wrong instead of stopping at it."""

import hashlib
from dataclasses import dataclass, field, replace
from pathlib import Path

from triage.contract.profile import Profile
from triage.errors import FileError, HeadingError, ManyErrors, Place, TriageError
from triage.intake.blocks import note_above, tables_of
from triage.intake.books import read_book
from triage.intake.delimited import read_delimited
from triage.intake.field_rules import Context
from triage.intake.headings import (
    KEY,
    MappedColumn,
    SheetMap,
    find_header,
    map_sheet,
    misplaced_header,
)
from triage.intake.limits import DEFAULT_LIMITS, Limits
from triage.intake.looks import look_notes
from triage.intake.parquet import read_parquet
from triage.intake.sheets import Note, Sheet
from triage.intake.sniff import file_kind
from triage.intake.table import SheetTable, type_sheet, unit_errors

PART = "building_part"


@dataclass
class FileReading:
    """One file as read: its typed sheets, sheets left out, and every error found in it.

    `headings` has the columns of each sheet with a survey table, also where errors kept the
    sheet from being typed.
    """

    file: str
    stem: str
    profile: Profile | None
    sha256: str = ""
    tables: list[SheetTable] = field(default_factory=list)
    headings: dict[str | None, tuple[MappedColumn, ...]] = field(default_factory=dict)
    skipped: dict[str | None, Note] = field(default_factory=dict)
    errors: list[TriageError] = field(default_factory=list)


def read_file(
    path: Path, shown: str, context: Context, limits: Limits = DEFAULT_LIMITS
) -> FileReading:
    """Read and type one file.

    Parameters
    ----------
    path, shown
        The file, and its name for messages and provenance.
    context
        Contract, profile, measures and as-of date.
    limits
        Upper bounds for one file.

    Returns
    -------
    FileReading
        Its `errors` hold what would otherwise be raised: FileError, HeadingError, ProfileError.
    """
    reading = FileReading(shown, path.stem, context.profile)
    try:
        sheets = read_sheets(path, shown, context.profile, limits)
        with path.open("rb") as stream:
            reading.sha256 = hashlib.file_digest(stream, "sha256").hexdigest()
        _refuse_empty(sheets, shown)
    except ManyErrors as many:
        reading.errors += many.errors
        return reading
    except TriageError as error:
        reading.errors.append(error)
        return reading
    for sheet in sheets:
        _take_sheet(reading, sheet, context)
    if not reading.tables and not reading.errors:
        where = Place(shown)
        fix = (
            f"one line among the first 15 must name the fields, {KEY} among them; or give a profile"
        )
        reading.errors.append(HeadingError("no sheet holds a survey table", where, fix))
    return reading


def read_sheets(path: Path, shown: str, profile: Profile | None, limits: Limits) -> list[Sheet]:
    """All sheets of a file of any kind, or those the profile names; FileError if unreadable."""
    kind = file_kind(path, shown, limits)
    if kind == "parquet":
        return [read_parquet(path, shown, limits)]
    if kind == "csv":
        told = profile.reading if profile is not None else None
        return [
            read_delimited(
                path,
                shown,
                limits,
                encoding=told.encoding if told else None,
                delimiter=told.delimiter if told else None,
                decimal=told.decimal if told else None,
            )
        ]
    wanted = None
    if profile is not None and "*" not in profile.layout.sheets:
        wanted = profile.layout.sheets
    return read_book(path, kind, shown, wanted, limits)


def _refuse_empty(sheets: list[Sheet], shown: str) -> None:
    if all(sheet.is_empty for sheet in sheets):
        fix = "ask for it again; the survey may have been saved elsewhere"
        raise FileError("no sheet holds any cell", shown, fix)


def _take_sheet(reading: FileReading, sheet: Sheet, context: Context) -> None:
    profile = context.profile
    if sheet.is_empty:
        return
    header = find_header(sheet, profile, context.contract)
    if header is None:
        _leave_out(reading, sheet, context)
        return
    above = note_above(sheet, header, profile, context.contract)
    sheet = replace(sheet, notes=(*sheet.notes, *above))
    try:
        parts = tables_of(sheet, header, profile, context.contract, reading.file)
    except HeadingError as error:
        reading.errors.append(error)
        return
    for part, line in parts:
        _take_table(reading, part, line, context)


def _take_table(reading: FileReading, sheet: Sheet, header: int, context: Context) -> None:
    profile = context.profile
    told = map_sheet(sheet, header, profile, context.contract, reading.file)
    reading.headings[sheet.name] = (*reading.headings.get(sheet.name, ()), *told.columns)
    where = Place(reading.file, sheet.name, header + sheet.first_row)
    errors = [*told.errors, *unit_errors(told, profile, context)]
    errors += _missing_keys(told.mapped, profile, where)
    known = {str(error) for error in reading.errors}
    reading.errors += [error for error in errors if str(error) not in known]
    if errors:
        return
    table = type_sheet(replace(sheet, notes=(*sheet.notes, *told.notes)), told, context)
    reading.tables.append(_with_notes(table, told))


def _with_notes(table: SheetTable, told: SheetMap) -> SheetTable:
    """Say of a table what its cells do not: that there are no rows, colours, strokes."""
    sheet = table.sheet
    notes = list(sheet.notes)
    if table.raw.is_empty():
        row = told.start - 1 + sheet.first_row
        message = f"there are headings in row {row} and no row of a survey below them"
        notes.append(Note("no_rows", message))
    elif sheet.looks:
        numbers = table.raw.get_column("sheet_row")
        notes += look_notes(sheet.looks, int(numbers[0]), int(numbers[-1]))
    return replace(table, sheet=replace(sheet, notes=tuple(notes)))


def _leave_out(reading: FileReading, sheet: Sheet, context: Context) -> None:
    """A sheet without a survey table is left out and said; a shifted one is an error."""
    profile = context.profile
    row = None if profile is None else misplaced_header(sheet, profile, context.contract)
    if profile is not None and row is not None:
        what = f"the headings are in row {row}, the profile says row {profile.layout.header_row}"
        fix = "correct layout.header_row, or delete the rows that were added"
        reading.errors.append(HeadingError(what, Place(reading.file, sheet.name, row), fix))
    elif profile is not None and "*" not in profile.layout.sheets:
        what = "none of the profile's headings is in the sheet"
        fix = f"check layout.header_row ({profile.layout.header_row}) and [columns] of the profile"
        reading.errors.append(HeadingError(what, Place(reading.file, sheet.name), fix))
    else:
        message = "the sheet holds no survey table and was left out"
        reading.skipped[sheet.name] = Note("sheet_not_read", message)


def _missing_keys(
    mapped: tuple[MappedColumn, ...], profile: Profile | None, where: Place
) -> list[TriageError]:
    there = {column.field for column in mapped}
    errors: list[TriageError] = []
    if KEY not in there:
        fix = "map the heading of the home's reference to it in the profile"
        errors.append(HeadingError(f"no heading fills {KEY}", where, fix))
    told = profile is not None and (
        PART in profile.constants or profile.blank.get(PART, "").startswith("=")
    )
    if PART not in there and not told:
        fix = f'map a heading to it, or add [blank] {PART} = "=main" to the profile'
        errors.append(HeadingError(f"no heading fills {PART}", where, fix))
    return errors
