"""Mould index: M1 to M8, H1, and guards against errors that circulate in copies.

Expected values: the reference on durability, section 2: equations SEEN in public implementations,
values COMPUTED there; the closed form is an independent integral of the same equation.
"""

import itertools

import numpy as np
import pytest

from triage.physics.mould import (
    critical_rh_pct,
    largest_index,
    mould_index,
    weeks_to_first_growth,
)
from triage.physics.mould_checks import (
    days_to_index,
    original_later_factor,
    thirty_day_screen,
    weeks_to_visible_growth,
)

NEVER = np.inf


def _steady(t: float, rh: float, hours: int) -> tuple[np.ndarray, np.ndarray]:
    return np.full(hours, t), np.full(hours, rh)


def _first_hour(index: np.ndarray, limit: float) -> int:
    return int(np.flatnonzero(index >= limit)[0]) + 1


def test_m1_h1_critical_humidity() -> None:
    got = critical_rh_pct([0.0, -5.0, 1.0, 5.0, 10.0, 15.0, 20.0, 25.0])
    assert got == pytest.approx([100, 100, 97.03, 88.02, 82.03, 80.04, 80.04, 80], abs=0.01)
    assert critical_rh_pct([15.0, 20.0, 25.0, 0.0], 85.0).tolist() == [85.0, 85.0, 85.0, 100.0]


def test_critical_humidity_falls_as_it_warms_and_never_passes_100() -> None:
    # Guards the copies with +3.13 T.
    got = critical_rh_pct(np.linspace(0.01, 18.0, 200))
    assert (np.diff(got) <= 0).all()
    assert got.max() <= 100.0


# The reference's table of response times, pine, SQ = 0, weeks.
@pytest.mark.parametrize(
    ("t", "rh", "first", "visible"),
    [
        (20, 90, 4.202, 7.734),
        (5, 80, 55.45, 96.51),
        (10, 95, 3.175, 6.493),
        (25, 97, 1.275, 2.529),
        (30, 100, 0.737, 1.500),
    ],
)
def test_m2_response_times(t: float, rh: float, first: float, visible: float) -> None:
    assert weeks_to_first_growth(t, rh) == pytest.approx(first, rel=5e-4)
    assert weeks_to_visible_growth(t, rh) == pytest.approx(visible, rel=5e-4)


def test_spruce_and_sawn_surfaces_change_the_times() -> None:
    plain = weeks_to_first_growth(20.0, 90.0)
    assert weeks_to_first_growth(20.0, 90.0, wood_factor=1.0) / plain == pytest.approx(
        1.150, abs=5e-4
    )
    # exp(-0.33)
    assert weeks_to_first_growth(20.0, 90.0, surface=1.0) / plain == pytest.approx(0.7189, abs=5e-5)


@pytest.mark.parametrize(
    ("kind", "t", "rh", "first", "visible"),
    [
        ("very_sensitive", 20, 97, 250, 500),
        ("very_sensitive", 20, 90, 707, 1429),
        ("very_sensitive", 10, 95, 534, 1069),
        ("sensitive", 20, 95, 577, 2324),
        ("sensitive", 10, 95, 924, 3735),
    ],
)
def test_m3_first_hours_of_growth(kind: str, t: float, rh: float, first: int, visible: int) -> None:
    index = mould_index(*_steady(t, rh, 4000), kind)
    assert abs(_first_hour(index, 1.0) - first) <= 1
    assert abs(_first_hour(index, 3.0) - visible) <= 1


def test_m4_index_after_a_time() -> None:
    month = mould_index(*_steady(20.0, 97.0, 672), "very_sensitive")
    year = mould_index(*_steady(20.0, 90.0, 8760), "very_sensitive")
    assert month[-1] == pytest.approx(4.358, abs=0.005)
    assert year[-1] == pytest.approx(3.995, abs=0.005)


def test_m5_decline_where_it_is_dry() -> None:
    index = mould_index(
        *_steady(20.0, 40.0, 720), "very_sensitive", decline_factor=1.0, initial=3.0
    )
    fall = 3.0 - index[np.array([6, 24, 48, 168, 720]) - 1]
    assert fall == pytest.approx([0.0080, 0.0080, 0.0240, 0.1040, 0.4720], abs=1e-4)
    assert mould_index(*_steady(-5.0, 99.0, 240), "sensitive", initial=0.001)[-1] == 0.0


@pytest.mark.parametrize(
    ("kind", "factor", "expected"),
    [
        ("very_sensitive", 1.0, [0.841, 2.561, 4.385]),
        ("very_sensitive", 0.1, [1.114, 3.247, 4.933]),
        ("sensitive", 1.0, [0.385, 0.770, 1.070]),
    ],
)
def test_m6_half_days_wet_and_dry(kind: str, factor: float, expected: list[float]) -> None:
    rh = np.tile([95.0] * 12 + [60.0] * 12, 90)
    index = mould_index(20.0, rh, kind, decline_factor=factor)
    assert index[np.array([30, 60, 90]) * 24 - 1] == pytest.approx(expected, abs=0.005)


@pytest.mark.parametrize(
    ("kind", "factor", "wet", "dry"),
    [
        ("very_sensitive", 1.0, 3.318, 2.846),
        ("very_sensitive", 0.1, 3.318, 3.271),
        ("sensitive", 0.25, 1.167, 1.049),
    ],
)
def test_m7_a_wet_month_then_a_dry_one(kind: str, factor: float, wet: float, dry: float) -> None:
    rh = [95.0] * 720 + [50.0] * 720
    index = mould_index(20.0, rh, kind, decline_factor=factor)
    assert index[[719, -1]] == pytest.approx([wet, dry], abs=0.005)


@pytest.mark.parametrize("length", [720, 30, 1])
def test_m8_thirty_day_screen(length: int) -> None:
    t = [[20.0], [20.0], [4.0], [20.0], [40.1]] * np.ones(2 * length)
    rh = [[79.9], [80.1], [95.0], [80.0], [95.0]] * np.ones(2 * length)
    assert thirty_day_screen(t, rh, length).tolist() == [True, False, True, False, True]


def test_m8_the_screen_sees_every_window_and_the_turn_of_the_year() -> None:
    rh = np.full(365, 60.0)
    rh[350:], rh[:15] = 90.0, 90.0  # 30 damp days over New Year
    assert thirty_day_screen(np.full(365, 20.0), rh, 30)
    assert not thirty_day_screen(np.full(365, 20.0), rh, 30, is_periodic=True)
    with pytest.raises(ValueError, match="at least 30 days"):
        thirty_day_screen([20.0] * 29, [70.0] * 29, 30)


# The reference's tables: days to index 1 and 3, and the largest index, W = 0.
@pytest.mark.parametrize(
    ("kind", "t", "rh", "first", "visible", "top"),
    [
        ("very_sensitive", 5, 90, 77.9, NEVER, 2.104),
        ("very_sensitive", 5, 95, 35.6, 71.5, 4.400),
        ("very_sensitive", 20, 85, 65.7, NEVER, 2.616),
        ("very_sensitive", 20, 100, 6.8, 13.6, 6.0),
        ("very_sensitive", 10, 90, 47.2, 96.5, 3.711),
        ("sensitive", 10, 90, 82.1, NEVER, 2.764),
        ("sensitive", 20, 90, 51.1, 280.0, 3.045),
        ("sensitive", 10, 100, 18.8, 75.4, 5.3),
        ("medium_resistant", 20, 90, 470.4, NEVER, 1.500),
        ("medium_resistant", 20, 97, 144.8, 471.6, 3.040),
        ("resistant", 20, 90, NEVER, NEVER, 0.889),
        ("resistant", 20, 100, 214.6, NEVER, 2.0),
    ],
)
def test_closed_form_and_largest_index(
    kind: str, t: float, rh: float, first: float, visible: float, top: float
) -> None:
    assert days_to_index(1.0, t, rh, kind) == pytest.approx(first, abs=0.06)
    assert days_to_index(3.0, t, rh, kind) == pytest.approx(visible, abs=0.06)
    assert largest_index(t, rh, kind) == pytest.approx(top, abs=1e-3)


def test_ashrae_slows_the_resistant_classes() -> None:
    slow = [days_to_index(m, 20.0, 100.0, "medium_resistant", wood_factor=1.0) for m in (1, 3)]
    assert slow == pytest.approx([108.8, 283.3], abs=0.1)


@pytest.mark.parametrize("kind", ["very_sensitive", "sensitive"])
def test_hourly_steps_follow_the_closed_form(kind: str) -> None:
    cases = list(itertools.product([5.0, 10.0, 20.0, 30.0], [95.0, 97.0, 100.0]))
    t, rh = (np.array(column)[:, None] * np.ones(9000) for column in zip(*cases, strict=True))
    index = mould_index(t, rh, kind)
    for row, (temperature, humidity) in enumerate(cases):
        for limit in (1.0, 3.0):
            hours = 24.0 * float(days_to_index(limit, temperature, humidity, kind))
            assert _first_hour(index[row], limit) == pytest.approx(hours, abs=2.0)


def test_growth_slows_or_speeds_up_at_index_1_not_by_the_largest_index() -> None:
    # Guards k1 switched on the wrong index: with the factors 0.578 and 0.386 the same state
    # needs more time from 1 to 2 than from 0 to 1.
    index = mould_index(*_steady(20.0, 97.0, 3000), "sensitive")
    assert _first_hour(index, 2.0) - _first_hour(index, 1.0) > 1.3 * _first_hour(index, 1.0)


def test_later_factor_of_the_original_model() -> None:
    # Guards the wrong brackets; the reference COMPUTED 2.38, 2.08, 1.98, 1.85 at 20 °C.
    got = original_later_factor(20.0, [90.0, 95.0, 97.0, 100.0])
    assert got == pytest.approx([2.38, 2.08, 1.98, 1.85], abs=0.01)


def test_growth_begins_at_the_critical_humidity() -> None:
    # 80 % at 25 °C; there x is 0 and the largest index is A: 1 for the very sensitive class.
    assert largest_index(25.0, [79.99, 80.0], "very_sensitive").tolist() == [0.0, 1.0]
    assert mould_index(*_steady(25.0, 79.99, 5000), "very_sensitive").max() == 0.0
    assert mould_index(*_steady(25.0, 80.0, 5000), "very_sensitive")[-1] > 0.9


def test_no_growth_in_frost_or_great_heat() -> None:
    for t in (-10.0, 0.0, 50.0, 60.0):
        assert mould_index(*_steady(t, 100.0, 500), "very_sensitive").max() == 0.0


@pytest.mark.parametrize("rh", [-1.0, 100.5, float("nan")])
def test_impossible_humidity_is_refused(rh: float) -> None:
    with pytest.raises(ValueError, match="0 to 100 %"):
        mould_index([20.0, 20.0], [90.0, rh], "sensitive")


def test_an_unknown_class_is_refused_and_no_hours_give_no_index() -> None:
    with pytest.raises(ValueError, match=r"'wood'.*very_sensitive"):
        mould_index([20.0], [90.0], "wood")
    assert mould_index(np.empty((0, 24)), np.empty((0, 24)), "sensitive").shape == (0, 24)
