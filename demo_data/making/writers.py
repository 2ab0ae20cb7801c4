"""Writes tables of cells as the kinds of file that surveyors send."""

import zipfile
from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import date, datetime
from io import BytesIO
from pathlib import Path
from typing import Final

import xlsxwriter
import xlwt
from odf.opendocument import OpenDocumentSpreadsheet
from odf.table import Table, TableCell, TableRow
from odf.text import P

from making.wording import Cell

Rows = Sequence[Sequence[Cell]]
CREATED: Final = datetime(2026, 10, 1)


@dataclass(frozen=True)
class Sheet:
    """One sheet: lines above the headings, one or two lines of headings, perhaps units, rows."""

    name: str
    headings: Sequence[str]
    rows: Rows
    title: Sequence[str] = ()
    units: Sequence[str] | None = None
    two_lines: bool = False
    blank_above: int = 0
    widths: dict[int, int] = field(default_factory=dict)


def write_xlsx(path: Path, sheets: Sequence[Sheet]) -> None:
    """A workbook with formats that offices use: bold headings, merged upper line, real dates."""
    book = xlsxwriter.Workbook(str(path), {"default_date_format": "dd/mm/yyyy"})
    book.set_properties({"created": CREATED})
    bold = book.add_format({"bold": True, "text_wrap": True, "bg_color": "#DDE6EE"})
    for sheet in sheets:
        page = book.add_worksheet(sheet.name)
        line = 0
        for text in sheet.title:
            page.write_string(line, 0, text, bold)
            line += 1
        line += sheet.blank_above
        if sheet.two_lines:
            _merged_groups(page, line, sheet.headings, bold)
            line += 1
        for at, heading in enumerate(sheet.headings):
            text = heading.split(" / ", 1)[1] if sheet.two_lines else heading
            page.write_string(line, at, text, bold)
        line += 1
        if sheet.units is not None:
            page.write_row(line, 0, sheet.units)
            line += 1
        for number, row in enumerate(sheet.rows):
            _xlsx_row(page, line + number, row)
    book.close()


def _merged_groups(page: object, line: int, headings: Sequence[str], bold: object) -> None:
    groups = [heading.split(" / ", 1)[0] for heading in headings]
    start = 0
    for at in range(1, len(groups) + 1):
        if at < len(groups) and groups[at] == groups[start]:
            continue
        if at - start > 1:
            page.merge_range(line, start, line, at - 1, groups[start], bold)  # type: ignore[attr-defined]
        else:
            page.write_string(line, start, groups[start], bold)  # type: ignore[attr-defined]
        start = at


def _xlsx_row(page: object, line: int, row: Sequence[Cell]) -> None:
    for at, cell in enumerate(row):
        if isinstance(cell, date):
            page.write_datetime(line, at, datetime(cell.year, cell.month, cell.day))  # type: ignore[attr-defined]
        elif isinstance(cell, str):
            page.write_string(line, at, cell)  # type: ignore[attr-defined]
        elif cell is not None:
            page.write_number(line, at, float(cell))  # type: ignore[attr-defined]


def write_xls(path: Path, sheet: Sheet) -> None:
    """The old binary workbook."""
    book = xlwt.Workbook(encoding="utf-8")
    page = book.add_sheet(sheet.name)
    bold = xlwt.easyxf("font: bold on")
    day = xlwt.easyxf(num_format_str="DD/MM/YYYY")
    for at, heading in enumerate(sheet.headings):
        page.write(0, at, heading, bold)
    for line, row in enumerate(sheet.rows, start=1):
        for at, cell in enumerate(row):
            if isinstance(cell, date):
                page.write(line, at, cell, day)
            elif cell is not None:
                page.write(line, at, cell)
    book.save(str(path))


def write_ods(path: Path, sheets: Sequence[Sheet]) -> None:
    """An OpenDocument spreadsheet; runs of empty cells are stored as repeats, as offices do."""
    book = OpenDocumentSpreadsheet()
    for sheet in sheets:
        table = Table(name=sheet.name)
        for line in (*[[text] for text in sheet.title], sheet.headings, *sheet.rows):
            table.addElement(_ods_row(line))
        book.spreadsheet.addElement(table)
    packed = BytesIO()
    book.write(packed)
    _pack_again(packed, path)


def _pack_again(packed: BytesIO, path: Path) -> None:
    """Give all parts of a zipped document one time, so that equal cells give equal files."""
    with zipfile.ZipFile(packed) as old, zipfile.ZipFile(path, "w") as new:
        for part in old.infolist():
            fixed = zipfile.ZipInfo(part.filename, CREATED.timetuple()[:6])
            fixed.compress_type = part.compress_type
            new.writestr(fixed, old.read(part.filename))


def _ods_row(cells: Sequence[Cell]) -> TableRow:
    row, empty = TableRow(), 0
    for cell in cells:
        if cell is None:
            empty += 1
            continue
        if empty:
            row.addElement(TableCell(numbercolumnsrepeated=empty))
            empty = 0
        row.addElement(_ods_cell(cell))
    return row


def _ods_cell(cell: Cell) -> TableCell:
    if isinstance(cell, date):
        element = TableCell(valuetype="date", datevalue=cell.isoformat())
    elif isinstance(cell, str):
        element = TableCell(valuetype="string")
    else:
        element = TableCell(valuetype="float", value=cell)
    element.addElement(P(text=str(cell)))
    return element


def write_csv(path: Path, sheet: Sheet, encoding: str = "cp1252") -> None:
    """Semicolons and decimal commas, as a spreadsheet of a European setting saves it."""
    lines = [sheet.headings, *sheet.rows]
    text = "\r\n".join(";".join(_csv_cell(cell) for cell in line) for line in lines) + "\r\n"
    path.write_bytes(text.encode(encoding))


def _csv_cell(cell: Cell) -> str:
    if cell is None:
        return ""
    if isinstance(cell, date):
        return cell.strftime("%d/%m/%Y")
    if isinstance(cell, float):
        return f"{cell:g}".replace(".", ",")
    text = str(cell)
    return '"' + text.replace('"', '""') + '"' if ";" in text or '"' in text else text
