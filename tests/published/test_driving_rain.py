"""W1, W2 and the index of ISO 15927-3; W3 is in test_climate_exposure.py.

Expected values: the reference on climate and codes, section 7.2, worked there from the formula and
terrain table SEEN in public scripts; tables of obstacles and walls MEMORY; spells are made by hand.
"""

import numpy as np
import pytest

from triage.physics.wall_rain import (
    monthly_driving_rain_index_m2_s,
    obstruction_factor,
    roughness_factor,
    wall_factor,
    wall_index_l_m2,
)
from triage.physics.wind_rain import (
    airfield_annual_index_l_m2,
    airfield_spell_index_l_m2,
    driving_rain_hourly_l_m2,
    spell_amounts_l_m2,
)


@pytest.mark.parametrize(
    ("wind", "rain", "angle", "expected"),
    [
        (10, 2, 0, 4.1150),
        (10, 2, 60, 2.0575),
        (5, 1, 0, 1.1111),
        (8, 4, 45, 4.3105),
        (8, 4, 120, 0.0),
    ],
)
@pytest.mark.parametrize("wall", [0.0, 90.0, 200.0, 350.0])
def test_w1_hourly_contribution(
    wind: float, rain: float, angle: float, expected: float, wall: float
) -> None:
    for side in (1, -1):
        came_from = (wall + side * angle) % 360.0
        got = driving_rain_hourly_l_m2(wind, rain, came_from, wall)
        assert got == pytest.approx(expected, abs=5e-4)


def test_walls_and_hours_broadcast() -> None:
    got = driving_rain_hourly_l_m2([10.0, 5.0], [2.0, 1.0], [0.0, 180.0], [[0.0], [180.0]])
    assert got == pytest.approx(np.array([[4.1150, 0.0], [0.0, 1.1111]]), abs=5e-4)


@pytest.mark.parametrize("bad", [float("nan"), -0.1])
def test_what_was_not_measured_is_no_dry_hour(bad: float) -> None:
    with pytest.raises(ValueError, match=r"rain must be known and not negative.*position 1"):
        driving_rain_hourly_l_m2([3.0, 3.0], [1.0, bad], 0.0, 0.0)
    with pytest.raises(ValueError, match="wind speed"):
        driving_rain_hourly_l_m2([3.0, bad], 1.0, 0.0, 0.0)
    with pytest.raises(ValueError, match="direction"):
        driving_rain_hourly_l_m2(3.0, 1.0, float("nan"), 0.0)


@pytest.mark.parametrize(
    ("terrain", "height", "expected"),
    [
        ("II", 10, 1.0067),
        ("III", 6, 0.7224),
        ("III", 8, 0.7224),
        ("IV", 20, 0.7190),
        ("I", 10, 1.1743),
    ],
)
def test_w2_roughness(terrain: str, height: float, expected: float) -> None:
    assert roughness_factor(terrain, height) == pytest.approx(expected, abs=5e-4)


def test_a_terrain_that_does_not_exist_is_refused() -> None:
    with pytest.raises(ValueError, match=r"'V'.*I, II, III, IV"):
        roughness_factor("V", 10.0)


def test_a_mean_year_has_8760_hours() -> None:
    hours = np.zeros(2 * 8760)
    hours[[5, 9000]] = 30.0, 70.0
    assert airfield_annual_index_l_m2(hours) == pytest.approx(50.0)
    assert airfield_annual_index_l_m2([hours, 2 * hours]) == pytest.approx([50.0, 100.0])
    with pytest.raises(ValueError, match="at least one hour"):
        airfield_annual_index_l_m2([])


def _year(wet: dict[int, float]) -> np.ndarray:
    hours = np.zeros(8760)
    hours[list(wet)] = list(wet.values())
    return hours


def test_96_dry_hours_end_a_spell_and_95_do_not() -> None:
    assert spell_amounts_l_m2(_year({10: 1.0, 106: 2.0, 300: 4.0})).tolist() == [3.0, 4.0]
    assert spell_amounts_l_m2(_year({10: 1.0, 107: 2.0, 300: 4.0})).tolist() == [1.0, 2.0, 4.0]
    assert spell_amounts_l_m2(_year({})).size == 0


def test_the_spell_index_is_passed_once_in_three_years() -> None:
    # Worst spells 30, 10, 20, 40 of four years: two thirds up the sorted list is 30.
    years = [_year({50: worst, 900: 1.0}) for worst in (30.0, 10.0, 20.0, 40.0)]
    assert airfield_spell_index_l_m2(list(years)) == pytest.approx(30.0)
    assert airfield_spell_index_l_m2([_year({})]) == 0.0
    with pytest.raises(ValueError, match="at least one year"):
        airfield_spell_index_l_m2([])


def test_factors_of_obstacles_and_walls() -> None:
    metres = [4, 8, 8.1, 15.1, 25.1, 40.1, 60.1, 80.1, 100.1, 120.1, np.inf, 0]
    factors = [0.2, 0.2, 0.3, 0.4, 0.5, 0.6, 0.7, 0.8, 0.9, 1.0, 1.0, 0.2]
    assert obstruction_factor(metres).tolist() == factors
    walls = {"gable_two_storey": 0.4, "eaves_two_storey": 0.3, "multi_storey_top": 0.5}
    assert {name: wall_factor(name) for name in walls} == walls
    with pytest.raises(ValueError, match="kind of wall"):
        wall_factor("tower")


def test_the_wall_index_is_a_product() -> None:
    got = wall_index_l_m2([100.0], roughness=0.7224, obstruction=0.5, wall=0.4, topography=1.2)
    assert got == pytest.approx([17.3376])
    with pytest.raises(ValueError, match="factors"):
        wall_index_l_m2(100.0, roughness=float("nan"), obstruction=1.0, wall=0.4)


def test_windy_wet_months_make_the_yearly_index_larger() -> None:
    # 100 mm at 5 m/s in six months, 50 mm at 3 m/s in six: 3.0 + 0.9 = 3.9 m²/s, where the
    # means, 900 mm and 4 m/s, give 3.6.
    index = monthly_driving_rain_index_m2_s([100.0] * 6 + [50.0] * 6, [5.0] * 6 + [3.0] * 6)
    assert index.sum() == pytest.approx(3.9)
    assert index[0] == pytest.approx(0.5)
    with pytest.raises(ValueError, match="twelve"):
        monthly_driving_rain_index_m2_s([100.0], [5.0])
