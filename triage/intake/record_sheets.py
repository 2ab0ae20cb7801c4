"""Reads sheets of records: which table each one holds, and its typed rows with their cells."""

import hashlib
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from datetime import date
from pathlib import Path

import polars as pl

from triage.contract import Contract
from triage.contract.loader import SURVEY
from triage.errors import FileError, HeadingError, ManyErrors, Place, TriageError
from triage.intake.field_rules import Context, new_context
from triage.intake.files import read_sheets
from triage.intake.headings import find_header, map_sheet
from triage.intake.limits import DEFAULT_LIMITS, Limits
from triage.intake.sheets import Note, Sheet
from triage.intake.table import SheetTable, type_sheet

KINDS = ("inspection", "opening", "repair", "reading", "event", "decision", "answer")
"""Record tables, each after those that it may refer to."""

READING_PAGES = frozenset({"Notes", "Codes", "Tasks", "Measures"})
"""Sheets of our own templates and work orders that hold no records."""


@dataclass(frozen=True, slots=True)
class RecordSheet:
    """One sheet of records, typed; `table` has the columns of the contract's table `kind`."""

    kind: str
    file: str
    sha256: str
    table: SheetTable


@dataclass
class RecordFile:
    """One file as read: its sheets of records, the sheets left out, and every error in it."""

    file: str
    sheets: list[RecordSheet] = field(default_factory=list)
    skipped: dict[str | None, Note] = field(default_factory=dict)
    errors: list[TriageError] = field(default_factory=list)


def id_column(contract: Contract, kind: str) -> str:
    """The column that says which record a row is, and which table a sheet holds."""
    return contract.tables[kind].primary_key[0]


def contract_of(contract: Contract, kind: str) -> Contract:
    """The same contract seen from another table, so that intake reads that one."""
    return replace(contract, tables={**contract.tables, SURVEY: contract.tables[kind]})


def read_record_file(
    path: Path,
    shown: str,
    contract: Contract,
    measures: Mapping[str, str],
    as_of: date,
    limits: Limits = DEFAULT_LIMITS,
) -> RecordFile:
    """Read one file of records, by field names.

    Parameters
    ----------
    path, shown
        The file, and its name for messages and provenance.
    contract, measures, as_of
        Tables and code lists, texts of measures, last day that is not in the future.
    limits
        Upper bounds for one file.

    Returns
    -------
    RecordFile
        Its `errors` hold what would otherwise be raised: FileError, HeadingError. A sheet with
        an error gives no rows; the other sheets do.
    """
    reading = RecordFile(shown)
    try:
        sheets = read_sheets(path, shown, None, limits)
        with path.open("rb") as stream:
            sha256 = hashlib.file_digest(stream, "sha256").hexdigest()
    except ManyErrors as many:
        reading.errors += many.errors
        return reading
    except TriageError as error:
        reading.errors.append(error)
        return reading
    contexts = {
        kind: new_context(contract_of(contract, kind), None, measures, as_of) for kind in KINDS
    }
    filled = [sheet for sheet in sheets if not sheet.is_empty]
    if not filled:
        fix = "ask for it again; the records may have been saved elsewhere"
        reading.errors.append(FileError("no sheet holds any cell", shown, fix))
    for sheet in filled:
        _take_sheet(reading, sheet, sha256, contexts)
    return reading


def _take_sheet(
    reading: RecordFile, sheet: Sheet, sha256: str, contexts: Mapping[str, Context]
) -> None:
    found = _kind_of(sheet, contexts)
    if found is None:
        if sheet.name in READING_PAGES:
            message = "a reading page of the template; it holds no records"
            reading.skipped[sheet.name] = Note("sheet_not_read", message)
            return
        reading.errors.append(_no_table(reading.file, sheet, contexts))
        return
    kind, header = found
    context = contexts[kind]
    sheet = _without_remarks(sheet, header)
    sheet_map = map_sheet(sheet, header, None, context.contract, reading.file)
    if sheet_map.errors:
        reading.errors += [_without_profile(error, kind) for error in sheet_map.errors]
        return
    table = type_sheet(sheet, sheet_map, context)
    reading.sheets.append(RecordSheet(kind, reading.file, sha256, table))


def _kind_of(sheet: Sheet, contexts: Mapping[str, Context]) -> tuple[str, int] | None:
    """The table whose id column the sheet has, and the index of its heading line.

    An opening names its inspection too: of two tables, the one with more of the line wins.
    """
    found: list[tuple[int, str, int]] = []
    for kind, context in contexts.items():
        header = find_header(sheet, None, context.contract, id_column(context.contract, kind))
        if header is not None:
            columns = map_sheet(sheet, header, None, context.contract, "").mapped
            found.append((len(columns), kind, header))
    if not found:
        return None
    most = max(found, key=lambda each: each[0])
    return most[1], most[2]


def _no_table(file: str, sheet: Sheet, contexts: Mapping[str, Context]) -> HeadingError:
    ids = ", ".join(id_column(context.contract, kind) for kind, context in contexts.items())
    fix = (
        f"one line among the first 15 must name the fields of one table, its id among them: {ids}; "
        "`triage template FILE.xlsx --records` writes them all"
    )
    return HeadingError("the sheet fits no table of records", Place(file, sheet.name), fix)


def _without_remarks(sheet: Sheet, header: int) -> Sheet:
    """The sheet without the columns whose heading stands in brackets: they are for people."""
    headings = sheet.cells.row(header)
    remarks = [
        name
        for name, text in zip(sheet.cells.columns, headings, strict=True)
        if text is not None and text.strip().startswith("(") and text.strip().endswith(")")
    ]
    if not remarks:
        return sheet
    blank = [pl.lit(None, dtype=pl.String).alias(name) for name in remarks]
    return replace(sheet, cells=sheet.cells.with_columns(blank))


def _without_profile(error: TriageError, kind: str) -> TriageError:
    """The same error for a file that has no profile."""
    guess = error.fix.split("? ")[0] + "? " if error.fix.startswith("did you mean") else ""
    fix = (
        f"{guess}rename it to a field of the table {kind}, put the heading in brackets if the "
        "column is a remark, or delete the column"
    )
    return HeadingError(error.what, error.where, fix)
