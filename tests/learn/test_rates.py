"""Rates come from random openings alone; their totals cover; what follows from a wave."""

import dataclasses
from datetime import date

import numpy as np
import polars as pl
import pytest
from roof_frames import POLICY, inspections, stock
from statsmodels.stats.weightstats import DescrStatsW

from triage.learn.openings import RandomOpenings, other_findings, random_openings, stand_ins
from triage.learn.rates import likelihoods, rates, total, updated
from triage.learn.selection import Plan, Selection, select_roofs
from triage.learn.wave import wave_actions

PLAN = Plan(POLICY, thorough=True)


@pytest.fixture(scope="module")
def selection() -> Selection:
    return select_roofs(stock(400), Plan(POLICY, visits=300), seed=11)


def _opened(selection: Selection, **found: object) -> list[dict[str, object]]:
    random = selection.chosen.filter(stream="random").sort("roof_id")
    return [{"property_id": roof, **found} for roof in random["property_id"]]


def test_the_prior_of_the_notes_is_brought_up_to_date() -> None:
    new = updated(0.20, 10, 3, 40)  # job notes 6.2, COMPUTED
    assert new.likelihood == pytest.approx(0.10)
    assert new.words == "(2 + 3) / (10 + 40) = 0.10"


def test_no_other_stream_changes_a_rate(selection: Selection) -> None:
    rows = _opened(selection)
    base = rates(random_openings(inspections(rows), selection), PLAN)
    assert base["failing"].sum() == 0
    assert base["opened"].sum() == len(rows)
    # Earlier than the random visits, so that they would come first if they counted.
    bad = {"verdict": "remove_foam", "decay_grade_max": "d4", "inspected_on": date(2026, 1, 9)}
    others = [
        {"property_id": home, "selection_stream": stream, **bad}
        for home in selection.roofs["property_id"]
        for stream in ("targeted", "complaint", "works_opportunity")
    ]
    both = inspections(rows + others)
    assert rates(random_openings(both, selection), PLAN).equals(base)
    assert other_findings(both, selection).rows.height == len(others)
    assert other_findings(both, selection).rows["is_failing"].all()


def test_what_calls_itself_random_but_was_not_drawn_is_left_out(selection: Selection) -> None:
    not_drawn = selection.roofs.filter(
        (pl.col("stream") != "random").fill_null(value=True) & ~pl.col("is_reserve")
    )["property_id"]
    rows = [{"property_id": home, "verdict": "specialist"} for home in not_drawn]
    openings = random_openings(inspections(_opened(selection) + rows), selection)
    assert openings.left_out == len(rows)
    assert rates(openings, PLAN)["failing"].sum() == 0


def test_only_random_openings_are_taken() -> None:
    """The type says it: no field of a rate can be made of a plain table."""
    assert rates.__annotations__["openings"] is RandomOpenings
    assert [f.name for f in dataclasses.fields(RandomOpenings)] == ["rows", "strata", "left_out"]


def test_the_first_visit_that_opened_a_roof_counts(selection: Selection) -> None:
    rows = _opened(selection)
    again = {**rows[0], "verdict": "specialist", "inspected_on": date(2026, 9, 1)}
    before = {
        **rows[1],
        "outcome_status": "no_access",
        "verdict": None,
        "inspected_on": date(2026, 1, 9),
    }
    table = rates(random_openings(inspections([*rows, again, before]), selection), PLAN)
    assert (table["failing"].sum(), table["not_opened"].sum()) == (0, 0)


def test_refusals_stay_unopened_and_the_reserve_stands_in(selection: Selection) -> None:
    rows = _opened(selection)
    for row in rows[:3]:
        row |= {"outcome_status": "refused", "verdict": None}
    rows[3] |= {"outcome_status": "not_foam", "verdict": None}
    table = inspections(rows)
    found = rates(random_openings(table, selection), PLAN)
    assert found["not_opened"].sum() == 3
    assert found["no_foam"].sum() == 1
    assert found["roofs"].sum() == 400 - 1  # only what carries no foam leaves the count
    called = stand_ins(table, selection)
    assert called["roof_id"].sort().to_list() == sorted(
        selection.roofs.filter(pl.col("property_id").is_in([r["property_id"] for r in rows[:3]]))[
            "roof_id"
        ]
    )
    for stratum, names in called.group_by("stratum").agg("stand_in").iter_rows():
        queue = selection.reserve.filter(stratum=stratum).sort("draw_order")["roof_id"].to_list()
        assert names == queue[: len(names)]
    # The stand-ins, opened at random, count.
    homes = called["stand_in"].str.strip_suffix(" / main")
    more = [{"property_id": home, "verdict": "fix_water"} for home in homes]
    again = rates(random_openings(inspections(rows + more), selection), PLAN)
    assert again["failing"].sum() == 3
    assert again["opened"].sum() == len(rows) - 4 + 3


def test_a_roof_of_the_reserve_counts_only_in_its_turn(selection: Selection) -> None:
    """Two are lost in one stratum: the first two of its reserve stand in, the third does not."""
    rows = _opened(selection)
    reserve = selection.reserve.sort("stratum", "draw_order")
    stratum = reserve.group_by("stratum").len().filter(pl.col("len") >= 4)["stratum"].sort()[0]
    queue = reserve.filter(stratum=stratum)["property_id"].to_list()
    homes = selection.chosen.filter(stream="random", stratum=stratum)["property_id"].to_list()
    for row in rows:
        if row["property_id"] in homes[:2]:
            row |= {"outcome_status": "refused", "verdict": None}
    more: list[dict[str, object]] = [{"property_id": h, "verdict": "specialist"} for h in queue]
    found = random_openings(inspections(rows + more), selection)
    assert rates(found, PLAN)["failing"].sum() == 2
    assert found.left_out == len(queue) - 2
    # The first stand-in refuses too: the third takes its place.
    more[0] |= {"outcome_status": "refused", "verdict": None}
    found = random_openings(inspections(rows + more), selection)
    assert rates(found, PLAN)["failing"].sum() == 2
    assert found.left_out == len(queue) - 3


def _strata(*rows: tuple[int, int, int]) -> pl.DataFrame:
    """A table as `rates` makes it: roofs, opened, failing."""
    names = [f"s{n}" for n in range(len(rows))]
    openings = [
        {"roof_id": f"{name}-{k}", "stratum": name, "status": "opened", "is_failing": k < failing,
         "is_damaged": False, "is_grave": False, "is_water_only": False, "type_differs": False}
        for name, (_, opened, failing) in zip(names, rows, strict=True)
        for k in range(opened)
    ]  # fmt: skip
    strata = pl.DataFrame(
        {"stratum": names, "roofs": [r[0] for r in rows], "random_n": [r[1] for r in rows]}
    )
    kinds = {"roof_id": pl.String, "stratum": pl.String, "status": pl.String}
    flags = ("is_failing", "is_damaged", "is_grave", "is_water_only", "type_differs")
    schema = {**kinds, **dict.fromkeys(flags, pl.Boolean)}
    return rates(RandomOpenings(pl.DataFrame(openings, schema=schema), strata, 0), PLAN)


def test_a_table_of_rates_holds_the_intervals_of_the_notes() -> None:
    table = _strata((400, 59, 3), (1200, 80, 8), (1000, 59, 0))
    assert table["failing_low"].to_list()[:2] == [6, 55]
    assert table["failing_high"].to_list()[:2] == [53, 221]
    assert table["at_most"][2] == 48
    assert 100 * table["wilson_high"][0] == pytest.approx(13.9, abs=0.055)
    assert 100 * table["exact_low"][1] == pytest.approx(4.4, abs=0.055)


def test_the_total_is_weighted_by_roofs() -> None:
    whole = total(_strata((900, 30, 3), (100, 30, 15)), PLAN)
    weighted = DescrStatsW(
        np.r_[np.repeat(0.1, 30), np.repeat(0.5, 30)],
        np.r_[np.repeat(30.0, 30), np.repeat(100 / 30, 30)],
    )
    assert whole.share == pytest.approx(weighted.mean)
    assert whole.share == pytest.approx((900 * 0.1 + 100 * 0.5) / 1000)
    assert whole.low < whole.share < whole.high
    # Simple random sampling of 60 in all would be a Wilson interval of about this width.
    assert 0.1 < whole.high - whole.low < 0.25


def test_a_stratum_with_too_few_openings_makes_the_total_a_range() -> None:
    whole = total(_strata((900, 30, 3), (100, 4, 1)), PLAN)
    assert whole.share is None
    assert whole.failing_low < 900 * 0.1 + 100 * 0.25 < whole.failing_high
    assert (whole.low, whole.high) == (whole.failing_low / 1000, whole.failing_high / 1000)
    every = total(_strata((900, 30, 3), (4, 4, 1)), PLAN)  # all 4 were opened: nothing is open
    assert every.share is not None
    none = total(_strata((900, 30, 3), (100, 0, 0)), PLAN)
    assert none.failing_high >= 100


def test_clusters_widen_the_total() -> None:
    table = _strata((900, 30, 3), (300, 30, 6))
    alone, clustered = (total(table, Plan(POLICY, cluster_roofs=m)) for m in (1, 8))
    assert clustered.high - clustered.low > alone.high - alone.low
    assert clustered.share == alone.share


@pytest.mark.parametrize("shares", [(0.02, 0.10, 0.30), (0.0, 0.05, 0.05), (0.5, 0.2, 0.8)])
def test_the_interval_of_a_total_covers(shares: tuple[float, ...]) -> None:
    """1500 waves of three strata: at least 93 % of the 95 % intervals hold the truth."""
    rng = np.random.default_rng(5)
    roofs, opened = (400, 200, 100), (40, 20, 15)
    failing = [round(n * p) for n, p in zip(roofs, shares, strict=True)]
    truth = sum(failing) / sum(roofs)
    draws = [
        rng.hypergeometric(d, n - d, k, size=1500)
        for d, n, k in zip(failing, roofs, opened, strict=True)
    ]
    table = _strata(*((n, k, 0) for n, k in zip(roofs, opened, strict=True)))
    held = 0
    for found in zip(*draws, strict=True):
        whole = total(table.with_columns(failing=pl.Series([int(x) for x in found])), PLAN)
        held += whole.low - 1e-12 <= truth <= whole.high + 1e-12
    assert held / 1500 >= 0.93


def test_next_likelihoods_print_their_sum() -> None:
    table = _strata((400, 40, 3), (60, 2, 0))
    starts = pl.DataFrame({"stratum": ["s0", "s1"], "start": [0.20, 0.20]})
    rows = likelihoods(table, starts, PLAN).to_dicts()
    assert rows[0]["likelihood"] == pytest.approx(0.10)
    assert "(2 + 3) / (10 + 40) = 0.10" in rows[0]["basis"]
    # Few openings: the 95 % point of beta(2, 10), 0.364 in tables of the binomial: 11 trials.
    assert rows[1]["likelihood"] == pytest.approx(0.3644, abs=5e-4)
    assert "only 2 opened" in rows[1]["basis"]


def _actions(**found: object) -> list[str]:
    table = _strata((100, 20, 0)).with_columns(
        **{name: pl.lit(value).cast(pl.Int64) for name, value in found.items()}
    )
    return wave_actions(table, PLAN)["action"].to_list()


@pytest.mark.parametrize(
    ("found", "actions"),
    [
        ({}, ["bound_reported"]),
        ({"failing": 1, "water_only": 1}, ["second_sample"]),
        ({"failing": 1, "grave": 1}, ["specialist_review"]),
        ({"failing": 2, "water_only": 1, "grave": 1}, ["specialist_review"]),
        ({"type_differs": 2}, ["bound_reported"]),  # 10 % is not over 10 %
        ({"type_differs": 3}, ["bound_reported", "type_downgraded"]),
        ({"random_n": 25}, ["no_statement"]),
        ({"random_n": 25, "grave": 1, "failing": 1}, ["specialist_review", "no_statement"]),
    ],
)
def test_what_follows_from_a_wave(found: dict[str, int], actions: list[str]) -> None:
    assert _actions(**found) == actions


def test_the_words_of_a_clean_wave_are_those_of_the_notes() -> None:
    because = wave_actions(_strata((1000, 59, 0)), PLAN)["because"].item()
    assert because == (
        "no failing roof found in 59 of 1000 opened at random; at 95% confidence at most 48 fail"
    )
