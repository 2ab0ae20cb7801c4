"""What an ods file says beside its cell values: error cells, formats, hidden rows, colours.

The cell reader gives an error cell as an empty text and 18% as 0.18, so both are looked for in
the document itself, and only when a quick search finds that there are any.
"""

import re
import zipfile
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import IO
from xml.etree import ElementTree

import polars as pl

from triage.intake.sheets import Note, letters
from triage.intake.shown import BARE_FORMULA, is_shown_unit, write_formulas

_TABLE = "{urn:oasis:names:tc:opendocument:xmlns:table:1.0}"
_OFFICE = "{urn:oasis:names:tc:opendocument:xmlns:office:1.0}"
_TEXT = "{urn:oasis:names:tc:opendocument:xmlns:text:1.0}"
_STYLE = "{urn:oasis:names:tc:opendocument:xmlns:style:1.0}"
_FO = "{urn:oasis:names:tc:opendocument:xmlns:xsl-fo-compatible:1.0}"
_SIGNS = (
    *(
        b':value-type="percentage"',
        b':visibility="',
        b">#",
        b">Err:",
        b"rows-spanned",
        b"null-date",
    ),
    *(b":annotation", b"background-color", b"text-line-through-style"),
)
# A number format that writes a sign beside the number, or zeros in front of it.
_FORMATS = re.compile(
    rb'<number:number-style\b(?:(?!</number:number-style>).)*?(?:<number:text>|integer-digits="[2-9])',
    re.DOTALL,
)
_BARE_FORMULA = re.compile(rb'<table:table-cell\b(?![^>]*:value-type)[^>]*:formula="')
_MOST_REPEATS = 10_000  # a format that runs down the whole sheet repeats its row a million times
_ERROR_TEXTS = ("#DIV/0!", "#N/A", "#NAME?", "#NULL!", "#NUM!", "#REF!", "#VALUE!", "Err:")
_PLAIN_COLOURS = ("transparent", "#ffffff")


@dataclass
class OdsSheet:
    """What one sheet says: shown texts and bare formulas by place (from 0), notes, looks."""

    texts: dict[str, dict[int, str]] = field(default_factory=dict)
    notes: list[Note] = field(default_factory=list)
    looks: dict[str, set[int]] = field(default_factory=dict)
    bare: list[tuple[str, int]] = field(default_factory=list)


@dataclass
class OdsBook:
    """What the workbook says: its day count, and each sheet by name."""

    is_1904: bool = False
    sheets: dict[str, OdsSheet] = field(default_factory=dict)
    styles: dict[str, str] = field(default_factory=dict)


def read_beside(path: Path) -> OdsBook:
    """Look through the document of an ods file; at once done if there is nothing to find."""
    with zipfile.ZipFile(path) as archive:
        content = archive.read("content.xml")
        styles = content[: max(content.find(b"<office:body"), 0)]
        is_plain = _FORMATS.search(styles) is None and _BARE_FORMULA.search(content) is None
        if is_plain and not any(sign in content for sign in _SIGNS):
            return OdsBook()
        del content
        with archive.open("content.xml") as stream:
            return _walk(stream)


def _walk(stream: IO[bytes]) -> OdsBook:
    """Go through the rows one by one, forgetting each: a whole tree would fill the memory."""
    book, sheet = OdsBook(), OdsSheet()
    row = column = 0
    for event, element in ElementTree.iterparse(stream, events=("start", "end")):
        if event == "start" and element.tag == f"{_TABLE}table":
            sheet = book.sheets.setdefault(element.get(f"{_TABLE}name", ""), OdsSheet())
            row = column = 0
        elif event == "start":
            continue
        elif element.tag == f"{_TABLE}table-row":
            repeat = int(element.get(f"{_TABLE}number-rows-repeated", "1"))
            _take_row(element, row, repeat, sheet, book.styles)
            row += repeat
            element.clear()
        elif element.tag == f"{_TABLE}table-column":
            column += _take_column(element, column, sheet)
        elif element.tag == f"{_STYLE}style" and (look := _look(element)):
            book.styles[element.get(f"{_STYLE}name", "")] = look
        elif element.tag == f"{_TABLE}null-date":
            book.is_1904 = element.get(f"{_TABLE}date-value", "").startswith("1904")
    return book


def _look(style: ElementTree.Element) -> str:
    for part in style:
        colour = part.get(f"{_FO}background-color", "transparent")
        if part.get(f"{_STYLE}text-line-through-style", "none") != "none":
            return "struck out"
        if colour.lower() not in _PLAIN_COLOURS and part.tag == f"{_STYLE}table-cell-properties":
            return f"coloured {colour}"
    return ""


def _take_column(element: ElementTree.Element, column: int, sheet: OdsSheet) -> int:
    repeat = int(element.get(f"{_TABLE}number-columns-repeated", "1"))
    if element.get(f"{_TABLE}visibility", "visible") != "visible":
        first, last = letters(column), letters(column + min(repeat, 1_024) - 1)
        span = first if first == last else f"{first}:{last}"
        sheet.notes.append(Note("hidden_column", "hidden in the sheet; it is read", column=span))
    return repeat


def _take_row(
    element: ElementTree.Element, row: int, repeat: int, sheet: OdsSheet, styles: dict[str, str]
) -> None:
    is_hidden = element.get(f"{_TABLE}visibility", "visible") != "visible" and len(element) > 0
    odd = list(_odd_in_row(element))
    looks = {styles[c.get(f"{_TABLE}style-name", "")] for c in element if _has_look(c, styles)}
    sheet.notes += _notes_of_row(element, row)
    if not odd and not is_hidden and not looks:
        return
    for number in range(row, row + min(repeat, _MOST_REPEATS)):
        if is_hidden:
            message = "this row is hidden in the sheet; it is read"
            sheet.notes.append(Note("hidden_row", message, number + 1))
        for column, text in odd:
            if text == BARE_FORMULA:
                sheet.bare.append((column, number))
            else:
                sheet.texts.setdefault(column, {})[number] = text
        for look in looks:
            sheet.looks.setdefault(look, set()).add(number + 1)


def _has_look(cell: ElementTree.Element, styles: dict[str, str]) -> bool:
    return cell.get(f"{_TABLE}style-name", "") in styles and len(cell) > 0


def _notes_of_row(element: ElementTree.Element, row: int) -> Iterator[Note]:
    column = 0
    for cell in element:
        down = int(cell.get(f"{_TABLE}number-rows-spanned", "1"))
        across = int(cell.get(f"{_TABLE}number-columns-spanned", "1"))
        if down > 1:
            left, right = letters(column), letters(column + across - 1)
            span = f"{left}{row + 1}:{right}{row + down}"
            message = f"{span} is one merged cell; only row {row + 1} holds its value"
            yield Note("merged_cells", message, row + 1, left, span)
        if cell.find(f"{_OFFICE}annotation") is not None:
            message = "a cell comment is not read; put what it says into a cell"
            yield Note("comment_not_read", message, row + 1, letters(column))
        column += int(cell.get(f"{_TABLE}number-columns-repeated", "1"))


def apply_shown(cells: pl.DataFrame, sheet: OdsSheet) -> pl.DataFrame:
    """Put the shown texts into the cells."""
    cells = write_formulas(cells, sheet.bare)
    changed = []
    for name, texts in sheet.texts.items():
        at = {row: text for row, text in texts.items() if row < cells.height}
        if name in cells.columns and at:
            changed.append(cells.get_column(name).scatter(list(at), list(at.values())))
    return cells.with_columns(changed)


def _odd_in_row(row: ElementTree.Element) -> Iterator[tuple[str, str]]:
    column = 0
    for cell in row:
        repeat = int(cell.get(f"{_TABLE}number-columns-repeated", "1"))
        text = "".join("".join(p.itertext()) for p in cell.findall(f"{_TEXT}p"))
        kind = cell.get(f"{_OFFICE}value-type")
        is_error = text.startswith(_ERROR_TEXTS) and cell.get(f"{_TABLE}formula") is not None
        if kind is None and not text and cell.get(f"{_TABLE}formula") is not None:
            text = BARE_FORMULA  # never calculated
        is_shown = kind == "percentage" or (kind == "float" and is_shown_unit(text))
        if text and (is_error or is_shown or text == BARE_FORMULA):
            yield from ((letters(column + k), text) for k in range(min(repeat, 1_024)))
        column += repeat
