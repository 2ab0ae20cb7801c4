"""Two records of one home (survey dictionary 5.5, evidence rule E02)."""

from datetime import date

import pytest
from hypothesis import given
from hypothesis import strategies as st
from rule_changes import worse
from rule_generated import changed_homes, few
from rule_homes import (
    BASES,
    FIX,
    POLICY,
    REVIEW,
    SAFE,
    SOUND,
    Answer,
    Home,
    Survey,
    judge,
    judge_one,
)

LATER, EARLIER = date(2026, 6, 1), date(2025, 12, 1)
LOFT = BASES["loft"]


def _visit(on: date, grade: str = "observed", **answers: Answer) -> Survey:
    """A visit that recorded only these answers, from the same places as the full survey."""
    record = {
        "survey_date": on,
        "survey_reach_inside": SOUND["survey_reach_inside"],
        "survey_reach_outside": SOUND["survey_reach_outside"],
    }
    return Survey({**record, **answers}, grade)


@pytest.mark.parametrize("on", [LATER, EARLIER])
def test_two_answers_that_part_the_queues_are_a_contradiction(on: date) -> None:
    row = judge_one(LOFT.also(_visit(on, roof_leak_evidence="active")))
    assert (row["queue"], row["lane"], row["disputed"]) == (REVIEW, "contradiction", ["W01"])
    assert row["disputed_fields"] == ["roof_leak_evidence"]
    assert row["missing"] == ["roof_leak_evidence"]


def test_two_answers_that_change_nothing_are_no_contradiction() -> None:
    row = judge_one(LOFT.also(_visit(LATER, gutter_condition="fair")))
    assert (row["queue"], row["disputed"]) == (SAFE, [])


def test_numbers_that_differ_on_the_same_side_are_no_contradiction() -> None:
    row = judge_one(LOFT.also(_visit(LATER, timber_mc_pct=15.0, mc_date=LATER)))
    assert (row["queue"], row["disputed"]) == (SAFE, [])


def test_where_a_repair_is_due_whichever_is_right_the_row_is_repaired() -> None:
    leaking = LOFT.but(plumbing_leak="active")
    row = judge_one(leaking.also(_visit(LATER, roof_leak_evidence="active")))
    assert row["queue"] == FIX
    assert "W01p" in row["fired"]
    assert row["disputed"] == ["W01"]
    # Only the repair that is sure is ordered; the disputed one is not.
    assert row["next_action"] == POLICY.rules["W01p"].next_action


def test_each_value_with_a_repair_of_its_own_sends_the_row_to_repair() -> None:
    # 5.5: if each value fires a different rule, both stand. Rain: W07; ground: W13.
    cavity = BASES["cavity"].but(wall_damp_evidence="rain")
    row = judge_one(cavity.also(_visit(LATER, wall_damp_evidence="ground")))
    assert row["queue"] == FIX
    assert sorted(row["disputed"]) == ["W07", "W13"]
    assert all(POLICY.rules[rule].next_action in row["next_action"] for rule in ("W07", "W13"))


def test_a_better_and_later_answer_supersedes() -> None:
    photographed = LOFT.but(roof_leak_evidence="active").marked(roof_leak_evidence="photographed")
    seen = _visit(LATER, roof_leak_evidence="none_seen")
    assert judge_one(photographed.also(seen))["queue"] == SAFE
    reported = LOFT.but(plumbing_leak="active").marked(plumbing_leak="reported")
    dry = _visit(LATER, "observed", plumbing_leak="none_seen")
    assert judge_one(reported.also(dry))["queue"] == SAFE


def test_a_better_answer_of_the_same_day_supersedes() -> None:
    day = SOUND["survey_date"]
    assert isinstance(day, date)
    photographed = LOFT.but(roof_leak_evidence="active").marked(roof_leak_evidence="photographed")
    row = judge_one(photographed.also(_visit(day, roof_leak_evidence="none_seen")))
    assert row["queue"] == SAFE


def test_a_better_but_older_answer_does_not_supersede() -> None:
    photographed = _visit(LATER, "photographed", roof_leak_evidence="active")
    row = judge_one(LOFT.also(photographed))
    assert (row["queue"], row["lane"]) == (REVIEW, "contradiction")


def test_a_worse_answer_that_supersedes_fires() -> None:
    photographed = LOFT.marked(roof_leak_evidence="photographed")
    row = judge_one(photographed.also(_visit(LATER, roof_leak_evidence="active")))
    assert (row["queue"], row["fired"]) == (FIX, ["W01"])


@pytest.mark.parametrize("grade", ["assumed", "inherited"])
def test_a_weak_later_answer_neither_contradicts_nor_clears(grade: str) -> None:
    row = judge_one(LOFT.also(_visit(LATER, grade, roof_leak_evidence="active")))
    assert (row["queue"], row["disputed"]) == (SAFE, [])
    leaking = LOFT.but(roof_leak_evidence="active")
    row = judge_one(leaking.also(_visit(LATER, grade, roof_leak_evidence="none_seen")))
    assert (row["queue"], row["fired"]) == (FIX, ["W01"])


def test_a_survey_of_another_day_is_no_dispute_about_the_day() -> None:
    judged = judge([LOFT.also(_visit(LATER, gutter_condition="good", photo_refs=["p9.jpg"]))])
    disputed = judged.whole.current.conflicts["field"].to_list()
    assert set(disputed) & {"survey_date", "mc_date", "photo_refs"} == set()


def test_a_winter_log_still_counts_after_a_summer_visit() -> None:
    # V02: the log was taken in the wetting half-year, whenever somebody came again.
    humid = LOFT.but(rh_mean_pct=70.0)
    assert judge_one(humid)["fired"] == ["V02"]
    row = judge_one(humid.also(_visit(LATER, gutter_condition="good")))
    assert (row["queue"], row["fired"]) == (FIX, ["V02"])


def test_a_summer_reading_keeps_its_lower_clear_level_after_a_winter_visit() -> None:
    # 4.1: clear is 18 % or less in the wetting half-year, 16 % or less in the drying one. Blocked
    # eaves are the crew's own work only over sound timber (dry run N2).
    summer = date(2026, 7, 1)
    damp = {"timber_mc_pct": 17.0, "timber_decay_grade": None, "eaves_vent_state": "blocked"}
    home = LOFT.but(survey_date=summer, mc_date=None, **damp)
    assert judge_one(home)["fired"] == ["R11"]
    winter = _visit(date(2026, 10, 5), gutter_condition="good")
    assert judge_one(home.also(winter))["fired"] == ["R11"]


def test_three_records_that_all_differ_are_all_heard() -> None:
    visits = (
        _visit(EARLIER, wall_damp_evidence="rain"),
        _visit(LATER, wall_damp_evidence="undiagnosed"),
    )
    row = judge_one(BASES["cavity"].also(*visits))
    assert (row["queue"], row["lane"]) == (REVIEW, "contradiction")
    assert {"W07", "W13u"} <= set(row["disputed"])


@few
@given(
    st.lists(changed_homes(), min_size=20, max_size=20),
    st.sampled_from([LATER, EARLIER]),
    st.sampled_from(["observed", "photographed", "documented", "reported", "assumed"]),
)
def test_a_worse_further_record_never_improves_a_row(
    homes: list[Home], on: date, grade: str
) -> None:
    trials = [
        (number, name, value, home.also(_visit(on, grade, **{name: value})))
        for number, home in enumerate(homes)
        for name, value, _ in worse(home, steps=1)
    ]
    before = judge(homes).safe()
    after = judge([home for *_, home in trials]).safe()
    better = [
        (homes[number], name, value)
        for (number, name, value, _), safe in zip(trials, after, strict=True)
        if safe and not before[number]
    ]
    assert better == []
