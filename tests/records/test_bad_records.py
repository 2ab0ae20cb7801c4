"""Every kind of bad record is refused at its cell, and the rest is taken.

Row 2 is the first row of records. Column letters are counted by hand in `record_rows`.
"""

from datetime import date
from typing import Any

import polars as pl
import pytest
from record_rows import (
    ANSWER,
    DECISION,
    EVENT,
    INSPECTION,
    OPENING,
    READING,
    REPAIR,
    SOUND,
    Row,
    Shelf,
    notes,
    refusals,
)

from triage.intake.answer_ids import answer_id, answer_id_problems

ID = {
    "reading": "reading_id",
    "inspection": "inspection_id",
    "opening": "opening_id",
    "repair": "repair_id",
    "event": "event_id",
    "decision": "decision_id",
    "answer": "answer_id",
}
KEYS = ("answer_id", "property_id", "building_part", "field")
Bad = tuple[str, Row, str, str, str]  # kind, changes, problem, column, field
BAD: dict[str, Bad] = {
    "home": ("repair", {"property_id": "H9"}, "unknown_home", "B", "property_id"),
    "part": ("repair", {"building_part": "garage"}, "unknown_part", "C", "building_part"),
    "home of a decision": ("decision", {"property_id": "h1"}, "unknown_home", "B", "property_id"),
    "home of an event": ("event", {"property_id": "H8; H9"}, "unknown_home", "D", "property_id"),
    "event of nowhere": ("event", {"property_id": None}, "nowhere", "D", "property_id"),
    "part of an event": (
        "event",
        {"property_id": "H2", "building_part": "extension_1"},
        "unknown_part",
        "E",
        "building_part",
    ),
    "inspection in the future": (
        "inspection",
        {"inspected_on": date(2026, 11, 1)},
        "out_of_range",
        "G",
        "inspected_on",
    ),
    "no day": ("inspection", {"inspected_on": None}, "missing", "G", "inspected_on"),
    "two days in one": (
        "inspection",
        {"inspected_on": "03/04/2026"},
        "ambiguous_date",
        "G",
        "inspected_on",
    ),
    "opening of nothing": (
        "opening",
        {"inspection_id": "I-9"},
        "unknown_inspection",
        "B",
        "inspection_id",
    ),
    "opening after its outcome": (
        "opening",
        {"opened_on": date(2026, 4, 21)},
        "after_outcome",
        "M",
        "opened_on",
    ),
    "decision of nobody": ("decision", {"decided_by": None}, "missing", "K", "decided_by"),
    "decision before itself": (
        "decision",
        {"expires_on": date(2026, 5, 3)},
        "wrong_order",
        "O",
        "expires_on",
    ),
    "decision past its expiry": (
        "decision",
        {"expires_on": date(2026, 10, 30)},
        "expired",
        "O",
        "expires_on",
    ),
    "decision for too long": (
        "decision",
        {"expires_on": date(2028, 5, 5)},
        "too_long",
        "O",
        "expires_on",
    ),
    "decision without end": ("decision", {"expires_on": None}, "missing", "O", "expires_on"),
    "decision in the future": (
        "decision",
        {"decided_on": date(2026, 11, 2)},
        "out_of_range",
        "N",
        "decided_on",
    ),
    "rule that is none": ("decision", {"rule_ids": "R08; Q77"}, "unknown_rule", "E", "rule_ids"),
    "a leak accepted": ("decision", {"rule_ids": "W01"}, "not_overridable", "E", "rule_ids"),
    "a stop accepted": ("decision", {"rule_ids": "R08; S02"}, "not_overridable", "E", "rule_ids"),
    "one person alone": (
        "decision",
        {"rule_ids": "R03"},
        "no_second_person",
        "M",
        "second_person",
    ),
    "one person twice": (
        "decision",
        {"rule_ids": "R03", "second_person": " s1 "},
        "same_person",
        "M",
        "second_person",
    ),
    "no conditions": ("decision", {"conditions": None}, "no_conditions", "J", "conditions"),
    "no evidence": ("decision", {"evidence_refs": None}, "missing", "I", "evidence_refs"),
    "no competence": ("decision", {"competence": None}, "missing", "L", "competence"),
    "unknown measure": (
        "decision",
        {"measure_code": "solar sail"},
        "unknown_measure",
        "D",
        "measure_code",
    ),
    "two measures": (
        "decision",
        {"measure_code": "loft_topup; cavity_fill"},
        "several_measures",
        "D",
        "measure_code",
    ),
    "own work": ("repair", {"verified_by": "c4"}, "verified_by_installer", "U", "verified_by"),
    "completed before started": (
        "repair",
        {"completed_on": date(2026, 3, 8)},
        "wrong_order",
        "I",
        "completed_on",
    ),
    "started before ordered": (
        "repair",
        {"started_on": date(2026, 3, 1)},
        "wrong_order",
        "H",
        "started_on",
    ),
    "read again too early": (
        "repair",
        {"mc_after_date": date(2026, 3, 11)},
        "wrong_order",
        "S",
        "mc_after_date",
    ),
    "verified before completed": (
        "repair",
        {"verified_on": date(2026, 3, 11)},
        "wrong_order",
        "V",
        "verified_on",
    ),
    "verified without photographs": (
        "repair",
        {"evidence_after": None},
        "not_proven",
        "N",
        "evidence_after",
    ),
    "verified without a test": ("repair", {"water_test": "none"}, "not_proven", "O", "water_test"),
    "verified on no day": ("repair", {"verified_on": None}, "not_proven", "V", "verified_on"),
    "verified by nobody": ("repair", {"verified_by": None}, "not_proven", "U", "verified_by"),
    "verified unfinished": ("repair", {"completed_on": None}, "not_proven", "I", "completed_on"),
    "unknown trigger": (
        "repair",
        {"trigger_rule_ids": "W01; W99"},
        "unknown_rule",
        "D",
        "trigger_rule_ids",
    ),
    "140 per cent": ("reading", {"value": 140}, "above_100", "F", "value"),
    "140 % in words": ("reading", {"value": "140 %"}, "above_100", "F", "value"),
    "REL in a percent": ("reading", {"value": "45 REL"}, "not_a_percentage", "F", "value"),
    "no number": ("reading", {"value": "wet"}, "not_a_number", "F", "value"),
    "no value": ("reading", {"value": None}, "no_value", "F", "value"),
    "visit of nobody": ("reading", {"survey_id": "V77"}, "unknown_visit", "B", "survey_id"),
    "reading in the future": (
        "reading",
        {"reading_date": date(2027, 1, 1)},
        "out_of_range",
        "N",
        "reading_date",
    ),
    "no survey field": ("answer", {"field": "gutter_state"}, "unknown_field", "D", "field"),
    "no such answer": ("answer", {"value": "purple"}, "not_a_value", "E", "value"),
    "an error for an answer": ("answer", {"value": "#REF!"}, "error_cell", "E", "value"),
    "edited key": ("answer", {"building_part": "extension_1"}, "edited_key", "A", "answer_id"),
    "lost digits": ("event", {"event_id": "1.2E+11"}, "damaged_id", "A", "event_id"),
}


@pytest.mark.parametrize("name", BAD)
def test_bad_record_is_refused_at_its_cell_and_the_rest_is_taken(name: str, shelf: Shelf) -> None:
    kind, changes, problem, column, field = BAD[name]
    # The sound row stands first, so that its columns are those of the sheet.
    bad = SOUND[kind] | {ID[kind]: "X-1"} | changes
    if kind == "answer" and field != "answer_id":
        bad["answer_id"] = answer_id("ba", "H1", "main", str(bad["field"]))
    if kind == "repair":
        bad |= {"defect_location": "south slope"}
    if kind == "opening":
        shelf.rows(inspection=[INSPECTION], name="ground.xlsx")
    done = shelf.rows(**{kind: [SOUND[kind], bad]})
    assert (problem, kind, 3, column, field) in refusals(done)
    assert {(sheet, row) for _, sheet, row, _, _ in refusals(done)} == {(kind, 3)}
    assert (done.total("refused"), done.exit_code) == (1, 1)
    assert shelf.load().tables[kind][ID[kind]].to_list() == [SOUND[kind][ID[kind]]]


def test_each_bad_record_differs_from_a_sound_one(shelf: Shelf) -> None:
    done = shelf.rows(**{kind: [row] for kind, row in SOUND.items()})
    assert refusals(done) == []


def test_an_outcome_dated_before_its_opening_is_refused_with_the_opening(shelf: Shelf) -> None:
    late = OPENING | {"opened_on": date(2026, 4, 22)}
    done = shelf.rows(inspection=[INSPECTION], opening=[late])
    assert refusals(done) == [
        ("before_opening", "inspection", 2, "G", "inspected_on"),
        ("unknown_inspection", "opening", 2, "B", "inspection_id"),
    ]
    assert shelf.load().tables["inspection"].height == 0


def test_a_reading_before_its_inspection_is_refused(shelf: Shelf) -> None:
    early = READING | {"survey_id": "I-1", "reading_date": date(2026, 4, 19)}
    done = shelf.rows(inspection=[INSPECTION], reading=[early])
    assert refusals(done) == [("before_inspection", "reading", 2, "N", "reading_date")]


def test_a_visit_that_may_be_of_two_homes_needs_the_home(shelf: Shelf) -> None:
    survey = [
        ["property_id", "building_part", "survey_id"],
        ["H1", "main", "V1"],
        ["H1", "extension_1", "V1"],
        ["H2", "main", "V1"],
    ]
    shelf.stock.survey(survey)
    vague = READING | {"reading_id": "M-2"}
    half = READING | {"reading_id": "M-3", "property_id": "H2"}
    named = READING | {"reading_id": "M-4", "property_id": "H1", "building_part": "main"}
    done = shelf.rows(reading=[vague, half, named])
    assert refusals(done) == [("ambiguous_visit", "reading", 2, "B", "survey_id")]
    got = shelf.load().tables["reading"].select("reading_id", "property_id", "building_part")
    assert got.rows() == [("M-3", "H2", "main"), ("M-4", "H1", "main")]


def test_a_number_on_another_scale_is_kept_and_flagged(shelf: Shelf) -> None:
    done = shelf.rows(reading=[READING | {"value": 450, "scale": "rel"}])
    assert refusals(done) == []
    assert ("not_a_percentage", "reading", 2, "F", "value") in notes(done)
    assert shelf.load().tables["reading"]["value"].to_list() == [450.0]


def test_overlapping_repairs_under_two_ids(shelf: Shelf) -> None:
    again = REPAIR | {"repair_id": "R-2", "started_on": date(2026, 3, 11)}
    elsewhere = REPAIR | {"repair_id": "R-3", "defect_location": "south slope"}
    done = shelf.rows(repair=[again, REPAIR, elsewhere])
    assert refusals(done) == [("overlapping_repair", "repair", 2, "A", "repair_id")]
    later = REPAIR | {
        "repair_id": "R-4",
        "started_on": date(2026, 3, 10),
        "completed_on": date(2026, 3, 20),
    }
    after = REPAIR | {
        "repair_id": "R-5",
        "started_on": date(2026, 3, 13),
        "completed_on": date(2026, 3, 20),
    }
    done = shelf.rows(repair=[after, later], name="later.xlsx")
    assert refusals(done) == [
        ("overlapping_repair", "repair", 2, "A", "repair_id"),
        ("overlapping_repair", "repair", 3, "A", "repair_id"),
    ]
    assert "the repair R-1:" in done.problems.filter("refused")["message"][1]
    assert shelf.rows(repair=[after], name="after.xlsx").exit_code == 0
    before = REPAIR | {
        "repair_id": "R-6",
        "ordered_on": None,
        "started_on": date(2026, 3, 1),
        "completed_on": date(2026, 3, 9),
    }
    done = shelf.rows(repair=[before], name="before.xlsx")
    assert refusals(done) == [("overlapping_repair", "repair", 2, "A", "repair_id")]
    assert shelf.load().tables["repair"]["repair_id"].to_list() == ["R-1", "R-3", "R-5"]


def test_a_repair_does_not_overlap_its_own_earlier_version(shelf: Shelf) -> None:
    ordered = REPAIR | dict.fromkeys(("completed_on", "mc_after_date", "verified_on"))
    shelf.rows(repair=[ordered | {"repair_verified": "no"}], name="ordered.xlsx")
    done = shelf.rows(repair=[REPAIR], name="done.xlsx")
    assert (refusals(done), done.total("kept")) == ([], 1)


def test_an_event_holds_for_the_homes_that_are_known(shelf: Shelf) -> None:
    done = shelf.rows(event=[EVENT | {"property_id": "H1; H9"}])
    assert (refusals(done), done.exit_code) == ([], 0)
    assert ("unknown_home", "event", 2, "D", "property_id") in notes(done)


def test_a_specialist_may_reject_what_nobody_can_accept(shelf: Shelf) -> None:
    done = shelf.rows(decision=[DECISION | {"rule_ids": "W01", "decision": "reject"}])
    assert refusals(done) == []


def test_a_second_person_makes_a_severe_rule_acceptable(shelf: Shelf) -> None:
    done = shelf.rows(decision=[DECISION | {"rule_ids": "R03", "second_person": "S2"}])
    assert refusals(done) == []


def test_a_decision_may_hold_for_24_months_to_the_day(shelf: Shelf) -> None:
    assert refusals(shelf.rows(decision=[DECISION | {"expires_on": date(2028, 5, 4)}])) == []


@pytest.mark.parametrize(
    ("changes", "is_sound"),
    [
        ({}, True),
        ({"field": "valley_condition"}, False),
        ({"property_id": "H2"}, False),
        ({"property_id": None}, False),
        ({"answer_id": "0123456789ab"}, False),
        ({"answer_id": None}, False),
    ],
)
def test_the_id_of_an_answer_belongs_to_its_key(changes: dict[str, Any], is_sound: bool) -> None:
    row = {name: (ANSWER | changes)[name] for name in KEYS}
    told = answer_id_problems(pl.DataFrame([row], schema=dict.fromkeys(KEYS, pl.String)))
    assert (told["told"][0] is None) == is_sound
    if is_sound:
        assert told["run"].to_list() == ["0123456789ab"]


@pytest.mark.parametrize(
    ("survey_status", "stored"), [("refused", "refused"), ("the resident declined", None)]
)
def test_an_inspection_that_was_refused_is_no_unknown(
    survey_status: str, stored: str | None, shelf: Shelf
) -> None:
    """`refused` is a word for unknown in a survey, and an outcome of its own here."""
    shelf.rows(inspection=[INSPECTION | {"outcome_status": survey_status}])
    assert shelf.load().tables["inspection"]["outcome_status"].to_list() == [stored]


def test_the_id_of_an_answer_is_made_as_agreed() -> None:
    # printf 'H1|main|gutter_condition' | sha256sum
    assert ANSWER["answer_id"] == "0123456789ab-ebe693d4"


def test_a_sheet_that_fits_no_table_is_told_and_the_others_are_taken(shelf: Shelf) -> None:
    done = shelf.rows(repair=[REPAIR], Lunch=[{"who": "N3", "what": "soup"}])
    (error,) = done.errors
    assert "fits no table of records" in error.what
    assert error.where.sheet == "Lunch"
    assert "repair_id" in error.fix
    assert (done.total("kept"), done.exit_code) == (1, 1)


def test_an_unknown_heading_is_told_with_the_nearest_and_a_remark_is_not_read(
    shelf: Shelf,
) -> None:
    done = shelf.rows(repair=[REPAIR | {"finished on": "x"}])
    assert done.exit_code == 2
    (error,) = done.errors
    assert (error.where.sheet, error.where.row, error.where.column) == ("repair", 1, "Y")
    done = shelf.rows(repair=[REPAIR | {"(finished)": "x"}])
    assert done.exit_code == 0


def test_a_file_that_is_none_is_an_error_and_makes_no_store(shelf: Shelf) -> None:
    path = shelf.folder / "broken.xlsx"
    path.write_bytes(b"PK\x03\x04 and then nothing")
    done = shelf.take(path)
    assert done.exit_code == 2
    assert not (shelf.folder / "records.duckdb").exists()
