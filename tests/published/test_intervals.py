"""Intervals of shares: every row of the job notes 6.5, B44, and statsmodels as a reference.

Marks: table COMPUTED; 7 of 50 SEEN B44 (SciPy documentation); 81 of 263, 15 of 148, 0 of 20 and
1 of 29 are the cases of Newcombe 1998 (B45; digits MEMORY, agreeing with COMPUTED).
"""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats
from statsmodels.stats.proportion import proportion_confint

from triage.learn.intervals import (
    at_most_share,
    clopper_pearson,
    failing_range,
    openings_to_estimate,
    wilson,
)

TABLE = [
    (7, 50, (7.0, 26.2), (5.8, 26.7)),
    (81, 263, (25.5, 36.6), (25.3, 36.8)),
    (15, 148, (6.2, 16.1), (5.8, 16.2)),
    (0, 20, (0, 16.1), (0, 16.8)),
    (1, 29, (0.6, 17.2), (0.1, 17.8)),
    (0, 59, (0, 6.1), (0, 6.1)),
    (3, 59, (1.7, 13.9), (1.1, 14.2)),
    (8, 80, (5.2, 18.5), (4.4, 18.8)),
]
# Half of the last digit; 16.0487 and 14.1487 were rounded twice there, to 16.05 and up.
LAST_DIGIT = 0.055


@pytest.mark.parametrize(("failing", "opened", "score", "exact"), TABLE)
def test_table_of_intervals(
    failing: int, opened: int, score: tuple[float, float], exact: tuple[float, float]
) -> None:
    assert 100 * np.array(wilson(failing, opened)) == pytest.approx(score, abs=LAST_DIGIT)
    got = 100 * np.array(clopper_pearson(failing, opened))
    assert got == pytest.approx(exact, abs=LAST_DIGIT)


def test_b44() -> None:
    assert clopper_pearson(7, 50) == pytest.approx((0.0582, 0.2674), abs=5e-5)


def test_one_sided_and_whole_numbers() -> None:
    assert 100 * at_most_share(0, 59) == pytest.approx(4.95, abs=0.005)
    assert failing_range(3, 59, 400) == (6, 53)
    assert failing_range(8, 80, 1200) == (55, 221)


@pytest.mark.parametrize(
    ("roofs", "five_points", "ten_points"),
    [(200, 132, 66), (500, 218, 81), (2000, 323, 92), (10000, 370, 96), (60000, 382, 96)],
)
def test_table_of_margins(roofs: int, five_points: int, ten_points: int) -> None:
    assert openings_to_estimate(roofs, 0.05).openings == five_points
    assert openings_to_estimate(roofs, 0.10).openings == ten_points


def test_margins_without_limit_and_with_clusters() -> None:
    assert openings_to_estimate(None, 0.05).openings == 385  # 1.96^2 / 4 / 0.05^2 = 384.1
    assert openings_to_estimate(None, 0.05, effect=1.7).openings == 655  # 385 x 1.7 = 654.5
    assert openings_to_estimate(200, 0.05, effect=1.7).openings == 200


@given(
    opened=st.integers(1, 500), data=st.data(), confidence=st.sampled_from([0.8, 0.9, 0.95, 0.99])
)
def test_against_statsmodels(opened: int, data: st.DataObject, confidence: float) -> None:
    failing = data.draw(st.integers(0, opened))
    score = proportion_confint(failing, opened, 1 - confidence, method="wilson")
    exact = proportion_confint(failing, opened, 1 - confidence, method="beta")
    assert wilson(failing, opened, confidence) == pytest.approx(score, abs=1e-9)
    assert clopper_pearson(failing, opened, confidence) == pytest.approx(exact, abs=1e-9)
    test = stats.binomtest(failing, opened, alternative="less")
    upper = test.proportion_ci(confidence, method="exact").high
    assert at_most_share(failing, opened, confidence) == pytest.approx(upper, abs=1e-9)


@given(roofs=st.integers(1, 60), data=st.data(), confidence=st.sampled_from([0.8, 0.95]))
def test_range_by_trying_every_count(roofs: int, data: st.DataObject, confidence: float) -> None:
    opened = data.draw(st.integers(0, roofs))
    failing = data.draw(st.integers(0, opened))
    tail = (1 - confidence) / 2
    possible = [
        total
        for total in range(failing, roofs - opened + failing + 1)
        if stats.hypergeom(roofs, total, opened).cdf(failing) > tail
        and stats.hypergeom(roofs, total, opened).sf(failing - 1) > tail
    ]
    assert failing_range(failing, opened, roofs, confidence) == (possible[0], possible[-1])


def test_arrays_and_nothing_opened() -> None:
    low, high = wilson([0, 3, 0], [59, 59, 0])
    assert np.isnan(low[2])
    assert np.isnan(high[2])
    assert high[0] < high[1]
    assert failing_range(0, 0, 12) == (0, 12)
    assert at_most_share(0, 0) == 1.0
    with pytest.raises(ValueError, match="none and all"):
        wilson(4, 3)
    with pytest.raises(ValueError, match="cannot be"):
        failing_range(4, 3, 9)
