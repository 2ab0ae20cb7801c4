"""What an ods file says beside its cell values: error cells, percent cells, hidden rows.

The cell reader gives an error cell as an empty text and 18% as 0.18, so both are looked for in
the document itself, and only when a quick search finds that there are any.
"""

import zipfile
from collections.abc import Iterator
from pathlib import Path
from typing import IO
from xml.etree import ElementTree

import polars as pl

from triage.intake.sheets import Note, letters

_TABLE = "{urn:oasis:names:tc:opendocument:xmlns:table:1.0}"
_OFFICE = "{urn:oasis:names:tc:opendocument:xmlns:office:1.0}"
_TEXT = "{urn:oasis:names:tc:opendocument:xmlns:text:1.0}"
_SIGNS = (b':value-type="percentage"', b':visibility="', b">#", b">Err:")
_MOST_REPEATS = 10_000  # a format that runs down the whole sheet repeats its row a million times
_ERROR_TEXTS = ("#DIV/0!", "#N/A", "#NAME?", "#NULL!", "#NUM!", "#REF!", "#VALUE!", "Err:")


def shown_cells(path: Path) -> dict[str, list[tuple[int, str, str]]]:
    """Cells whose shown text differs from what the reader gives, and hidden rows.

    Returns
    -------
    dict
        Sheet name -> (row counted from 1, column letters, text as shown). A hidden row comes
        with no letters and no text.
    """
    with zipfile.ZipFile(path) as archive:
        if not any(sign in archive.read("content.xml") for sign in _SIGNS):
            return {}
        with archive.open("content.xml") as stream:
            return _walk(stream)


def _walk(stream: IO[bytes]) -> dict[str, list[tuple[int, str, str]]]:
    """Go through the rows one by one, forgetting each: a whole tree would fill the memory."""
    found: dict[str, list[tuple[int, str, str]]] = {}
    sheet, rows_before = "", 0
    for event, element in ElementTree.iterparse(stream, events=("start", "end")):
        if event == "start" and element.tag == f"{_TABLE}table":
            sheet, rows_before = element.get(f"{_TABLE}name", ""), 0
        elif event == "end" and element.tag == f"{_TABLE}table-row":
            repeat = int(element.get(f"{_TABLE}number-rows-repeated", "1"))
            found.setdefault(sheet, []).extend(_odd_rows(element, rows_before, repeat))
            rows_before += repeat
            element.clear()
    return found


def apply_shown(
    cells: pl.DataFrame, found: list[tuple[int, str, str]]
) -> tuple[pl.DataFrame, list[Note]]:
    """Put the shown texts into the cells; give a note for each hidden row."""
    notes = [
        Note("hidden_row", "this row is hidden in the sheet; it is read", row)
        for row, column, _ in found
        if not column
    ]
    texts: dict[str, dict[int, str]] = {}
    for row, column, text in found:
        if column and row <= cells.height:
            texts.setdefault(column, {})[row - 1] = text
    changed = [
        cells.get_column(name).scatter(list(at), list(at.values()))
        for name, at in texts.items()
        if name in cells.columns
    ]
    return cells.with_columns(changed), notes


def _odd_rows(
    row: ElementTree.Element, rows_before: int, repeat: int
) -> Iterator[tuple[int, str, str]]:
    odd = list(_odd_in_row(row))
    is_hidden = row.get(f"{_TABLE}visibility", "visible") != "visible" and len(row) > 0
    if not odd and not is_hidden:
        return
    for number in range(rows_before + 1, rows_before + min(repeat, _MOST_REPEATS) + 1):
        if is_hidden:
            yield number, "", ""
        yield from ((number, column, text) for column, text in odd)


def _odd_in_row(row: ElementTree.Element) -> Iterator[tuple[str, str]]:
    column = 0
    for cell in row:
        repeat = int(cell.get(f"{_TABLE}number-columns-repeated", "1"))
        text = "".join("".join(p.itertext()) for p in cell.iter(f"{_TEXT}p"))
        is_error = text.startswith(_ERROR_TEXTS) and cell.get(f"{_TABLE}formula") is not None
        if text and (is_error or cell.get(f"{_OFFICE}value-type") == "percentage"):
            yield from ((letters(column + k), text) for k in range(min(repeat, 1_024)))
        column += repeat
