"""A contract to test with, and the typed-out dictionary importable by every test here."""

import shutil
import sys
from pathlib import Path

import pytest

from triage.contract import Contract, load_contract
from triage.resources import resource_dir

sys.path.insert(0, str(Path(__file__).parent))


@pytest.fixture(scope="session")
def contract() -> Contract:
    return load_contract()


@pytest.fixture
def schemas(tmp_path: Path) -> Path:
    """A copy of the tables and lists that ship, to be spoilt."""
    for name in ("tables", "codes"):
        shutil.copytree(resource_dir("schemas") / name, tmp_path / "schemas" / name)
    return tmp_path / "schemas"
