"""One estate of three homes and its first run, made once and copied for each test."""

import shutil
from pathlib import Path

import pytest
from compare_stock import Estate, home


@pytest.fixture(scope="session")
def first_estate(tmp_path_factory: pytest.TempPathFactory) -> Path:
    made = Estate(tmp_path_factory.mktemp("first") / "estate").write()
    made.survey("first.xlsx", home("H1"), home("H2", gutter_condition="failed"), home("H3"))
    return made.run("one").parent


@pytest.fixture
def estate(first_estate: Path, tmp_path: Path) -> Estate:
    """H1 and H3 are sound; the gutter of H2 has failed (W04), so water comes first.

    Its first run stands in the folder "one".
    """
    return Estate(Path(shutil.copytree(first_estate, tmp_path / "estate")))
