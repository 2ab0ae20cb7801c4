"""Decay by fungi: D1 to D5 of the reference on durability, and the limit at embedded timber.

The equations are SEEN in a reproduction of Viitanen et al. 2010, the values COMPUTED in the
reference; the humidity limit of WTA 6-8 is MEMORY.
"""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from triage.physics.decay import (
    critical_time_h,
    decay,
    mass_loss_rate_pct_h,
    timber_humidity_limit_pct,
)


@pytest.mark.parametrize(("t", "rh", "days"), [(20, 100, 9.18), (10, 100, 21.43), (20, 97, 23.96)])
def test_d1_critical_time(t: float, rh: float, days: float) -> None:
    assert critical_time_h(t, rh) / 24.0 == pytest.approx(days, abs=0.02)


# The reference's table, days at 96, 98 and 100 %.
@pytest.mark.parametrize(
    ("t", "days"),
    [(5, [100.2, 50.1, 32.1]), (15, [41.2, 24.1, 14.3]), (30, [21.6, 10.4, 2.4])],
)
def test_critical_times_of_the_table(t: float, days: list[float]) -> None:
    assert critical_time_h(t, [96.0, 98.0, 100.0]) / 24.0 == pytest.approx(days, abs=0.06)


def test_d2_rate_of_loss() -> None:
    got = mass_loss_rate_pct_h([20.0, 0.0, 20.0], [100.0, 96.0, 80.0])
    # 0.00682 is printed with five decimals: the coefficients give 0.00682 exactly.
    assert got == pytest.approx([0.00682, 0.00040, 0.0], abs=1e-6)


@pytest.mark.parametrize(("t", "rh", "loss"), [(20, 100, 58.2), (10, 100, 40.1), (20, 97, 40.5)])
def test_d3_a_year_in_one_state(t: float, rh: float, loss: float) -> None:
    year = decay(np.full(8760, float(t)), np.full(8760, float(rh)))
    assert year.mass_loss_pct[-1] == pytest.approx(loss, abs=0.2)
    assert year.activation[-1] == 1.0
    still = year.activation < 1.0
    assert year.mass_loss_pct[still].max() == 0.0


def test_d4_wet_dry_wet() -> None:
    rh = np.array([98.0] * 240 + [90.0] * 240 + [98.0] * 240)
    course = decay(np.full(720, 20.0), rh)
    assert course.activation[[239, 479]] == pytest.approx([0.558, 0.544], abs=0.002)
    full = int(np.flatnonzero(course.activation == 1.0)[0]) + 1
    # 8.17 days more, found at the end of an hour.
    assert (full - 480) / 24.0 == pytest.approx(8.17, abs=0.02 + 1 / 24)


@given(st.lists(st.tuples(st.floats(-20, 45), st.floats(0, 100)), min_size=2, max_size=60))
def test_d5_activation_stays_sound(hours: list[tuple[float, float]]) -> None:
    t, rh = np.array(hours).T
    course = decay(t, rh, initial=0.5)
    steps = np.diff(course.activation, prepend=0.5)
    assert ((course.activation >= 0) & (course.activation <= 1)).all()
    assert (steps[(rh <= 95) | (t <= 0)] <= 0).all()
    assert (np.diff(course.mass_loss_pct, prepend=0.0) >= 0).all()


def test_d5_the_limits_themselves_do_not_activate() -> None:
    assert critical_time_h([20.0, 0.0, -5.0], [95.0, 100.0, 100.0]).tolist() == [np.inf] * 3
    for t, rh in ((20.0, 95.0), (0.0, 100.0)):
        assert decay([t] * 24, [rh] * 24, initial=0.5).activation[-1] < 0.5


def test_d5_where_the_equation_turns_over() -> None:
    # Just above freezing the denominator passes 0: negative at 95 %, tiny a little above.
    assert critical_time_h(1.0, 95.0) == np.inf
    near = critical_time_h(1.0, [95.001, 95.1, 95.5, 96.0])
    assert (near > 0).all()
    course = decay([1.0] * 24, [95.5] * 24)
    assert 0.0 < course.activation[-1] < 0.01
    # Beyond 35 °C at 100 % the numerator passes 0; hourly steps stay at the table's end, 30 °C.
    hot, end = decay([45.0] * 48, [100.0] * 48), decay([30.0] * 48, [100.0] * 48)
    assert hot.activation.tolist() == end.activation.tolist()
    assert hot.activation[-1] > 0.5


def test_rows_are_separate_and_nothing_gives_nothing() -> None:
    t = np.array([[20.0] * 48, [-5.0] * 48])
    both = decay(t, np.full((2, 48), 100.0), initial=[0.0, 1.0])
    assert both.activation[0, -1] == pytest.approx(48 / (9.18 * 24), rel=2e-3)
    assert both.activation[1, -1] == pytest.approx(1.0 - 48 / 17520)  # two years undo it all
    assert decay(np.empty((0, 5)), np.empty((0, 5))).activation.shape == (0, 5)


@pytest.mark.parametrize(("t", "rh"), [(float("nan"), 90.0), (20.0, 101.0), (20.0, float("nan"))])
def test_impossible_air_is_refused(t: float, rh: float) -> None:
    with pytest.raises(ValueError, match="surface"):
        decay([t], [rh])


def test_limit_at_embedded_timber() -> None:
    got = timber_humidity_limit_pct([0.0, 10.0, 20.0, 30.0, -10.0])
    assert got == pytest.approx([95.0, 92.0, 89.0, 86.0, 95.0], abs=0.05)
