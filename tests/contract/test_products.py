"""Products that a programme declares and thicknesses that it proposes; slips with their line."""

from pathlib import Path

import pytest

from triage.contract import Programme, load_programme
from triage.contract.materials import Material, load_materials
from triage.contract.products import with_products
from triage.errors import ProfileError

HEAD = """name = "North estate"
programme_id = "north-2026"
country_code = "GB"
as_of = 2026-10-31
[[sources]]
files = "a.csv"
"""
PRODUCT = """[[products]]
stands_for = "spf_closed"
name = "Foam of the 2026 contract"
conductivity_w_mk = 0.022
mu = 80
source = "declaration of performance, 2026-03-01"
"""


def read(folder: Path, text: str) -> Programme:
    (folder / "a.csv").write_bytes(b"")
    path = folder / "programme.toml"
    path.write_text(HEAD + text, encoding="utf-8")
    return load_programme(path)


def refused(folder: Path, text: str) -> ProfileError:
    with pytest.raises(ProfileError) as caught:
        read(folder, text)
    return caught.value


def declared(folder: Path, text: str, code: str = "spf_closed") -> Material:
    return with_products(load_materials(), read(folder, text).products)[code]


def test_a_programme_without_products_judges_with_design_values(tmp_path: Path) -> None:
    programme = read(tmp_path, "")
    assert programme.products == ()
    assert with_products(load_materials(), programme.products) == load_materials()


def test_a_product_replaces_heat_and_vapour_values_and_nothing_else(tmp_path: Path) -> None:
    design = load_materials()["spf_closed"]
    foam = declared(tmp_path, PRODUCT)
    assert foam.r_m2k_w(100) == pytest.approx(0.1 / 0.022)
    assert foam.sd_m(100, "dry") == foam.sd_m(100, "wet") == pytest.approx(8.0)
    assert (foam.title, foam.mark) == ("Foam of the 2026 contract", "DECLARED")
    assert foam.source == foam.vapour_source == "declaration of performance, 2026-03-01"
    assert foam.density_kg_m3 == design.density_kg_m3
    assert foam.air_impermeable_sure_mm == design.air_impermeable_sure_mm
    assert load_materials()["spf_closed"] == design, "the shared set is left as it was"


def test_an_air_layer_of_a_whole_product_holds_for_any_thickness(tmp_path: Path) -> None:
    foam = declared(tmp_path, PRODUCT.replace("mu = 80", "sd_m = 12.5"))
    assert foam.sd_m(40) == foam.sd_m(200, "wet") == 12.5


def test_a_wet_cup_is_used_where_it_is_declared(tmp_path: Path) -> None:
    foam = declared(tmp_path, PRODUCT.replace("mu = 80", "mu = 80\nmu_wet = 50"))
    assert (foam.sd_m(100, "dry"), foam.sd_m(100, "wet")) == (8.0, 5.0)


@pytest.mark.parametrize("code", ["other", "mixed"])
def test_what_no_material_describes_can_be_declared(tmp_path: Path, code: str) -> None:
    assert code not in load_materials()
    text = PRODUCT.replace("spf_closed", code) + "air_impermeable_from_mm = 50\n"
    product = declared(tmp_path, text, code)
    assert product.code == code
    assert product.r_m2k_w(100) == pytest.approx(0.1 / 0.022)
    assert (product.air_impermeable(49), product.air_impermeable(50)) == (False, True)
    assert product.density_kg_m3 is None, "nothing is guessed"


@pytest.mark.parametrize(
    ("before", "after", "line", "says"),
    [
        ("spf_closed", "spf_close", 8, "there is no material 'spf_close'"),
        ("0.022", "22.0", 10, "a conductivity of 22 W/(m·K), where 0.026 is usual"),
        ("0.022", "0.0", 10, "'conductivity_w_mk' is 0"),
        ("0.022", "-0.022", 10, "'conductivity_w_mk' is -0.022"),
        ("0.022", "nan", 10, "'conductivity_w_mk' is nan"),
        ("0.022", '"R-6"', 10, "should be a number"),
        ("conductivity_w_mk = 0.022", "r_us_per_inch = 40", 10, "a conductivity of"),
        ("conductivity_w_mk = 0.022\n", "", 7, "heat values declared: none"),
        ("mu = 80", "mu = 0.5", 11, "more open than still air"),
        ("mu = 80", "mu = 80\nsd_m = 3", 11, "vapour values declared: mu, sd_m"),
        ("mu = 80\n", "", 7, "vapour values declared: none"),
        ("mu = 80", "permeance_perm = 0.8", 11, "a permeance holds for one thickness"),
        ("mu = 80", "mu = 80\nat_mm = 50", 11, "a permeance holds for one thickness"),
        ("mu = 80", "permeance_perm = 0.0\nat_mm = 50", 11, "'permeance_perm' is 0"),
        ("mu = 80", "mu = 80\nmu_wet = 90", 12, "'mu_wet' wants a 'mu'"),
        ("mu = 80", "mu = 80\nair_impermeable_from_mm = 0", 12, "'air_impermeable_from_mm' is 0"),
        ("source =", "sources =", 12, "unknown key 'sources'"),
    ],
)
def test_a_slip_in_a_product_is_refused_with_its_line(
    tmp_path: Path, before: str, after: str, line: int, says: str
) -> None:
    text = PRODUCT.replace(before, after)
    if "sources" in after:
        text += 'source = "declaration, 2026-03-01"\n'
    error = refused(tmp_path, text)
    assert says in error.what
    assert error.where.row == line


def test_two_products_for_one_material_are_refused(tmp_path: Path) -> None:
    error = refused(tmp_path, PRODUCT + PRODUCT)
    assert "two products stand for 'spf_closed'" in error.what
    assert error.where.row == 14


@pytest.mark.parametrize(
    ("material", "thickness", "says"),
    [
        ("mineral_wool", "0", "a thickness of 0 mm"),
        ("mineral_wool", "-50", "a thickness of -50 mm"),
        ("mineral_wool", "3.5", "a thermal resistance, or another unit?"),
        ("spf_closed", "3000", "thicker than any built"),
        ("spf_open", "3000", "thicker than any built"),
        ("mineral_wool", '"R-38"', "'thickness_mm' is the text 'R-38'"),
        ("mineral_wool", '"12 in"', "'thickness_mm' is the text '12 in'"),
    ],
)
def test_a_thickness_that_no_layer_has_is_refused(
    tmp_path: Path, material: str, thickness: str, says: str
) -> None:
    measure = f'[[measures]]\ncode = "loft_topup"\nmaterial = "{material}"\n'
    error = refused(tmp_path, measure + f"thickness_mm = {thickness}\n")
    assert says in error.what
    assert error.where.row == 10
    assert "write millimetres" in error.fix


def test_a_usual_thickness_passes(tmp_path: Path) -> None:
    measure = '[[measures]]\ncode = "loft_topup"\nmaterial = "mineral_wool"\nthickness_mm = 300\n'
    assert read(tmp_path, measure).measures[0].thickness_mm == 300
