"""What DEVELOPERS.md shows is true: its blocks are applied to copies, and work as it says."""

import re
import shutil
from pathlib import Path

import polars as pl
import pytest

from triage import steps
from triage.contract import load_contract, load_profile, load_programme, policy_load
from triage.contract.assemblies import load_anatomies, load_library
from triage.contract.materials import load_materials
from triage.contract.policy_load import load_policy, policy_dir
from triage.programme_run import STAGES
from triage.resources import resource_dir
from triage.store import Store

GUIDE = Path(__file__).parents[1] / "DEVELOPERS.md"
BLOCK = re.compile(r"```\w+ title=\"([^\"]+)\"\n(.*?)```", re.DOTALL)


@pytest.fixture(scope="module")
def blocks() -> dict[str, str]:
    return dict(BLOCK.findall(GUIDE.read_text(encoding="utf-8")))


@pytest.fixture
def schemas(tmp_path: Path, blocks: dict[str, str]) -> Path:
    """The schemas with the guide's field, code, parameter and rule added."""
    root = tmp_path / "schemas"
    shutil.copytree(resource_dir("schemas"), root)
    for name, text in blocks.items():
        path = tmp_path / name
        if name.startswith("schemas/") and path.name != "measures.toml":
            path.write_text(path.read_text(encoding="utf-8") + text, encoding="utf-8")
    return root


def test_the_guide_shows_a_block_for_each_thing(blocks: dict[str, str]) -> None:
    assert len(blocks) == 12


def test_the_field_and_the_code_are_read(schemas: Path) -> None:
    contract = load_contract(schemas)
    assert contract.fields["loft_boarded_pct"].in_range(100)
    assert "solar_tile" in contract.fields["roof_covering"].codes


def test_the_rule_is_refused_until_it_is_required(
    schemas: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    contract = load_contract(schemas)
    monkeypatch.setattr(policy_load, "load_contract", lambda: contract)
    pack = schemas / "policy" / "default"
    with pytest.raises(Exception, match="R15 needs fields for CEIL but is not required"):
        load_policy(pack)
    measures = pack / "measures.toml"
    text = measures.read_text(encoding="utf-8")
    head, tail = text.split("[groups.CEIL]", 1)
    measures.write_text(
        head + "[groups.CEIL]" + tail.replace("required = [", 'required = ["R15", ', 1),
        encoding="utf-8",
    )
    load_policy.cache_clear()
    assert "R15" in load_policy(pack).rules


def test_the_material_and_the_layer_are_read(schemas: Path) -> None:
    assert load_materials(schemas / "materials")["sheep_wool"].r_m2k_w(100) == pytest.approx(2.5)
    roof = load_anatomies(schemas / "assemblies")["roof"]
    assert roof.tables["roof_covering"]["solar_tile"].layers["covering"].ventilated


def test_the_product_stands_in_the_place_of_its_material(
    tmp_path: Path, blocks: dict[str, str]
) -> None:
    head = 'name = "A"\nprogramme_id = "A"\ncountry_code = "GB"\nas_of = 2026-10-31\nsources = []\n'
    path = tmp_path / "programme.toml"
    path.write_text(head + blocks["programme.toml"], encoding="utf-8")
    library = load_library(load_programme(path).products)
    assert library.materials["spf_closed"].conductivity_w_mk == 0.024
    assert library.digest != load_library().digest


def test_the_profile_is_read(tmp_path: Path, blocks: dict[str, str]) -> None:
    path = tmp_path / "north.toml"
    path.write_text(blocks["profiles/north.toml"], encoding="utf-8")
    assert load_profile(path, load_contract()).name == "north team 2026"


def test_the_pipeline_step_runs(
    tmp_path: Path, blocks: dict[str, str], monkeypatch: pytest.MonkeyPatch
) -> None:
    root = tmp_path / "pipelines"
    shutil.copytree(resource_dir("pipelines"), root)
    for name, text in blocks.items():
        if name.startswith("pipelines/"):
            path = tmp_path / name
            old = path.read_text(encoding="utf-8") if path.exists() else ""
            path.write_text(old + "\n" + text, encoding="utf-8")
    monkeypatch.setattr(steps, "resource_dir", lambda _: root)
    pipeline = steps.load_pipeline("stock_triage", STAGES)
    last = steps.Pipeline(pipeline.name, pipeline.title, pipeline.steps[-1:])
    rows = pl.DataFrame({"property_id": ["a", "b", "c"], "year_built": [1931, 1938, 1962]})
    with Store(tmp_path / "store.duckdb") as store:
        store.put("clean_survey", rows)
        steps.run_pipeline(last, None, store, {}, {}, lambda _: None)
        assert store.table("age_count").rows() == [(1930, 2), (1960, 1)]


def test_the_default_pack_loads() -> None:
    assert load_policy(policy_dir("default")).version
