"""A small programme of two homes to take records in for."""

from pathlib import Path

import pytest
from cli_helpers import Stock
from record_rows import SURVEYS, Shelf


@pytest.fixture
def shelf(tmp_path: Path) -> Shelf:
    return Shelf(Stock(tmp_path).write().survey(SURVEYS))
