"""What the tests of the command line share."""

from pathlib import Path

import pytest
from cli_helpers import GOOD, HEAD, Stock


@pytest.fixture
def stock(tmp_path: Path) -> Stock:
    """A programme of one home, which runs."""
    return Stock(tmp_path).write().survey([HEAD, GOOD])
