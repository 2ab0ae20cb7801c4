"""Bridged layers, air layers and interface temperatures against published numbers.

The nine roofs: U-values as printed in an Austrian catalogue of timber components (SEEN); the
limits R' and R'' beside them were worked out apart from this code (COMPUTED). Solid wall: a
public worked example (SEEN, unrounded COMPUTED). Roof interface K6: a published house in a cold
climate (SEEN, reproduced). K7, the wall and the loft: independent arithmetic (COMPUTED).
"""

import numpy as np
import pytest

from triage.contract.policy_load import load_policy, policy_dir
from triage.physics.heat import (
    R_SE_M2K_W,
    R_SI_M2K_W,
    air_layer_resistance,
    combined_limits,
    combined_resistance,
    interface_temperatures_c,
    outer_fraction_for,
    plane_temperature_c,
    u_value,
    ventilated_total,
)
from triage.physics.surface_temperature import temperature_factor
from triage.physics.vapour import dew_point_c, vapour_pressure_pa

TIMBER = 0.12
Section = tuple[list[float], list[list[float]]]  # shares, resistances a section


def two_way(plain: list[float], bridged: list[tuple[float, float, float, float]]) -> Section:
    """All paths through plain layers and bridged ones of (mm, conductivity, timber's, share)."""
    shares, sections = [1.0], [list(plain)]
    for mm, fill, timber, share in bridged:
        with_fill = [[*s, mm / 1000 / fill] for s in sections]
        with_timber = [[*s, mm / 1000 / timber] for s in sections]
        shares = [f * (1 - share) for f in shares] + [f * share for f in shares]
        sections = with_fill + with_timber
    return shares, sections


def rafters(mm: float, conductivity: float = 0.040) -> tuple[float, float, float, float]:
    return (mm, conductivity, TIMBER, 80 / 800)


def battens(mm: float, width_mm: float = 80) -> tuple[float, float, float, float]:
    return (mm, 0.040, TIMBER, width_mm / 400)


GYPSUM_25, GYPSUM_12 = 0.025 / 0.25, 0.0125 / 0.25
SOFTBOARD, MDF = 0.022 / 0.045, 0.015 / 0.14
CLT_AND_BOARDS = [GYPSUM_12, 0.120 / 0.13, 0.024 / 0.12]
ROOFS = [
    ("pitched 01b-00", two_way([GYPSUM_25, SOFTBOARD], [rafters(200)]), 0.20, 0.1990),
    ("pitched 01b-01", two_way([GYPSUM_25, SOFTBOARD], [rafters(220)]), 0.18, 0.1837),
    ("pitched 01b-02", two_way([GYPSUM_25, SOFTBOARD], [rafters(240)]), 0.17, 0.1706),
    ("pitched 01b-03", two_way([GYPSUM_25, SOFTBOARD], [rafters(200, 0.035)]), 0.18, 0.1823),
    ("flat 01b-00", two_way([GYPSUM_25, SOFTBOARD], [battens(50), rafters(200)]), 0.17, 0.1652),
    ("flat 08b-00", two_way([GYPSUM_25, MDF], [battens(50), rafters(200)]), 0.18, 0.1768),
    ("pitched 02a-00", two_way(CLT_AND_BOARDS, [battens(60, 60), rafters(180)]), 0.15, 0.1539),
    ("pitched 02a-01", two_way(CLT_AND_BOARDS, [battens(60, 60), rafters(200)]), 0.14, 0.1444),
    ("pitched 02a-02", two_way(CLT_AND_BOARDS, [battens(60, 60), rafters(240)]), 0.13, 0.1286),
]
LIMITS = {
    "pitched 01b-00": (5.0970, 4.9556),
    "flat 01b-00": (6.2560, 5.8484),
    "pitched 02a-00": (6.7194, 6.2769),
}
WALL_PLAIN = [0.102 / 0.77, 0.18, 0.009 / 0.13, 0.0125 / 0.25]
WALL = two_way(WALL_PLAIN, [(140, 0.038, 0.13, 0.15)])
LOFT = two_way([0.0125 / 0.25, 0.150 / 0.044], [(150, 0.044, 0.13, 47 / 600)])
SOLID = [0.018 / 0.50, 0.102 / 0.77, 0.102 / 0.56, 0.013 / 0.57]


@pytest.mark.parametrize(("name", "section", "published", "computed"), ROOFS)
def test_u1_catalogue_roofs(name: str, section: Section, published: float, computed: float) -> None:
    """Outside a ventilated cavity nothing counts: inside resistance on both faces."""
    got = float(u_value(*section, R_SI_M2K_W["upward"], R_SI_M2K_W["upward"]))
    assert abs(got - published) <= 0.005, name
    assert got == pytest.approx(computed, abs=0.00006)


@pytest.mark.parametrize("name", LIMITS)
def test_u1_limits(name: str) -> None:
    section = next(roof[1] for roof in ROOFS if roof[0] == name)
    assert combined_limits(*section, 0.10, 0.10) == pytest.approx(LIMITS[name], abs=0.0001)


def test_u2_wall_with_studs() -> None:
    upper, lower = combined_limits(*WALL, R_SE_M2K_W, R_SI_M2K_W["horizontal"])
    assert (upper, lower) == pytest.approx((3.4760, 3.3044), abs=0.0001)
    total = combined_resistance(*WALL, 0.04, 0.13)
    assert total == pytest.approx(3.3902, abs=0.0001)
    assert u_value(*WALL, 0.04, 0.13) == pytest.approx(0.2950, abs=0.0002)
    assert (upper - lower) / (2 * total) == pytest.approx(0.025, abs=0.0005)


def test_loft_with_joists() -> None:
    """A cold loft counts as a ventilated space: 0.10 on both faces."""
    r_loft = R_SI_M2K_W["upward"]
    assert combined_limits(*LOFT, r_loft, r_loft) == pytest.approx((6.8179, 6.6155), abs=0.0001)
    assert u_value(*LOFT, r_loft, r_loft) == pytest.approx(0.1489, abs=0.0001)


def test_published_solid_wall() -> None:
    assert sum(SOLID) + 0.17 == pytest.approx(0.5434, abs=0.0001)
    u = float(u_value([1.0], [SOLID], R_SE_M2K_W, R_SI_M2K_W["horizontal"]))
    assert u == pytest.approx(1.840, abs=0.0005)
    assert abs(u - 1.85) < 0.015  # printed from rounded resistances


@pytest.mark.parametrize(
    ("mm", "direction", "r"),
    [
        (37.5, "downward", 0.20),
        (37.5, "horizontal", 0.18),
    ],
)
def test_u3_air_layers(mm: float, direction: str, r: float) -> None:
    assert air_layer_resistance(mm, direction) == pytest.approx(r, abs=1e-12)


# The whole table of unventilated layers (plateaus SEEN, thin layers MEMORY).
@pytest.mark.parametrize(
    ("direction", "table"),
    [
        ("upward", [0, 0.11, 0.13, 0.15, 0.16, 0.16, 0.16, 0.16, 0.16]),
        ("horizontal", [0, 0.11, 0.13, 0.15, 0.17, 0.18, 0.18, 0.18, 0.18]),
        ("downward", [0, 0.11, 0.13, 0.15, 0.17, 0.19, 0.21, 0.22, 0.23]),
    ],
)
def test_u3_air_layer_table(direction: str, table: list[float]) -> None:
    mm = [0, 5, 7, 10, 15, 25, 50, 100, 300]
    np.testing.assert_allclose(air_layer_resistance(mm, direction), table, atol=1e-12)


def test_u4_upper_limit_is_not_below_the_lower() -> None:
    for _, section, _, _ in ROOFS:
        upper, lower = combined_limits(*section, 0.10, 0.10)
        assert upper > lower
    upper, lower = combined_limits([1.0], [SOLID], 0.04, 0.13)
    assert upper == pytest.approx(float(lower), rel=1e-12)


@pytest.mark.parametrize(
    ("opening", "r"), [(0, 3.0), (500, 3.0), (1000, 2.5), (1500, 2.0), (9000, 2.0)]
)
def test_slightly_ventilated_layers(opening: float, r: float) -> None:
    assert ventilated_total(3.0, 2.0, opening) == pytest.approx(r)


def fahrenheit(celsius: float) -> float:
    return celsius * 1.8 + 32


def celsius(fahrenheit: float) -> float:
    return (fahrenheit - 32) / 1.8


@pytest.mark.parametrize(("outside_f", "interface_f"), [(16.2, 50.0), (-15.0, 38.5)])
def test_k6_roof_interface(outside_f: float, interface_f: float) -> None:
    share = 33.451 / 53.187
    assert share == pytest.approx(0.6289, abs=0.0001)
    got = float(plane_temperature_c(share, celsius(outside_f), celsius(70)))
    assert fahrenheit(got) == pytest.approx(interface_f, abs=0.1)


def test_k6_passes_in_the_mean_month_and_not_on_the_design_night() -> None:
    dew = float(dew_point_c(vapour_pressure_pa(celsius(70), 35.0)))
    assert fahrenheit(dew) == pytest.approx(41.1, abs=0.1)
    month, night = plane_temperature_c(0.6289, [celsius(16.2), celsius(-15)], celsius(70))
    assert night < dew < month


def test_k7_outer_share_that_keeps_a_deck_at_seven_degrees() -> None:
    got = outer_fraction_for(7.0, [0, -5, -10, -15], 20.0)
    np.testing.assert_allclose(got, [0.350, 0.480, 0.567, 0.629], atol=0.001)


def test_interface_of_a_flat_roof_by_hand() -> None:
    """January of a worked roof: 4 + 16 × 0.06 / 4.21 = 4.228 °C under the felt (COMPUTED)."""
    got = interface_temperatures_c([0.02, 4.00, 0.05], 0.04, 0.10, 4.0, 20.0)
    assert got.shape == (4,)
    assert got[1] == pytest.approx(4.228, abs=0.0005)


def test_published_temperature_factor() -> None:
    """15.3, 10.4 and 20.0 °C give 0.51 (SEEN in a training text)."""
    assert temperature_factor(15.3, 10.4, 20.0) == pytest.approx(0.51, abs=0.005)


@pytest.mark.parametrize(("surface_c", "passes"), [(14.98, False), (15.0, True)])
def test_h4_limit_of_dwellings(surface_c: float, passes: bool) -> None:
    """Factors 0.749 and 0.750 between 0 and 20 °C; UK limit for dwellings 0.75 (SEEN)."""
    limit = load_policy(policy_dir("default")).number("surface_factor_min")
    assert bool(temperature_factor(surface_c, 0.0, 20.0) >= limit) is passes
