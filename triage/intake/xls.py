"""What an xls file says beside its cell values: hidden rows, formats, comments, day count.

The cell reader gives values only, see `ooxml`. The records are those of [MS-XLS] 2.4.
"""

import struct
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path

from triage.intake.compound import stream_of
from triage.intake.sheets import Note, letters
from triage.intake.shown import Form, form_of

_EOF, _DATE_MODE, _SHEET, _FORMAT, _XF, _FONT = 0x0A, 0x22, 0x85, 0x41E, 0xE0, 0x31
_ROW, _COLUMN, _MERGED, _NOTE, _FORMULA = 0x208, 0x7D, 0xE5, 0x1C, 0x06
_NUMBER, _RK, _MANY_RK = 0x203, 0x27E, 0xBD
_CELLS = frozenset({_FORMULA, _NUMBER, _RK, 0x201, 0x203, 0x204, 0x205, 0xFD})
_BUILT_IN = {9: "0%", 10: "0.00%"}  # [MS-XLS] 2.4.126: formats that are not written out
_BLANK_TEXT = 3  # kind of result of a formula that was not calculated, or that gives ""


@dataclass
class XlsSheet:
    """What one sheet says: notes, where a number format adds something, bare formulas."""

    notes: list[Note] = field(default_factory=list)
    places: dict[tuple[str, Form], list[int]] = field(default_factory=dict)
    looks: dict[str, set[int]] = field(default_factory=dict)
    bare: list[tuple[str, int]] = field(default_factory=list)


@dataclass
class XlsBook:
    """What the workbook says: its day count, and each sheet by name."""

    is_1904: bool = False
    sheets: dict[str, XlsSheet] = field(default_factory=dict)
    forms: list[Form | None] = field(default_factory=list)
    fills: list[int] = field(default_factory=list)
    strikes: list[bool] = field(default_factory=list)


def read_beside(path: Path) -> XlsBook:
    """Look through the records of a workbook.

    Raises
    ------
    struct.error, IndexError, ValueError
        If the file is damaged.
    """
    data = stream_of(path.read_bytes(), ("Workbook", "Book"))
    book = XlsBook()
    starts = _globals(data, book)
    for name, start in starts.items():
        book.sheets[name] = _sheet(data, start, book)
    return book


def _records(data: bytes, start: int) -> Iterator[tuple[int, int, int]]:
    """Kind, place of the content, and its length, up to the end of the part."""
    end = len(data) - 4
    while start <= end:
        kind, size = struct.unpack_from("<HH", data, start)
        if kind == _EOF:
            return
        yield kind, start + 4, size
        start += 4 + size


def _globals(data: bytes, book: XlsBook) -> dict[str, int]:
    starts: dict[str, int] = {}
    codes = dict(_BUILT_IN)
    formats: list[tuple[int, int, bytes]] = []
    struck: list[bool] = []
    is_wide = len(data) > 6 and struct.unpack_from("<H", data, 4)[0] >= 0x600
    for kind, at, size in _records(data, 0):
        if kind == _DATE_MODE:
            book.is_1904 = struct.unpack_from("<H", data, at)[0] == 1
        elif kind == _SHEET:
            name = _text(data, at + 6, data[at + 6], 1, is_wide=is_wide)
            starts[name] = struct.unpack_from("<I", data, at)[0]
        elif kind == _FORMAT and is_wide:
            number, length = struct.unpack_from("<HH", data, at)
            codes[number] = _text(data, at + 2, length, 2, is_wide=True)
        elif kind == _FONT:
            struck.append(bool(data[at + 2] & 0x08))
        elif kind == _XF:
            formats.append((*struct.unpack_from("<HH", data, at), data[at : at + size]))
    for font, number, raw in formats:
        book.forms.append(form_of(codes[number]) if number in codes else None)
        book.fills.append(_fill(raw) if is_wide and len(raw) >= 20 else 0)
        place = font if font < 4 else font - 1  # [MS-XLS] 2.5.129: there is no font 4
        book.strikes.append(place < len(struck) and struck[place])
    return starts


def _fill(raw: bytes) -> int:
    """Number of the colour that fills the cell; 0 if none does."""
    pattern = struct.unpack_from("<I", raw, 14)[0] >> 26
    colour = int(struct.unpack_from("<H", raw, 18)[0] & 0x7F)
    return colour if pattern and colour not in (9, 64) else 0  # white, and the window's own


def _text(data: bytes, at: int, length: int, width: int, *, is_wide: bool) -> str:
    start = at + width
    if not is_wide:
        return data[start : start + length].decode("cp1252", errors="replace")
    if data[start] & 1:
        return data[start + 1 : start + 1 + 2 * length].decode("utf-16-le", errors="replace")
    return data[start + 1 : start + 1 + length].decode("latin-1")


def _sheet(data: bytes, start: int, book: XlsBook) -> XlsSheet:
    sheet, comments = XlsSheet(), 0
    looks_at_cells = any(book.forms) or any(book.fills) or any(book.strikes)
    for kind, at, size in _records(data, start):
        if kind == _ROW:
            row, flags = struct.unpack_from("<H10xH", data, at)
            if flags & 0x20:
                message = "this row is hidden in the sheet; it is read"
                sheet.notes.append(Note("hidden_row", message, row + 1))
        elif kind == _COLUMN:
            first, last, flags = struct.unpack_from("<HH4xH", data, at)
            if flags & 1:
                sheet.notes.append(_hidden_column(first, min(last, 255)))
        elif kind == _MERGED:
            sheet.notes += _merged(data, at)
        elif kind == _NOTE:
            comments += 1
        elif kind == _MANY_RK and looks_at_cells:
            row, first = struct.unpack_from("<HH", data, at)
            for k in range((size - 6) // 6):
                form = struct.unpack_from("<H", data, at + 4 + 6 * k)[0]
                _look_at(sheet, book, row, first + k, form, is_number=True)
        elif kind in _CELLS:
            row, column, form = struct.unpack_from("<HHH", data, at)
            is_number = kind in (_NUMBER, _RK, _FORMULA)
            if kind == _FORMULA and _is_bare(data, at):
                sheet.bare.append((letters(column), row))
            elif looks_at_cells and kind != 0x201:
                _look_at(sheet, book, row, column, form, is_number=is_number)
    if comments:
        message = f"{comments} cell comments are not read; put what they say into cells"
        sheet.notes.append(Note("comment_not_read", message))
    return sheet


def _look_at(
    sheet: XlsSheet, book: XlsBook, row: int, column: int, number: int, *, is_number: bool
) -> None:
    if number >= len(book.forms):
        return
    form = book.forms[number]
    if form is not None and is_number:
        sheet.places.setdefault((letters(column), form), []).append(row)
    if book.fills[number]:
        sheet.looks.setdefault(f"coloured {book.fills[number]}", set()).add(row + 1)
    if book.strikes[number]:
        sheet.looks.setdefault("struck out", set()).add(row + 1)


def _is_bare(data: bytes, at: int) -> bool:
    """Whether a formula holds no result and is to be calculated when the file is opened."""
    kind, last = data[at + 6], struct.unpack_from("<H", data, at + 12)[0]
    return last == 0xFFFF and kind == _BLANK_TEXT and bool(data[at + 14] & 2)


def _hidden_column(first: int, last: int) -> Note:
    span = letters(first) if first == last else f"{letters(first)}:{letters(last)}"
    return Note("hidden_column", "hidden in the sheet; it is read", column=span)


def _merged(data: bytes, at: int) -> Iterator[Note]:
    for k in range(struct.unpack_from("<H", data, at)[0]):
        top, bottom, left, right = struct.unpack_from("<4H", data, at + 2 + 8 * k)
        if bottom > top:
            span = f"{letters(left)}{top + 1}:{letters(right)}{bottom + 1}"
            message = f"{span} is one merged cell; only row {top + 1} holds its value"
            yield Note("merged_cells", message, top + 1, letters(left), span)
