"""Refuses binary workbooks whose cells the reader would lose, or that would fill the memory."""

import zipfile
from pathlib import Path

from triage.errors import FileError
from triage.intake.damage import damage_refused
from triage.intake.limits import Limits

# Records of [MS-XLSB] 2.4: a row's start with its number; cells with their column; and cells in
# short form, without one (BrtShortBlank to BrtShortIsst). The reader skips the short form: in a
# workbook that has it, every second cell of a row is lost.
_ROW, _CELLS, _SHORT_CELLS = 0, range(1, 12), range(12, 19)


def refuse_lossy_cells(path: Path, shown: str, limits: Limits) -> None:
    """Look at the records of every sheet before the reader does.

    Raises
    ------
    FileError
        If a sheet uses the short form, has a cell beyond the limits, or is damaged.
    """
    with damage_refused(shown), zipfile.ZipFile(path) as archive:
        for name in archive.namelist():
            if name.startswith("xl/worksheets/") and name.endswith(".bin"):
                _look_at(archive.read(name), shown, limits)


def _look_at(data: bytes, shown: str, limits: Limits) -> None:
    position = row = column = 0
    while position < len(data):
        kind, size, position = _record(data, position)
        if kind in _SHORT_CELLS:
            what = "the workbook stores its cells in a short form that would be lost"
            fix = "open it in a spreadsheet program and save it as xlsx"
            raise FileError(what, shown, fix)
        if kind == _ROW:
            row = max(row, int.from_bytes(data[position : position + 4], "little"))
        elif kind in _CELLS:
            column = max(column, int.from_bytes(data[position : position + 4], "little"))
        position += size
    if row >= limits.rows or column >= limits.columns or (row + 1) * (column + 1) > limits.cells:
        what = f"a sheet reaches to row {row + 1}, column {column + 1}: more than can be read"
        raise FileError(what, shown, "delete the stray cell; a survey has none so far out")


def _record(data: bytes, position: int) -> tuple[int, int, int]:
    """Kind and size of a record and where its content starts: 7 bits a byte, low bits first."""
    kind = data[position]
    position += 1
    if kind & 0x80:
        kind = (kind & 0x7F) | (data[position] & 0x7F) << 7
        position += 1
    size = 0
    for shift in (0, 7, 14, 21):
        byte = data[position]
        position += 1
        size |= (byte & 0x7F) << shift
        if not byte & 0x80:
            break
    return kind, size, position
