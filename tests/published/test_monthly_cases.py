"""Cases A to E of the reference facts (climate-and-codes 4.5), month by month.

COMPUTED there by a convex-hull solver and again by an obstacle iteration, with a hand check of
January; no readable copy of the standard's own examples was reached. Climate T1 is a synthetic
temperate maritime year.
"""

import numpy as np
import pvlib
import pytest
from numpy.typing import NDArray

from triage.physics.monthly import Boundaries, CondensationYear, Profile, condensation_profile
from triage.physics.monthly import condensation_year as solve

Floats = NDArray[np.float64]
UNSLICED, TOLERANCE_G_M2 = 1e9, 0.05
T1_C = [4.0, 4.5, 6.5, 9.0, 12.5, 15.5, 17.5, 17.0, 14.5, 11.0, 7.0, 4.5]
T1_RH = [86, 83, 79, 75, 74, 73, 72, 74, 78, 83, 86, 87]
MONTHS = ["Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec"]

FELT, BOARD = (0.02, 100.0), (0.05, 0.125)
A = [FELT, (4.0, 0.16), BOARD]
B = [FELT, (4.0, 0.16), (0.0, 100.0), BOARD]
C = [(0.02, 20.0), (0.018 / 0.13, 0.54), (5.0, 0.20), (0.0, 2.0), BOARD]
D = [(0.215 / 0.77, 2.15), (1.5, 0.06), BOARD]
E = [(0.215 / 0.77, 2.15), (1.5, 0.06), (0.0, 10.0), BOARD]


def inside(t_out: Floats, p_out: Floats, excess_pa: float) -> Boundaries:
    """20 °C inside; the excess falls to nothing as it gets 20 °C outside."""
    p_in = p_out + excess_pa * np.clip((20 - t_out) / 20, 0, 1)
    return Boundaries(t_out[None], p_out[None], np.full((1, 12), 20.0), p_in[None])


def t1(excess_pa: float) -> Boundaries:
    t = np.array(T1_C)
    return inside(t, 610.5 * np.exp(17.269 * t / (237.3 + t)) * np.array(T1_RH) / 100, excess_pa)


def year(
    layers: list[tuple[float, float]], r_si: float, edges: Boundaries, slice_r: float = UNSLICED
) -> CondensationYear:
    r, sd = (np.array([column]) for column in zip(*layers, strict=True))
    one, zero = np.ones(1), np.zeros(1, dtype=np.int64)
    return solve(r, sd, 0.04 * one, r_si * one, zero - 1, edges, zero, slice_r_m2k_w=slice_r)


def profile(layers: list[tuple[float, float]], r_si: float, edges: Boundaries) -> Profile:
    r, sd = (np.array(column) for column in zip(*layers, strict=True))
    return condensation_profile(r, sd, 0.04, r_si, edges, slice_r_m2k_w=UNSLICED)


def by_month(first: str, *values: float) -> Floats:
    """A year of values from `first` on, zero after the last, in calendar order."""
    full = np.zeros(12)
    full[: len(values)] = values
    return np.roll(full, MONTHS.index(first))


A_RATES = by_month(
    *("Oct", 243.52, 678.59, 948.87, 978.70, 799.71, 620.37, 264.79),
    *(-158.29, -548.58, -873.14, -730.65, -272.40),
)
A_STORES = by_month(
    *("Oct", 243.52, 922.11, 1870.98, 2849.68, 3649.38, 4269.75, 4534.54),
    *(4376.26, 3827.68, 2954.54, 2223.89, 1951.49),
)


@pytest.mark.parametrize("slice_r", [UNSLICED, 0.25])
def test_a_flat_roof_without_vapour_control_builds_up(slice_r: float) -> None:
    got = year(A, 0.10, t1(810), slice_r)
    np.testing.assert_allclose(got.condensate_g_m2[0], A_STORES, atol=TOLERANCE_G_M2)
    assert (got.verdict[0], MONTHS[got.first_month[0]], got.dry_month[0]) == (2, "Oct", -1)
    assert got.peak_g_m2[0] == pytest.approx(4534.54, abs=TOLERANCE_G_M2)
    assert got.residual_g_m2[0] == pytest.approx(1951.49, abs=TOLERANCE_G_M2)
    assert (MONTHS[got.peak_month[0]], got.at_interface[0]) == ("Apr", 1)


def test_a_monthly_rates_of_condensing_and_drying() -> None:
    got = profile(A, 0.10, t1(810))
    np.testing.assert_allclose(got.rate_g_m2[:, 1], A_RATES, atol=TOLERANCE_G_M2)
    assert got.t_c[0, 1] == pytest.approx(4.228, abs=5e-4)
    assert got.psat_pa[0, 1] == pytest.approx(825.99, abs=5e-3)


def test_b_vapour_control_lets_the_year_dry() -> None:
    got = year(B, 0.10, t1(810))
    stores = by_month("Nov", 1.14, 3.18, 5.28, 6.80, 7.41, 6.62, 4.10, 0.05)
    np.testing.assert_allclose(got.condensate_g_m2[0], stores, atol=TOLERANCE_G_M2)
    assert (got.verdict[0], got.residual_g_m2[0]) == (1, 0.0)
    assert [MONTHS[m[0]] for m in (got.first_month, got.peak_month, got.dry_month)] == [
        *("Nov", "Mar", "Jul")
    ]
    rates = by_month("Nov", 1.14, 2.04, 2.10, 1.52, 0.61, -0.79, -2.52, -4.05, -5.50)
    shown = profile(B, 0.10, t1(810)).rate_g_m2[:, 1]
    np.testing.assert_allclose(shown, rates, atol=TOLERANCE_G_M2)


def test_c_two_interfaces_are_wet_at_once() -> None:
    got, shown = year(C, 0.10, t1(1080)), profile(C, 0.10, t1(1080))
    first = by_month(
        *("Oct", 14.20, 32.95, 53.78, 74.53, 92.53, 110.40, 124.25),
        *(132.46, 132.70, 125.74, 121.63, 126.74),
    )
    second = by_month(
        *("Oct", 33.40, 128.52, 264.15, 404.95, 520.44, 610.19, 650.00),
        *(631.87, 563.17, 454.49, 363.15, 328.85),
    )
    np.testing.assert_allclose(shown.store_g_m2[:, 1], first, atol=TOLERANCE_G_M2)
    np.testing.assert_allclose(shown.store_g_m2[:, 2], second, atol=TOLERANCE_G_M2)
    assert got.verdict[0] == 2
    assert got.peak_g_m2[0] == pytest.approx(774.25, abs=TOLERANCE_G_M2)
    assert got.residual_g_m2[0] == pytest.approx(455.59, abs=TOLERANCE_G_M2)
    assert (MONTHS[got.peak_month[0]], got.at_interface[0]) == ("Apr", 2)


def test_c_dry_start_rates_of_january() -> None:
    # A year of nothing but January starts dry in January.
    edges = t1(1080)
    only = Boundaries(
        *(np.repeat(v[:, :1], 12, axis=1) for v in (edges.t_out_c, edges.p_out_pa)),
        *(np.repeat(v[:, :1], 12, axis=1) for v in (edges.t_in_c, edges.p_in_pa)),
    )
    rates = profile(C, 0.10, only).rate_g_m2[0, 1:3] / 1000 / (31 * 86_400)
    np.testing.assert_allclose(rates, [7.7482e-9, 5.2568e-8], rtol=1e-4)


def test_d_brick_lined_with_wool_dries_but_holds_kilograms() -> None:
    got = year(D, 0.13, t1(810))
    stores = by_month(
        *("Nov", 586.13, 1563.67, 2584.37, 3371.66, 3833.01, 3771.77, 3095.90, 1908.56, 281.55)
    )
    rates = by_month(
        *("Nov", 586.13, 977.54, 1020.70, 787.29, 461.36, -61.24),
        *(-675.87, -1187.34, -1627.01, -1418.99),
    )
    np.testing.assert_allclose(got.condensate_g_m2[0], stores, atol=TOLERANCE_G_M2)
    shown = profile(D, 0.13, t1(810)).rate_g_m2[:, 1]
    np.testing.assert_allclose(shown, rates, atol=TOLERANCE_G_M2)
    assert (got.verdict[0], MONTHS[got.dry_month[0]]) == (1, "Aug")
    assert got.peak_g_m2[0] == pytest.approx(3833.01, abs=TOLERANCE_G_M2)


def test_e_a_control_layer_keeps_the_brick_dry() -> None:
    got = year(E, 0.13, t1(810))
    assert (got.verdict[0], got.peak_g_m2[0], got.first_month[0]) == (0, 0.0, -1)
    assert not got.condensate_g_m2.any()


def typical_year(name: str) -> Boundaries:
    """Class 3 home under monthly means of a typical year, vapour pressure from hourly values."""
    table, _ = pvlib.iotools.read_tmy3(
        f"{pvlib.__path__[0]}/data/{name}", map_variables=False, coerce_year=1990
    )
    t, rh = table["Dry-bulb (C)"].to_numpy(), table["RHum (%)"].to_numpy()
    curve = np.where(t < 0, 21.875 * t / (265.5 + t), 17.269 * t / (237.3 + t))
    pressure = 610.5 * np.exp(curve) * rh / 100
    ends = np.cumsum([31, 28, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31])[:-1] * 24
    means = [np.array([m.mean() for m in np.split(v, ends)]) for v in (t, pressure)]
    return inside(*means, 810)


def test_d_in_greensboro() -> None:
    got = year(D, 0.13, typical_year("723170TYA.CSV"))
    stores = by_month("Dec", 553.4, 1819.1, 2213.4, 1412.0)
    np.testing.assert_allclose(got.condensate_g_m2[0], stores, atol=TOLERANCE_G_M2)
    assert got.verdict[0] == 1


def test_d_at_sand_point() -> None:
    got = year(D, 0.13, typical_year("703165TY.csv"))
    stores, named = got.condensate_g_m2[0], [MONTHS.index(m) for m in ("Sep", "Jan", "Jun", "Aug")]
    np.testing.assert_allclose(stores[named], [102.6, 4827.2, 9020.2, 7887.1], atol=TOLERANCE_G_M2)
    assert (got.verdict[0], MONTHS[got.first_month[0]]) == (2, "Sep")
    assert got.peak_g_m2[0] == pytest.approx(9020.2, abs=TOLERANCE_G_M2)
