"""Which of two answers stands, what settles them, and both cells quoted (5.5, 4.2, E02)."""

from collections.abc import Mapping, Sequence
from datetime import date
from typing import Any

import polars as pl
import pytest
from rule_homes import BASES, FIX, POLICY, REVIEW, SAFE, SOUND, Answer, Home, Survey, judge

from triage.quotes import with_quotes
from triage.rules.codes import KEY

LOFT = BASES["loft"]
FIRST, SECOND, THIRD = date(2026, 2, 16), date(2026, 6, 1), date(2026, 9, 1)  # first: as SOUND
NAMED: Mapping[str, Answer] = {"surveyor_id": "ow", "photo_refs": ["p2.jpg"]}


def _visit(on: date | None, grade: str = "observed", **answers: Answer) -> Survey:
    """A visit that saw what SOUND's surveyor could have seen, and wrote down only these answers."""
    reach = ("survey_reach_inside", "survey_reach_outside")
    return Survey({"survey_date": on, **{name: SOUND[name] for name in reach}, **answers}, grade)


def _told(homes: Sequence[Home]) -> list[tuple[str, str | None, list[str]]]:
    return [(row["queue"], row["lane"], row["disputed_fields"]) for row in judge(homes).rows()]


def test_both_values_and_both_grades_are_kept() -> None:
    home = LOFT.but(gutter_condition="blocked").also(_visit(SECOND, gutter_condition="good"))
    current = judge([home]).whole.current
    (kept,) = current.conflicts.drop("row_id", "other_row_id").to_dicts()
    assert kept == {
        **dict(zip(KEY, ("H000000", "main"), strict=True)),
        "field": "gutter_condition",
        "value": "good",
        "other_value": "blocked",
        "grade": "observed",
        "other_grade": "observed",
    }
    assert current.superseded.height == 0


def test_a_superseded_answer_stays_visible_with_the_reason() -> None:
    # 5.5: a higher grade supersedes a lower one if it is later or equal in date.
    seen = _visit(SECOND, gutter_condition="good")
    photographed = LOFT.but(gutter_condition="blocked").marked(gutter_condition="photographed")
    judged = judge([photographed.also(seen)])
    (told,) = judged.whole.current.superseded.to_dicts()
    assert (told["value"], told["other_value"]) == ("good", "blocked")
    assert (told["other_grade"], told["why"]) == ("photographed", "better_and_as_new")
    assert judged.rows()[0]["queue"] == SAFE


def test_an_assumed_answer_is_told_as_superseded_and_never_as_a_conflict() -> None:
    home = LOFT.also(_visit(SECOND, "assumed", gutter_condition="blocked"))
    current = judge([home]).whole.current
    assert current.conflicts.height == 0
    assert current.superseded["why"].to_list() == ["not_firm"]


def test_an_answer_that_asks_for_more_parts_the_queues_too() -> None:
    # Pitched: the home is safe. Low slope: W12 asks how the roof drains, and nobody wrote it down.
    pitched = LOFT.without("roof_drainage")
    low = pitched.but(roof_form="low_slope_cold")
    disagree = pitched.also(_visit(SECOND, roof_form="low_slope_cold"))
    (one, two, both) = _told([pitched, low, disagree])
    assert one[0] == SAFE
    assert (two[0], two[1]) == (REVIEW, "evidence_gap")
    assert both == (REVIEW, "contradiction", ["roof_form"])


def test_a_difference_that_parts_no_queue_is_no_contradiction() -> None:
    homes = [
        LOFT.also(_visit(SECOND, gutter_condition="fair")),
        LOFT.also(_visit(SECOND, roof_pitch_deg=37.0)),
    ]
    assert _told(homes) == [(SAFE, None, []), (SAFE, None, [])]


def _blocked_then_good() -> Home:
    return LOFT.but(gutter_condition="blocked").also(_visit(SECOND, gutter_condition="good"))


def test_two_records_alone_settle_nothing_whoever_made_them() -> None:
    home = LOFT.but(gutter_condition="blocked", surveyor_id="jh").also(
        _visit(SECOND, gutter_condition="good", **NAMED)
    )
    assert _told([home]) == [(REVIEW, "contradiction", ["gutter_condition"])]


@pytest.mark.parametrize(("said", "queue", "lane"), [("good", SAFE, None), ("blocked", FIX, None)])
def test_a_third_record_by_a_named_person_settles_it(said: str, queue: str, lane: str) -> None:
    third = _visit(THIRD, gutter_condition=said, **NAMED)
    judged = judge([_blocked_then_good().also(third)])
    (row,) = judged.rows()
    assert (row["queue"], row["lane"]) == (queue, lane)
    assert judged.whole.current.conflicts.height == 0
    (settled,) = judged.whole.current.superseded.to_dicts()
    assert settled["value"] == said
    assert settled["other_value"] == ({"good", "blocked"} - {said}).pop()
    assert settled["why"] == "settled"


@pytest.mark.parametrize(
    ("on", "grade", "answers"),
    [
        (THIRD, "observed", {"gutter_condition": "good", "photo_refs": ["p"]}),  # nobody's name
        (THIRD, "observed", {"gutter_condition": "good", "surveyor_id": "ow"}),  # no photograph
        (THIRD, "photographed", {"gutter_condition": "good", **NAMED}),  # nobody was there
        (None, "observed", {"gutter_condition": "good", **NAMED}),  # no date
        (date(2026, 1, 5), "observed", {"gutter_condition": "good", **NAMED}),  # before the two
        (SECOND, "observed", {"gutter_condition": "blocked", **NAMED}),  # the day of the other
        (
            THIRD,
            "observed",
            {"gutter_condition": "good", "survey_reach_outside": "none", **NAMED},
        ),  # could not see it
    ],
)
def test_a_third_record_short_of_that_settles_nothing(
    on: date | None, grade: str, answers: dict[str, Answer]
) -> None:
    (told,) = _told([_blocked_then_good().also(_visit(on, grade, **answers))])
    assert told == (REVIEW, "contradiction", ["gutter_condition"])


def test_a_third_record_that_sides_with_neither_settles_nothing() -> None:
    # Rain, none, plumbing: three opinions about one wall.
    wall = BASES["cavity"].but(wall_damp_evidence="rain")
    home = wall.also(
        _visit(SECOND, wall_damp_evidence="none_seen"),
        _visit(THIRD, wall_damp_evidence="undiagnosed", **NAMED),
    )
    (told,) = _told([home])
    assert told[:2] == (REVIEW, "contradiction")


def _foam_types(first: tuple[str, date, str], second: tuple[str, date, str]) -> dict[str, Any]:
    """What stands of two records of the foam's type: (grade, day, type) each."""
    visits = [_visit(on, grade, foam_type=said) for grade, on, said in (first, second)]
    home = BASES["loft_gable_foam"].without("foam_type").also(*visits)
    current = judge([home]).whole.current
    table = current.table.filter(pl.col("variant") == 0)
    return {
        "type": table["foam_type"].item(),
        "disputed": "foam_type" in current.conflicts["field"].to_list(),
        "why": current.superseded.filter(pl.col("field") == "foam_type")["why"].to_list(),
    }


STRONGER_FIRST = ["measured", "observed", "documented", "reported"]  # 4.2, foam_class_resolved
PAIRS = [
    (strong, weak)
    for place, strong in enumerate(STRONGER_FIRST)
    for weak in STRONGER_FIRST[place + 1 :]
]


@pytest.mark.parametrize(("strong", "weak"), PAIRS)
@pytest.mark.parametrize("older", [True, False])
def test_foam_type_a_sample_beats_sight_beats_a_document_beats_word_of_mouth(
    strong: str, weak: str, older: bool
) -> None:
    days = (FIRST, THIRD) if older else (THIRD, FIRST)
    stands = _foam_types((strong, days[0], "closed_cell"), (weak, days[1], "open_cell"))
    assert stands == {"type": "closed_cell", "disputed": False, "why": ["stronger_kind"]}


@pytest.mark.parametrize("grade", STRONGER_FIRST)
def test_two_records_of_one_kind_that_differ_about_the_foam_are_a_conflict(grade: str) -> None:
    stands = _foam_types((grade, FIRST, "closed_cell"), (grade, THIRD, "open_cell"))
    assert stands["disputed"]


def test_other_fields_know_no_such_ranking() -> None:
    older = _visit(FIRST, "observed", roof_underlay="felt_bitumen_hr")
    newer = _visit(THIRD, "documented", roof_underlay="membrane_lr")
    current = judge([LOFT.without("roof_underlay").also(older, newer)]).whole.current
    assert "roof_underlay" in current.conflicts["field"].to_list()


def _contradiction(**other: Any) -> pl.DataFrame:
    """One row as the pipeline's step writes it."""
    cell = {
        "file": "north.xlsx",
        "sheet": "Roofs",
        "row": 12,
        "column": "AC",
        "record": None,
        "home": "H1",
        "survey_date": date(2026, 2, 16),
    }
    row = {
        **dict(zip(KEY, ("H1", "main"), strict=True)),
        "field": "gutter_condition",
        **cell,
        "value": "good",
        "raw": "OK\nby eye",
        **{f"other_{name}": value for name, value in cell.items()},
        "other_value": "blocked",
        "other_raw": "blocked",
        "other_row": 40,
        **other,
    }
    kinds = {"row": pl.UInt32, "survey_date": pl.Date}
    schema = {name: kinds.get(name.removeprefix("other_"), pl.String) for name in row}
    return pl.DataFrame([row], schema=schema)


def _queue(lane: str | None, fields: list[str]) -> pl.DataFrame:
    return pl.DataFrame(
        {
            "property_id": "H1",
            "building_part": "main",
            "measure_code": "loft_topup",
            "lane": lane,
            "reason": "Because (W04).",
            "disputed_fields": [fields],
        },
        schema_overrides={"lane": pl.String, "disputed_fields": pl.List(pl.String)},
    )


def test_the_reason_quotes_both_cells_with_their_places() -> None:
    told = with_quotes(_queue("contradiction", ["gutter_condition"]), _contradiction())
    quote = (
        "gutter condition: good, written “OK by eye” (north.xlsx, sheet Roofs, row 12, column AC, "
        "2026-02-16) against blocked (north.xlsx, sheet Roofs, row 40, column AC, 2026-02-16)."
    )
    assert told["conflict_notes"].to_list() == [[quote]]
    assert told["reason"].item() == f"Because (W04). {quote}"


def test_a_record_and_the_survey_of_a_neighbour_are_named_as_such() -> None:
    event = {"other_record": "event E-7", "other_sheet": None, "other_column": None}
    event |= {"other_raw": None, "other_file": "storms.csv", "home": "H2"}
    told = with_quotes(_queue(None, ["gutter_condition"]), _contradiction(**event))
    (note,) = told["conflict_notes"].item()
    assert "column AC, home H2, 2026-02-16) against" in note
    assert note.endswith("blocked (storms.csv, row 40, event E-7, 2026-02-16).")
    assert told["reason"].item() == "Because (W04)."  # another lane gave its reason


def test_a_disagreement_about_another_field_is_not_quoted() -> None:
    told = with_quotes(_queue("contradiction", ["roof_form"]), _contradiction())
    assert told["conflict_notes"].to_list() == [[]]


def test_the_policy_ranks_foam_type_as_the_reference_says() -> None:
    ranked = POLICY.evidence.of("foam_type")
    kinds = [ranked.kind_of(grade) for grade in STRONGER_FIRST]
    assert kinds == sorted(kinds, reverse=True)
    assert len(set(kinds)) == len(kinds)
