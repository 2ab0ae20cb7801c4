"""An answer too old to count is no word against a newer one, unless it saw a defect (5.5, 5.6)."""

from datetime import date
from typing import Any

from rule_homes import BASES, FIX, REVIEW, SOUND, Home, Survey, judge_one

OLD = date(2023, 2, 16)  # water gates count for 24 months where it is not exposed (5.6)
NEW = date(2026, 2, 16)


def _looks(old: str, new: str) -> Home:
    whole: dict[str, Any] = {**SOUND, "gutter_condition": new, "survey_date": NEW}
    earlier = {k: SOUND[k] for k in ("survey_reach_inside", "survey_reach_outside")}
    return (
        BASES["cavity"]
        .but(**whole)
        .also(Survey({**earlier, "survey_date": OLD, "gutter_condition": old}))
    )


def test_an_old_sound_look_does_not_dispute_a_new_defect() -> None:
    row = judge_one(_looks("good", "failed"))
    assert (row["queue"], row["fired"]) == (FIX, ["W04"])


def test_an_old_defect_still_disputes_a_new_sound_look() -> None:
    row = judge_one(_looks("failed", "good"))
    assert (row["queue"], row["lane"]) == (REVIEW, "contradiction")


def test_a_sound_look_that_still_counts_does_dispute_a_new_defect() -> None:
    recent = Survey(
        {
            **{k: SOUND[k] for k in ("survey_reach_inside", "survey_reach_outside")},
            "survey_date": date(2025, 6, 1),
            "gutter_condition": "good",
        }
    )
    row = judge_one(BASES["cavity"].but(gutter_condition="failed").also(recent))
    assert (row["queue"], row["lane"]) == (REVIEW, "contradiction")
