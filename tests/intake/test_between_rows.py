"""What is and what is not told from homes: totals, titles, ornaments, units that change."""

from pathlib import Path

import pytest
import xlsxwriter
from intake_helpers import ReadFiles, WriteBook

from triage.errors import HeadingError

HEAD = ["property_id", "building_part"]


def test_homes_with_names_like_titles_are_homes_if_they_have_answers(
    write_book: WriteBook, read_files: ReadFiles
) -> None:
    names = ["Block A, Mill Street", "Totnes House", "Summer Cottage", "Total Wood Farm"]
    intake = read_files(write_book([[*HEAD, "storeys"], *([name, "main", 2] for name in names)]))
    # A reference that begins with the word for a total is one too many: it is rejected, and said.
    assert intake.clean["property_id"].to_list() == names[:3]
    assert intake.rows["status"].to_list() == ["accepted"] * 3 + ["rejected"]
    assert intake.problems.select("kind", "row").rows() == [("totals_row", 5)]


def test_a_home_of_which_only_the_reference_is_written_is_no_title(
    write_book: WriteBook, read_files: ReadFiles
) -> None:
    rows = [["MS-001", "main", 2], ["MS-002"], ["Phase 2"], ["MS-003", "main", 1]]
    intake = read_files(write_book([[*HEAD, "storeys"], *rows]))
    assert intake.problems.select("kind", "row").rows() == [
        ("no_building_part", 3),
        ("section_row", 4),
    ]


def test_a_reference_without_a_digit_among_many_with_one_is_said_and_kept(
    write_book: WriteBook, read_files: ReadFiles
) -> None:
    rows = [[f"H{k}", "main", 2] for k in range(1, 25)] + [["see overleaf", "main", 2]]
    intake = read_files(write_book([[*HEAD, "storeys"], *rows]))
    assert intake.counts["accepted"] == 25
    assert intake.problems.select("kind", "row", "raw").rows() == [
        ("unusual_reference", 26, "see overleaf")
    ]


@pytest.mark.parametrize(
    "readings",
    [
        [4, 6, 8, 10, 12, 100, 150, 200, 250, 300],  # sorted: parts anywhere
        [270, 4, 150, 6, 250, 8, 100, 10, 300, 12],  # mixed: no place at which it changes
        [270, 200, 250, 300, 25, 50, 25, 75, 50, 25],  # small ones in steps of 25 mm
        [270, 100, 150, 4, 6, 8],  # too few to tell
    ],
)
def test_readings_that_differ_for_other_reasons_are_kept(
    readings: list[float], write_book: WriteBook, read_files: ReadFiles
) -> None:
    rows = [[f"H{k}", "main", value] for k, value in enumerate(readings, start=1)]
    intake = read_files(write_book([[*HEAD, "ceiling_insulation_mm"], *rows]))
    assert intake.clean["ceiling_insulation_mm"].to_list() == readings
    assert intake.problems.is_empty()


@pytest.mark.parametrize(("coloured", "said"), [((2, 4, 6, 8), 0), (range(2, 10), 0), ((3, 4), 1)])
def test_a_colour_in_every_row_or_every_other_one_is_an_ornament(
    coloured: range | tuple[int, ...], said: int, tmp_path: Path, read_files: ReadFiles
) -> None:
    path = tmp_path / "survey.xlsx"
    with xlsxwriter.Workbook(str(path)) as book:
        page, fill = book.add_worksheet(), book.add_format({"bg_color": "#DDEEFF"})
        page.write_row(0, 0, HEAD)
        for row in range(2, 10):
            page.write_row(row - 1, 0, [f"H{row}", "main"], fill if row in coloured else None)
    kinds = read_files(path).problems["kind"].to_list()
    assert kinds == ["colour_not_read"] * said


def test_a_form_repeated_for_each_home_is_refused(
    write_book: WriteBook, read_files: ReadFiles
) -> None:
    fields = ["storeys", "gutter_condition"]
    rows = [
        line
        for k in range(60)
        for line in ([*HEAD, fields[k % 2]], [f"H{k}", "main", "2" if k % 2 == 0 else "good"], [])
    ]
    with pytest.raises(HeadingError, match="more than 50 tables") as caught:
        read_files(write_book(rows))
    assert caught.value.fix == "put all homes into one table"


def test_many_tables_of_two_kinds_below_one_another_are_all_read(
    write_book: WriteBook, read_files: ReadFiles
) -> None:
    fields, answers = ["storeys", "gutter_condition"], ["2", "good"]
    rows = [
        line
        for k in range(20)
        for line in ([*HEAD, fields[k % 2]], [f"H{k}", "main", answers[k % 2]], [])
    ]
    intake = read_files(write_book(rows))
    assert intake.clean["property_id"].to_list() == [f"H{k}" for k in range(20)]
    assert intake.clean["storeys"].drop_nulls().len() == 10
    assert intake.clean["gutter_condition"].drop_nulls().len() == 10
    assert intake.raw["sheet_row"].to_list() == [3 * k + 2 for k in range(20)]
