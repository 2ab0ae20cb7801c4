"""The layer tables of schemas/assemblies: what is wrong is told at once, with file and line."""

import re
import shutil
from pathlib import Path

import pytest

from triage.contract.assemblies import load_anatomies
from triage.errors import FileError, ManyErrors, SchemaError
from triage.resources import resource_dir

_SHIPPED = resource_dir("schemas") / "assemblies"


def _changed(tmp_path: Path, file: str, *swaps: tuple[str, str]) -> Path:
    folder = tmp_path / "assemblies"
    shutil.copytree(_SHIPPED, folder)
    text = (folder / file).read_text(encoding="utf-8")
    for old, new in swaps:
        assert old in text
        text = text.replace(old, new, 1)
    (folder / file).write_text(text, encoding="utf-8")
    return folder


def _line(folder: Path, file: str, text: str) -> int:
    lines = (folder / file).read_text(encoding="utf-8").splitlines()
    return next(n for n, line in enumerate(lines, 1) if text in line)


@pytest.mark.parametrize(
    ("old", "new", "what"),
    [
        ('material = "osb", mm = 11', 'material = "obs", mm = 11', "'obs' is no material"),
        ('material = "osb", mm = 11', 'material = "osb", mm = 0', "mm = 0"),
        ('material = "osb", mm = 11', 'material = "osb", mm = 1100', "thicker than any built"),
        ('deck = { material = "osb", mm = 11 }', "deck = { mm = 11 }", "layer without a material"),
        ("r = 0.08, sd = 2.0", "r = 0.08, sd = -2.0", "sd = -2"),
        ("share = 0.08", "share = 0.8", "a share of 0.8"),
        ('slots = ["ceiling_between"]', 'slots = ["ceiling_betwen"]', "is no slot"),
        ('direction = "upward"', 'direction = "up"', "up"),
    ],
)
def test_one_fault_is_told_with_its_line(tmp_path: Path, old: str, new: str, what: str) -> None:
    folder = _changed(tmp_path, "roof.toml", (old, new))
    with pytest.raises(SchemaError, match=re.escape(what)) as caught:
        load_anatomies(folder)
    assert "roof.toml" in str(caught.value)
    assert str(_line(folder, "roof.toml", new.splitlines()[0])) in str(caught.value)


def test_faults_of_all_files_are_told_at_once(tmp_path: Path) -> None:
    folder = _changed(tmp_path, "roof.toml", ("share = 0.08", "share = 0.8"))
    floor = (folder / "floor.toml").read_text(encoding="utf-8")
    (folder / "floor.toml").write_text(floor.replace('"softwood", mm', '"softwod", mm'), "utf-8")
    with pytest.raises(ManyErrors) as caught:
        load_anatomies(folder)
    assert "roof.toml" in str(caught.value)
    assert "floor.toml" in str(caught.value)
    assert "softwood" in str(caught.value)  # the suggestion


@pytest.mark.parametrize(
    ("old", "new"),
    [
        ("[new_cover.", "[no_cover."),  # a table that the roof needs
        ('mark = "SEEN S14"', 'mark = "HEARSAY"'),
        ('source = "7/16 inch"', ""),
        ("[roof_deck.osb]", '[roof_deck.osb]\ncolour = "brown"'),
    ],
)
def test_what_a_table_must_hold(tmp_path: Path, old: str, new: str) -> None:
    folder = _changed(tmp_path, "roof.toml", (old, new))
    with pytest.raises((SchemaError, ManyErrors), match=r"roof\.toml"):
        load_anatomies(folder)


def test_a_missing_file_is_told_by_name(tmp_path: Path) -> None:
    folder = _changed(tmp_path, "roof.toml")
    (folder / "wall.toml").unlink()
    with pytest.raises(FileError, match=r"wall\.toml"):
        load_anatomies(folder)
