"""Reads workbooks (xlsx, xls, xlsb, ods): every cell as text, nothing guessed, nothing lost."""

import re
import zipfile
from collections.abc import Callable, Iterable, Iterator
from contextlib import contextmanager
from dataclasses import replace
from pathlib import Path

import fastexcel
import polars as pl

from triage.errors import FileError, Place
from triage.intake import ods, xls
from triage.intake.damage import damage_refused
from triage.intake.limits import Limits
from triage.intake.ooxml import XlsxParts, refuse_false_counts, refuse_far_cells
from triage.intake.probe import refuse_deadly
from triage.intake.sheets import Note, Sheet, letters
from triage.intake.shown import write_formulas, write_shown
from triage.intake.xlsb import refuse_lossy_cells

# Names that the reader gives to the error values of ECMA-376 part 1, 18.18.11.
_ERROR_TEXT = {
    "Div0": "#DIV/0!",
    "NA": "#N/A",
    "Name": "#NAME?",
    "Null": "#NULL!",
    "Num": "#NUM!",
    "Ref": "#REF!",
    "Value": "#VALUE!",
    "GettingData": "#GETTING_DATA",
}
_ERROR_NAME = re.compile(r"Error\((\w+)\)")
Refine = Callable[[str, pl.DataFrame], tuple[pl.DataFrame, list[Note]]]


def read_book(
    path: Path, kind: str, shown: str, wanted: Iterable[str] | None, limits: Limits
) -> list[Sheet]:
    """Read the sheets of a workbook, in the order of the workbook.

    Parameters
    ----------
    path, kind, shown
        The file, its kind by `file_kind`, and its name for messages.
    wanted
        Sheet names; None reads every sheet.
    limits
        Upper bounds for rows and columns.

    Raises
    ------
    FileError
        If the workbook cannot be read, is encrypted, lacks a wanted sheet or breaks a limit.
    """
    if kind == "xlsb":
        refuse_lossy_cells(path, shown, limits)
    if kind in ("xls", "xlsb"):
        refuse_deadly(path, shown)
    with _reader_failures(shown):
        if kind == "xlsx":
            refuse_false_counts(path, shown)
        reader = fastexcel.read_excel(path)
    names = _wanted_names(reader.sheet_names, wanted, shown)
    with damage_refused(shown):
        if kind == "xlsx":
            return _read_xlsx(path, reader, names, shown, limits)
        if kind == "xls":
            return _read_xls(path, reader, names, shown, limits)
        if kind == "ods":
            return _read_ods(path, reader, names, shown, limits)
        return [_read_sheet(reader, name, shown, limits, _unrefined) for name in names]


@contextmanager
def _reader_failures(shown: str) -> Iterator[None]:
    """Turn what the reader raises into an error with a cure."""
    try:
        with damage_refused(shown):
            yield
    except fastexcel.FastExcelError as error:
        raise _refusal(error, shown) from error


def _refusal(error: Exception, shown: str) -> FileError:
    text = str(error)
    if "password" in text.lower():
        return FileError("the workbook is encrypted", shown, "save it without a password")
    first = text.splitlines()[0] if text else type(error).__name__
    fix = "open it in a spreadsheet program and save it as xlsx"
    return FileError(f"the workbook cannot be read ({first})", shown, fix)


def _wanted_names(there: list[str], wanted: Iterable[str] | None, shown: str) -> list[str]:
    if wanted is None:
        return there
    asked = set(wanted)
    missing = sorted(asked - set(there))
    if missing:
        what = f"there is no sheet {', '.join(repr(name) for name in missing)}"
        fix = (
            f"correct layout.sheets in the profile; the workbook has {', '.join(map(repr, there))}"
        )
        raise FileError(what, shown, fix)
    return [name for name in there if name in asked]


def _read_xlsx(
    path: Path, reader: fastexcel.ExcelReader, names: list[str], shown: str, limits: Limits
) -> list[Sheet]:
    with zipfile.ZipFile(path) as archive:
        parts = XlsxParts(archive)
        sheets = []
        for name in names:
            xml = parts.sheet_xml(name)
            refuse_far_cells(xml, Place(shown, name), limits)

            def refine(
                sheet: str, cells: pl.DataFrame, xml: bytes = xml
            ) -> tuple[pl.DataFrame, list[Note]]:
                return parts.show_formats(cells, xml), parts.notes(sheet, xml)

            sheet = _read_sheet(reader, name, shown, limits, refine)
            sheets.append(replace(sheet, is_1904=parts.is_1904, looks=parts.looks(xml)))
        return sheets


def _read_xls(
    path: Path, reader: fastexcel.ExcelReader, names: list[str], shown: str, limits: Limits
) -> list[Sheet]:
    book = xls.read_beside(path)
    sheets = []
    for name in names:
        told = book.sheets.get(name, xls.XlsSheet())

        def refine(
            _: str, cells: pl.DataFrame, told: xls.XlsSheet = told
        ) -> tuple[pl.DataFrame, list[Note]]:
            return write_shown(write_formulas(cells, told.bare), told.places), told.notes

        sheet = _read_sheet(reader, name, shown, limits, refine)
        sheets.append(replace(sheet, is_1904=book.is_1904, looks=told.looks))
    return sheets


def _unrefined(_: str, cells: pl.DataFrame) -> tuple[pl.DataFrame, list[Note]]:
    return cells, []


def _read_ods(
    path: Path, reader: fastexcel.ExcelReader, names: list[str], shown: str, limits: Limits
) -> list[Sheet]:
    book = ods.read_beside(path)
    sheets = []
    for name in names:
        told = book.sheets.get(name, ods.OdsSheet())

        def refine(
            _: str, cells: pl.DataFrame, told: ods.OdsSheet = told
        ) -> tuple[pl.DataFrame, list[Note]]:
            return ods.apply_shown(cells, told), told.notes

        sheet = _read_sheet(reader, name, shown, limits, refine)
        sheets.append(replace(sheet, is_1904=book.is_1904, looks=told.looks))
    return sheets


def _read_sheet(
    reader: fastexcel.ExcelReader, name: str, shown: str, limits: Limits, refine: Refine
) -> Sheet:
    with _reader_failures(shown):
        # skip_rows=0: otherwise empty rows at the top are dropped and every row number is wrong.
        sheet = reader.load_sheet(name, header_row=None, skip_rows=0, dtypes="string")
        _refuse_size(sheet, Place(shown, name), limits)
        batch, failed = sheet.to_arrow_with_errors()
    is_hidden = sheet.visible != "visible"
    if not sheet.width:
        return Sheet(name, pl.DataFrame(), is_hidden=is_hidden)
    first = sheet.selected_columns[0].absolute_index
    cells = pl.DataFrame(batch)
    cells.columns = [letters(first + k) for k in range(cells.width)]
    cells = cells.with_columns(pl.all().replace("", None))
    cells = _with_errors(cells, failed.errors if failed is not None else [])
    cells, notes = refine(name, cells)
    if is_hidden:
        notes = [Note("hidden_sheet", "this sheet is hidden; it is read"), *notes]
    return Sheet(name, cells, tuple(notes), is_hidden=is_hidden)


def _refuse_size(sheet: fastexcel.ExcelSheet, where: Place, limits: Limits) -> None:
    for count, most, what in (
        (sheet.total_height, limits.rows, "rows"),
        (sheet.width, limits.columns, "columns"),
    ):
        if count > most:
            fix = "split the sheet, or delete what lies beyond the survey"
            raise FileError(f"the sheet has {count} {what}, more than {most}", where, fix)


def _with_errors(cells: pl.DataFrame, failed: list[fastexcel.CellError]) -> pl.DataFrame:
    """Write error texts into the cells, where the reader leaves nothing."""
    texts: dict[int, dict[int, str]] = {}
    for error in failed:
        row, column = error.offset_position
        named = _ERROR_NAME.search(error.detail)
        text = _ERROR_TEXT.get(named[1], f"#{named[1]}") if named else "#ERROR"
        texts.setdefault(column, {})[row] = text
    return cells.with_columns(
        cells.to_series(column).scatter(list(at), list(at.values())) for column, at in texts.items()
    )
