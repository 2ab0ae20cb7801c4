"""Headings: found, mapped, and refused with the nearest known ones."""

import pytest
from intake_helpers import LoadProfile, ReadFiles, WriteBook

from triage.errors import HeadingError, ManyErrors, ProfileError, TriageError

KEYS = '[columns]\nRef = "property_id"\nPart = "building_part"\n'


def _errors(read_files: ReadFiles, *args: object, **more: object) -> list[TriageError]:
    with pytest.raises(TriageError) as caught:
        read_files(*args, **more)
    found = caught.value
    return found.errors if isinstance(found, ManyErrors) else [found]


def test_an_unknown_heading_names_the_nearest_known_ones(
    write_book: WriteBook, make_profile: LoadProfile, read_files: ReadFiles
) -> None:
    profile = make_profile(KEYS + '"Gutter cond" = "gutter_condition"\n')
    path = write_book([["Ref", "Part", "Guter cond."], ["H1", "main", "G"]])
    (error,) = _errors(read_files, path, profile=profile)
    assert isinstance(error, HeadingError)
    assert (error.where.file, error.where.sheet) == ("survey.xlsx", "Roofs")
    assert (error.where.row, error.where.column) == (1, "C")
    assert "'Gutter cond' (gutter_condition)" in error.fix
    assert "[ignore]" in error.fix


def test_without_a_profile_field_names_are_the_headings(
    write_book: WriteBook, read_files: ReadFiles
) -> None:
    path = write_book([["property_id", "Building part", "gutter_conditon"], ["H1", "main", "G"]])
    (error,) = _errors(read_files, path)
    assert "gutter_condition" in error.fix


def test_an_ignored_heading_is_read_over(
    write_book: WriteBook, make_profile: LoadProfile, read_files: ReadFiles
) -> None:
    profile = make_profile(KEYS + '[ignore]\nheadings = ["Notes"]\n')
    path = write_book([["Ref", "Part", "NOTES", "notes"], ["H1", "main", "a", "b"]])
    intake = read_files(path, profile=profile)
    assert intake.columns["status"].to_list() == ["mapped", "mapped", "ignored", "ignored"]
    assert intake.raw["cells"].to_list() == [["H1", "main", "a", "b"]]  # the raw text stays


@pytest.mark.parametrize("second", ["storeys", "Storeys ", "STOREYS"])
def test_duplicate_headings(second: str, write_book: WriteBook, read_files: ReadFiles) -> None:
    path = write_book([["property_id", "building_part", "storeys", second], ["H1", "main", 1, 2]])
    (error,) = _errors(read_files, path)
    assert "twice" in error.what
    assert error.where.column == "D"


def test_two_headings_for_one_field_are_refused_in_the_profile(make_profile: LoadProfile) -> None:
    with pytest.raises(HeadingError, match="both claim"):
        make_profile(KEYS + 'A = "storeys"\nB = "storeys"\n')


def test_a_column_with_cells_but_no_heading_is_an_error_and_an_empty_one_is_dropped(
    write_book: WriteBook, read_files: ReadFiles
) -> None:
    head = ["property_id", None, "building_part"]
    intake = read_files(write_book([head, ["H1", "  ", "main"]]))
    assert intake.columns["status"].to_list() == ["mapped", "empty", "mapped"]
    (error,) = _errors(read_files, write_book([head, ["H1", "lost", "main"]]))
    assert "no heading" in error.what
    assert error.where.column == "B"


def test_all_errors_of_all_files_come_in_one_go(
    write_book: WriteBook, read_files: ReadFiles
) -> None:
    first = write_book(
        [["property_id", "building_part", "Zx", "Qy"], ["H1", "main", 1, 1]], "a.xlsx"
    )
    second = write_book([["property_id", "Wv"], ["H1", 1]], "b.xlsx")
    errors = _errors(read_files, first, second)
    places = [(error.where.file, error.where.column) for error in errors]
    assert places == [("a.xlsx", "C"), ("a.xlsx", "D"), ("b.xlsx", "B"), ("b.xlsx", None)]


def test_title_block_and_two_heading_lines_with_merged_cells(
    write_book: WriteBook, make_profile: LoadProfile, read_files: ReadFiles
) -> None:
    profile = make_profile(
        "[layout]\nheader_row = 4\nheader_lines = 2\n[columns]\n"
        'Ref = "property_id"\nPart = "building_part"\n"Roof / cover" = "roof_covering"\n'
        '"Roof / state" = "roof_covering_condition"\n"Gutter / state" = "gutter_condition"\n'
    )
    rows = [["Roof survey 2025"], ["By north team"], []]
    rows += [["Ref", "Part", "Roof", None, "Gutter"], [None, None, "cover", "state", "state"]]
    rows += [["H1", "main", "Plain", "G", "Blkd"]]
    intake = read_files(write_book(rows), profile=profile)
    fields = ["roof_covering", "roof_covering_condition", "gutter_condition"]
    assert intake.clean.select(fields).rows() == [("tile_plain", "good", "blocked")]
    assert intake.raw["sheet_row"].to_list() == [6]


def test_a_units_row_is_no_survey_row_and_gives_the_units(
    write_book: WriteBook, make_profile: LoadProfile, read_files: ReadFiles
) -> None:
    profile = make_profile(
        "[layout]\nunits_row = true\n" + KEYS + 'Loft = "ceiling_insulation_mm"\n'
    )
    rows = [["Ref", "Part", "Loft"], [None, None, "inches"], ["H1", "main", 4]]
    intake = read_files(write_book(rows), profile=profile)
    assert intake.clean["ceiling_insulation_mm"].to_list() == [pytest.approx(101.6)]
    assert intake.counts["read"] == 1


def test_headings_that_moved_are_found_and_said(
    write_book: WriteBook, make_profile: LoadProfile, read_files: ReadFiles
) -> None:
    path = write_book([["A note"], [], ["Ref", "Part"], ["H1", "main"]])
    (error,) = _errors(read_files, path, profile=make_profile(KEYS))
    assert "row 3" in error.what
    assert "row 1" in error.what


def test_a_unit_that_the_quantity_does_not_have(
    write_book: WriteBook, make_profile: LoadProfile, read_files: ReadFiles
) -> None:
    profile = make_profile(KEYS + 'Loft = { field = "ceiling_insulation_mm", unit = "furlong" }\n')
    path = write_book([["Ref", "Part", "Loft"], ["H1", "main", 1]])
    (error,) = _errors(read_files, path, profile=profile)
    assert isinstance(error, ProfileError)
    assert "furlong" in error.what


def test_a_column_of_resistances_needs_its_material(
    write_book: WriteBook, make_profile: LoadProfile, read_files: ReadFiles
) -> None:
    columns = KEYS + 'Loft = { field = "ceiling_insulation_mm", unit = "R" }\n'
    path = write_book([["Ref", "Part", "Loft"], ["H1", "main", 19]])
    (error,) = _errors(read_files, path, profile=make_profile(columns))
    assert "[thermal_r]" in error.fix
    profile = make_profile(columns + "[thermal_r]\nceiling_insulation_mm = 0.044\n")
    # 19 x 0.1761102 m2K/W x 0.044 W/mK = 0.147228 m
    clean = read_files(path, profile=profile).clean
    assert clean["ceiling_insulation_mm"].to_list() == [pytest.approx(147.228, rel=1e-5)]


def test_the_home_and_the_part_need_a_heading(
    write_book: WriteBook, make_profile: LoadProfile, read_files: ReadFiles
) -> None:
    profile = make_profile('[columns]\nStoreys = "storeys"\n')
    errors = _errors(read_files, write_book([["Storeys"], [2]]), profile=profile)
    assert [error.what for error in errors] == [
        "no heading fills property_id",
        "no heading fills building_part",
    ]


def test_other_sheets_are_left_out_and_said(write_book: WriteBook, read_files: ReadFiles) -> None:
    import openpyxl

    path = write_book([["property_id", "building_part"], ["H1", "main"]])
    book = openpyxl.load_workbook(path)
    book.create_sheet("Notes")["A1"] = "please fill in"
    book.save(path)
    intake = read_files(path)
    assert intake.counts["read"] == 1
    assert intake.problems.select("kind", "sheet").rows() == [("sheet_not_read", "Notes")]
