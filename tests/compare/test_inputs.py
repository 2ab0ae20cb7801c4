"""What a run stores: every file that it reads, at places that stay inside its folder."""

import shutil
from collections import namedtuple
from pathlib import Path

import pytest

from triage.compare.sides import Inputs, differing
from triage.contract import load_programme
from triage.contract.policy_load import load_policy, policy_dir
from triage.errors import StoreError
from triage.inputs import INPUTS, Stored, changed_inputs, copy_inputs, input_files, open_stored
from triage.records import load_records

pytestmark = pytest.mark.usefixtures("plain_runs")

HEAD = """name = "n"
programme_id = "n"
country_code = "GB"
as_of = 2026-10-31
"""
SOURCE = """
[[sources]]
files = "surveys/**/*.csv"
"""


def programme(folder: Path, text: str) -> Path:
    (folder / "surveys" / "week 1").mkdir(parents=True)
    (folder / "surveys" / "week 1" / "a.csv").write_text("property_id\nH1\n", encoding="utf-8")
    path = folder / "ours.toml"
    path.write_text(HEAD + text + SOURCE, encoding="utf-8")
    return path


def placed(found: list[tuple[Path, Stored]]) -> dict[str, str]:
    """Stored path -> original, but for the policy pack."""
    return {s.path: str(path) for path, s in found if s.role != "policy"}


def test_a_map_of_several_files_is_stored_whole_wherever_it_stands(tmp_path: Path) -> None:
    gis = tmp_path / "gis"
    gis.mkdir()
    for suffix in (".shp", ".dbf", ".shx", ".prj"):
        (gis / f"zones{suffix}").write_bytes(suffix.encode())
    (gis / "zones_old.shp").write_bytes(b"another map")
    climate = '[climate]\nzones = "../gis/zones.shp"\nzone_column = "ZONE"\n'
    path = programme(tmp_path / "p", climate)
    found = input_files(load_programme(path))
    assert placed(found) == {
        "ours.toml": str(path),
        "surveys/week 1/a.csv": str(tmp_path / "p/surveys/week 1/a.csv"),
        **{
            f"_outside/1/zones{s}": str(path.parent / f"../gis/zones{s}")
            for s in (".shp", ".dbf", ".shx", ".prj")
        },
    }
    stored = [copy_inputs(found, made) for made in _folders(tmp_path, "one", "two")]
    shutil.rmtree(gis)
    opened, policy = open_stored(tmp_path / "one", stored[0])
    assert opened.climate is not None
    assert opened.climate.zones == tmp_path / "one" / INPUTS / "_outside/1/zones.shp"
    assert policy.digest == load_policy(policy_dir("default")).digest
    assert changed_inputs(tmp_path / "one", stored[0]) == []
    # Another table beside the same outlines is another map.
    sides = [_inputs(tmp_path / name, stored[n]) for n, name in enumerate(("one", "two"))]
    assert differing(*sides) == []
    changed = {p: "f" if p.suffix == ".dbf" else sha for p, sha in sides[1].files.items()}
    other = Inputs(sides[1].programme, sides[1].policy, sides[1].records, changed)
    assert differing(sides[0], other) == ["place"]


def _folders(root: Path, *names: str) -> list[Path]:
    for name in names:
        (root / name).mkdir()
    return [root / name for name in names]


def _inputs(run: Path, stored: list[Stored]) -> Inputs:
    from triage.contract import load_contract

    opened, policy = open_stored(run, stored)
    files = {run / INPUTS / item.path: item.sha256 for item in stored}
    return Inputs(opened, policy, load_records(opened, load_contract()).tables, files)


def test_a_pack_of_the_programme_is_stored_as_the_policy(tmp_path: Path) -> None:
    path = programme(tmp_path / "p", 'policy = "packs/ours"\n')
    shutil.copytree(policy_dir("default"), tmp_path / "p" / "packs" / "ours")
    found = input_files(load_programme(path))
    packs = {s.path: p for p, s in found if s.role == "policy"}
    whole = (tmp_path / "p" / "packs" / "ours").rglob("*.toml")
    assert set(packs.values()) == set(whole)
    assert packs["_policy/rules/water.toml"].name == "water.toml"


def test_no_room_for_copies_is_said_before_anything_is_copied(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    found = input_files(load_programme(programme(tmp_path / "p", "")))
    usage = namedtuple("usage", "total used free")
    monkeypatch.setattr(shutil, "disk_usage", lambda _: usage(1, 1, 100))
    (tmp_path / "run").mkdir()
    with pytest.raises(StoreError, match="are free") as caught:
        copy_inputs(found, tmp_path / "run")
    assert "make room" in str(caught.value)
    assert list((tmp_path / "run").iterdir()) == []


def test_two_inputs_never_take_one_place(tmp_path: Path) -> None:
    path = programme(tmp_path / "p", "")
    (tmp_path / "p" / "_policy").mkdir()
    (tmp_path / "p" / "_policy" / "parameters.toml").write_text("", encoding="utf-8")
    text = path.read_text(encoding="utf-8").replace("surveys/**/*.csv", "_policy/*.toml")
    path.write_text(text, encoding="utf-8")
    (tmp_path / "run").mkdir()
    with pytest.raises(StoreError, match="two inputs would be stored as"):
        copy_inputs(input_files(load_programme(path)), tmp_path / "run")
