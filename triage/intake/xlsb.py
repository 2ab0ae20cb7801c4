"""Refuses binary workbooks whose cells the reader would lose without a word."""

import zipfile
from pathlib import Path

from triage.errors import FileError

# Cell records without a column number, [MS-XLSB] 2.4 (BrtShortBlank to BrtShortIsst). The
# reader skips them: in a workbook that has them, every second cell of a row is lost.
_SHORT_CELLS = range(12, 19)
_LOOKED_AT = 4 * 2**20


def refuse_short_cells(path: Path, shown: str) -> None:
    """Refuse a workbook that uses short cell records near the start of any sheet.

    A program that writes them does so from the first two neighbouring cells on, so the start
    of each sheet is enough to tell. [first 4 MiB]

    Raises
    ------
    FileError
        If such a record is found.
    """
    with zipfile.ZipFile(path) as archive:
        for name in archive.namelist():
            if not name.startswith("xl/worksheets/") or not name.endswith(".bin"):
                continue
            with archive.open(name) as stream:
                if _has_short_cell(stream.read(_LOOKED_AT)):
                    what = "the workbook stores its cells in a short form that would be lost"
                    fix = "open it in a spreadsheet program and save it as xlsx"
                    raise FileError(what, shown, fix)


def _has_short_cell(data: bytes) -> bool:
    position = 0
    while position + 6 < len(data):
        kind, position = _number(data, position, 2)
        size, position = _number(data, position, 4)
        if kind in _SHORT_CELLS:
            return True
        position += size
    return False


def _number(data: bytes, position: int, most: int) -> tuple[int, int]:
    """Seven bits a byte, low first, the high bit saying that another byte follows."""
    value = 0
    for k in range(most):
        byte = data[position]
        position += 1
        value |= (byte & 0x7F) << (7 * k)
        if not byte & 0x80:
            break
    return value, position
