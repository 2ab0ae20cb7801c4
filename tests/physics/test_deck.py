"""The deck's year against scipy's integration of the same balance, and laws that it must keep.

Independent: the sorption equation (materials-and-durability 1.1, SEEN) and saturation are written
out again here, the year is integrated by an adaptive implicit solver, and the year that repeats
itself is found as a root instead of by running years on. COMPUTED.
"""

from typing import Any

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy.integrate import solve_ivp
from scipy.optimize import brentq

from triage.physics.deck import DeckYear, deck_year
from triage.physics.monthly import Boundaries

Floats = NDArray[np.float64]
DAYS = [31, 28, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31]
# Four implicit steps a month smear what a month-long step in temperature does; largest seen 0.07.
CLOSE_PCT = 0.1


def saturation(t: Any) -> Any:
    return 610.5 * np.exp(np.where(t < 0, 21.875 * t / (265.5 + t), 17.269 * t / (237.3 + t)))


def wood_pct(t: float, h: float) -> float:
    w = 349 + 1.29 * t + 0.0135 * t**2
    k = 0.805 + 0.000736 * t - 0.00000273 * t**2
    k1 = 6.27 - 0.00938 * t - 0.000303 * t**2
    k2 = 1.91 + 0.0407 * t - 0.000293 * t**2
    kh = k * h
    two = (k1 * kh + 2 * k1 * k2 * kh**2) / (1 + k1 * kh + k1 * k2 * kh**2)
    return float(1800 / w * (kh / (1 - kh) + two))


def humidity(t: float, mc_pct: float) -> float:
    return float(brentq(lambda h: wood_pct(t, h) - mc_pct, 0, 1.02, xtol=1e-13))


def cold_climate() -> Boundaries:
    wave = np.cos(2 * np.pi * (np.arange(12) - 0.5) / 12)[np.newaxis]
    t_out = 8.0 - 14.0 * wave
    p_out = 0.75 * saturation(t_out)
    p_in = np.minimum(p_out + 540 * np.clip((20 - t_out) / 20, 0, 1), 1400.0)
    return Boundaries(t_out, p_out, np.full((1, 12), 20.0), p_in)


def follow(
    sd_out: Any, sd_in: Any, r_out: Any, r_total: Any, kg: Any, edges: Boundaries
) -> DeckYear:
    columns = np.broadcast_arrays(*(np.atleast_1d(v).astype(float) for v in (sd_out, sd_in)))
    rest = (np.full(len(columns[0]), float(v)) for v in (r_out, r_total, kg))
    return deck_year(*columns, *rest, edges, np.zeros(len(columns[0]), dtype=np.int64))


def months_from(mc_pct: float, stack: tuple[float, ...], edges: Boundaries) -> Floats:
    """Moisture at the end of twelve months that begin at `mc_pct`, by scipy."""
    sd_out, sd_in, r_out, r_total, kg = stack
    ends = []
    for month, days in enumerate(DAYS):
        share = r_out / r_total
        t_out, t_in = edges.t_out_c[0, month], edges.t_in_c[0, month]
        t = float(t_out + share * (t_in - t_out))
        full = float(saturation(t))
        p_out, p_in = edges.p_out_pa[0, month], edges.p_in_pa[0, month]

        def gain(_: float, mc: Floats, t: float = t, full: float = full) -> list[float]:
            p = full * humidity(t, mc[0])
            flow = 2e-10 * ((p_out - p) / sd_out + (p_in - p) / sd_in)  # noqa: B023
            return [100 * flow / kg]

        seen = solve_ivp(gain, (0, days * 86_400), [mc_pct], method="LSODA", rtol=1e-8, atol=1e-9)
        assert seen.success
        mc_pct = float(seen.y[0, -1])
        ends.append(mc_pct)
    return np.array(ends)


@pytest.mark.parametrize(
    "stack",
    [
        (100.0, 6.7, 0.1, 5.0, 7.8),  # sealed outside, closed-cell foam inside
        (20.0, 4.0, 0.1, 4.0, 8.5),
        (0.5, 6.0, 0.1, 4.0, 9.0),  # open outside
        (2.0, 2.0, 3.0, 6.0, 7.8),  # insulation on both sides
    ],
)
def test_the_repeating_year_agrees_with_an_adaptive_solver(stack: tuple[float, ...]) -> None:
    edges = cold_climate()
    begins = brentq(
        lambda mc: months_from(mc, stack, edges)[-1] - mc, 2.0, 27.0, xtol=1e-4, rtol=1e-8
    )
    got = follow(*stack, edges)
    assert got.settled[0]
    expected = months_from(begins, stack, edges)
    np.testing.assert_allclose(got.mc_pct[0], expected, atol=CLOSE_PCT)
    assert got.swing_pct[0] == pytest.approx(np.ptp(expected), abs=CLOSE_PCT)


def test_in_a_climate_without_seasons_the_deck_sits_at_the_sorption_curve() -> None:
    # 20 °C and 65 % on both sides: 12.00 %, materials-and-durability W2, COMPUTED.
    flat = np.full((1, 12), 20.0)
    damp = 0.65 * saturation(flat)
    got = follow([0.5, 100.0], [5.0, 2.0], 0.2, 4.0, 8.0, Boundaries(flat, damp, flat, damp))
    np.testing.assert_allclose(got.mc_pct, 12.00, atol=0.02)
    np.testing.assert_allclose(got.swing_pct, 0.0, atol=1e-3)


def test_a_tighter_inside_calms_a_deck_that_is_sealed_outside() -> None:
    got = follow([200.0] * 4, [0.5, 2.0, 8.0, 30.0], 0.1, 5.0, 8.0, cold_climate())
    assert (np.diff(got.swing_pct) < 0).all()


def test_a_heavier_deck_swings_less() -> None:
    edges = cold_climate()
    swings = [follow(50.0, 4.0, 0.1, 5.0, kg, edges).swing_pct[0] for kg in (4.0, 8.0, 16.0)]
    assert swings[0] > swings[1] > swings[2]


def test_the_repeating_year_has_no_memory_and_all_of_it_is_told() -> None:
    rng = np.random.default_rng(2)
    sd = 10 ** rng.uniform(-1, 2.5, (2, 300))
    got = follow(sd[0], sd[1], 0.1, 5.0, 8.0, cold_climate())
    assert got.settled.all()
    np.testing.assert_array_equal(got.mc_max_pct, got.mc_pct.max(axis=1))
    np.testing.assert_array_equal(got.mc_min_pct, got.mc_pct.min(axis=1))
    assert (got.mc_max_pct < 29.5).all()  # fibre saturation by the equation, 1.1
    assert (got.mc_min_pct > 0).all()


@pytest.mark.parametrize("bad", [0.0, -1.0, np.nan, np.inf])
def test_impossible_decks_are_refused(bad: float) -> None:
    edges = cold_climate()
    for values in ((bad, 1.0, 0.1, 5.0, 8.0), (1.0, bad, 0.1, 5.0, 8.0), (1.0, 1.0, 0.1, 5.0, bad)):
        with pytest.raises(ValueError, match="must be above 0"):
            follow(*values, edges)
    with pytest.raises(ValueError, match="part of the whole"):
        follow(1.0, 1.0, 5.0, 0.1, 8.0, edges)


def test_no_decks_are_answered() -> None:
    none = np.zeros(0)
    got = deck_year(none, none, none, none, none, cold_climate(), none.astype(np.int64))
    assert got.mc_pct.shape == (0, 12)
