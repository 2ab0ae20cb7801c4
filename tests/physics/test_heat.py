"""Heat flow: what must hold for any build-up, and what is refused."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from triage.physics.heat import (
    air_layer_resistance,
    combined_limits,
    combined_resistance,
    f_rsi_plain,
    interface_temperatures_c,
    outer_fraction_for,
    plane_temperature_c,
    required_factor,
    temperature_factor,
    u_value,
    ventilated_total,
)
from triage.physics.vapour import vapour_pressure_pa

SHARE = st.floats(0.001, 0.999)
LAYERS = st.lists(st.tuples(st.floats(0, 10), st.floats(0, 10)), min_size=1, max_size=6)
MM_AND_CONDUCTIVITY = st.lists(
    st.tuples(st.floats(1, 500), st.floats(0.02, 3), st.floats(0.02, 3)), min_size=1, max_size=5
)


@given(share=SHARE, layers=LAYERS)
def test_u4_upper_limit_never_below_the_lower(
    share: float, layers: list[tuple[float, float]]
) -> None:
    sections = [[a for a, _ in layers], [b for _, b in layers]]
    upper, lower = combined_limits([1 - share, share], sections, 0.04, 0.13)
    assert upper >= lower * (1 - 1e-12)


@given(share=SHARE, plain=st.lists(st.floats(0, 10), min_size=1, max_size=6))
def test_nothing_bridged_means_both_limits_are_the_sum(share: float, plain: list[float]) -> None:
    for limit in combined_limits([1 - share, share], [plain, plain], 0.04, 0.13):
        assert limit == pytest.approx(sum(plain) + 0.17, rel=1e-9)


@given(share=SHARE, layers=MM_AND_CONDUCTIVITY, scale=st.floats(0.1, 10))
def test_thickness_and_conductivity_scaled_together_change_nothing(
    share: float, layers: list[tuple[float, float, float]], scale: float
) -> None:
    def limits(by: float) -> list[float]:
        fill = [mm * by / 1000 / (k * by) for mm, k, _ in layers]
        timber = [mm * by / 1000 / (k * by) for mm, _, k in layers]
        return [float(x) for x in combined_limits([1 - share, share], [fill, timber], 0.04, 0.1)]

    assert limits(scale) == pytest.approx(limits(1.0), rel=1e-9)


@given(share=SHARE, layers=LAYERS, more=st.floats(0, 5))
def test_more_insulation_never_lowers_either_limit(
    share: float, layers: list[tuple[float, float]], more: float
) -> None:
    sections = [[a for a, _ in layers], [b for _, b in layers]]
    thicker = [[sections[0][0] + more, *sections[0][1:]], sections[1]]
    before = combined_limits([1 - share, share], sections, 0.04, 0.13)
    after = combined_limits([1 - share, share], thicker, 0.04, 0.13)
    assert all(a >= b * (1 - 1e-12) for a, b in zip(after, before, strict=True))


def test_many_build_ups_at_once_equal_one_by_one() -> None:
    fill, timber = np.array([3.0, 4.0, 5.0]), np.array([1.0, 1.5, 2.0])
    share = np.array([0.1, 0.15, 0.2])
    whole = u_value([1 - share, share], [[0.1, fill], [0.1, timber]], 0.04, 0.13)
    assert whole.shape == (3,)
    for i in range(3):
        one = u_value([1 - share[i], share[i]], [[0.1, fill[i]], [0.1, timber[i]]], 0.04, 0.13)
        assert whole[i] == pytest.approx(float(one), rel=1e-15)
    assert u_value([1.0], [[np.empty(0)]], 0.04, 0.13).shape == (0,)


def test_metal_through_insulation_is_outside_the_method() -> None:
    """1 % steel, 50 W/(m·K), through 100 mm of wool: R' is far above 1.5 R''."""
    sections = [[0.1 / 0.04], [0.1 / 50]]
    with pytest.raises(ValueError, match="outside the combined method"):
        combined_resistance([0.99, 0.01], sections, 0.04, 0.13)


# Layers of 1 and x crosswise in two halves, next to no surface resistance: R' = 1 + x and
# R'' = 4x / (1 + x), so that R' / R'' = 1.5 at x = 2 + √3 = 3.732 (by hand).
@pytest.mark.parametrize(("x", "holds"), [(3.70, True), (3.76, False)])
def test_the_method_ends_at_one_and_a_half(x: float, holds: bool) -> None:
    crosswise = [[1.0, x], [x, 1.0]]
    if holds:
        mean = (1 + x + 4 * x / (1 + x)) / 2
        assert combined_resistance([0.5, 0.5], crosswise, 1e-6, 1e-6) == pytest.approx(mean)
    else:
        with pytest.raises(ValueError, match=r"1\.5 times"):
            combined_resistance([0.5, 0.5], crosswise, 1e-6, 1e-6)


@pytest.mark.parametrize(
    ("shares", "sections", "r_si", "words"),
    [
        ([0.5, 0.4], [[1.0], [2.0]], 0.13, "sum to 1"),
        ([1.2, -0.2], [[1.0], [2.0]], 0.13, "sum to 1"),
        ([np.nan, 0.5], [[1.0], [2.0]], 0.13, "sum to 1"),
        ([0.5, 0.5], [[1.0], [2.0, 3.0]], 0.13, "same number"),
        ([1.0], [[]], 0.13, "at least one"),
        ([1.0], [[-1.0]], 0.13, "0 m²K/W or more"),
        ([1.0], [[np.nan]], 0.13, "0 m²K/W or more"),
        ([1.0], [[np.inf]], 0.13, "finite"),
        ([1.0], [[1.0]], 0.0, "surface resistances"),
        ([1.0], [[1.0]], np.nan, "surface resistances"),
    ],
)
def test_impossible_sections_are_refused(
    shares: list[float], sections: list[list[float]], r_si: float, words: str
) -> None:
    with pytest.raises(ValueError, match=words):
        combined_limits(shares, sections, 0.04, r_si)


@given(r=st.lists(st.floats(0, 10), min_size=1, max_size=8), out=st.floats(-30, 19))
def test_temperatures_rise_inwards_by_each_share(r: list[float], out: float) -> None:
    """Ohm's law of heat, each step by its own resistance over the sum."""
    faces = interface_temperatures_c(r, 0.04, 0.13, out, 20.0)
    total = sum(r) + 0.17
    steps = np.diff([out, *faces, 20.0])
    np.testing.assert_allclose(steps, (20.0 - out) * np.array([0.04, *r, 0.13]) / total, atol=1e-9)


def test_temperatures_of_many_elements_at_once() -> None:
    """Rows 0.1 + 0.8 + 0.1 and 0.1 + 0.4 + 0.4 + 0.1 by hand: tenths of the difference."""
    r = np.array([[0.8, 0.0], [0.4, 0.4]])
    faces = interface_temperatures_c(r, np.full(2, 0.1), 0.1, np.array([0.0, -10.0]), 20.0)
    np.testing.assert_allclose(faces, [[2.0, 18.0, 18.0], [-7.0, 5.0, 17.0]], atol=1e-12)


@given(out=st.floats(-40, 6.9), inside=st.floats(15, 25))
def test_the_share_for_a_plane_gives_its_temperature(out: float, inside: float) -> None:
    share = outer_fraction_for(7.0, out, inside)
    assert 0 < share < 1
    assert plane_temperature_c(share, out, inside) == pytest.approx(7.0, abs=1e-9)


def test_a_warm_outside_needs_no_share() -> None:
    assert outer_fraction_for(7.0, [7.0, 30.0], 20.0).tolist() == [0.0, 0.0]
    with pytest.raises(ValueError, match="warmer than the air inside"):
        outer_fraction_for(21.0, 0.0, 20.0)


def test_required_factor_at_the_edges() -> None:
    """Warm outdoors needs nothing; air above 80 % can never pass; and not without heating."""
    damp = vapour_pressure_pa(20.0, 90.0)
    dry = vapour_pressure_pa(20.0, 40.0)
    assert required_factor(19.0, 20.0, dry) == 0.0
    assert required_factor(25.0, 20.0, dry) == 0.0
    assert required_factor(0.0, 20.0, damp) > 1.0
    assert np.isposinf(required_factor(20.0, 20.0, damp))
    assert required_factor(0.0, 20.0, vapour_pressure_pa(20.0, 80.0)) == pytest.approx(1.0)
    with pytest.raises(ValueError, match="critical humidity"):
        required_factor(0.0, 20.0, dry, critical_humidity=80.0)


@given(u=st.floats(0.05, 5.0), out=st.floats(-20, 15))
def test_plain_factor_is_that_of_the_solved_section(u: float, out: float) -> None:
    """The same wall solved layer by layer with the mould check's surface resistance."""
    body = 1 / u - 0.13 - 0.04
    faces = interface_temperatures_c([body], 0.04, 0.25, out, 20.0)
    solved = temperature_factor(faces[-1], out, 20.0)
    assert f_rsi_plain(u, 0.25, 0.13) == pytest.approx(float(solved), abs=1e-9)


@pytest.mark.parametrize(("u", "r_si"), [(0.0, 0.25), (np.nan, 0.25), (8.0, 0.25), (1.0, -0.1)])
def test_an_impossible_wall_has_no_factor(u: float, r_si: float) -> None:
    with pytest.raises(ValueError, match="surface factor needs"):
        f_rsi_plain(u, r_si)


def test_no_factor_without_a_difference() -> None:
    with pytest.raises(ValueError, match="different warmth"):
        temperature_factor(20.0, [0.0, 20.0], 20.0)


@pytest.mark.parametrize("mm", [-1.0, 301.0, np.nan])
def test_an_air_layer_out_of_the_table_is_refused(mm: float) -> None:
    with pytest.raises(ValueError, match="0 to 300 mm"):
        air_layer_resistance([25.0, mm], "upward")


@pytest.mark.parametrize("opening", [-1.0, np.nan])
def test_an_impossible_opening_is_refused(opening: float) -> None:
    with pytest.raises(ValueError, match="0 mm² or more"):
        ventilated_total(3.0, 2.0, opening)
