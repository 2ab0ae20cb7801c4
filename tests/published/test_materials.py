"""Material values and approximations against published tables.

Sources, with marks: the vapour values of ISO 10456 (MEMORY) and the arithmetic on them (COMPUTED);
measured sets from a public building-simulation library and from the data set of a US government
building energy program (SEEN); the equilibrium moisture of wood from the US wood handbook's table
(SEEN in a reproduction).
"""

from pathlib import Path

import numpy as np
import pytest

from triage.contract.materials import load_materials
from triage.errors import SchemaError
from triage.physics.storage import sorption_kg_m3, sorption_shape, suction_diffusivity_m2_s

ONE_PERM_M = 3.50  # COMPUTED in the reference: 2e-10 / 5.72e-11


def test_m1_plywood_is_tighter_dry_than_wet() -> None:
    plywood = load_materials()["plywood"]
    assert plywood.sd_m(18, "dry") == pytest.approx(3.6)
    assert plywood.sd_m(18, "wet") == pytest.approx(1.26)


@pytest.mark.parametrize(
    ("code", "thickness_mm", "sd_m", "perm"),
    [
        ("spf_closed", 100, 6.0, 0.58),  # M2: class II
        ("spf_closed", 50, 3.0, 1.17),  # M2: class III
        ("spf_open", 100, 0.30, 11.7),  # M3: open
        ("bitumen_felt", 10, 500.0, 0.007),  # M4
    ],
)
def test_m2_to_m4_layers_of_foam_and_felt(
    code: str, thickness_mm: float, sd_m: float, perm: float
) -> None:
    sd = load_materials()[code].sd_m(thickness_mm)
    assert sd == pytest.approx(sd_m)
    assert ONE_PERM_M / sd == pytest.approx(perm, abs=0.05 if perm > 1.2 else 0.005)


@pytest.mark.parametrize(
    ("code", "conductivity", "density", "mu_dry", "mu_wet"),
    [  # read in public documents: table rows of EN 12524, component sheets, conductivity lists
        ("softwood", 0.13, 500, 50, 20),
        ("osb", 0.13, 650, 50, 30),
        ("plywood_dense", 0.17, 700, 220, 90),
        ("brick_outer", 0.77, None, 16, 10),
        ("brick_inner", 0.56, None, 16, 10),
        ("block_dense", 1.13, None, 150, 120),
        ("limestone_semi_hard", 1.4, 2000, 50, 40),
        ("sandstone", 2.3, 2600, 40, 30),
        ("concrete", 1.65, 2200, 120, 70),
        ("gypsum_board_dense", 0.25, 900, 10, 4),
        ("lime_sand_plaster", 0.80, 1600, 10, 6),
        ("mineral_wool", None, None, 1, 1),
        ("xps", None, None, 150, 150),
        ("epdm", 0.25, 1150, 6000, 6000),
        ("pvc_sheet", 0.17, 1390, 50000, 50000),
    ],
)
def test_design_values_are_those_of_the_table(
    code: str, conductivity: float | None, density: float | None, mu_dry: float, mu_wet: float
) -> None:
    found = load_materials()[code]
    assert (found.mu_dry, found.mu_wet) == (mu_dry, mu_wet)
    assert conductivity is None or found.conductivity_w_mk == conductivity
    assert density is None or found.density_kg_m3 == density


@pytest.mark.parametrize(
    ("code", "sd_m"),
    [  # the standard's thin layers (MEMORY); the Danish table's 1e9 m²·s·Pa/kg over 5 (SEEN)
        ("polyethylene_015", 50),
        ("polyethylene_015", 250 / 5),
        ("polyethylene_025", 100),
        ("polyethylene_stapled", 8),
        ("aluminium_foil", 1500),
        ("gloss_paint", 15 / 5),
        ("roofing_felt_danish", 500 / 5),
        ("asphalt_felt_windproof", 25 / 5),
        ("silicate_paint", 1 / 5),
        ("whitewash", 0.5 / 5),
        ("latex_paint", ONE_PERM_M / 5),
    ],
)
def test_films_are_one_air_layer_whatever_their_thickness(code: str, sd_m: float) -> None:
    film = load_materials()[code]
    assert film.sd_m(0.1) == film.sd_m(1.0) == pytest.approx(sd_m)
    assert film.r_m2k_w(1.0) == 0.0


@pytest.mark.parametrize(
    ("code", "relative_humidity", "water"),
    [  # T2
        ("measured_brick", 0.725, 7.45),
        ("measured_softwood", 0.65, 46.0),
        ("measured_spruce", 0.55, 53.3),
    ],
)
def test_t2_water_between_the_points(code: str, relative_humidity: float, water: float) -> None:
    found = load_materials()[code].water_kg_m3(relative_humidity)
    assert found == pytest.approx(water, abs=0.1)


def test_t3_softwood_agrees_with_the_handbook_table() -> None:
    softwood = load_materials()["measured_softwood"]
    assert softwood.density_kg_m3 is not None
    percent = 100 * softwood.water_kg_m3(0.80) / softwood.density_kg_m3
    assert percent == pytest.approx(15.0)
    assert abs(percent - 16.0) <= 2  # the handbook at 20 °C, 80 %


def test_t4_a_plywood_list_that_no_plywood_has_is_refused(tmp_path: Path) -> None:
    """3.7 to 15 kg/m³ over 530 kg/m³, 1.5 % at 65 %: the fault of a published list."""
    text = """[plywood]
title = "Plywood"
conductivity_w_mk = 0.12
density_kg_m3 = 530
mu_dry = 200
mu_wet = 20
sorption = [[0.5, 3.7], [0.65, 7.8], [0.9, 15.0]]
moisture_at_65_pct = [7, 13]
source = "data set"
mark = "SEEN"
storage_source = "data set"
storage_mark = "SEEN"
"""
    (tmp_path / "wood.toml").write_text(text, encoding="utf-8")
    with pytest.raises(SchemaError, match=r"1\.5 % moisture at 65 % humidity") as caught:
        load_materials(tmp_path)
    assert caught.value.where.row == 7


def test_t5_sorption_and_suction_of_generic_brick() -> None:
    """COMPUTED in the reference for w_80 9.2, w_f 370 and A 0.40."""
    assert sorption_shape(9.2, 370) == pytest.approx(1.006416, rel=1e-6)
    water = sorption_kg_m3([0.5, 0.8, 0.9, 0.95, 0.99, 1.0], 9.2, 370)
    np.testing.assert_allclose(water, [2.34, 9.20, 20.1, 40.0, 143.2, 370], rtol=2e-3)
    diffusivity = suction_diffusivity_m2_s([37, 185, 370], 0.40, 370)
    np.testing.assert_allclose(diffusivity, [8.86e-9, 1.40e-7, 4.44e-6], rtol=4e-3)  # as printed


def test_no_curve_is_drawn_through_points_that_bend_the_wrong_way() -> None:
    with pytest.raises(ValueError, match="no sorption curve"):
        sorption_shape(80, 100)
    assert np.isnan(sorption_kg_m3(1.01, 9.2, 370))
