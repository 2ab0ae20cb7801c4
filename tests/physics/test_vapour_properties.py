"""What must hold for any air and any layer, and what is refused.

No expected number here comes from the code: round trips, order and limits only.
"""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from triage.physics.vapour import (
    dew_point_c,
    is_above_saturation,
    perm_from_sd,
    relative_humidity_pct,
    require_possible_air,
    saturation_pressure_pa,
    sd_from_mu,
    sd_from_perm,
    vapour_pressure_pa,
    vapour_retarder_class,
    wet_bulb_c,
)

CELSIUS = st.floats(-40, 80)
PERCENT = st.floats(0, 100)
ORDER = ["class_1", "class_2", "class_3", "open"]


@given(t=CELSIUS)
def test_dew_point_of_saturated_air_is_its_temperature(t: float) -> None:
    assert dew_point_c(saturation_pressure_pa(t)) == pytest.approx(t, abs=1e-9)


@given(t=CELSIUS, rh=PERCENT)
def test_humidity_comes_back(t: float, rh: float) -> None:
    assert relative_humidity_pct(t, vapour_pressure_pa(t, rh)) == pytest.approx(rh, abs=1e-9)


@given(colder=CELSIUS, rise=st.floats(0.001, 40))
def test_warmer_air_holds_more(colder: float, rise: float) -> None:
    assert saturation_pressure_pa(colder + rise) > saturation_pressure_pa(colder)


@given(t=st.floats(-20, 60), rh=st.floats(1, 100))
def test_wet_bulb_lies_between_dew_point_and_dry_bulb(t: float, rh: float) -> None:
    wet = float(wet_bulb_c(t, rh))
    assert float(dew_point_c(vapour_pressure_pa(t, rh))) - 0.7 <= wet <= t + 1e-9
    if abs(wet) > 1:  # round 0 °C the bulb may be ice or water
        assert float(dew_point_c(vapour_pressure_pa(t, rh))) <= wet + 1e-9


@given(perm=st.floats(1e-4, 1e3))
def test_perm_and_air_layer_are_inverse(perm: float) -> None:
    assert perm_from_sd(sd_from_perm(perm)) == pytest.approx(perm, rel=1e-12)


@given(perm=st.floats(0, 100), more=st.floats(0, 100))
def test_a_more_open_layer_is_never_of_a_tighter_class(perm: float, more: float) -> None:
    tight, loose = vapour_retarder_class(perm), vapour_retarder_class(perm + more)
    assert ORDER.index(loose) >= ORDER.index(tight)


def test_shapes_broadcast_and_nan_stays_visible() -> None:
    assert saturation_pressure_pa(np.zeros((3, 1))).shape == (3, 1)
    assert wet_bulb_c([10.0, 20.0], [[40.0], [60.0], [80.0]]).shape == (3, 2)
    assert saturation_pressure_pa(np.empty(0)).shape == (0,)
    assert np.isnan(saturation_pressure_pa([np.nan])).all()
    assert sd_from_mu([1.0, 60.0], 100.0).tolist() == pytest.approx([0.1, 6.0])


@pytest.mark.parametrize("rh", [100.1, -0.1, np.nan, np.inf])
def test_impossible_humidity_is_refused_by_position(rh: float) -> None:
    with pytest.raises(ValueError, match=r"between 0 and 100 %.* at position 1"):
        vapour_pressure_pa([20.0, 20.0], [50.0, rh])
    with pytest.raises(ValueError, match="between 0 and 100 %"):
        wet_bulb_c(20.0, rh)


# 2339 Pa at 20 °C is the tables' saturation, 0.1 % above ISO's: it must pass; 2400 must not.
def test_vapour_above_saturation_is_flagged_and_refused() -> None:
    flagged = is_above_saturation(20.0, [0.0, 2339.0, 2400.0, np.nan])
    assert flagged.tolist() == [False, False, True, True]
    require_possible_air(20.0, [0.0, 2339.0])
    for pressure in (2400.0, -1.0, np.nan):
        with pytest.raises(ValueError, match=r"January.*position 1"):
            require_possible_air(20.0, [1000.0, pressure], "January")


@pytest.mark.parametrize("pressure", [0.0, -5.0])
def test_dry_air_has_no_dew_point(pressure: float) -> None:
    with pytest.raises(ValueError, match="above 0 Pa"):
        dew_point_c([1000.0, pressure])


@pytest.mark.parametrize("perm", [-0.1, float("nan")])
def test_an_impossible_permeance_has_no_class(perm: float) -> None:
    with pytest.raises(ValueError, match="0 perm or more"):
        vapour_retarder_class(perm)


@pytest.mark.parametrize("bad", [-1.0, np.nan])
def test_impossible_layers_are_refused(bad: float) -> None:
    with pytest.raises(ValueError, match="0 or more"):
        sd_from_mu(10.0, [100.0, bad])
    with pytest.raises(ValueError, match="0 or more"):
        sd_from_mu(bad, 100.0)
    with pytest.raises(ValueError, match="above 0 perm"):
        sd_from_perm([1.0, bad])
    with pytest.raises(ValueError, match="0 m or more"):
        perm_from_sd([1.0, bad])


def test_no_layer_is_open_and_a_perfect_one_is_not_a_number_of_metres() -> None:
    assert np.isposinf(perm_from_sd(0.0))
    assert vapour_retarder_class(float(perm_from_sd(0.0))) == "open"
    with pytest.raises(ValueError, match="above 0 perm"):
        sd_from_perm(0.0)


def test_ice_and_water_meet_at_freezing() -> None:
    below, above = saturation_pressure_pa([-1e-9, 0.0])
    assert below == pytest.approx(above, rel=1e-9)
