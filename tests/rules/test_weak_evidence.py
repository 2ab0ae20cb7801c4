"""Property (c): assumed and inherited answers never clear, and order no work (E03, D5, 5.4)."""

import pytest
from hypothesis import given
from hypothesis import strategies as st
from rule_cases import CASES, Case
from rule_changes import presumable
from rule_generated import changed_homes, few
from rule_homes import BASES, FIX, POLICY, REVIEW, SAFE, Home, judge

from triage.contract.policy import GATING
from triage.rules.codes import CONFIRM, FIRES

WEAK = ("assumed", "inherited")


@pytest.mark.parametrize("grade", WEAK)
def test_no_home_is_safe_on_weak_rows(grade: str) -> None:
    homes = [home.graded(grade) for home in BASES.values()]
    rows = judge(homes).rows()
    assert [row["property_id"] for row in rows if row["queue"] == SAFE] == []
    assert {row["queue"] for row in rows} == {REVIEW}


@pytest.mark.parametrize("grade", WEAK)
def test_a_weak_answer_clears_no_more_than_none(grade: str) -> None:
    weak, blank = [], []
    for home in BASES.values():
        for name, value in home.facts.items():
            if value is not None and not name.startswith("survey_"):
                weak.append(home.marked(**{name: grade}))
                blank.append((name, home, home.without(name)))
    marked, gone = judge(weak), judge([home for *_, home in blank])
    shown = 0
    for (name, home, _), row, without in zip(blank, marked.rows(), gone.rows(), strict=True):
        if row["queue"] == SAFE:
            assert without["queue"] == SAFE, (home.name, name)
            lacking = set(presumable(home.group).get(name, [])) & set(without["checks"])
            assert lacking <= set(row["checks"]), (home.name, name)
        else:
            shown += 1
    assert shown > 100


@few
@given(st.lists(st.tuples(changed_homes(), st.sampled_from(WEAK)), min_size=30, max_size=30))
def test_no_generated_home_is_safe_on_weak_evidence(homes: list[tuple[Home, str]]) -> None:
    assert not any(judge([home.graded(grade) for home, grade in homes]).safe())


def _is_a_lone_answer(case: Case) -> bool:
    """A fault of gating kind made of survey answers alone, that fires its one rule."""
    values = case.adverse
    of_the_survey = not {"place", "measure_material"} & set(values)
    return bool(
        values
        and of_the_survey
        and None not in values.values()
        and case.outcome in GATING
        and not case.fired
        # A foam type that is only assumed is not established: that is F01.
        and case.rule != "F02"
    )


FAULTS = [case for case in CASES if _is_a_lone_answer(case)]


def test_an_assumed_fault_asks_to_be_confirmed_and_sends_no_crew() -> None:
    marked = [
        case.homes()[0].but(**case.adverse).marked(**dict.fromkeys(case.adverse, "assumed"))
        for case in FAULTS
    ]
    judged = judge(marked)
    for case, home, row, answers in zip(
        FAULTS, marked, judged.rows(), judged.answers(), strict=True
    ):
        told = (case.label, home.name, row["queue"], row["lane"], row["fired"])
        assert answers[case.rule] != FIRES, told
        assert row["queue"] != FIX, told
        assert row["queue"] == REVIEW, told
        if home.group != "FOAM":
            assert row["lane"] == "evidence_gap", told
        if answers[case.rule] == CONFIRM:
            assert case.rule in row["confirm_first"], told
            assert row["missing"] or home.group == "FOAM", told
    confirmed = sum(a[c.rule] == CONFIRM for c, a in zip(FAULTS, judged.answers(), strict=True))
    assert confirmed > len(FAULTS) * 0.9


def test_reported_is_enough_for_what_only_the_resident_knows() -> None:
    loft = BASES["loft"]
    told = loft.marked(plumbing_leak="reported", high_moisture_use="reported")
    hearsay = loft.marked(roof_covering_condition="reported")
    rows = judge([told, hearsay]).rows()
    assert rows[0]["queue"] == SAFE  # dry run Q6
    assert (rows[1]["queue"], rows[1]["lane"]) == (REVIEW, "evidence_gap")


@pytest.mark.parametrize("inside", ["none", "internal"])
def test_no_leak_seen_from_the_rooms_is_not_seen(inside: str) -> None:
    (row,) = judge([BASES["loft"].but(survey_reach_inside=inside)]).rows()
    assert (row["queue"], row["lane"]) == (REVIEW, "evidence_gap")  # E08
    assert "roof_leak_evidence" in row["missing"]


def test_the_ground_view_of_a_covering_clears_a_loft_but_no_rafter_line() -> None:
    ground = {"survey_reach_outside": "external_ground"}
    loft, rafter = judge([BASES["loft"].but(**ground), BASES["rafter"].but(**ground)]).rows()
    assert loft["queue"] == SAFE  # dry run Q5: the void was seen dry
    assert (rafter["queue"], rafter["lane"]) == (REVIEW, "evidence_gap")
    assert "roof_covering_condition" in rafter["missing"]


def test_the_policy_names_the_weak_grades() -> None:
    grades = POLICY.evidence.grades
    assert grades[: grades.index(POLICY.evidence.firm_from)] == WEAK
