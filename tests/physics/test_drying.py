"""Drying potential and the estimates of materials-and-durability 10.2 and 10.3 (COMPUTED there)."""

import numpy as np
import pytest
from numpy.typing import NDArray

from triage.physics.drying import (
    days_to_dry,
    drying_loss_pct,
    drying_potential_kg_m2,
    removal_by_air_g_m2_day,
)
from triage.physics.monthly import Boundaries

Floats = NDArray[np.float64]
SUMMER = np.array([3 <= month <= 8 for month in range(12)])


@pytest.mark.parametrize(("sd_m", "days"), [(4.3, 411), (1.0, 96), (0.21, 20)])
def test_b2_days_for_a_wet_deck_to_dry_inward(sd_m: float, days: float) -> None:
    mass = 0.015 * 650 * 0.10  # 15 mm, 650 kg/m³, from 28 to 18 %
    assert mass == pytest.approx(0.975)
    assert days_to_dry(mass, sd_m, 600.0) == pytest.approx(days, rel=0.01)


def test_b3_removal_by_a_ventilated_gap() -> None:
    assert removal_by_air_g_m2_day(30, 50, 0.5) == 18.0
    assert removal_by_air_g_m2_day(10, 50, 0.5) == 6.0
    assert removal_by_air_g_m2_day(100, 50, 0.5) == 60.0


def flat_climate(t_out: float, rh_out: float, t_in: float, rh_in: float) -> Boundaries:
    def year(value: float) -> Floats:
        return np.full((1, 12), value)

    def full(t: float) -> float:
        return float(610.5 * np.exp(17.269 * t / (237.3 + t)))

    return Boundaries(*map(year, (t_out, rh_out * full(t_out), t_in, rh_in * full(t_in))))


def potential(
    sd_out: float, sd_in: float, share: float, edges: Boundaries, season: NDArray[np.bool_] = SUMMER
) -> float:
    one = np.ones(1)
    return float(
        drying_potential_kg_m2(
            *(sd_out * one, sd_in * one, share * one, one),
            *(edges, np.zeros(1, dtype=np.int64), season),
        )[0]
    )


def test_both_directions_add_up_by_hand() -> None:
    # Plane at 15 °C, halfway: 1704.4 Pa. Out 0.6 · 1227.3 = 736.4, in 0.5 · 2337.0 = 1168.5 Pa.
    # 2e-10 · (968.0 / 2 + 535.9 / 5) · 183 days · 86 400 s = 1.870 kg/m².
    edges = flat_climate(10, 0.6, 20, 0.5)
    assert potential(2.0, 5.0, 0.5, edges) == pytest.approx(1.870, abs=0.001)


def test_a_month_that_would_only_wet_counts_nothing() -> None:
    # Plane at the outside, 5 °C, 872 Pa; the room at 25 °C, 80 % has 2533 Pa and a path of 0.1 m.
    assert potential(100.0, 0.1, 0.0, flat_climate(5, 0.9, 25, 0.8)) == 0.0


def test_wetting_from_one_side_is_taken_off_the_other() -> None:
    edges = flat_climate(5, 0.5, 25, 0.8)
    alone, loaded = potential(1.0, 1e9, 0.0, edges), potential(1.0, 20.0, 0.0, edges)
    assert 0 < loaded < alone


def test_only_the_season_counts_and_the_south_has_its_own() -> None:
    cold, warm = flat_climate(0, 0.5, 20, 0.5), flat_climate(20, 0.5, 20, 0.5)
    tables = zip(
        (cold.t_out_c, cold.p_out_pa, cold.t_in_c, cold.p_in_pa),
        (warm.t_out_c, warm.p_out_pa, warm.t_in_c, warm.p_in_pa),
        strict=True,
    )
    north = Boundaries(*(np.where(SUMMER, w, c) for c, w in tables))
    in_summer = potential(1.0, 1.0, 0.1, north)
    assert in_summer == pytest.approx(potential(1.0, 1.0, 0.1, warm))
    assert potential(1.0, 1.0, 0.1, north, ~SUMMER) < in_summer


def test_a_tight_measure_takes_the_inward_half_away() -> None:
    edges = flat_climate(15, 0.6, 20, 0.5)
    before, after = potential(50.0, 0.2, 0.5, edges), potential(50.0, 50.0, 0.5, edges)
    loss = drying_loss_pct(np.array([before]), np.array([after]))[0]
    assert loss == pytest.approx(100 * (1 - after / before))
    assert loss > 98


def test_loss_is_never_negative_and_unknown_without_potential() -> None:
    loss = drying_loss_pct(np.array([1.0, 2.0, 0.0]), np.array([1.5, 0.5, 0.0]))
    np.testing.assert_array_equal(loss, [0.0, 75.0, np.nan])


@pytest.mark.parametrize("bad", [np.nan, -0.1, np.inf])
def test_impossible_layers_are_refused(bad: float) -> None:
    edges = flat_climate(10, 0.6, 20, 0.5)
    for values in ((bad, 1.0, 0.5), (1.0, bad, 0.5), (1.0, 1.0, bad)):
        with pytest.raises(ValueError, match="finite and not negative"):
            potential(*values, edges)
