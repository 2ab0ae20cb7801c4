"""Nasty xlsx fixtures: what formats, formulas and other programs do to a workbook."""

import zipfile
from datetime import datetime
from pathlib import Path
from typing import Any

import xlsxwriter
from nasty_xlsx import FILES as _WRITTEN
from nasty_xlsx import HEAD, fill, xlsx

FILES = _WRITTEN


@xlsx("looks.xlsx")
def _looks(book: xlsxwriter.Workbook) -> None:
    """The red row means no access, the struck home is demolished, the comment is an answer."""
    page = fill(book, [[*HEAD, "storeys"], *([[f"H{k}", "main", k] for k in range(1, 6)])])
    page.write("C3", 2, book.add_format({"bg_color": "#FF0000"}))
    page.write("A5", "H4", book.add_format({"font_strikeout": True}))
    page.write_comment("C4", "three and a loft room")


@xlsx("printed_headings.xlsx")
def _printed_headings(book: xlsxwriter.Workbook) -> None:
    head = [*HEAD, "storeys"]
    fill(
        book, [head, ["H1", "main", 1], head, ["H2", "main", 2], [*head[:2], None], ["H3", "main"]]
    )


@xlsx("doubled_heading.xlsx")
def _doubled_heading(book: xlsxwriter.Workbook) -> None:
    fill(book, [[*HEAD, "storeys", "Storeys "], ["H1", "main", 1, 2]])


@xlsx("blank_heading.xlsx")
def _blank_heading(book: xlsxwriter.Workbook) -> None:
    fill(book, [[*HEAD, None, "storeys"], ["H1", "main", None, 1], ["H2", "main", "roof wet", 2]])


@xlsx("blank_columns.xlsx")
def _blank_columns(book: xlsxwriter.Workbook) -> None:
    fill(book, [[None, *HEAD, None, None, "storeys"], [None, "H1", "main", None, " ", 2]])


@xlsx("long_cells.xlsx")
def _long_cells(book: xlsxwriter.Workbook) -> None:
    fill(
        book,
        [
            [*HEAD, "gutter_condition", "storeys"],
            ["H1", "main", "blocked " * 4_000, 2],
            ["H2", "main", "good", "2" * 400],
            ["R" * 300, "main", "good", 2],
        ],
    )


@xlsx("percents.xlsx")
def _percents(book: xlsxwriter.Workbook) -> None:
    page = fill(book, [[*HEAD, "timber_mc_pct"], *([f"H{k}", "main"] for k in range(1, 6))])
    for row, (value, code) in enumerate(
        ((0.18, "0%"), (0.075, "0.0%"), (18, "General"), (0.2, "General"), (14, '0"%"'))
    ):
        page.write_number(row + 1, 2, value, book.add_format({"num_format": code}))


@xlsx("empty_sheets.xlsx")
def _empty_sheets(book: xlsxwriter.Workbook) -> None:
    book.add_worksheet("Sheet1")
    fill(book, [["Key"], ["G", "good"], ["P", "poor"]], "Legend")
    fill(book, [[*HEAD, "gutter_condition"], ["H1", "main", "G"]], "Week 10")
    fill(book, [[*HEAD, "gutter_condition"]], "Week 11")


@xlsx("merged_down.xlsx")
def _merged_down(book: xlsxwriter.Workbook) -> None:
    page = fill(book, [[*HEAD, "storeys"], ["H1", "main", 2], [None, "ext1", 1], ["H2", "main", 2]])
    page.merge_range("A2:A3", "H1")


@xlsx("units_in_formats.xlsx")
def _units_in_formats(book: xlsxwriter.Workbook) -> None:
    page = fill(book, [[*HEAD, "ceiling_insulation_mm"], ["H1", "main"], ["H2", "main"]])
    page.write_number("C2", 4, book.add_format({"num_format": '0" in"'}))
    page.write_number("C3", 270, book.add_format({"num_format": "0 \\m\\m"}))


@xlsx("no_rows.xlsx")
def _no_rows(book: xlsxwriter.Workbook) -> None:
    fill(book, [["Week 12"], [*HEAD, "storeys"]])


@xlsx("late_headings.xlsx")
def _late_headings(book: xlsxwriter.Workbook) -> None:
    title: list[list[Any]] = [[f"note {k}"] for k in range(1, 18)]
    fill(book, [*title, [*HEAD, "storeys"], ["H1", "main", 2]])


@xlsx("table_above.xlsx")
def _table_above(book: xlsxwriter.Workbook) -> None:
    head = ["Ref", "Part", "Storeys"]
    fill(book, [head, ["H1", "main", 1], [], ["Northern estates"], head, ["H2", "main", 2]])


@xlsx("truths.xlsx")
def _truths(book: xlsxwriter.Workbook) -> None:
    fill(book, [[*HEAD, "foam_present"], ["H1", "main", True], ["H2", "main", False]])


_SHEET = (
    '<?xml version="1.0" encoding="UTF-8"?><worksheet xmlns="http://schemas.openxmlformats.org/'
    'spreadsheetml/2006/main">{}<sheetData>{}</sheetData></worksheet>'
)


def with_sheet(path: Path, xml: str, **parts: bytes) -> None:
    """A workbook of one sheet with this XML, as other programs write it."""
    whole = path.with_suffix(".tmp")
    with xlsxwriter.Workbook(str(whole)) as book:
        book.set_properties({"created": datetime(2026, 1, 1)})
        book.add_worksheet("Roofs")
    with zipfile.ZipFile(whole) as good, zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as made:
        for name in good.namelist():
            told = {"xl/worksheets/sheet1.xml": xml.encode()} | parts
            entry = zipfile.ZipInfo(name, (2026, 1, 1, 0, 0, 0))
            entry.compress_type = zipfile.ZIP_DEFLATED
            made.writestr(entry, told.get(name, good.read(name)))
    whole.unlink()


def _rows(rows: list[list[Any]], *, placed: bool) -> str:
    texts = []
    for number, row in enumerate(rows, start=1):
        cells = ""
        for letter, value in zip("ABCDEF", row, strict=False):
            at = f' r="{letter}{number}"' if placed else ""
            if isinstance(value, str):
                pieces = "".join(f"<r><t>{piece}</t></r>" for piece in (value[:1], value[1:]))
                cells += f'<c{at} t="inlineStr"><is>{pieces}</is></c>'
            else:
                cells += f"<c{at}><v>{value}</v></c>"
        texts.append(f'<row r="{number}">{cells}</row>' if placed else f"<row>{cells}</row>")
    return "".join(texts)


_HOMES = [[*HEAD, "storeys"], ["H1", "main", 1], ["H2", "main", 2], ["H3", "main", 3]]


def _false_dimension(path: Path) -> None:
    """The sheet says that it ends at B2; its rows go on."""
    with_sheet(path, _SHEET.format('<dimension ref="A1:B2"/>', _rows(_HOMES, placed=True)))


def _unplaced_cells(path: Path) -> None:
    """Cells without their place, texts in pieces of two fonts."""
    with_sheet(path, _SHEET.format("", _rows(_HOMES, placed=False)))


def _blank_formulas(path: Path) -> None:
    """Formulas filled down a template give an empty text where nothing was looked up."""
    rows = _rows([_HOMES[0], ["H1", "main"], [], ["H2", "main", 2]], placed=True)
    for place, before in (("C2", '<row r="3">'), ("A3", '<row r="4">')):
        formula = f'<c r="{place}" t="str"><f>IF(Z1="","",Z1)</f><v></v></c></row>'
        rows = rows.replace("</row>" + before, formula + before)
    with_sheet(path, _SHEET.format("", rows))


def _bare_formulas(path: Path) -> None:
    """Formulas without a result, as programs write them that do not calculate."""
    bare = '<c r="{0}"><f>{1}</f><v></v></c>'
    rows = _rows([_HOMES[0], ["H1", "main"]], placed=True).removesuffix("</row>")
    rows += bare.format("C2", "1+1") + '</row><row r="3">' + bare.format("A3", "A2")
    rows += '<c r="B3" t="inlineStr"><is><t>main</t></is></c></row><row r="4">'
    rows += "".join(bare.format(f"{letter}4", "A2") for letter in "ABC") + "</row>"
    with_sheet(path, _SHEET.format("", rows))


FILES["bare_formulas.xlsx"] = _bare_formulas
FILES["blank_formulas.xlsx"] = _blank_formulas
FILES["false_dimension.xlsx"] = _false_dimension
FILES["unplaced_cells.xlsx"] = _unplaced_cells


def _rows_in_disorder(path: Path) -> None:
    """The third home stands first in the file, with its own row number."""
    head, *homes = _rows(_HOMES, placed=True).split("</row>")[:4]
    rows = "".join(f"{row}</row>" for row in (head, homes[2], homes[0], homes[1]))
    with_sheet(path, _SHEET.format("", rows))


FILES["rows_in_disorder.xlsx"] = _rows_in_disorder
