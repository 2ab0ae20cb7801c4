"""What must hold for any build-up in any climate: water is conserved, and more of a good is good.

Laws of diffusion and of the method, not numbers of its own: fluxes are computed here from the
pressures that the profile shows.
"""

from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray

from triage.physics import compiled, monthly
from triage.physics.monthly import Boundaries, Profile, condensation_profile
from triage.physics.monthly import condensation_year as solve
from triage.physics.monthly_stack import surely_below

Floats = NDArray[np.float64]
SECONDS = np.array([31, 28, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31]) * 86_400.0

seeds = st.integers(0, 2**32 - 1)


def saturation(t: Floats) -> Floats:
    return 610.5 * np.exp(np.where(t < 0, 21.875 * t / (265.5 + t), 17.269 * t / (237.3 + t)))


def climate(rng: np.random.Generator, rows: int = 1) -> Boundaries:
    wave = np.cos(2 * np.pi * (np.arange(12) - 0.5) / 12)
    t_out = rng.uniform(-8, 22, (rows, 1)) - rng.uniform(3, 14, (rows, 1)) * wave
    p_out = saturation(t_out) * rng.uniform(0.5, 0.95, (rows, 12))
    t_in = np.full((rows, 12), 20.0)
    excess = rng.choice([270, 540, 810, 1080], (rows, 1)) * np.clip((20 - t_out) / 20, 0, 1)
    return Boundaries(t_out, p_out, t_in, np.minimum(p_out + excess, 2300.0))


def wet_climate(rng: np.random.Generator) -> Boundaries:
    """Month after month of its own, so that stores fill and dry in every order."""
    t_out, t_in = rng.uniform(-10, 25, (1, 12)), rng.uniform(18, 24, (1, 12))
    p_out = saturation(t_out) * rng.uniform(0.5, 0.99, (1, 12))
    return Boundaries(t_out, p_out, t_in, saturation(t_in) * rng.uniform(0.3, 0.9, (1, 12)))


def layers(rng: np.random.Generator, count: int) -> tuple[Floats, Floats]:
    """Seven slots, a quarter of them not there, some heat alone, some membranes."""
    there = rng.random((count, 7)) > 0.25
    r = np.where(there, 10 ** rng.uniform(-1.7, 0.75, there.shape), 0.0)
    sd = np.where(there, 10 ** rng.uniform(-2, 2, there.shape), 0.0)
    r[rng.random(there.shape) < 0.1] = 0.0
    return r, sd


def solve_in_first(r: Floats, sd: Floats, edges: Boundaries, watch: int = -1) -> Floats:
    full = np.ones(len(r))
    zero = np.zeros(len(r), dtype=np.int64)
    return solve(r, sd, 0.04 * full, 0.13 * full, zero + watch, edges, zero).condensate_g_m2


def first_month(r: Floats, sd: Floats, edges: Boundaries) -> int:
    one, zero = np.ones(1), np.zeros(1, dtype=np.int64)
    return int(solve(r, sd, 0.04 * one, 0.13 * one, zero, edges, zero).first_month[0])


def through_surfaces(seen: Profile) -> tuple[Floats, Floats]:
    """What comes in from the air and from the room in each month, g/m², from the mean pressures."""
    flow = 2e-7 * np.diff(seen.p_pa, axis=1) / np.diff(seen.sd_m) * SECONDS[:, np.newaxis]
    return -flow[:, 0], flow[:, -1]


def assert_water_is_conserved(r: Floats, sd: Floats, edges: Boundaries) -> Profile:
    seen = condensation_profile(r, sd, 0.04, 0.13, edges)
    air, room = through_surfaces(seen)
    change = seen.store_g_m2 - np.roll(seen.store_g_m2, 1, axis=0)
    if seen.verdict == 2:  # the year begins dry, so its first month does not follow its last
        begins = first_month(r[np.newaxis], sd[np.newaxis], edges)
        change[begins] = seen.store_g_m2[begins]
    # Beside rounding, a store of a millionth of a gram is called dry.
    allowed = 1e-9 * (abs(air) + abs(room)) + 1e-6 * len(seen.sd_m)
    apart = abs(change.sum(axis=1) - (air + room))
    assert (apart <= allowed).all(), apart - allowed
    entered = air.clip(min=0).sum() + room.clip(min=0).sum()
    assert seen.store_g_m2.sum(axis=1).max() <= entered * (1 + 1e-9) + 1e-6 * len(seen.sd_m)
    return seen


def test_what_comes_in_goes_out_or_is_stored() -> None:
    rng = np.random.default_rng(10)
    ran_dry, verdicts = 0, np.zeros(3, dtype=int)
    for case, (r, sd) in enumerate(zip(*layers(rng, 1500), strict=True)):
        edges = climate(rng) if case % 2 else wet_climate(rng)
        seen = assert_water_is_conserved(r, sd, edges)
        wet = seen.store_g_m2 > 0
        ran_dry += int((~wet & np.roll(wet, 1, axis=0) & wet.any(axis=1, keepdims=True)).any())
        verdicts[seen.verdict] += 1
    assert ran_dry > 100, "stores must run dry while others stay wet"
    assert verdicts.min() > 100, verdicts


def test_a_store_that_runs_dry_gives_its_neighbours_no_more_than_it_held() -> None:
    # West Virginia, humid home: a whole month's drying of one interface would wet the next.
    t_out = np.array([1.0, 2.1, 7.1, 12.9, 14.3, 20.3, 21.9, 21.0, 16.1, 11.8, 7.4, -4.1])
    p_out = np.array([549.0, 536, 709, 963, 1218, 1814, 2069, 1979, 1588, 922, 708, 368])
    p_in = p_out + 810 * np.clip((20 - t_out) / 20, 0, 1)
    edges = Boundaries(t_out[None], p_out[None], np.full((1, 12), 20.0), p_in[None])
    r, sd = np.array([0.08, 0, 0.1154, 1.3158, 0]), np.array([2, 0.7, 3, 0.05, 2])
    seen = assert_water_is_conserved(r, sd, edges)
    assert (seen.verdict, seen.store_g_m2.sum(axis=1)[10]) == (1, 0.0)  # November


@settings(max_examples=150, deadline=None)
@given(seed=seeds)
def test_pressure_never_passes_saturation_and_is_saturation_where_wet(seed: int) -> None:
    rng = np.random.default_rng(seed)
    edges = climate(rng)
    r, sd = layers(rng, 1)
    r[sd == 0] = 0.0  # faces of a layer of heat alone share one interface
    seen = condensation_profile(r[0], sd[0], 0.04, 0.13, edges)
    inner = slice(1, -1)
    assert (seen.p_pa[:, inner] <= seen.psat_pa[:, inner] * (1 + 1e-9)).all()
    wet = seen.store_g_m2 > 0
    np.testing.assert_allclose(seen.p_pa[wet], seen.psat_pa[wet], rtol=1e-9)
    assert (seen.store_g_m2 >= 0).all()


@settings(max_examples=150, deadline=None)
@given(seed=seeds)
def test_a_tighter_lining_never_brings_more_condensate_in_winter(seed: int) -> None:
    # The coldest month all year long: nothing dries, which a lining would slow down as well.
    rng = np.random.default_rng(seed)
    edges = climate(rng)
    coldest = edges.t_out_c.argmin()
    tables = edges.t_out_c, edges.p_out_pa, edges.t_in_c, edges.p_in_pa
    winter = Boundaries(*(np.full((1, 12), table[0, coldest]) for table in tables))
    r, sd = (np.repeat(table, 6, axis=0) for table in layers(rng, 1))
    # Never none at all: what condenses on the bare inside surface is not the method's.
    membranes = np.array([[0.05], [0.1], [1.0], [5.0], [50.0], [500.0]])
    r, sd = np.hstack([r, np.zeros((6, 1))]), np.hstack([sd, membranes])
    january = solve_in_first(r, sd, winter)[:, 0]
    assert (np.diff(january) <= 1e-5 + 1e-9 * january[:-1]).all()


@settings(max_examples=60, deadline=None)
@given(seed=seeds, factor=st.floats(0.2, 5))
def test_thickness_and_conductivity_scaled_together_change_nothing(
    seed: int, factor: float
) -> None:
    rng = np.random.default_rng(seed)
    edges = climate(rng)
    thick_m, conductivity = rng.uniform(0.005, 0.3, (20, 5)), rng.uniform(0.02, 1.0, (20, 5))
    sd = rng.uniform(0.01, 20, (20, 5))
    plain = solve_in_first(thick_m / conductivity, sd, edges)
    scaled = solve_in_first((thick_m * factor) / (conductivity * factor), sd, edges)
    np.testing.assert_allclose(scaled, plain, rtol=1e-6, atol=1e-6)


def test_slots_that_are_not_there_change_nothing() -> None:
    rng = np.random.default_rng(5)
    edges = climate(rng)
    r, sd = rng.uniform(0.05, 3, (200, 4)), 10 ** rng.uniform(-1.5, 1.5, (200, 4))
    wide = np.zeros((2, 200, 9))
    wide[:, :, [1, 2, 5, 7]] = r, sd
    np.testing.assert_array_equal(solve_in_first(*wide, edges), solve_in_first(r, sd, edges))


def test_rows_do_not_depend_on_their_neighbours_and_repeat_to_the_byte() -> None:
    rng = np.random.default_rng(6)
    edges = climate(rng)
    r, sd = layers(rng, 1000)
    once = solve_in_first(r, sd, edges)
    order = rng.permutation(1000)
    np.testing.assert_array_equal(solve_in_first(r[order], sd[order], edges), once[order])
    np.testing.assert_array_equal(solve_in_first(r, sd, edges), once)


def test_a_wall_with_both_seasons_wet_but_a_dry_spring_does_not_build_up() -> None:
    # One interface: condenses in September and in winter; October dries part of it, spring all.
    t_out = np.array([0, 0, 12, 14, 18, 20, 20, 20, 3, 16, 0, 0], dtype=float)
    p_out = saturation(t_out) * np.array([0.9] * 2 + [0.4] * 6 + [0.9, 0.4, 0.9, 0.9])
    p_in = np.where(t_out < 10, 1300.0, np.minimum(p_out + 50, 900.0))
    edges = Boundaries(t_out[None], p_out[None], np.full((1, 12), 20.0), p_in[None])
    r, sd = np.array([[0.05, 4.0]]), np.array([[5.0, 2.0]])
    one, zero = np.ones(1), np.zeros(1, dtype=np.int64)
    got = solve(r, sd, 0.04 * one, 0.13 * one, zero - 1, edges, zero)
    wet = got.condensate_g_m2[0] > 0
    assert wet[8]
    assert not wet[5]
    assert (got.verdict[0], got.residual_g_m2[0]) == (1, 0.0)


@settings(max_examples=300, deadline=None)
@given(
    cold=st.floats(-35, 40),
    span=st.floats(0.01, 60),
    at_cold=st.floats(0, 1),
    at_warm=st.floats(0, 1),
)
def test_a_layer_is_left_closed_only_if_its_line_is_below_saturation_all_through(
    cold: float, span: float, at_cold: float, at_warm: float
) -> None:
    t = np.linspace(cold, cold + span, 400)
    full = saturation(t)
    pa, pb = at_cold * full[0], at_warm * full[-1]
    line = np.linspace(pa, pb, 400)
    if surely_below(t[0], t[-1], full[0], full[-1], pa, pb):
        assert (line <= full * (1 + 1e-12)).all()
    if surely_below(t[-1], t[0], full[-1], full[0], pb, pa):
        assert (line <= full * (1 + 1e-12)).all()


def test_kernels_take_saturation_as_the_vapour_module_does() -> None:
    from triage.physics.vapour import saturation_pressure_pa

    t = np.linspace(-40, 80, 2401)
    scalar = np.array([compiled.saturation_pa(one) for one in t])
    np.testing.assert_allclose(scalar, saturation_pressure_pa(t), rtol=1e-14)


@pytest.mark.parametrize("bad", [np.nan, np.inf, -1.0])
def test_unknown_or_negative_layers_are_refused(bad: float) -> None:
    rng = np.random.default_rng(7)
    edges = climate(rng)
    for table in range(2):
        both = [np.ones((1, 3)), np.ones((1, 3))]
        both[table][0, 1] = bad
        with pytest.raises(ValueError, match="finite and not negative"):
            solve_in_first(both[0], both[1], edges)


def test_climates_that_are_none_are_refused() -> None:
    good = np.full((1, 12), 10.0)
    gap = good.copy()
    gap[0, 3] = np.nan
    with pytest.raises(ValueError, match="p_out_pa needs twelve known months"):
        Boundaries(good, gap, good, good)
    with pytest.raises(ValueError, match="t_out_c must lie between"):
        Boundaries(good * 100, good, good, good)
    with pytest.raises(ValueError, match="rows"):
        Boundaries(good, np.repeat(good, 2, axis=0), good, good)
    one, zero = np.ones(1), np.zeros(1, dtype=np.int64)
    edges = Boundaries(good, good, good, good)
    with pytest.raises(ValueError, match="which must name rows"):
        solve(one[None], one[None], one, one, zero, edges, zero + 1)
    with pytest.raises(ValueError, match="some thermal resistance"):
        solve(0 * one[None], one[None], 0 * one, 0 * one, zero, edges, zero)


def test_a_build_up_whose_month_finds_no_end_is_refused_with_its_row(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    def no_end(*tables: Any) -> None:
        tables[-3][:], tables[-3][2, 0] = 0, monthly.UNFINISHED

    edges = climate(np.random.default_rng(11))
    monkeypatch.setattr(monthly, "solve_many", no_end)
    with pytest.raises(ArithmeticError, match="no end to a month in 1 build-ups, first in row 2"):
        solve_in_first(np.ones((4, 2)), np.ones((4, 2)), edges)


def test_no_cases_and_no_layers_are_answered() -> None:
    edges = climate(np.random.default_rng(8))
    none = np.zeros(0, dtype=np.int64)
    empty = solve(np.zeros((0, 4)), np.zeros((0, 4)), *[np.zeros(0)] * 2, none, edges, none)
    assert empty.condensate_g_m2.shape == (0, 12)
    bare = solve_in_first(np.zeros((1, 4)), np.zeros((1, 4)), edges)
    assert not bare.any()
    heat_only = solve_in_first(np.ones((1, 4)), np.zeros((1, 4)), edges)
    assert not heat_only.any()


def test_nothing_that_comes_out_is_not_a_number() -> None:
    rng = np.random.default_rng(9)
    edges = climate(rng, 50)
    r, sd = layers(rng, 2000)
    full, which = np.ones(2000), rng.integers(0, 50, 2000)
    got = solve(r, sd, 0.04 * full, 0.13 * full, rng.integers(-1, 8, 2000), edges, which)
    for name in ("peak_g_m2", "residual_g_m2", "condensate_g_m2", "watch_t_c", "watch_p_pa"):
        assert np.isfinite(getattr(got, name)).all(), name
    assert (got.watch_psat_pa > 0).all()
