"""Sample sizes: every figure of the job notes 6.3 and 6.4, and published tables (B42, B43).

Marks: table, sensitivity rows and "what finding none buys" COMPUTED (direct search in exact
arithmetic); B42 SEEN (open-source reference manual, a simple approximation: up to 2 too high);
B43 SEEN (field survey tables after Cannon and Roe).
"""

from fractions import Fraction
from math import comb

import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from triage.learn.detection import (
    at_most_failing,
    chance_of_finding_none,
    design_effect,
    failing_roofs,
    openings_to_detect,
)

SHARES = (0.20, 0.10, 0.05, 0.02, 0.01)
# N: (n, D) for each share, 95 % confidence (job notes 6.4, COMPUTED).
TABLE = {
    10: ((8, 2), (10, 1), (10, 1), (10, 1), (10, 1)),
    20: ((10, 4), (16, 2), (19, 1), (19, 1), (19, 1)),
    30: ((11, 6), (19, 3), (23, 2), (29, 1), (29, 1)),
    50: ((12, 10), (22, 5), (31, 3), (48, 1), (48, 1)),
    100: ((13, 20), (25, 10), (45, 5), (78, 2), (95, 1)),
    200: ((13, 40), (27, 20), (51, 10), (105, 4), (155, 2)),
    500: ((14, 100), (28, 50), (56, 25), (129, 10), (225, 5)),
    1000: ((14, 200), (29, 100), (57, 50), (138, 20), (258, 10)),
    5000: ((14, 1000), (29, 500), (59, 250), (147, 100), (290, 50)),
    60000: ((14, 12000), (29, 6000), (59, 3000), (149, 1200), (298, 600)),
}
ROWS = [
    (roofs, share, *cell)
    for roofs, cells in TABLE.items()
    for share, cell in zip(SHARES, cells, strict=True)
]


@pytest.mark.parametrize(("roofs", "share", "openings", "failing"), ROWS)
def test_table_of_openings(roofs: int, share: float, openings: int, failing: int) -> None:
    plan = openings_to_detect(roofs, share)
    assert (plan.openings, plan.failing) == (openings, failing)
    assert plan.reached >= 0.95 * (1 - 1e-9)


def test_rounding_of_the_failing_count_changes_the_sample() -> None:
    assert (openings_to_detect(50, 0.05).failing, openings_to_detect(50, 0.05).openings) == (3, 31)
    assert (openings_to_detect(50, 0.04).failing, openings_to_detect(50, 0.04).openings) == (2, 39)
    assert failing_roofs(100, 0.07) == 7  # 0.07 * 100 is a little above 7 in binary


# B42 is approximate: a difference of 2 is accepted, and the notes give the exact figure.
B42 = [(100, 95, 95), (500, 226, 225), (1000, 259, 258), (5000, 291, 290), (10000, 296, 294)]


@pytest.mark.parametrize(("roofs", "published", "exact"), [*B42, (100000, 300, 298)])
def test_b42_one_per_cent(roofs: int, published: int, exact: int) -> None:
    openings = openings_to_detect(roofs, 0.01).openings
    assert openings == exact
    assert openings == pytest.approx(published, abs=2)


def test_b42_without_limit_and_b43() -> None:
    assert openings_to_detect(None, 0.01).openings == 299
    assert openings_to_detect(1600, 0.01, confidence=0.99).openings == 399


# B42, N = 500, 1 %, by the chance that one visit finds a failing roof: the same approximation.
@pytest.mark.parametrize(
    ("sensitivity", "published"),
    [(0.5, 451), (0.6, 376), (0.7, 322), (0.8, 282), (0.9, 251), (1.0, 226)],
)
def test_b42_sensitivity(sensitivity: float, published: int) -> None:
    approximate = 500 * (1 - 0.05 ** (1 / 5)) / sensitivity  # what the manual prints, rounded up
    assert published == pytest.approx(approximate, abs=1)
    openings = openings_to_detect(500, 0.01, sensitivity=sensitivity).openings
    assert openings == pytest.approx(published, abs=2)


@pytest.mark.parametrize(
    ("roofs", "openings"), [(400, (55, 61, 69, 79, 111)), (120, (47, 52, 59, 67, 94))]
)
def test_an_opening_can_miss_decay(roofs: int, openings: tuple[int, ...]) -> None:
    found = [openings_to_detect(roofs, 0.05, sensitivity=s) for s in (1.0, 0.9, 0.8, 0.7, 0.5)]
    assert tuple(plan.openings for plan in found) == openings


@pytest.mark.parametrize(
    ("opened", "roofs", "most"), [(20, 40, 4), (48, 120, 5), (56, 400, 19), (59, 1000, 48)]
)
def test_what_finding_none_buys(opened: int, roofs: int, most: int) -> None:
    assert at_most_failing(roofs, opened) == most


def test_clusters() -> None:
    assert design_effect(8, 0.10) == pytest.approx(1.70)
    assert design_effect(20, 0.05) == pytest.approx(1.95)
    assert openings_to_detect(1000, 0.05, effect=1.7).openings == 97  # 57 x 1.7 = 96.9
    assert openings_to_detect(50, 0.05, effect=1.7).openings == 50  # never more than there are


def test_opening_every_roof_may_not_be_enough() -> None:
    plan = openings_to_detect(20, 0.05, sensitivity=0.8)  # one failing roof, missed one time in 5
    assert plan.openings is None
    assert plan.reached == pytest.approx(0.8)
    assert at_most_failing(20, 20, sensitivity=0.8) == 1  # 0.2 is above 0.05, 0.04 is not
    assert at_most_failing(20, 0) == 20


def _exact_none(roofs: int, failing: int, opened: int, sensitivity: Fraction) -> Fraction:
    """Rational arithmetic: no floating point, no library."""
    ways = (
        comb(failing, k) * comb(roofs - failing, opened - k) * (1 - sensitivity) ** k
        for k in range(min(failing, opened) + 1)
    )
    return Fraction(sum(ways), comb(roofs, opened))


@given(
    roofs=st.integers(1, 60),
    share=st.integers(1, 100),
    confidence=st.sampled_from(["0.8", "0.9", "0.95", "0.99"]),
    sensitivity=st.sampled_from(["0.5", "0.7", "0.8", "1"]),
)
def test_smallest_in_exact_arithmetic(
    roofs: int, share: int, confidence: str, sensitivity: str
) -> None:
    s, most = Fraction(sensitivity), 1 - Fraction(confidence)
    failing = max(1, -(-roofs * share // 100))
    enough = [n for n in range(1, roofs + 1) if _exact_none(roofs, failing, n, s) <= most]
    plan = openings_to_detect(roofs, share / 100, float(confidence), float(sensitivity))
    assert plan.failing == failing
    assert plan.openings == (enough[0] if enough else None)


@given(roofs=st.integers(1, 400), data=st.data())
def test_chance_of_none_against_scipy(roofs: int, data: st.DataObject) -> None:
    failing = data.draw(st.integers(0, roofs))
    opened = data.draw(st.integers(0, roofs))
    reference = stats.hypergeom(roofs, opened, failing).pmf(0)  # the roles of D and n swapped
    assert chance_of_finding_none(roofs, failing, opened) == pytest.approx(reference, rel=1e-8)
    worse = chance_of_finding_none(roofs, failing, opened, sensitivity=0.6)
    assert worse >= chance_of_finding_none(roofs, failing, opened) - 1e-12


@given(roofs=st.integers(1, 80), data=st.data())
def test_at_most_in_exact_arithmetic(roofs: int, data: st.DataObject) -> None:
    opened = data.draw(st.integers(0, roofs))
    found = data.draw(st.integers(0, min(opened, 4)))

    def up_to(failing: int) -> Fraction:
        ways = (comb(failing, k) * comb(roofs - failing, opened - k) for k in range(found + 1))
        return Fraction(sum(ways), comb(roofs, opened))

    possible = [d for d in range(found, roofs - opened + found + 1) if up_to(d) > Fraction(1, 20)]
    assert at_most_failing(roofs, opened, found) == max(possible, default=found)


@pytest.mark.parametrize(
    ("share", "confidence", "sensitivity", "effect", "roofs"),
    [
        (0, 0.95, 1, 1, 9),
        (0.1, 1, 1, 1, 9),
        (0.1, 0.9, 0, 1, 9),
        (0.1, 0.9, 1, 0.5, 9),
        (1, 0.9, 1, 1, 0),
    ],
)
def test_refused(
    share: float, confidence: float, sensitivity: float, effect: float, roofs: int
) -> None:
    with pytest.raises(ValueError, match=r"\d"):
        openings_to_detect(roofs, share, confidence, sensitivity, effect)
