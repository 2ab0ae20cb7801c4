"""The monthly kernel against a constrained solver that shares no code and no algorithm with it.

The vapour pressure of a month has the least energy, the integral of (dp/ds)² over the resistance
s, of all that stay at or below saturation and equal it where water is stored. Its dual is a
non-negative least squares problem in the rates of condensation, which scipy solves on the grid of
interfaces and slices. The kernel draws a convex hull instead. A store that is used up within a
month gives no more, and the other rates are solved anew for the rest of the month. COMPUTED.
"""

from dataclasses import dataclass

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy.linalg import solve_triangular
from scipy.optimize import nnls

from triage.physics.monthly import Boundaries, CondensationYear, condensation_year

Floats = NDArray[np.float64]
CASES, SLOTS, CLIMATES = 500, 7, 40
DAYS = (31, 28, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31)
R_SE, R_SI, SLICE_R = 0.04, 0.13, 0.25
DRY_KG_M2 = 1e-9


def saturation(t: Floats) -> Floats:
    ice, water = 21.875 * t / (265.5 + t), 17.269 * t / (237.3 + t)
    return 610.5 * np.exp(np.where(t < 0, ice, water))


@dataclass
class Stock:
    """Random build-ups and climates, some so wet that they build up."""

    r: Floats
    sd: Floats
    edges: Boundaries
    which: NDArray[np.int64]


@pytest.fixture(scope="module")
def stock() -> Stock:
    rng = np.random.default_rng(3)
    used = rng.random((CASES, SLOTS)) > 0.2
    r = np.where(used, 10 ** rng.uniform(-1.7, 0.75, used.shape), 0.0)
    sd = np.where(used, 10 ** rng.uniform(-2, 2, used.shape), 0.0)
    membrane = rng.random(used.shape) < 0.15
    r[membrane], sd[membrane] = 0.0, 10 ** rng.uniform(-1, 2, membrane.sum())
    shape = (CLIMATES, 12)
    wave = np.cos(2 * np.pi * (np.arange(12) - 0.5) / 12)
    mean, swing = rng.uniform(-5, 26, (CLIMATES, 1)), rng.uniform(2, 15, (CLIMATES, 1))
    t_out = mean - swing * wave + rng.normal(0, 1.5, shape)
    p_out = saturation(t_out) * rng.uniform(0.5, 0.95, shape)
    t_in = rng.uniform(20, 24, shape)
    excess = rng.uniform(0, 1200, (CLIMATES, 1)) * np.clip((20 - t_out) / 20, 0, 1)
    p_in = np.minimum(p_out + excess, 0.95 * saturation(t_in))
    which = rng.integers(0, CLIMATES, CASES)
    return Stock(r, sd, Boundaries(t_out, p_out, t_in, p_in), which)


@pytest.fixture(scope="module")
def solved(stock: Stock) -> CondensationYear:
    none = np.full(CASES, -1)
    surfaces = np.full(CASES, R_SE), np.full(CASES, R_SI)
    return condensation_year(stock.r, stock.sd, *surfaces, none, stock.edges, stock.which)


def nodes(r: Floats, sd: Floats) -> tuple[Floats, Floats]:
    """Places of the interfaces, slices among them, in sd and in R; the last is the inside."""
    pieces = np.maximum(1, np.ceil(r / SLICE_R)).astype(int)
    place, depth = (
        np.cumsum(np.repeat(sd / pieces, pieces)),
        np.cumsum(np.repeat(r / pieces, pieces)),
    )
    apart = np.diff(place, prepend=0.0) > 0
    inner = apart & (place < place[-1] * (1 - 1e-12))
    return np.append(place[inner], place[-1]), np.append(depth[inner], depth[-1])


def rates(place: Floats, whole: float, over: Floats, wet: NDArray[np.bool_]) -> Floats:
    """Gain of each interface, kg/(m²·s); `over` is how far the straight line passes saturation."""
    green = np.minimum.outer(place, place) - np.outer(place, place) / whole
    free, gain = ~wet, np.zeros(len(place))
    within, reach = green[np.ix_(wet, wet)], green[np.ix_(free, wet)]
    # Stored water holds its pressure: eliminate it, then the rest may only condense.
    compliance = green[np.ix_(free, free)] - reach @ np.linalg.solve(within, reach.T)
    excess = over[free] - reach @ np.linalg.solve(within, over[wet])
    root = np.linalg.cholesky(compliance)
    if free.any():  # scipy aborts the interpreter on an empty problem
        gain[free] = nnls(root.T, solve_triangular(root, excess, lower=True))[0]
    gain[wet] = np.linalg.solve(within, over[wet] - reach.T @ gain[free])
    return 2e-10 * gain


def month_later(place: Floats, over: Floats, store: Floats, seconds: float) -> Floats:
    """Stores a month later, kg/m²: whenever one is used up, the others go on without it."""
    for _ in range(len(store) + 1):
        gain = rates(place[:-1], place[-1], over, store > DRY_KG_M2)
        lasts = np.full(len(store), np.inf)
        np.divide(store, -gain, out=lasts, where=(gain < 0) & (store > DRY_KG_M2))
        step = min(seconds, lasts.min())
        store = np.where(lasts > step, np.maximum(0.0, store + gain * step), 0.0)
        seconds -= step
        if seconds == 0.0:
            return store
    raise AssertionError("more stores were used up than there are")


def year(stock: Stock, case: int) -> tuple[int, int, Floats]:
    """Verdict, first month and the store of all interfaces at the end of each month, g/m²."""
    place, depth = nodes(stock.r[case], stock.sd[case])
    climate = stock.which[case]
    t_out, p_out, t_in, p_in = (
        values[climate, :, np.newaxis]
        for values in (
            stock.edges.t_out_c,
            stock.edges.p_out_pa,
            stock.edges.t_in_c,
            stock.edges.p_in_pa,
        )
    )
    share = (R_SE + depth[:-1]) / (R_SE + depth[-1] + R_SI)
    line = p_out + (p_in - p_out) * place[:-1] / place[-1]
    over = line - saturation(t_out + (t_in - t_out) * share)
    begins = (over > 0).any(axis=1)
    if not begins.any():
        return 0, -1, np.zeros(12)
    appears = np.flatnonzero(begins & ~np.roll(begins, 1))
    first = int(appears[0]) if len(appears) else 0
    years, store = [], np.zeros(len(place) - 1)
    for _ in range(2):
        totals = np.zeros(12)
        for month in np.roll(np.arange(12), -first):
            store = month_later(place, over[month], store, DAYS[month] * 86_400.0)
            totals[month] = 1000 * store.sum()
        years.append(totals)
        if store.sum() <= DRY_KG_M2:
            return 1, first, totals
    ends = [totals[first - 1] for totals in years]
    repeats = abs(ends[1] - ends[0]) <= 1e-6 * ends[0]
    return (1, first, years[1]) if repeats else (2, first, years[0])


def test_five_hundred_random_build_ups_agree_to_a_thousandth(
    stock: Stock, solved: CondensationYear
) -> None:
    seen = np.zeros(3, dtype=int)
    for case in range(CASES):
        verdict, first, totals = year(stock, case)
        assert (verdict, first) == (solved.verdict[case], solved.first_month[case]), case
        np.testing.assert_allclose(
            solved.condensate_g_m2[case], totals, rtol=1e-3, atol=1e-3, err_msg=str(case)
        )
        seen[verdict] += 1
    assert seen.min() > 25, "the stock must hold many of each verdict"


def test_peak_residual_and_months_follow_from_the_monthly_stores(solved: CondensationYear) -> None:
    stores = solved.condensate_g_m2
    np.testing.assert_array_equal(solved.peak_g_m2, stores.max(axis=1))
    rows = np.arange(CASES)
    wet = solved.peak_month >= 0
    np.testing.assert_array_equal(stores[rows, solved.peak_month][wet], stores.max(axis=1)[wet])
    builds_up = solved.verdict == 2
    last = stores[rows, solved.first_month - 1]
    np.testing.assert_allclose(solved.residual_g_m2[builds_up], last[builds_up], rtol=1e-12)
    assert not solved.residual_g_m2[~builds_up].any()
    dried = solved.dry_month >= 0
    assert (stores[rows, solved.dry_month][dried] < 1e-3).all()
