"""Specialists decide on the record (job notes 5.8), and nothing that fired is ever hidden."""

from datetime import date
from typing import Any

import pytest
from record_frames import on_record, table
from rule_homes import BASES, FIX, POLICY, REVIEW, SAFE, SOUND, Home, Survey, judge, judge_one

from triage.rules.codes import FIRES

DECIDED = date(2026, 9, 1)
GUTTER = BASES["cavity"].but(gutter_condition="poor")  # W04, severity 4
ACCEPT: dict[str, Any] = {
    "measure_code": "cavity_fill",
    "rule_ids": ["W04"],
    "decision": "accept",
    "reason_code": "opening",
    "reason": "opened at the eaves and dry",
    "evidence_refs": ["report-12"],
    "decided_by": "R. Alder",
    "competence": "building_surveyor",
    "decided_on": DECIDED,
    "expires_on": date(2027, 3, 1),
}


def _judged(home: Home, *decisions: dict[str, Any]) -> dict[str, Any]:
    return judge_one(home, records=on_record(decisions=table("decision", *decisions)))


def test_an_accepted_rule_holds_no_longer_and_stays_visible() -> None:
    assert judge_one(GUTTER)["queue"] == FIX
    records = on_record(decisions=table("decision", ACCEPT))
    judged = judge([GUTTER], records=records)
    row = judged.rows()[0]
    assert (row["queue"], row["overridden"]) == (SAFE, ["W04"])
    assert judged.answers()[0]["W04"] == FIRES
    (told,) = row["decision_notes"]
    for word in ("W04", "R. Alder", "building surveyor", "2026-09-01", "opened at the eaves"):
        assert word in told
    assert row["expires_on"] == min(date(2027, 3, 1), judge_one(BASES["cavity"])["expires_on"])


NOT_IN_FORCE = [
    {"measure_code": "external_wall"},
    {"building_part": "ext1"},
    {"rule_ids": ["W02"]},
    {"competence": "trade"},
    {"competence": None},
]


@pytest.mark.parametrize("change", NOT_IN_FORCE)
def test_a_decision_covers_its_own_row_and_rules_only(change: dict[str, Any]) -> None:
    row = _judged(GUTTER, {**ACCEPT, **change})
    assert (row["queue"], row["overridden"]) == (FIX, [])


def test_a_rule_that_it_does_not_cover_still_fires() -> None:
    row = _judged(GUTTER.but(ground_to_dpc_mm=-50.0), ACCEPT)
    assert (row["queue"], row["overridden"], row["fired"]) == (FIX, ["W04"], ["W08"])


def test_conditions_hold_the_release() -> None:
    kept = {**ACCEPT, "decision": "accept_with_conditions", "conditions": "gutter by May"}
    row = _judged(GUTTER, kept)
    assert (row["queue"], row["released"]) == (SAFE, False)
    assert "Condition of decision decision-0: gutter by May" in row["checks"]


BARRED = [
    ("loft", {"roof_leak_evidence": "active"}, "W01"),
    ("loft", {"plumbing_leak": "active"}, "W01"),
    ("loft", {"timber_decay_grade": "d3"}, "W09"),
    ("loft", {"timber_decay_grade": "dx"}, "W09"),
    ("floor", {"subfloor_moisture": "standing_water"}, "G02"),
    ("loft", {"wiring_hazard": "knob_and_tube"}, "S02"),
]


@pytest.mark.parametrize(("base", "facts", "rule"), BARRED)
def test_what_may_not_be_overridden_never_is(base: str, facts: dict[str, Any], rule: str) -> None:
    home = BASES[base].but(**facts)
    plain = judge_one(home)
    assert plain["queue"] != SAFE
    two = {**ACCEPT, "measure_code": home.measure, "rule_ids": [rule], "second_person": "T. Birch"}
    row = _judged(home, two)
    assert (row["queue"], row["overridden"]) == (plain["queue"], [])


def test_wet_timber_without_decay_may_be_accepted_by_two() -> None:
    """W09 is barred at decay only; its severity of 5 wants a second person."""
    wet = BASES["loft"].but(timber_mc_pct=23.0)
    one = {**ACCEPT, "measure_code": "loft_topup", "rule_ids": ["W09"]}
    assert POLICY.rules["W09"].severity == 5
    assert _judged(wet, one)["queue"] == FIX
    assert _judged(wet, {**one, "second_person": "R. Alder"})["queue"] == FIX
    row = _judged(wet, {**one, "second_person": "T. Birch"})
    assert (row["queue"], row["overridden"]) == (SAFE, ["W09"])


def _look(on: date, **answers: Any) -> Survey:
    record = {k: SOUND[k] for k in ("survey_reach_inside", "survey_reach_outside")}
    return Survey({**record, "survey_date": on, **answers})


def test_a_decision_does_not_cover_what_has_become_worse_since() -> None:
    later = date(2026, 9, 20)
    worse = GUTTER.also(_look(later, gutter_condition="failed"))
    assert _judged(worse, ACCEPT)["overridden"] == []
    same = GUTTER.also(_look(later, gutter_condition="poor"))
    assert _judged(same, ACCEPT)["overridden"] == ["W04"]


def test_the_newest_decision_on_a_rule_stands() -> None:
    refusal = {**ACCEPT, "decision": "reject", "decided_on": date(2026, 9, 9)}
    row = _judged(GUTTER, ACCEPT, refusal)
    assert (row["queue"], row["overridden"]) == (FIX, [])
    back = _judged(GUTTER, {**ACCEPT, "decided_on": date(2026, 9, 10)}, refusal)
    assert back["overridden"] == ["W04"]


def test_a_refused_measure_is_held_even_where_no_rule_fires() -> None:
    refusal = {**ACCEPT, "decision": "reject"}
    row = _judged(BASES["cavity"], refusal)
    assert (row["queue"], row["lane"]) == (REVIEW, "technical")
    assert "refused" in row["reason"]


def test_a_specialist_who_asks_for_evidence_holds_the_row() -> None:
    asked = {**ACCEPT, "decision": "need_evidence"}
    row = _judged(BASES["cavity"], asked)
    assert (row["queue"], row["lane"]) == (REVIEW, "evidence_gap")
    got = BASES["cavity"].also(_look(date(2026, 9, 20), gutter_condition="fair"))
    assert _judged(got, asked)["queue"] == SAFE


def test_no_decision_of_any_kind_hides_a_fired_rule() -> None:
    """Over all base homes and all gating rules at once: answers are the same with and without."""
    homes = [
        home.but(gutter_condition="poor", chimney_condition="failed", timber_mc_pct=23.0)
        for home in BASES.values()
    ]
    rules = sorted({rule.base for rule in POLICY.rules.values()})
    rows = [
        {
            **ACCEPT,
            "property_id": f"H{n:06d}",
            "measure_code": home.measure,
            "rule_ids": rules,
            "second_person": "T. Birch",
        }
        for n, home in enumerate(homes)
    ]
    plain = judge(homes)
    ruled = judge(homes, records=on_record(decisions=table("decision", *rows)))
    assert ruled.results.equals(plain.results)
    told = [set(row["fired"]) | set(row["overridden"]) for row in ruled.rows()]
    assert told == [set(row["fired"]) for row in plain.rows()]
    assert any(row["overridden"] for row in ruled.rows())
