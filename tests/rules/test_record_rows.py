"""Readings and openings as evidence (job notes 3.6, E05), and the gates that rest on them."""

from collections.abc import Sequence
from dataclasses import replace
from datetime import date
from typing import Any

import polars as pl
import pytest
from record_frames import HOME, on_record, table, tables
from rule_homes import AS_OF, BASES, CONTRACT, FIX, POLICY, REVIEW, SAFE, Home, judge, judge_one

from triage.rules.record_rows import evidence_rows
from triage.rules.record_use import records_in_use

WINTER = date(2026, 1, 20)
DEEP: dict[str, Any] = {
    "survey_id": "visit-9",
    "location": "rafter_foot",
    "aspect": "N",
    "value": 15.0,
    "scale": "wme_pct",
    "method": "pin_insulated_deep",
    "depth_mm": 20.0,
    "material": "softwood",
    "treated_or_salty": "no",
    "reading_date": WINTER,
}
OPENED: dict[str, Any] = {
    "selection_stream": "targeted",
    "inspected_on": WINTER,
    "inspector_id": "I-3",
    "inspector_competence": "damp_timber",
    "outcome_status": "completed",
    "openings_count": 6,
    "foam_type_found": "open_cell",
    "foam_sample_ref": "S-1",
    "substrate_found": "membrane_lr",
    "underlay_found": "membrane_lr",
    "defects_found": ["none_seen"],
    "timber_mc_max_pct": 15.0,
    "decay_grade_max": "d0",
    "leak_found": ["none"],
    "verdict": "sound_monitor",
    "photos": ["o1.jpg"],
}
NO_LEAKS = pl.DataFrame(
    schema={
        **dict.fromkeys(("property_id", "building_part", "event_id"), pl.String),
        "event_on": pl.Date,
        "record_row": pl.UInt32,
    }
)


def _rows(**given: pl.DataFrame) -> list[dict[str, Any]]:
    made = evidence_rows(tables(**given), NO_LEAKS, CONTRACT.polars_schema(), POLICY)
    return [{k: v for k, v in row.items() if v is not None} for row in made.to_dicts()]


def test_readings_of_one_visit_are_one_answer_and_the_highest_decides() -> None:
    rows = _rows(reading=table("reading", DEEP, {**DEEP, "value": 19.0, "location": "ridge"}))
    (row,) = rows
    assert (row["timber_mc_pct"], row["mc_date"], row["base_grade"]) == (19.0, WINTER, "observed")
    assert row["mc_location"] == ["rafter_foot", "ridge"]
    assert row["mc_subsurface"] is True


@pytest.mark.parametrize(
    "change",
    [
        {"material": "foam"},
        {"material": "masonry"},
        {"material": "plaster"},
        {"material": None},
        {"scale": "rel"},
        {"scale": "colour"},
    ],
)
def test_what_is_no_timber_or_no_per_cent_is_no_evidence(change: dict[str, Any]) -> None:
    assert _rows(reading=table("reading", {**DEEP, **change})) == []


@pytest.mark.parametrize(("said", "grade"), [("yes", "assumed"), (None, "reported")])
def test_treated_timber_never_clears(said: str | None, grade: str) -> None:
    (row,) = _rows(reading=table("reading", {**DEEP, "treated_or_salty": said}))
    assert row["base_grade"] == grade


def test_a_shallow_top_reading_is_not_below_the_surface() -> None:
    shallow = {**DEEP, "method": "pin_surface", "value": 21.0}
    (row,) = _rows(reading=table("reading", DEEP, shallow))
    assert (row["timber_mc_pct"], row["mc_subsurface"]) == (21.0, False)
    wet_inside = {**DEEP, "value": 20.5}
    (row,) = _rows(reading=table("reading", wet_inside, shallow))
    assert row["mc_subsurface"] is True  # 20.5 % below the surface is at the act level


def test_an_opening_that_is_worse_than_its_summary_counts() -> None:
    opening = {"inspection_id": "inspection-0", "timber_mc_pct": 27.0, "decay_grade": "d2"}
    wet = table("opening", {**opening, "free_water": "yes"}, {**opening, "decay_grade": "dx"})
    (row,) = _rows(inspection=table("inspection", OPENED), opening=wet)
    assert (row["timber_mc_pct"], row["timber_decay_grade"]) == (27.0, "dx")
    assert row["roof_leak_evidence"] == "active"


@pytest.mark.parametrize(
    ("found", "leak", "plumbing"),
    [
        (["none"], "none_seen", None),
        (["valley"], "recent", None),
        (["undiagnosed"], "recent", None),
        (["condensation"], None, None),
        (["plumbing"], None, "recent"),
        (["chimney", "condensation"], "recent", None),
        (None, None, None),
    ],
)
def test_a_cause_is_told_as_leak_evidence(
    found: list[str] | None, leak: str | None, plumbing: str | None
) -> None:
    (row,) = _rows(inspection=table("inspection", {**OPENED, "leak_found": found}))
    assert (row.get("roof_leak_evidence"), row.get("plumbing_leak")) == (leak, plumbing)


@pytest.mark.parametrize("status", ["no_access", "refused", "unsafe"])
def test_a_roof_that_was_not_opened_shows_nothing(status: str) -> None:
    refused = table("inspection", {**OPENED, "outcome_status": status})
    assert _rows(inspection=refused) == []


# ---- gates ------------------------------------------------------------------------------------
FOAM = BASES["loft"].but(
    foam_present="yes",
    foam_type="open_cell",
    foam_location=["underside_underlay"],
    foam_substrate="membrane_lr",
    foam_thickness_mm=100.0,
    foam_coverage_pct=95.0,
    foam_defects=["none_seen"],
    foam_evidence=["product_certificate", "batch_log"],
    foam_fire_cover="covered",
)


def _readings(*changes: dict[str, Any]) -> pl.DataFrame:
    """Four readings that F08 asks for, two of them on the shaded slope, with changes."""
    four = [DEEP, {**DEEP, "aspect": "NE"}, {**DEEP, "aspect": "S"}, {**DEEP, "aspect": "W"}]
    return table(
        "reading",
        *(four if not changes else [{**r, **c} for r, c in zip(four, changes, strict=True)]),
    )


def _facts(
    readings: pl.DataFrame, inspections: Sequence[dict[str, Any]] = (OPENED,)
) -> dict[str, Any]:
    records = on_record(readings=readings, inspections=table("inspection", *inspections))
    return records.facts.to_dicts()[0]


def test_facts_count_what_f08_asks_for() -> None:
    facts = _facts(_readings())
    assert facts["property_id"] == HOME
    counted = ("openings_n", "deep_readings_n", "deep_readings_shaded_n", "deep_winters_n")
    assert [facts[name] for name in counted] == [6, 4, 2, 1]
    assert (facts["deep_reading_max_pct"], facts["foam_sampled"]) == (15.0, True)


@pytest.mark.parametrize(
    ("change", "n"),
    [
        ({"method": "pin_surface"}, 3),
        ({"treated_or_salty": "yes"}, 3),
        ({"treated_or_salty": None}, 3),
        ({"reading_date": date(2026, 6, 1)}, 3),  # the drying half-year
        ({"reading_date": date(2021, 1, 20)}, 3),  # more than 60 months ago
        ({"location": "joist_end"}, 3),
        ({"material": "masonry"}, 3),
    ],
)
def test_a_reading_that_does_not_qualify_is_not_counted(change: dict[str, Any], n: int) -> None:
    assert _facts(_readings(change, {}, {}, {}))["deep_readings_n"] == n


def test_a_wet_reading_of_any_season_shows_in_the_highest() -> None:
    summer = {"reading_date": date(2026, 6, 1), "value": 23.0}
    assert _facts(_readings(summer, {}, {}, {}))["deep_reading_max_pct"] == 23.0


@pytest.mark.parametrize("verdict", ["fix_water", "specialist", "remove_foam", "unsafe_stop"])
def test_an_adverse_verdict_takes_the_opening_out_of_the_gate(verdict: str) -> None:
    facts = _facts(_readings(), [{**OPENED, "verdict": verdict}])
    assert (facts["openings_n"], facts["deep_readings_n"], facts["foam_sampled"]) == (0, 0, False)


def _gate(home: Home, rule: str, **given: Any) -> int:
    return int(judge([home], records=on_record(**given)).answers()[0][rule])


FOAM_ROW = replace(FOAM, measure="foam_check")
MET, NOT_MET = 7, 1  # FIRES, CLEAR


def test_documented_dry_foam_meets_f08_and_only_then() -> None:
    opened = table("inspection", OPENED)
    assert _gate(FOAM_ROW, "F08", readings=_readings(), inspections=opened) == MET
    assert _gate(FOAM_ROW, "F08") == NOT_MET
    three = table("reading", DEEP, {**DEEP, "aspect": "NE"}, {**DEEP, "aspect": "S"})
    assert _gate(FOAM_ROW, "F08", readings=three, inspections=opened) == NOT_MET
    one_shaded = _readings({}, {"aspect": "E"}, {}, {})
    assert _gate(FOAM_ROW, "F08", readings=one_shaded, inspections=opened) == NOT_MET
    wet = _readings({"value": 18.5}, {}, {}, {})
    assert _gate(FOAM_ROW, "F08", readings=wet, inspections=opened) == NOT_MET
    cracked = FOAM_ROW.but(foam_defects=["crack"])
    assert _gate(cracked, "F08", readings=_readings(), inspections=opened) == NOT_MET


def test_foam_without_papers_needs_a_sample_eight_openings_and_two_winters() -> None:
    bare = FOAM_ROW.but(foam_evidence=["none_found"])
    opened = table("inspection", {**OPENED, "openings_count": 8})
    two = _readings({"reading_date": date(2025, 1, 20)}, {}, {}, {})
    assert _gate(bare, "F08", readings=two, inspections=opened) == MET
    assert _gate(bare, "F08", readings=_readings(), inspections=opened) == NOT_MET
    seven = table("inspection", {**OPENED, "openings_count": 7})
    assert _gate(bare, "F08", readings=two, inspections=seven) == NOT_MET
    unsampled = table("inspection", {**OPENED, "openings_count": 8, "foam_sample_ref": None})
    assert _gate(bare, "F08", readings=two, inspections=unsampled) == NOT_MET


ENDS = [{**DEEP, "location": "joist_end", "aspect": aspect} for aspect in ("N", "N", "SW", "SW")]


def test_ends_shown_dry_through_a_winter_meet_j03() -> None:
    wall = BASES["inside_wall"].but(embedded_timber="joist_ends")
    assert judge_one(wall)["queue"] == REVIEW
    assert _gate(wall, "J03", readings=table("reading", *ENDS)) == MET
    assert _gate(wall, "J03", readings=table("reading", *ENDS[:3])) == NOT_MET
    one_aspect = [{**end, "aspect": "N"} for end in ENDS]
    assert _gate(wall, "J03", readings=table("reading", *one_aspect)) == NOT_MET
    wet = [{**ENDS[0], "value": 18.1}, *ENDS[1:]]
    assert _gate(wall, "J03", readings=table("reading", *wet)) == NOT_MET
    weathered = wall.but(pointing_condition="poor")
    assert _gate(weathered, "J03", readings=table("reading", *ENDS)) == NOT_MET
    row = judge_one(wall, records=on_record(readings=table("reading", *ENDS)))
    assert "J01" not in row["fired"]


def test_a_gate_never_lifts_a_water_rule() -> None:
    leaking = FOAM_ROW.but(roof_leak_evidence="active")
    given = {"readings": _readings(), "inspections": table("inspection", OPENED)}
    assert judge_one(leaking, records=on_record(**given))["queue"] == FIX


# ---- which records count -----------------------------------------------------------------------
SURVEYS = pl.DataFrame(
    {"property_id": [HOME, "H2"], "building_part": ["main", "ext1"], "survey_id": ["s1", "s2"]}
)


def _why(kind: str, row: dict[str, Any]) -> str | None:
    use = records_in_use(tables(**{kind: table(kind, row)}), SURVEYS, AS_OF, POLICY).use
    return str(use["why_not"][0]) if use["why_not"][0] is not None else None


def test_a_reading_finds_its_home_by_its_visit() -> None:
    lost = {**DEEP, "property_id": None, "building_part": None, "survey_id": "s2"}
    kept = records_in_use(tables(reading=table("reading", lost)), SURVEYS, AS_OF, POLICY).tables
    (row,) = kept["reading"].to_dicts()
    assert (row["property_id"], row["building_part"]) == ("H2", "ext1")
    assert _why("reading", {**lost, "survey_id": "s9"}) is not None


def test_every_record_is_told_of_once() -> None:
    rows = tables(
        reading=table("reading", DEEP, {**DEEP, "material": "foam"}),
        inspection=table("inspection", OPENED, {**OPENED, "outcome_status": "refused"}),
        opening=table("opening", {"inspection_id": "inspection-0"}, {"inspection_id": "other"}),
    )
    use = records_in_use(rows, SURVEYS, AS_OF, POLICY).use
    assert use.height == sum(frame.height for frame in rows.values())
    assert use["why_not"].null_count() == 3


def test_what_is_dated_later_is_not_known_yet() -> None:
    later = date(2026, 11, 1)
    assert _why("reading", {**DEEP, "reading_date": later}) == "dated after the day of judging"
    assert _why("inspection", {**OPENED, "inspected_on": later}) is not None
    assert _why("event", {"event_type": "storm", "event_on": later}) is not None
    assert _why("event", {"event_type": "storm", "event_on": AS_OF}) is None
    assert _why("reading", DEEP) is None


def test_a_decision_past_its_date_or_by_others_does_not_count() -> None:
    good = {
        "competence": "damp_timber",
        "decided_on": date(2026, 1, 1),
        "expires_on": AS_OF,
        "decision": "accept",
    }
    assert _why("decision", good) is None
    assert _why("decision", {**good, "expires_on": date(2026, 10, 30)}) == "past its expiry date"
    assert _why("decision", {**good, "competence": "housing_officer"}) is not None


def test_a_dry_reading_of_foam_or_treated_wood_makes_no_home_safe() -> None:
    assert judge_one(FOAM_ROW)["queue"] != SAFE
