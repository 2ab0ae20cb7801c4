"""Indoor climates: shapes, order of classes, caps and refusals."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from triage.physics.indoor import IndoorModel, class_excess_pa, indoor_climate
from triage.physics.vapour import relative_humidity_pct, vapour_pressure_pa

MODELS: tuple[IndoorModel, ...] = ("iso_13788", "en_15026", "ashrae_160")
COLD = np.full((2, 12), 5.0)
VAPOUR = vapour_pressure_pa(COLD, 80.0)


@given(t=st.floats(-40, 45), rise=st.floats(0, 20), number=st.integers(1, 3))
def test_excess_falls_with_warmth_and_rises_with_the_class(
    t: float, rise: float, number: int
) -> None:
    assert class_excess_pa(number, t) >= class_excess_pa(number, t + rise) >= 0.0
    assert class_excess_pa(number + 1, t) >= class_excess_pa(number, t)


@given(
    t=st.floats(-40, 45), rh=st.floats(0, 100), model=st.sampled_from(MODELS), cooled=st.booleans()
)
def test_indoor_air_is_always_possible(
    t: float, rh: float, model: IndoorModel, cooled: bool
) -> None:
    out = np.full((1, 12), t)
    air = indoor_climate(
        model, out, vapour_pressure_pa(out, rh), humidity_class=[4], has_cooling=cooled
    )
    humidity = relative_humidity_pct(air.t_in_c, air.p_in_pa)
    assert ((humidity >= 0) & (humidity <= 100 + 1e-9)).all()
    np.testing.assert_allclose(humidity[air.is_capped], 100.0)


def test_warm_damp_outdoor_air_is_capped_at_saturation_and_said_so() -> None:
    """30 °C and 80 % hold 3394 Pa by tables, more than 20 °C air can (2339 Pa)."""
    out = np.array([[5.0] * 11 + [30.0]])
    air = indoor_climate("iso_13788", out, vapour_pressure_pa(out, 80.0), humidity_class=[2])
    assert air.is_capped.tolist() == [[False] * 11 + [True]]
    assert air.p_in_pa[0, 11] == pytest.approx(2339.0, rel=0.001)


def test_each_climate_takes_its_own_class_and_temperature() -> None:
    both = indoor_climate("iso_13788", COLD, VAPOUR, humidity_class=[2, 4], indoor_c=[18.0, 22.0])
    for row, (number, t_in) in enumerate([(2, 18.0), (4, 22.0)]):
        one = indoor_climate(
            "iso_13788", COLD[:1], VAPOUR[:1], humidity_class=number, indoor_c=t_in
        )
        np.testing.assert_array_equal(both.p_in_pa[row], one.p_in_pa[0])
        np.testing.assert_array_equal(both.t_in_c[row], one.t_in_c[0])


def test_only_the_class_model_reads_the_class() -> None:
    for model in MODELS[1:]:
        low, high = (indoor_climate(model, COLD, VAPOUR, humidity_class=c).p_in_pa for c in (1, 4))
        np.testing.assert_array_equal(low, high)


def test_no_climates_give_no_rows() -> None:
    none = np.empty((0, 12))
    air = indoor_climate("iso_13788", none, none, humidity_class=np.empty(0))
    assert air.p_in_pa.shape == (0, 12)


@pytest.mark.parametrize("number", [0, 5, 2.5, np.nan])
def test_a_class_without_limits_is_refused(number: float) -> None:
    with pytest.raises(ValueError, match=r"class must be 1, 2, 3 or 4|must be numbers"):
        class_excess_pa(number, 5.0)


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"model": "iso_6946"}, "not one of"),
        ({"margin": 0.9}, "margin"),
        ({"margin": np.nan}, "margin"),
        ({"humidity_class": [3, 3, 3]}, "one value or 2"),
        ({"indoor_c": np.nan}, "must be numbers"),
        ({"t_out_c": COLD[:, :11]}, r"shape \(m, 12\)"),
        ({"t_out_c": COLD * np.nan}, "must be numbers"),
        ({"p_out_pa": -VAPOUR}, "vapour from 0"),
    ],
)
def test_bad_input_is_refused(change: dict[str, object], words: str) -> None:
    given_: dict[str, object] = {
        "model": "iso_13788",
        "t_out_c": COLD,
        "p_out_pa": VAPOUR,
        "humidity_class": [3, 3],
    }
    with pytest.raises(ValueError, match=words):
        indoor_climate(**(given_ | change))
