"""The monthly kernel against a constrained solver that shares no code and no algorithm with it.

The kernel draws a convex hull; see `least_energy` for the other.
"""

from dataclasses import dataclass

import numpy as np
import pytest
from least_energy import Floats, saturation, year
from numpy.typing import NDArray

from triage.physics.monthly import Boundaries, CondensationYear, condensation_year

CASES, SLOTS, CLIMATES = 500, 7, 40
R_SE, R_SI = 0.04, 0.13


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


def test_five_hundred_random_build_ups_agree_to_a_thousandth(
    stock: Stock, solved: CondensationYear
) -> None:
    seen = np.zeros(3, dtype=int)
    for case in range(CASES):
        climate = [table[stock.which[case]] for table in stock.edges.table()]
        layers = stock.r[case], stock.sd[case]
        verdict, first, totals = year(layers, (R_SE, R_SI), climate)
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
