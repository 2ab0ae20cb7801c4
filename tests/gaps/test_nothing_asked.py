"""A run in which nobody waits for an answer."""

from pathlib import Path

import openpyxl
from cli_helpers import GOOD, HEAD, Stock, triage


def test_where_nothing_is_missing_nothing_is_asked(tmp_path: Path) -> None:
    leaking = [*GOOD[:4], "failed", GOOD[5]]
    stock = Stock(tmp_path).write().survey([HEAD, leaking])
    assert stock.run().code == 0
    done = triage("gaps", stock.out, "--out", tmp_path / "gaps")
    assert done.code == 0, done.err
    assert "0 homes wait for answers" in done.out
    books = list((tmp_path / "gaps").glob("*.xlsx"))
    assert books
    assert all(openpyxl.load_workbook(book).sheetnames for book in books)
