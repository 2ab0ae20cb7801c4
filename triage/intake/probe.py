"""Reads a workbook in a process of its own first, because a damaged one can end the process.

The reader sets memory aside for the sizes that a file states. In an xls or xlsb file a few
damaged bytes state hundreds of gigabytes, and then the process is ended without an exception.
"""

import subprocess
import sys
from pathlib import Path

from triage.errors import FileError

_SECONDS = 600
_LEAST_MEMORY = 4 * 2**30
_MEMORY_FOR_A_BYTE = 100  # text of a sheet as cells; measured about 25 for xls
_CHILD = """
import sys
try:
    import resource
    limit = int(sys.argv[2])
    resource.setrlimit(resource.RLIMIT_AS, (limit, limit))
except (ImportError, ValueError):
    pass  # a system without such limits: the child is still another process
import fastexcel
reader = fastexcel.read_excel(sys.argv[1])
for name in reader.sheet_names:
    reader.load_sheet(name, header_row=None, skip_rows=0, dtypes="string")
"""


def refuse_deadly(path: Path, shown: str) -> None:
    """Refuse a workbook that ends, or holds up, the process that reads it.

    An exception in the other process is left to the real reading, which says more about it.

    Raises
    ------
    FileError
        If the other process was ended from outside or did not come to an end.
    """
    limit = max(_LEAST_MEMORY, _MEMORY_FOR_A_BYTE * path.stat().st_size)
    command = [sys.executable, "-I", "-c", _CHILD, str(path), str(limit)]
    fix = "open it in a spreadsheet program and save it as xlsx, or ask for it again"
    try:
        done = subprocess.run(command, capture_output=True, timeout=_SECONDS, check=False)
    except subprocess.TimeoutExpired as error:
        what = f"the workbook was not read within {_SECONDS} seconds"
        raise FileError(what, shown, fix) from error
    if done.returncode not in (0, 1):  # 1 is a Python exception
        what = "the file is damaged: it states sizes beyond its own, or beyond the memory"
        raise FileError(what, shown, fix)
