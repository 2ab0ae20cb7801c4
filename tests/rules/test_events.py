"""Events end evidence before its age does (job notes 5.6): storms, leak reports, new households."""

from datetime import date, timedelta

import pytest
from record_frames import on_record, table
from rule_homes import BASES, REVIEW, SAFE, judge_one

from triage.rules.records import Records

LOFT = BASES["loft"]
SURVEYED = LOFT.surveys[0].facts["survey_date"]
assert isinstance(SURVEYED, date)


def _event(kind: str, on: date, part: str | None = None) -> Records:
    row = {"event_type": kind, "event_on": on, "building_part": part}
    return on_record(events=table("event", row))


@pytest.mark.parametrize("days", [0, 1, 30])
def test_a_storm_from_the_day_of_the_survey_on_makes_the_water_gate_old(days: int) -> None:
    row = judge_one(LOFT, records=_event("storm", SURVEYED + timedelta(days=days)))
    assert (row["queue"], row["lane"]) == (REVIEW, "expired")
    assert "roof_leak_evidence" in row["missing"]
    assert "ceiling_insulation_mm" not in row["missing"]  # what a storm does not change


def test_a_storm_before_the_survey_changes_nothing() -> None:
    before = _event("storm", SURVEYED - timedelta(days=1))
    assert judge_one(LOFT, records=before) == judge_one(LOFT)


def test_an_event_of_another_part_changes_nothing() -> None:
    elsewhere = _event("storm", SURVEYED + timedelta(days=1), "ext1")
    assert judge_one(LOFT, records=elsewhere) == judge_one(LOFT)
    here = _event("storm", SURVEYED + timedelta(days=1), "main")
    assert judge_one(LOFT, records=here)["lane"] == "expired"


def test_a_survey_after_the_storm_restores_it() -> None:
    storm = SURVEYED + timedelta(days=5)
    again = LOFT.surveys[0].but(survey_date=storm + timedelta(days=1), mc_date=storm)
    assert judge_one(LOFT.also(again), records=_event("storm", storm))["queue"] == SAFE


def test_a_new_household_ends_what_was_known_of_the_old_one_only() -> None:
    moved = _event("new_household", SURVEYED + timedelta(days=1))
    row = judge_one(LOFT, records=moved)
    # How the home is used may be presumed in a dwelling that was walked through, with its check.
    assert row["queue"] == SAFE
    assert "very humid use" in " ".join(row["presumed"])
    assert judge_one(LOFT)["presumed"] != row["presumed"]


def test_the_expiry_date_of_a_safe_row_knows_of_no_later_event() -> None:
    """A row judged before the storm stands until its age limit: the event was not known."""
    row = judge_one(LOFT, records=_event("storm", SURVEYED - timedelta(days=100)))
    assert row["expires_on"] == judge_one(LOFT)["expires_on"]
