"""Vapour arithmetic against numbers from outside the code.

Assertions V1 to V6 and K4 are hand arithmetic on ISO 13788's expressions and the US model code's
class limits (COMPUTED from SEEN expressions, limits SEEN). Table values are a public saturation
table (SEEN). psychrolib is an independent implementation of the ASHRAE Handbook's formulation,
another fit than ISO's: the tolerances say by how much the two may differ.
"""

import numpy as np
import psychrolib
import pytest

from triage.physics.surface_temperature import f_rsi_plain, required_factor
from triage.physics.vapour import (
    DELTA0_KG_M_S_PA,
    MONTH_SECONDS,
    PERM_KG_M2_S_PA,
    dew_point_c,
    perm_from_sd,
    saturation_pressure_pa,
    sd_from_mu,
    sd_from_perm,
    vapour_density_kg_m3,
    vapour_pressure_pa,
    vapour_retarder_class,
    wet_bulb_c,
)

SEA_LEVEL_PA = 101_325.0


@pytest.fixture(autouse=True, scope="module")  # setting units compiles psychrolib anew
def metric_units() -> None:
    psychrolib.SetUnitSystem(psychrolib.SI)


@pytest.mark.parametrize(
    ("celsius", "pascal"),
    [(-10, 259.33), (0, 610.50), (10, 1227.31), (20, 2336.95), (25, 3165.92)],
)
def test_v1_saturation_pressure(celsius: float, pascal: float) -> None:
    assert saturation_pressure_pa(celsius) == pytest.approx(pascal, abs=0.01)


@pytest.mark.parametrize(
    ("celsius", "pascal"), [(-20, 103.5), (-19, 113.9), (-18, 125.2), (31, 4492), (32, 4755)]
)
def test_saturation_table_within_one_percent(celsius: float, pascal: float) -> None:
    assert saturation_pressure_pa(celsius) == pytest.approx(pascal, rel=0.01)


def test_v2_dew_point() -> None:
    assert dew_point_c(1168.48) == pytest.approx(9.269, abs=0.001)
    assert vapour_pressure_pa(20.0, 50.0) == pytest.approx(1168.48, abs=0.01)


@pytest.mark.parametrize(("rh", "surface", "factor"), [(50, 12.625, 0.631), (60, 15.435, 0.772)])
def test_v3_v4_required_factor(rh: float, surface: float, factor: float) -> None:
    p_in = vapour_pressure_pa(20.0, rh)
    assert dew_point_c(p_in / 0.8) == pytest.approx(surface, abs=0.001)
    assert required_factor(0.0, 20.0, p_in) == pytest.approx(factor, abs=0.001)


@pytest.mark.parametrize(("u", "factor"), [(1.0, 0.777), (2.1, 0.581), (0.3, 0.928)])
def test_v6_plain_factor_of_a_wall(u: float, factor: float) -> None:
    assert f_rsi_plain(u, 0.25, 0.13) == pytest.approx(factor, abs=0.001)


@pytest.mark.parametrize(
    ("perm", "name"),
    [
        (0.1, "class_1"),
        (0.1001, "class_2"),
        (1.0, "class_2"),
        (1.01, "class_3"),
        (10.0, "class_3"),
        (10.1, "open"),
        (0.0, "class_1"),
    ],
)
def test_k4_retarder_class(perm: float, name: str) -> None:
    assert vapour_retarder_class(perm) == name


# Class limits as equivalent air layers: 35, 3.5 and 0.35 m (COMPUTED in the reference).
@pytest.mark.parametrize(
    ("sd", "name"),
    [
        (35.0, "class_1"),
        (34.9, "class_2"),
        (3.5, "class_2"),
        (3.49, "class_3"),
        (0.35, "class_3"),
        (0.349, "open"),
    ],
)
def test_classes_by_air_layer(sd: float, name: str) -> None:
    assert vapour_retarder_class(float(perm_from_sd(sd))) == name


# 18 mm plywood; 100 and 50 mm closed-cell foam; 100 mm open-cell foam; 10 mm felt (COMPUTED).
@pytest.mark.parametrize(
    ("mu", "mm", "sd", "perm"),
    [
        (200, 18, 3.6, None),
        (70, 18, 1.26, None),
        (60, 100, 6.0, 0.58),
        (60, 50, 3.0, 1.17),
        (3, 100, 0.30, 11.7),
        (50_000, 10, 500.0, None),
    ],
)
def test_layers_in_metres_and_perms(mu: float, mm: float, sd: float, perm: float | None) -> None:
    assert sd_from_mu(mu, mm) == pytest.approx(sd, rel=1e-12)
    if perm is not None:
        assert perm_from_sd(sd) == pytest.approx(perm, abs=0.05 if perm > 10 else 0.005)


def test_the_perm_and_its_air_layer_agree() -> None:
    """57.2135e-12 kg/(m²·s·Pa) is a standard factor; 3.50 m is a rounding of what it gives."""
    assert pytest.approx(57.2135e-12) == PERM_KG_M2_S_PA
    assert sd_from_perm(1.0) == pytest.approx(DELTA0_KG_M_S_PA / 57.2135e-12, rel=0.002)


def test_class_1_excess_as_a_density() -> None:
    """0.002 kg/m³ at 293 K is 270.4 Pa (COMPUTED in the reference)."""
    assert vapour_density_kg_m3(293.0 - 273.15, 270.4) == pytest.approx(0.002, rel=2e-4)


def test_months_are_calendar_months_of_28_days_in_february() -> None:
    assert MONTH_SECONDS[0] == 2_678_400  # January, as in the published hand check
    assert MONTH_SECONDS.sum() == 365 * 86_400
    assert MONTH_SECONDS[1] == 28 * 86_400


# psychrolib's figures at four temperatures, printed in the reference: ISO -0.22 to -0.06 %.
@pytest.mark.parametrize(
    ("celsius", "percent"), [(-10, -0.22), (0, -0.11), (10, -0.06), (20, -0.08)]
)
def test_iso_against_ashrae_as_printed(celsius: float, percent: float) -> None:
    other = psychrolib.GetSatVapPres(celsius)
    gap = 100 * (float(saturation_pressure_pa(celsius)) / other - 1)
    assert gap == pytest.approx(percent, abs=0.01)


@pytest.mark.parametrize(
    ("low", "high", "percent"), [(-20, -10, 0.55), (-10, 0, 0.25), (0, 60, 0.2)]
)
def test_saturation_pressure_against_psychrolib(low: int, high: int, percent: float) -> None:
    t = np.arange(low, high + 0.25, 0.5)
    other = np.array([psychrolib.GetSatVapPres(x) for x in t])
    assert np.abs(saturation_pressure_pa(t) / other - 1).max() * 100 < percent


@pytest.mark.parametrize("rh", [10, 30, 50, 80, 95, 100])
def test_dew_point_against_psychrolib(rh: float) -> None:
    """Within 0.05 K from a dew point of -20 °C up."""
    t = np.arange(-20, 60.5, 2.5)
    other = np.array([psychrolib.GetTDewPointFromRelHum(x, rh / 100) for x in t])
    ours = dew_point_c(vapour_pressure_pa(t, rh))
    kept = other >= -20
    assert kept.any()
    assert np.abs(ours - other)[kept].max() < 0.05


@pytest.mark.parametrize("rh", [5, 20, 50, 80, 100])
@pytest.mark.parametrize("pressure", [SEA_LEVEL_PA, 80_000.0])
def test_wet_bulb_against_psychrolib(rh: float, pressure: float) -> None:
    """Within 0.02 K; round 0 °C, where ice and water both fit, one may find each."""
    t = np.arange(-20, 60.5, 2.5)
    t = t[saturation_pressure_pa(t) < pressure / 2]
    other = np.array([psychrolib.GetTWetBulbFromRelHum(x, rh / 100, pressure) for x in t])
    ours = wet_bulb_c(t, rh, pressure)
    clear = np.abs(other) > 0.7
    assert clear.sum() > len(t) - 3
    assert np.abs(ours - other)[clear].max() < 0.02
    assert np.abs(ours - other).max() < 0.8


def test_wet_bulb_and_dew_point_of_a_room() -> None:
    """20 °C, 50 %: psychrolib prints 13.783 and 9.272 °C at 101 325 Pa."""
    assert wet_bulb_c(20.0, 50.0) == pytest.approx(13.783, abs=0.005)
    assert dew_point_c(vapour_pressure_pa(20.0, 50.0)) == pytest.approx(9.272, abs=0.005)
