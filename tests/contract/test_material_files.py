"""Material files and declared products: sane against each other, and every slip with its line."""

from itertools import pairwise
from pathlib import Path

import pytest

from triage.contract import Contract
from triage.contract.materials import (
    FOAM_MATERIALS,
    Material,
    load_materials,
    materials_digest,
    materials_dir,
)
from triage.errors import ManyErrors, SchemaError, TriageError

ALL = sorted(load_materials())
GOOD = """[board]
title = "Board"
conductivity_w_mk = 0.13
density_kg_m3 = 500
mu_dry = 50
mu_wet = 20
source = "a table"
mark = "SEEN"
"""


def read(folder: Path, text: str) -> Material:
    (folder / "wood.toml").write_text(text, encoding="utf-8")
    return load_materials(folder)["board"]


def refused(folder: Path, text: str) -> SchemaError:
    with pytest.raises(SchemaError) as caught:
        read(folder, text)
    return caught.value


@pytest.mark.parametrize("code", ALL)
def test_t1_sorption_rises_and_fits_into_the_pores(code: str) -> None:
    material = load_materials()[code]
    points = material.sorption
    assert all(a[0] < b[0] and a[1] <= b[1] for a, b in pairwise(points))
    if points and material.porosity is not None:
        assert points[-1][1] <= 1000 * material.porosity
    if points and material.free_saturation_kg_m3 is not None:
        assert points[-1][1] <= material.free_saturation_kg_m3


@pytest.mark.parametrize("code", ALL)
def test_every_value_says_where_it_is_from(code: str) -> None:
    material = load_materials()[code]
    marks = [material.mark, material.vapour_mark]
    if material.sorption:
        marks.append(material.storage_mark or "")
    if material.air_impermeable_from_mm is not None:
        marks.append(material.air_mark or "")
    for mark in marks:
        assert mark.split()[0].strip(",") in {"SEEN", "MEMORY", "COMPUTED", "POLICY", "PRACTICE"}
    assert len(material.source) > 10
    assert len(material.vapour_source) > 10


@pytest.mark.parametrize("code", ALL)
def test_what_conducts_is_dense(code: str) -> None:
    """Physics, not a table: no light solid conducts well, and none is denser than lead."""
    material = load_materials()[code]
    if material.conductivity_w_mk is None or material.density_kg_m3 is None:
        assert material.fixed_sd_m is not None  # a film
        return
    assert 0 < material.density_kg_m3 <= 11400
    if material.density_kg_m3 < 100 and code != "air_still":
        assert material.conductivity_w_mk <= 0.05
    if material.density_kg_m3 > 1400:
        assert material.conductivity_w_mk >= 0.12


def test_every_insulation_of_the_survey_is_a_material_or_other(contract: Contract) -> None:
    codes = {code.code for code in contract.codes["MM"]}
    assert codes - set(load_materials()) == {"other"}
    for code in codes - {"other"}:
        material = load_materials()[code]
        assert material.thickness_range_mm is not None
        assert material.conductivity_w_mk is not None
        assert material.conductivity_w_mk <= 0.1, "it insulates"


def test_every_foam_that_a_survey_can_name_is_a_material(contract: Contract) -> None:
    assert set(FOAM_MATERIALS) <= {code.code for code in contract.codes["FT"]}
    assert set(FOAM_MATERIALS.values()) <= set(load_materials())


def test_vapour_tight_materials_stay_finite() -> None:
    for code in ("zinc", "copper", "steel", "lead", "glass", "aluminium", "cellular_glass"):
        assert 1e4 <= load_materials()[code].sd_m(1.0) <= 1e6


def test_a_facing_adds_to_the_core() -> None:
    """Core mu 60 over 100 mm is 6 m; one aluminium foil of 0.05 mm 1500 m (standard's table)."""
    assert load_materials()["pir_board_foil"].sd_m(100) == pytest.approx(1506.0)


def test_a_variable_layer_opens_when_humid() -> None:
    layer = load_materials()["vapour_control_variable"]
    assert layer.sd_m(0.3, "wet") < layer.sd_m(0.3, "dry")


@pytest.mark.parametrize("thickness_mm", [0.0, -5.0, float("nan"), float("inf")])
def test_no_layer_has_such_a_thickness(thickness_mm: float) -> None:
    wool = load_materials()["mineral_wool"]
    with pytest.raises(ValueError, match="mineral_wool"):
        wool.sd_m(thickness_mm)
    with pytest.raises(ValueError, match="mineral_wool"):
        wool.r_m2k_w(thickness_mm)
    assert wool.thickness_problem(thickness_mm) is not None


def test_nothing_is_extrapolated_from_a_sorption_table() -> None:
    with pytest.raises(ValueError, match="outside the table"):
        load_materials()["measured_brick"].water_kg_m3(0.3)
    with pytest.raises(ValueError, match="no sorption table"):
        load_materials()["zinc"].water_kg_m3(0.8)


def test_the_digest_changes_with_the_data_and_not_with_line_ends(tmp_path: Path) -> None:
    copies = [tmp_path / name for name in ("same", "windows", "other")]
    texts = [GOOD, GOOD.replace("\n", "\r\n"), GOOD.replace("0.13", "0.14")]
    for folder, text in zip(copies, texts, strict=True):
        folder.mkdir()
        (folder / "wood.toml").write_bytes(text.encode())
    same, windows, other = (materials_digest(folder) for folder in copies)
    assert same == windows != other
    assert materials_digest() == materials_digest(materials_dir())


@pytest.mark.parametrize(
    ("before", "after", "line", "says"),
    [
        ("0.13", "0.0", 3, "'conductivity_w_mk' is 0"),
        ("0.13", "-0.13", 3, "'conductivity_w_mk' is -0.13"),
        ("0.13", "nan", 3, "'conductivity_w_mk' is nan"),
        ("0.13", '"0.13"', 3, "should be a number"),
        ("500", "50000", 4, "'density_kg_m3' is 50000"),
        ("mu_wet = 20", "mu_wet = 60", 6, "is above 'mu_dry'"),
        ("mu_wet = 20", "sd_m = 3.0", 5, "vapour values given: mu_dry, sd_m"),
        ("mu_wet = 20", "mu = 20", 6, "unknown key 'mu'"),
        ('mark = "SEEN"', 'mark = "TRUE"', 8, "'TRUE' is no mark"),
        ('mark = "SEEN"', 'mark = "SEEN"\nmould_class = "tough"', 9, "is no mould_class"),
        ('mark = "SEEN"', 'mark = "SEEN"\nsorption = [[0.8, 9.0], [0.5, 4.0]]', 9, "do not rise"),
        ('mark = "SEEN"', 'mark = "SEEN"\nsorption = [[0.5, 9.0], [0.8, 4.0]]', 9, "fall"),
        (
            'mark = "SEEN"',
            'mark = "SEEN"\nporosity = 0.1\nsorption = [[0.5, 9.0], [0.8, 140.0]]',
            10,
            "more than its pores hold",
        ),
        ('mark = "SEEN"', 'mark = "SEEN"\nsorption = [[0.5, 9.0], [0.8]]', 9, "two numbers"),
        (
            'mark = "SEEN"',
            'mark = "SEEN"\nair_impermeable_from_mm = 30\nair_impermeable_sure_mm = 20',
            10,
            "below the lower bound",
        ),
        (
            'mark = "SEEN"',
            'mark = "SEEN"\nconductivity_range_w_mk = [0.2, 0.3]',
            9,
            "outside its own range",
        ),
    ],
)
def test_a_slip_in_a_material_is_refused_with_its_line(
    tmp_path: Path, before: str, after: str, line: int, says: str
) -> None:
    with pytest.raises(TriageError) as caught:
        read(tmp_path, GOOD.replace(before, after))
    many = caught.value
    errors = many.errors if isinstance(many, ManyErrors) else [many]
    found = [error for error in errors if says in error.what]
    assert found, str(many)
    assert found[0].where.row == line
    assert found[0].where.file.endswith("wood.toml")


def test_all_slips_are_reported_at_once(tmp_path: Path) -> None:
    (tmp_path / "steel.toml").write_text(GOOD.replace("0.13", "0.0"), encoding="utf-8")
    with pytest.raises(ManyErrors) as caught:
        read(tmp_path, GOOD.replace("[board]", "[panel]").replace("500", "0"))
    assert len(caught.value.errors) == 2
    assert {Path(e.where.file).name for e in caught.value.errors} == {"steel.toml", "wood.toml"}


def test_one_material_in_two_files_is_refused(tmp_path: Path) -> None:
    (tmp_path / "a.toml").write_text(GOOD, encoding="utf-8")
    assert "is there twice" in refused(tmp_path, GOOD).what


def test_an_empty_folder_is_no_set_of_materials(tmp_path: Path) -> None:
    with pytest.raises(TriageError, match="no material files"):
        load_materials(tmp_path)
