"""Indoor climates against hand arithmetic on the standards' lines.

V5, V8, H2, H3: lines of ISO 13788 annex A, EN 15026 annex C and ASHRAE 160 (MEMORY for the lines,
COMPUTED by hand at the points below). The twelve months are a synthetic maritime climate whose
indoor pressures were worked out by an independent solver (COMPUTED).
"""

import numpy as np
import pytest

from triage.physics.indoor import (
    ashrae_160_indoor,
    class_excess_pa,
    en_15026_indoor,
    indoor_climate,
)
from triage.physics.surface_temperature import required_factor
from triage.physics.vapour import vapour_pressure_pa

T_OUT_C = [4.0, 4.5, 6.5, 9.0, 12.5, 15.5, 17.5, 17.0, 14.5, 11.0, 7.0, 4.5]
RH_PCT = [86, 83, 79, 75, 74, 73, 72, 74, 78, 83, 86, 87]
P_OUT_PA = [699.05, 698.78, 764.31, 860.59, 1072.04, 1284.84]
P_OUT_PA += [1439.18, 1433.12, 1287.24, 1088.97, 861.15, 732.45]
P_IN_PA = [1347.05, 1326.53, 1311.06, 1306.09, 1375.79, 1467.09]
P_IN_PA += [1540.43, 1554.62, 1509.99, 1453.47, 1387.65, 1360.20]


def test_v8_excess_of_class_2() -> None:
    assert class_excess_pa(2, [-5, 0, 10, 20, 25]).tolist() == [540, 540, 270, 0, 0]


@pytest.mark.parametrize(("number", "pascal"), [(1, 270), (2, 540), (3, 810), (4, 1080)])
def test_excess_at_freezing(number: int, pascal: float) -> None:
    assert class_excess_pa(number, 0.0) == pascal


@pytest.mark.parametrize(("margin", "p_in", "factor"), [(1.0, 1348.58, 0.655), (1.1, None, 0.701)])
def test_v5_class_3_and_its_margin(margin: float, p_in: float | None, factor: float) -> None:
    t_out = np.full((1, 12), 5.0)
    p_out = vapour_pressure_pa(t_out, 85.0)
    assert p_out[0, 0] == pytest.approx(741.08, abs=0.01)
    assert class_excess_pa(3, 5.0) == pytest.approx(607.5)
    air = indoor_climate("iso_13788", t_out, p_out, humidity_class=[3], margin=margin)
    if p_in is not None:
        assert air.p_in_pa[0, 0] == pytest.approx(p_in, abs=0.01)
    found = required_factor(t_out, air.t_in_c, air.p_in_pa)
    assert found[0, 0] == pytest.approx(factor, abs=0.001)


def test_a_year_of_class_3() -> None:
    t_out = np.array([T_OUT_C])
    p_out = vapour_pressure_pa(t_out, RH_PCT)
    np.testing.assert_allclose(p_out[0], P_OUT_PA, atol=0.006)
    air = indoor_climate("iso_13788", t_out, p_out, humidity_class=[3])
    np.testing.assert_allclose(air.p_in_pa[0], P_IN_PA, atol=0.006)
    assert (air.t_in_c == 20.0).all()
    assert not air.is_capped.any()


@pytest.mark.parametrize(("t_out", "rh", "t_in"), [(-20, 30, 20), (5, 45, 20), (30, 60, 25)])
def test_h2_en_15026(t_out: float, rh: float, t_in: float) -> None:
    got_t, got_rh = en_15026_indoor(t_out)
    assert (float(got_t), float(got_rh)) == (t_in, rh)
    assert float(en_15026_indoor(t_out, high_load=True)[1]) == rh + 10


@pytest.mark.parametrize(("t_out", "rh"), [(-20, 40), (0, 50), (15, 65), (25, 70)])
def test_h3_ashrae_160(t_out: float, rh: float) -> None:
    assert float(ashrae_160_indoor(t_out)[1]) == rh


def test_ashrae_160_temperatures_are_70_and_75_fahrenheit() -> None:
    assert float(ashrae_160_indoor(30.0)[0]) == pytest.approx((70 - 32) / 1.8, abs=0.02)
    assert float(ashrae_160_indoor(30.0, has_cooling=True)[0]) == pytest.approx(43 / 1.8, abs=0.02)


def test_driven_models_give_the_pressure_of_their_own_humidity() -> None:
    """5 °C outside: 20 °C and 45 %, 2336.95 Pa × 0.45; 21.1 °C and 55 % by ASHRAE 160."""
    t_out = np.full((1, 12), 5.0)
    p_out = np.full((1, 12), 741.08)
    air = indoor_climate("en_15026", t_out, p_out, humidity_class=[3])
    assert air.p_in_pa[0, 0] == pytest.approx(0.45 * 2336.95, abs=0.01)
    air = indoor_climate("ashrae_160", t_out, p_out, humidity_class=[3])
    assert air.p_in_pa[0, 0] == pytest.approx(0.55 * 2501.0, rel=0.003)  # table at 21.1 °C
