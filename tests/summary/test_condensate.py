"""The year of the commonest wet build-up: which it is, and the numbers that are drawn.

Stores are those of cases A, B and D in climate-and-codes 4.5 (COMPUTED there by two other solvers,
see tests/published/test_monthly_cases.py), never those of the kernel.
"""

from typing import Any

import polars as pl
import pytest
from build_up_cases import TITLES, case_row
from drawn import outside, shapes, texts
from reportlab.graphics.shapes import Rect

from triage.contract.policy import Policy
from triage.contract.policy_load import load_policy, policy_dir
from triage.report.charts import draw
from triage.report.document import Figure, Year
from triage.report.year_figure import start_month
from triage.summary.condensate import method_words, typical, typical_figure

A = (243.52, 922.11, 1870.98, 2849.68, 3649.38, 4269.75, 4534.54)  # from October
A += (4376.26, 3827.68, 2954.54, 2223.89, 1951.49)
B = (1.14, 3.18, 5.28, 6.80, 7.41, 6.62, 4.10, 0.05)  # from November
D = (586.13, 1563.67, 2584.37, 3371.66, 3833.01, 3771.77, 3095.90, 1908.56, 281.55)
OCT, NOV, DRY = 9, 10, (0.0,)
LAYERS = [
    ("covering", "bitumen_felt", 8.0, 0.02, 100.0),
    ("insulation", "mineral_wool", 160.0, 4.0, 0.16),
]


@pytest.fixture(scope="module")
def policy() -> Policy:
    return load_policy(policy_dir("default"))


def _case(
    state: str, name: str, first: int, store: tuple[float, ...], **more: Any
) -> dict[str, Any]:
    """One row of the table of cases, its year as given."""
    months = [0.0] * 12
    for step, value in enumerate(store):
        months[(first + step) % 12] = value
    left = store[-1] if len(store) == 12 else 0.0
    peak = max(store)
    verdict = "builds up every year" if left else "condensation that dries within the year"
    told = {
        "case": state[0] + name,
        "state": state,
        "condensate_g_m2": months,
        "peak_g_m2": peak,
        "residual_g_m2": left,
        "peak_month": months.index(peak) if peak else -1,
        "verdict": verdict if peak else "no condensation",
    }
    return case_row(state, LAYERS, 1) | told | more


def _row(home: str, name: str | None, valid: bool | None = True, **more: Any) -> dict[str, Any]:
    return {
        "property_id": home,
        "building_part": "main",
        "measure_code": "rafter_insulation",
        "measure_group": "RAFT",
        "monthly_method_valid": valid,
        "condensate_peak_g_m2": 7.41 if valid else None,
        "condensate_residual_g_m2": 0.0 if valid else None,
        "case_before": name and f"b{name}",
        "case_after": name and f"a{name}",
    } | more


def _frames(
    rows: list[dict[str, Any]], cases: list[dict[str, Any]]
) -> tuple[pl.DataFrame, pl.DataFrame]:
    return pl.DataFrame(rows, infer_schema_length=None), pl.DataFrame(
        cases, infer_schema_length=None
    )


def _figure(policy: Policy, *frames: pl.DataFrame) -> Figure:
    found = typical(*frames)
    assert found is not None
    return typical_figure(found, frames[1], policy, TITLES, {"example-1": "Example"})


def _year(figure: Figure) -> Year:
    (mark,) = figure.marks
    assert isinstance(mark, Year)
    return mark


def test_the_year_drawn_is_that_of_the_published_cases(policy: Policy) -> None:
    cases = [_case("before", "1", NOV, B), _case("after", "1", OCT, A)]
    rows = [_row(f"H{n}", "1", condensate_residual_g_m2=1951.49) for n in range(3)]
    figure = _figure(policy, *_frames(rows, cases))
    year = _year(figure)
    assert (year.months[0], year.months[-1]) == ("Oct", "Sep")
    (before, wool), (after, felt) = year.states
    assert (before, after) == ("Before the measure", "After the measure")
    assert felt == A
    assert wool == (0.0, *B, 0.0, 0.0, 0.0)
    assert "n = 3 of 3 homes; 3 were judged" in figure.unit
    assert "Example (example-1)" in figure.unit
    assert "humidity class 3" in figure.unit
    assert "builds up: 1,951 g/m² more is left every year" in figure.title
    assert "(rule R09)" in figure.note
    assert "Bitumen felt in several layers 8 mm, Mineral wool 160 mm" in figure.note
    drawing = draw(figure, 523.0)
    assert outside(drawing) == []
    bars = [r.height for r in shapes(drawing) if isinstance(r, Rect) and r.fillColor is None]
    expected = [value for pair in zip(wool, felt, strict=True) for value in pair if value]
    assert [b / max(bars) * max(A) for b in bars] == pytest.approx(expected)
    assert "limit 200 g/m² (rule R09)" in texts(drawing)


def test_the_case_of_most_homes_among_the_wet_is_taken(policy: Policy) -> None:
    cases = [_case("before", "dry", 0, DRY), _case("after", "dry", 0, DRY)]
    for name, store in (("b", B), ("d", D)):
        cases += [_case("before", name, NOV, DRY), _case("after", name, NOV, store)]
    dry = [_row(f"N{n}", "dry", condensate_peak_g_m2=0.0) for n in range(9)]
    rows = [*dry, *(_row(f"H{n}", "b") for n in range(4)), *(_row(f"K{n}", "d") for n in range(3))]
    # Two measures of one home are one home.
    rows += [_row("K0", "d", measure_code="internal_wall", measure_group="IWI")] * 4
    found = typical(*_frames(rows, cases))
    assert found is not None
    assert (found.case_after, found.homes, found.wet_homes, found.judged_homes) == ("ab", 4, 7, 16)
    rows.append(_row("K9", "d"))
    tied = typical(*_frames(rows, cases))
    assert tied is not None
    assert tied.case_after == "ad", "a tie goes to the one that holds more water"
    figure = _figure(policy, *_frames(rows, cases))
    assert _year(figure).states[1][1] == (*D, 0.0, 0.0, 0.0)
    assert _year(figure).states[0][1] == (0.0,) * 12
    assert "Before the measure: none in any month." in figure.alt


def test_what_the_method_cannot_judge_is_not_drawn(policy: Policy) -> None:
    rain = "masonry outside the insulation takes up rain"
    cases = [_case("before", "1", NOV, D, method=rain), _case("after", "1", NOV, B)]
    cases += [_case("before", "2", NOV, B), _case("after", "2", OCT, A, method=rain)]
    rows = [_row("H1", "1"), *(_row(f"K{n}", "2", valid=False) for n in range(5))]
    figure = _figure(policy, *_frames(rows, cases))
    assert [name for name, _ in _year(figure).states] == ["After the measure"]
    assert (
        f"Before the measure is not drawn, since the monthly method cannot judge it: {rain}."
        in (figure.note)
    )
    assert typical(*_frames(rows[1:], cases)) is None


def test_a_measure_that_adds_no_layer_is_drawn_once(policy: Policy) -> None:
    same = [_case(state, "1", NOV, B) for state in ("before", "after")]
    figure = _figure(policy, *_frames([_row("H1", "1", measure_group="CEIL")], same))
    assert [name for name, _ in _year(figure).states] == [
        "Before and after: the measure adds no layer"
    ]
    assert "(rule R09, not asked of this measure)" in figure.note


def test_every_row_is_in_one_of_the_counts() -> None:
    rain = "masonry outside the insulation takes up rain"
    cases = [_case("before", "1", NOV, DRY), _case("after", "1", NOV, B)]
    cases += [_case("before", "2", NOV, DRY), _case("after", "2", NOV, D, method=rain)]
    rows = [
        *(_row(f"N{n}", "1", condensate_peak_g_m2=0.0) for n in range(1200)),
        *(_row(f"B{n}", "1") for n in range(7)),
        *(_row(f"A{n}", "1", condensate_residual_g_m2=9.0) for n in range(2)),
        *(_row(f"V{n}", "2", valid=False) for n in range(4)),
        *(_row(f"U{n}", None, valid=None) for n in range(3)),
    ]
    told = method_words(*_frames(rows, cases))
    assert "of 1,216 home-part-measures it judges 1,209." in told
    assert "In 1,200 no water condenses" in told
    assert "in 7 it condenses and dries within the year, in 2 it builds up" in told
    assert f"It cannot judge 4, most often since {rain}." in told
    assert "moisture and yearly swing of a timber deck" in told
    assert told.endswith("3 are not known well enough, or have no build-up to draw up.")


def test_a_year_begins_with_the_first_month_that_is_wet() -> None:
    def state(first: int, store: tuple[float, ...]) -> dict[str, Any]:
        row = _case("after", "1", first, store)
        months = [{"condensate_g_m2": value} for value in row["condensate_g_m2"]]
        return {"months": months, "residual_g_m2": row["residual_g_m2"]}

    for first in range(12):
        assert start_month([state(first, A)]) == first
        assert start_month([state(first, B)]) == first
        # The wetter of the two sets the order.
        assert start_month([state(3, B), state(first, D)]) == first
    # Two separate wet times of a year: it begins with one of them.
    twice = state(0, (5.0, 0.0, 0.0, 3.0, 1.0))
    assert start_month([twice]) in (0, 3)
    assert start_month([state(0, DRY)]) == 0
