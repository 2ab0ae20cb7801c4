"""What becomes of rows: accepted, rejected or superseded, and nothing else."""

import random
from datetime import date

import polars as pl
from intake_helpers import ReadFiles, WriteBook

from triage.intake import Intake

HEAD = [
    "property_id",
    "building_part",
    "survey_id",
    "survey_date",
    "gutter_condition",
    "measure_code",
]
MAY, JUNE = date(2025, 5, 1), date(2025, 6, 1)


def _read(rows: list[list[object]], write_book: WriteBook, read_files: ReadFiles) -> Intake:
    return read_files(write_book([HEAD, *rows]))


def _content(intake: Intake) -> list[tuple[object, ...]]:
    return sorted(intake.clean.select(HEAD).rows(), key=str)


def test_the_same_row_twice_counts_once(write_book: WriteBook, read_files: ReadFiles) -> None:
    row = ["H1", "main", "V1", MAY, "G", None]
    intake = _read([row, row, row], write_book, read_files)
    assert intake.counts == {"read": 3, "accepted": 1, "rejected": 0, "superseded": 2}
    assert intake.rows["superseded_by"].to_list() == [None, 0, 0]
    assert intake.problems.is_empty()


def test_measures_of_equal_rows_are_put_together(
    write_book: WriteBook, read_files: ReadFiles
) -> None:
    rows = [["H1", "main", "V1", MAY, "G", code] for code in ("loft_topup", "cavity_fill", None)]
    intake = _read(rows, write_book, read_files)
    assert intake.clean["measure_code"].to_list() == ["cavity_fill;loft_topup"]


def test_a_later_visit_under_the_same_id_supersedes(
    write_book: WriteBook, read_files: ReadFiles
) -> None:
    rows = [["H1", "main", "V1", JUNE, "P", None], ["H1", "main", "V1", MAY, "G", None]]
    intake = _read(rows, write_book, read_files)
    assert intake.rows["status"].to_list() == ["accepted", "superseded"]
    assert intake.rows["superseded_by"].to_list() == [None, 0]
    assert intake.clean["gutter_condition"].to_list() == ["poor"]


def test_two_answers_of_one_day_are_both_kept(write_book: WriteBook, read_files: ReadFiles) -> None:
    rows = [["H1", "main", "V1", MAY, "G", None], ["H1", "main", "V1", MAY, "P", None]]
    for order in (rows, rows[::-1]):
        intake = _read(order, write_book, read_files)
        assert intake.counts["accepted"] == 2
        assert intake.problems["kind"].to_list() == ["duplicate_key"]
        kept = dict(intake.clean.select("survey_id", "gutter_condition").rows())
        assert kept == {"V1": "good", "V1#2": "poor"}


def test_an_undated_row_is_not_taken_for_an_older_one(
    write_book: WriteBook, read_files: ReadFiles
) -> None:
    rows = [["H1", "main", "V1", MAY, "G", None], ["H1", "main", "V1", None, "P", None]]
    assert _read(rows, write_book, read_files).counts["accepted"] == 2


def test_rows_that_differ_in_grade_only_are_not_the_same(
    write_book: WriteBook, read_files: ReadFiles
) -> None:
    texts = ["G", "G (assumed)"]
    for order in (texts, texts[::-1]):
        rows = [["H1", "main", "V1", MAY, text, None] for text in order]
        intake = _read(rows, write_book, read_files)
        assert intake.counts["accepted"] == 2
        marked = intake.clean.join(intake.marks, on="row_id")
        assert marked["grade"].to_list() == ["assumed"]


def test_other_parts_and_other_surveys_are_other_rows(
    write_book: WriteBook, read_files: ReadFiles
) -> None:
    rows = [
        ["H1", part, survey, MAY, "G", None] for part in ("main", "ext1") for survey in ("V1", "V2")
    ]
    assert _read(rows, write_book, read_files).counts["accepted"] == 4


def test_rows_without_home_or_part_are_rejected_with_a_reason(
    write_book: WriteBook, read_files: ReadFiles
) -> None:
    rows = [
        [None, "main", "V1", MAY, "G", None],
        ["H1", None, "V1", MAY, "G", None],
        ["H1", "over there", "V1", MAY, "G", None],
        [None] * 6,
        ["H1", "main", "V1", MAY, "G", None],
    ]
    intake = _read(rows, write_book, read_files)
    assert intake.counts == {"read": 4, "accepted": 1, "rejected": 3, "superseded": 0}
    assert intake.rows["reason"].to_list() == [
        "no reference of the home; the row is not used",
        "no readable building part; the row is not used",
        "no readable building part; the row is not used",
        None,
    ]


def test_a_missing_survey_id_is_made_of_file_sheet_and_row(
    write_book: WriteBook, read_files: ReadFiles
) -> None:
    intake = _read([["H1", "main", None, MAY, "G", None]], write_book, read_files)
    assert intake.clean["survey_id"].to_list() == ["survey:Roofs:2"]


def test_row_and_file_order_change_nothing(write_book: WriteBook, read_files: ReadFiles) -> None:
    dice = random.Random(7)
    answers, measures = ["G", "P", "?", "G (assumed)"], ["loft_topup", "cavity_fill", None]
    rows = [
        [
            f"H{dice.randint(1, 4)}",
            "main",
            f"V{dice.randint(1, 2)}",
            dice.choice([MAY, JUNE, None]),
            dice.choice(answers),
            dice.choice(measures),
        ]
        for _ in range(60)
    ]
    first = write_book([HEAD, *rows[:30]], "a.xlsx")
    second = write_book([HEAD, *rows[30:]], "b.xlsx")
    expected = read_files(first, second)
    assert 0 < expected.counts["superseded"] < 60
    other = read_files(second, first)
    dice.shuffle(rows)
    mixed = _read(rows, write_book, read_files)
    for intake in (other, mixed):
        assert intake.counts == expected.counts
        assert _content(intake) == _content(expected)


def test_every_frame_is_about_rows_that_are_there(
    write_book: WriteBook, read_files: ReadFiles
) -> None:
    rows = [["H1", "main", "V1", MAY, "G (assumed)", "x"], [None, "main", "V1", MAY, "??", None]]
    intake = _read(rows, write_book, read_files)
    accepted = set(intake.rows.filter(status="accepted")["row_id"])
    assert set(intake.clean["row_id"]) == accepted
    for frame in (intake.marks, intake.unknowns, intake.limits, intake.grades):
        assert set(frame["row_id"]) <= accepted
    known = set(intake.raw["row_id"])
    assert set(intake.problems["row_id"].drop_nulls()) <= known
    assert intake.clean.schema["row_id"] == pl.UInt32


def test_a_visit_that_leaves_the_country_out_does_not_move_the_home(
    write_book: WriteBook, read_files: ReadFiles
) -> None:
    """The programme's country holds for homes of which no survey says another one."""
    head = ["property_id", "building_part", "survey_id", "survey_date", "country_code"]
    rows = [
        ["H1", "main", "V1", MAY, "IE"],
        ["H1", "main", "V2", JUNE, None],
        ["H2", "main", "V3", JUNE, None],
    ]
    clean = read_files(write_book([head, *rows])).clean.sort("survey_id")
    assert clean["country_code"].to_list() == ["IE", "IE", "GB"]
