"""Sprayed foam against trade data, test reports and the code's conditions.

Sources, with marks: tested permeances from trade pages (SEEN), conversions (COMPUTED), limits of
air-tightness from two articles on air leakage through foam (SEEN), R-20 in zone 5 (SEEN).
"""

from pathlib import Path

import polars as pl
import pytest

from triage.assemblies.code_checks import (
    foam_face_is_class_2,
    foam_r_required_m2k_w,
    meets,
    retarder_class,
)
from triage.contract import load_programme
from triage.contract.code_tables import CodeTables, load_code_tables
from triage.contract.materials import Material, load_materials
from triage.contract.products import with_products
from triage.resources import resource_dir

AIR_AT_20_C = 1.966e-10  # 2.0e-7 T^0.81/P, COMPUTED in the reference
AIR_OF_METHOD = 2.0e-10
US = 0.1761101838  # m²K/W, SEEN in a test file after EN 12524


@pytest.fixture(scope="module")
def tables() -> CodeTables:
    return load_code_tables(resource_dir("schemas") / "policy" / "default")


def declared(folder: Path, stands_for: str, values: str) -> Material:
    """The material as a programme that declares a product sees it."""
    (folder / "a.csv").write_bytes(b"")
    text = f"""name = "North"
programme_id = "north"
country_code = "US"
as_of = 2026-10-31
[[sources]]
files = "*.csv"
[[products]]
stands_for = "{stands_for}"
name = "Foam of the contract"
source = "declaration, 2026-03-01"
{values}
"""
    path = folder / "programme.toml"
    path.write_text(text, encoding="utf-8")
    return with_products(load_materials(), load_programme(path).products)[stands_for]


@pytest.mark.parametrize(
    ("code", "perm", "thickness_mm", "permeability", "mu", "sd_m"),
    [
        ("spf_closed", 0.8, 63.5, 2.906e-12, 67.7, 4.30),  # S1
        ("spf_open", 16.0, 76.2, 6.975e-11, 2.82, 0.215),  # S2
    ],
)
def test_s1_s2_a_declared_permeance_is_kept(
    tmp_path: Path,
    code: str,
    perm: float,
    thickness_mm: float,
    permeability: float,
    mu: float,
    sd_m: float,
) -> None:
    """The references hold for air at 20 °C; the method counts with its own still air."""
    values = f"r_us_per_inch = 5\npermeance_perm = {perm}\nat_mm = {thickness_mm}"
    foam = declared(tmp_path, code, values)
    assert foam.mu_dry is not None
    same_air = AIR_AT_20_C / AIR_OF_METHOD
    assert foam.mu_dry * same_air == pytest.approx(mu, rel=5e-3)
    assert foam.sd_m(thickness_mm) * same_air == pytest.approx(sd_m, rel=5e-3)
    assert AIR_OF_METHOD / foam.mu_dry == pytest.approx(permeability, rel=5e-3)


@pytest.mark.parametrize(
    ("thickness_mm", "perm", "retarder"),
    [(25.4, 2.0, "class_3"), (51.0, 1.0, "class_2"), (100.0, 0.51, "class_2")],
)
def test_s3_class_of_closed_cell_foam_by_thickness(
    tmp_path: Path, tables: CodeTables, thickness_mm: float, perm: float, retarder: str
) -> None:
    foam = declared(tmp_path, "spf_closed", "r_us_per_inch = 6\npermeability_perm_in = 2.0")
    permeance = 3.5 / foam.sd_m(thickness_mm)
    assert permeance == pytest.approx(perm, rel=1e-2)
    assert pl.select(retarder_class(tables, pl.lit(permeance))).item() == retarder


@pytest.mark.parametrize(
    ("code", "r_us_per_inch", "conductivity"),
    [("spf_closed", 6.0, 0.02404), ("spf_open", 3.6, 0.04006)],
)
def test_s4_resistance_per_inch(
    tmp_path: Path, code: str, r_us_per_inch: float, conductivity: float
) -> None:
    foam = declared(tmp_path, code, f"r_us_per_inch = {r_us_per_inch}\nmu = 60")
    assert foam.conductivity_w_mk == pytest.approx(conductivity, abs=1e-5)


@pytest.mark.parametrize(
    ("code", "thickness_mm", "stops_air"),
    [
        ("spf_open", 75, False),  # S5
        ("spf_open", 100, None),  # 3.0 to 5.5 in, by product
        ("spf_open", 140, True),
        ("spf_closed", 20, False),
        ("spf_closed", 30, None),  # 1.0 to 1.5 in
        ("spf_closed", 38, True),  # S5
        ("spf_roofing", 26, True),  # 1 in
        ("mineral_wool", 300, False),
    ],
)
def test_s5_foam_stops_air_from_a_thickness(
    code: str, thickness_mm: float, stops_air: bool | None
) -> None:
    assert load_materials()[code].air_impermeable(thickness_mm) is stops_air


def test_s5_a_declared_thickness_settles_what_products_differ_in(tmp_path: Path) -> None:
    foam = declared(
        tmp_path, "spf_open", "r_us_per_inch = 3.7\nmu = 3\nair_impermeable_from_mm = 89"
    )
    assert foam.air_impermeable(88) is False
    assert foam.air_impermeable(89) is True


def test_s6_two_inches_in_zone_5_fall_short(tmp_path: Path, tables: CodeTables) -> None:
    foam = declared(tmp_path, "spf_closed", "r_us_per_inch = 6.5\npermeability_perm_in = 2.0")
    r = foam.r_m2k_w(50.8)
    assert r == pytest.approx(13 * US)
    row = {"zone_num": [5], "moist_letter": ["A"], "roof_covering": ["slate_natural"]}
    required = foam_r_required_m2k_w(tables)
    answer = pl.DataFrame(row).select(required / US, meets(pl.lit(r), required).alias("meets"))
    assert answer.row(0) == (pytest.approx(20.0), False)


def test_foam_of_the_reference_lies_in_the_trade_ranges() -> None:
    """R per inch 3.4 to 3.8 and 5.2 to 6.9; density 6.4 to 13, 29 to 37, 40 to 64 (SEEN)."""
    ranges = {
        "spf_open": ((3.4, 3.8), (6.4, 13)),
        "spf_closed": ((5.2, 6.9), (29, 37)),
        "spf_roofing": ((5.5, 6.6), (40, 64)),
    }
    for code, (r, density) in ranges.items():
        foam = load_materials()[code]
        assert r[0] <= foam.r_m2k_w(25.4) / US <= r[1], code
        assert foam.density_kg_m3 is not None
        assert density[0] <= foam.density_kg_m3 <= density[1], code


@pytest.mark.parametrize(
    ("zone", "perm", "face", "enough"),
    [
        (5, 11.7, "none", False),  # K2: open-cell alone
        (5, 11.7, "class_2", True),
        (5, 11.7, None, None),
        (5, 0.8, None, True),  # closed-cell is its own class 2
        (4, 11.7, "none", True),  # asked in zones 5 to 8 only
        (None, 11.7, "none", None),
        (None, 0.8, "none", True),
    ],
)
def test_k2_cold_zones_want_a_vapour_retarding_face(
    tables: CodeTables, zone: int | None, perm: float, face: str | None, enough: bool | None
) -> None:
    frame = pl.DataFrame(
        {"zone_num": [zone], "perm": [perm], "face": [face]},
        schema={"zone_num": pl.Int8, "perm": pl.Float64, "face": pl.String},
    )
    answer = frame.select(foam_face_is_class_2(tables, pl.col("perm"), pl.col("face")))
    assert answer.item() is enough
