"""Frost of masonry: F1 to F6 of the reference on durability, and counts on made-up days.

Marks: F1 SEEN (a worked case of the trade press), F2 and F5 from definitions (MEMORY, SEEN), F4
COMPUTED by hand there from a table of one brick wall; the rest is counted by eye.
"""

import numpy as np
import pytest

from triage.physics.brick import OUTSIDE_SCOPE, BrickTests, Grade, check_grade
from triage.physics.frost import (
    freeze_thaw_cycles,
    freezing_days_after_wetting,
    frost_depth_mm,
    interface_temperatures_c,
    is_above_critical,
    saturation_degree,
)
from triage.physics.weathering import (
    freezing_cycle_days,
    rain_before_freezing_mm,
    weathering_index,
    weathering_region,
)

WORKED = BrickTests(cold_24h_pct=9.13, boil_5h_pct=11.0, strength_mpa=30.0)
BRICK_R = 0.215 / 0.77
OUT_C, IN_C, R_SE, R_SI = -5.0, 20.0, 0.04, 0.13


def test_f1_brick_that_only_a_freezing_test_can_save() -> None:
    assert WORKED.saturation_coefficient == pytest.approx(0.83)
    check = check_grade(WORKED, "SW")
    assert (check.by_absorption, check.by_cold_waiver) == (False, False)
    assert check.is_met is None  # no freezing test was made
    for passed in (True, False):
        tested = BrickTests(9.13, 11.0, 30.0, passed_50_cycles=passed)
        assert check_grade(tested, "SW").is_met is passed
    assert check_grade(WORKED, "MW").is_met is True  # 0.83 is within 0.88


@pytest.mark.parametrize(
    ("grade", "psi", "met"),
    [("SW", 3000, True), ("SW", 2999, False), ("MW", 2500, True), ("MW", 2499, False)],
)
def test_strength_in_the_unit_of_the_standard(grade: Grade, psi: float, met: bool) -> None:
    tests = BrickTests(8.0, 16.0, psi * 0.00689476, is_from_wall=False)
    assert check_grade(tests, grade).is_met is met


def test_low_cold_absorption_waives_the_coefficient_and_nothing_else() -> None:
    # C216 (SEEN): 8 % cold absorption; coefficients 0.798 and 0.816 are above 0.78.
    assert check_grade(BrickTests(7.9, 9.9, 30.0), "SW").is_met is True
    assert check_grade(BrickTests(8.0, 9.8, 20.0), "SW").is_met is False  # too weak
    assert check_grade(BrickTests(7.9, 17.5, 30.0), "SW").is_met is None  # boiling over 17 %


def test_nothing_tested_is_nothing_known() -> None:
    assert check_grade(BrickTests(), "SW").is_met is None
    assert check_grade(BrickTests(strength_mpa=5.0), "SW").is_met is False


@pytest.mark.parametrize(
    ("cold", "boil"), [(12.0, 11.0), (-1.0, 11.0), (9.0, 0.0), (float("nan"), 11.0)]
)
def test_impossible_absorption_is_refused(cold: float, boil: float) -> None:
    with pytest.raises(ValueError, match=r"absorption|pct"):
        BrickTests(cold_24h_pct=cold, boil_5h_pct=boil)


@pytest.mark.parametrize(
    ("days", "inches", "index", "region"),
    [
        (60, 12, 720, "severe"),
        (20, 6, 120, "moderate"),
        (5, 8, 40, "negligible"),
        (10, 5, 50, "moderate"),
    ],
)
def test_f2_weathering_index(days: float, inches: float, index: float, region: str) -> None:
    got = float(weathering_index(days, inches * 25.4))
    assert got == pytest.approx(index, rel=1e-12)
    assert weathering_region(round(got, 9)) == region


def test_f3_degree_of_saturation() -> None:
    degree = saturation_degree(150.0, 0.30)
    assert degree == pytest.approx(0.50)
    assert is_above_critical(degree, [0.8, 0.3]).tolist() == [False, True]
    # The reference's brick: open porosity 0.41, free saturation 370 kg/m³.
    assert saturation_degree(370.0, 0.41) == pytest.approx(0.902, abs=5e-4)
    with pytest.raises(ValueError, match="porosity"):
        saturation_degree(150.0, 0.0)
    with pytest.raises(ValueError, match="pores hold"):
        saturation_degree(500.0, 0.30)


# Table 4.5: outer face, middle, inner face of 215 mm brick (°C), frozen depth (mm).
@pytest.mark.parametrize(
    ("insulation", "outer", "middle", "inner", "depth"),
    [
        (0.0, -2.77, 5.00, 12.77, 38.4),
        (0.020 / 0.04, -4.0, -0.3, 3.4, 115.0),
        (0.060 / 0.022, -4.7, -3.6, -2.49, 215.0),
        (0.100 / 0.035, -4.7, -3.6, -2.6, 215.0),
    ],
)
def test_f4_insulation_inside_freezes_the_wall(
    insulation: float, outer: float, middle: float, inner: float, depth: float
) -> None:
    halves = [[BRICK_R / 2, BRICK_R / 2, insulation]]
    faces = interface_temperatures_c(halves, R_SE, R_SI, OUT_C, IN_C)[0]
    assert faces[:3] == pytest.approx([outer, middle, inner], abs=0.07)
    got = frost_depth_mm(
        [[BRICK_R, insulation]],
        [[215.0, 60.0]],
        R_SE,
        R_SI,
        OUT_C,
        IN_C,
        counted=[[True, False]],
    )
    assert got[0] == pytest.approx(depth, abs=0.5 if depth == 115.0 else 0.2)


def test_f4_to_the_last_digit_and_over_many_cases_at_once() -> None:
    faces = interface_temperatures_c([[BRICK_R / 2, BRICK_R / 2]], R_SE, R_SI, OUT_C, IN_C)[0]
    assert faces == pytest.approx([-2.77, 5.00, 12.77], abs=0.01)
    insulated = interface_temperatures_c([[BRICK_R, 0.060 / 0.022]], R_SE, R_SI, OUT_C, IN_C)[0]
    assert insulated[1] == pytest.approx(-2.49, abs=0.02)
    # Absent layers change nothing; outside air at 0 °C and above freezes nothing.
    r = [[0.0, BRICK_R, 0.0], [0.0, BRICK_R, 0.0], [BRICK_R, 0.0, 60 / 22]]
    mm = [[0.0, 215.0, 0.0], [0.0, 215.0, 0.0], [215.0, 0.0, 0.0]]
    got = frost_depth_mm(r, mm, R_SE, R_SI, [-5.0, 0.0, -5.0], 20.0)
    assert got == pytest.approx([38.4, 0.0, 215.0], abs=0.05)
    assert frost_depth_mm(np.empty((0, 3)), np.empty((0, 3)), 0.04, 0.13, -5.0, 20.0).shape == (0,)


def test_a_sheet_without_resistance_freezes_as_its_place_does() -> None:
    outside = frost_depth_mm([[0.0, 2.0]], [[3.0, 0.0]], R_SE, R_SI, OUT_C, IN_C)
    inside = frost_depth_mm([[2.0, 0.0]], [[0.0, 3.0]], R_SE, R_SI, OUT_C, IN_C)
    assert (outside[0], inside[0]) == (3.0, 0.0)


@pytest.mark.parametrize("bad", [-0.1, float("nan"), float("inf")])
def test_layers_that_cannot_be_are_refused(bad: float) -> None:
    with pytest.raises(ValueError, match="resistances"):
        frost_depth_mm([[bad]], [[215.0]], R_SE, R_SI, OUT_C, IN_C)


RAIN = [0, 5, 12, 0, 3, 0, 0, 8, 0, 0]
T_MIN = [2, 1, -1, -2, 1, -3, 2, 3, -1, -4]
T_MAX = [6, 5, 3, -1, 4, 2, 6, 7, 2, -2]


def test_f5_rain_of_the_four_days_before_a_freezing_day() -> None:
    assert (np.flatnonzero(freezing_cycle_days(T_MIN, T_MAX)) + 1).tolist() == [3, 6, 9]
    got = rain_before_freezing_mm(RAIN, T_MIN, T_MAX)
    assert got[[2, 5, 8]].tolist() == [5, 20, 11]
    assert got.sum() == 36
    both = rain_before_freezing_mm([RAIN, RAIN], [T_MIN, T_MIN], [T_MAX, T_MAX])
    assert both.sum(axis=1).tolist() == [36, 36]


def test_f6_a_grade_from_a_standing_wall_is_flagged() -> None:
    assert check_grade(WORKED, "SW").flag == OUTSIDE_SCOPE
    assert "outside scope of the product standard" in OUTSIDE_SCOPE
    new = BrickTests(9.13, 11.0, 30.0, is_from_wall=False)
    assert check_grade(new, "SW").flag == ""


def _days(
    count: int, frost_hours: list[int], rain_hours: list[int]
) -> tuple[np.ndarray, np.ndarray]:
    t, rain = np.full(24 * count, 5.0), np.zeros(24 * count)
    t[frost_hours] = -1.0
    rain[rain_hours] = 0.5
    return t, rain


# One year of days, so that days counted are days in the year.
@pytest.mark.parametrize(
    ("frost_hours", "rain_hours", "days"),
    [
        ([100], [52], 1),  # 48 hours after the rain
        ([100], [51], 0),  # 49 hours
        ([100], [100], 1),  # rain turns to frost within the hour
        ([100], [101], 0),  # rain after the frost
        ([100, 102, 110], [99], 1),  # several crossings in one day are one day
        ([100, 101, 102, 103], [101], 0),  # the face is frozen already; nothing crosses
        ([119, 120, 122], [99], 2),  # day 5 and day 6
    ],
)
def test_days_of_freezing_after_wetting(
    frost_hours: list[int], rain_hours: list[int], days: int
) -> None:
    t, rain = _days(365, frost_hours, rain_hours)
    assert freezing_days_after_wetting(t, rain) == days
    assert freezing_days_after_wetting(t, [rain, 0 * rain]).tolist() == [days, 0]


def test_ten_days_stand_for_a_year_and_gaps_are_refused() -> None:
    t, rain = _days(10, [100], [99])
    assert freezing_days_after_wetting(t, rain) == pytest.approx(36.5)
    with pytest.raises(ValueError, match="whole days"):
        freezing_days_after_wetting(t[:-1], rain[:-1])
    with pytest.raises(ValueError, match="same hours"):
        freezing_days_after_wetting(t, rain[:-24])
    t[7] = np.nan
    with pytest.raises(ValueError, match="position 7"):
        freezing_days_after_wetting(t, rain)


def test_cycles_of_freezing_and_thawing() -> None:
    t = [[3, -1, 2, -1, -1, 0, -1, 4], [-1, 1, -1, 1, -3, 1, 1, 1]]
    assert freeze_thaw_cycles(t).tolist() == [2, 2]  # starting frozen is no freezing
    # Between the limits the last state lasts: only -3 is frost now.
    assert freeze_thaw_cycles(t, freezes_below_c=-2.0).tolist() == [0, 1]
