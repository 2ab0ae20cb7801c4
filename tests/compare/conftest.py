"""One estate of three homes and runs of it, shared by the tests that only look."""

from pathlib import Path

import pytest
from compare_stock import Estate, home


@pytest.fixture
def estate(tmp_path: Path) -> Estate:
    """H1 and H3 are sound; the gutter of H2 has failed (W04), so water comes first."""
    made = Estate(tmp_path / "estate").write()
    return made.survey("first.xlsx", home("H1"), home("H2", gutter_condition="failed"), home("H3"))
