"""Answers of code lists, unknown answers and marks of evidence (sections 3.1, 3.2 and 3.5)."""

import pytest
from intake_helpers import LoadProfile, ReadFiles, WriteBook

BASE = ["property_id", "building_part"]


def _one(
    field: str, text: str, write_book: WriteBook, read_files: ReadFiles, **more: object
) -> tuple[object, list[str], list[str], list[str]]:
    """Value, kinds of unknown, grades and kinds of problem of one cell."""
    intake = read_files(write_book([[*BASE, field], ["H1", "main", text]]), **more)
    found = [
        frame.filter(field=field)[column].to_list()
        for frame, column in (
            (intake.unknowns, "kind"),
            (intake.marks, "grade"),
            (intake.problems, "kind"),
        )
    ]
    value = intake.clean[field].to_list()[0]
    return value, found[0], found[1], found[2]


@pytest.mark.parametrize(
    ("field", "text", "value", "unknown", "grade", "problem"),
    [
        ("roof_covering", "Welsh slate", "slate_natural", [], [], []),
        ("roof_covering", "  WELSH  Slate. ", "slate_natural", [], [], []),
        ("roof_covering_condition", "N/I", None, ["not_seen"], [], []),
        ("roof_covering_condition", "??", None, ["illegible"], [], []),
        ("roof_covering_condition", "no access", None, ["no_access"], [], []),
        ("roof_covering_condition", "refused", None, ["refused"], [], []),
        ("roof_covering_condition", "-", None, ["blank"], [], []),
        ("roof_covering_condition", "tip top", None, ["unmapped"], [], ["unmapped"]),
        ("foam_type", "OC/CC", None, ["conflicting"], [], ["conflicting"]),
        ("foam_type", "OC / soft", "open_cell", [], [], []),
        ("foam_type", "OC (assumed)", "open_cell", [], ["assumed"], []),
        ("foam_type", "OC per tenant", "open_cell", [], ["reported"], []),
        ("foam_present", "N/A", None, ["blank"], [], []),
        ("pointing_condition", "N/A", None, ["blank"], [], []),
        ("pointing_condition", "not applicable", "not_applicable", [], [], []),
        ("foam_defects", "Cracked; Hanging", ["crack", "delaminated"], [], [], []),
        ("foam_defects", "Hanging + Cracked", ["crack", "delaminated"], [], [], []),
        ("foam_defects", "Cracked & wobbly", ["crack"], [], [], ["unmapped"]),
        ("foam_defects", "None", ["none_seen"], [], [], []),
        ("foam_defects", "None, wobbly", None, ["unmapped"], [], ["unmapped"]),
        ("foam_defects", "None; Cracked", None, ["conflicting"], [], ["conflicting"]),
        ("foam_defects", "not vis", None, ["not_seen"], [], []),
        ("ceiling_insulation_mm", "100 (assumed)", 100.0, [], ["assumed"], []),
        ("ceiling_insulation_mm", "nil", 0.0, [], [], []),
        ("ceiling_insulation_mm", "NS", None, ["not_seen"], [], []),
        ("ceiling_insulation_mm", "lots", None, ["illegible"], [], ["not_a_number"]),
        ("measure_code", "Loft topup", "loft_topup", [], [], []),
        ("measure_code", "loft_topup, cavity_fill", "cavity_fill;loft_topup", [], [], []),
        ("measure_code", "loft_topup; hot tub", "loft_topup", [], [], ["unknown_measure"]),
        ("measure_code", "hot tub", None, ["unmapped"], [], ["unknown_measure"]),
    ],
)
def test_a_cell_is_a_code_an_unknown_or_a_problem(
    *,
    field: str,
    text: str,
    value: object,
    unknown: list[str],
    grade: list[str],
    problem: list[str],
    write_book: WriteBook,
    read_files: ReadFiles,
) -> None:
    assert _one(field, text, write_book, read_files) == (value, unknown, grade, problem)


def test_own_words_zero_blank_and_not_applicable_come_from_the_profile(
    write_book: WriteBook, make_profile: LoadProfile, read_files: ReadFiles
) -> None:
    profile = make_profile(
        '[blank]\nbuilding_part = "=main"\nroof_covering = "not_seen"\n'
        '[zero]\nceiling_insulation_mm = "not_seen"\n'
        '[not_applicable]\nfields = ["pointing_condition"]\n'
        '[columns]\nRef = "property_id"\nRoof = "roof_covering_condition"\n'
        'Cover = "roof_covering"\nLoft = { field = "ceiling_insulation_mm", unit = "in" }\n'
        'Pointing = "pointing_condition"\nFoam = { field = "foam_type", grade = "reported" }\n'
        '[constants]\ncountry_code = "IE"\n[evidence]\ngrade = "photographed"\n'
        '[spellings.roof_covering_condition]\n"tip top" = "good"\n'
    )
    path = write_book(
        [
            ["Ref", "Roof", "Cover", "Loft", "Pointing", "Foam"],
            ["H1", "tip top", None, 0, "N/A", "OC"],
            ["H2", "G", "Plain", 4, "P", None],
        ]
    )
    intake = read_files(path, profile=profile)
    clean = intake.clean
    assert clean["building_part"].to_list() == ["main", "main"]
    assert clean["country_code"].to_list() == ["IE", "IE"]
    assert clean["roof_covering_condition"].to_list() == ["good", "good"]
    assert clean["ceiling_insulation_mm"].to_list() == [None, pytest.approx(101.6)]
    assert clean["pointing_condition"].to_list() == ["not_applicable", "poor"]
    assert intake.unknowns.select("row_id", "field", "kind").rows() == [
        (0, "ceiling_insulation_mm", "not_seen"),
        (0, "roof_covering", "not_seen"),
    ]
    assert intake.marks.rows() == [(0, "foam_type", "reported")]
    # Nobody says how the survey was made, so its cells count as documents at best.
    assert intake.grades["base_grade"].to_list() == ["documented", "documented"]


def test_the_grade_of_a_row_is_that_of_the_profile_where_somebody_was_there(
    write_book: WriteBook, read_files: ReadFiles
) -> None:
    rows = [[*BASE, "survey_method"], ["H1", "main", "internal"], ["H2", "main", "Desktop"]]
    intake = read_files(write_book([*rows, ["H3", "main", None]]))
    assert intake.grades["base_grade"].to_list() == ["observed", "documented", "documented"]
