"""Large sheets are read whole: no guard against damaged files takes them for one."""

import re
import zipfile
from pathlib import Path

from cli_helpers import write_book

from triage.intake.files import read_sheets
from triage.intake.limits import DEFAULT_LIMITS


def test_a_large_sheet_of_few_words_is_no_damaged_file(tmp_path: Path) -> None:
    """A workbook also states how often its texts are used: more often than they have letters."""
    head = ["property_id", "building_part", *(f"c{n}" for n in range(300))]
    rows = [[f"H{n}", "main", *(["good"] * 300)] for n in range(60)]
    path = write_book(tmp_path / "few_words.xlsx", {"Survey": [head, *rows]})
    with zipfile.ZipFile(path) as book:
        texts = book.read("xl/sharedStrings.xml")
    used = re.search(rb' count="(\d+)"', texts)
    assert used is not None
    assert int(used[1]) > len(texts)
    (sheet,) = read_sheets(path, path.name, None, DEFAULT_LIMITS)
    assert sheet.cells.shape == (61, 302)
