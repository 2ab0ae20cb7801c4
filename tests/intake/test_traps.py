"""What spreadsheet programs do to cells, each found and said (section 3.3, last paragraph)."""

from datetime import date, datetime
from pathlib import Path

import pytest
import xlsxwriter
from intake_helpers import LoadProfile, ReadFiles, WriteBook

HEAD = ["property_id", "building_part"]


@pytest.mark.parametrize(
    ("field", "text"),
    [
        ("foam_thickness_mm", "#DIV/0!"),
        ("survey_date", "#VALUE!"),
        ("roof_covering", "#REF!"),
        ("surveyor_id", "#NAME?"),
    ],
)
def test_error_cells_are_problems_and_never_silently_blank(
    field: str, text: str, tmp_path: Path, read_files: ReadFiles
) -> None:
    path = tmp_path / "survey.xlsx"
    with xlsxwriter.Workbook(str(path)) as book:
        sheet = book.add_worksheet("Roofs")
        sheet.write_row(0, 0, [*HEAD, field])
        sheet.write_row(1, 0, ["H1", "main"])
        sheet.write_formula(1, 2, "=1/0", None, text)
    intake = read_files(path)
    problem = intake.problems.row(0, named=True)
    assert intake.clean[field].to_list() == [None]
    assert (problem["kind"], problem["raw"], problem["row"], problem["column"]) == (
        "error_cell", text, 2, "C",
    )  # fmt: skip
    assert intake.raw["cells"].to_list() == [["H1", "main", text]]


def test_a_percent_format_is_read_as_the_sheet_shows_it(
    tmp_path: Path, read_files: ReadFiles
) -> None:
    path = tmp_path / "survey.xlsx"
    with xlsxwriter.Workbook(str(path)) as book:
        sheet = book.add_worksheet("Roofs")
        shown = book.add_format({"num_format": "0%"})
        sheet.write_row(0, 0, [*HEAD, "foam_coverage_pct"])
        for row, value in enumerate((0.8, 0.07, 1), start=1):
            sheet.write_row(row, 0, [f"H{row}", "main"])
            sheet.write_number(row, 2, value, shown)
    intake = read_files(path)
    assert intake.clean["foam_coverage_pct"].to_list() == [80.0, 7.0, 100.0]


def test_fractions_without_a_percent_format_are_refused_with_the_ones_beside_them(
    write_book: WriteBook, read_files: ReadFiles
) -> None:
    rows = [
        [*HEAD, "foam_coverage_pct"],
        ["H1", "main", 0.8],
        ["H2", "main", 1],
        ["H3", "main", 40],
    ]
    intake = read_files(write_book(rows))
    assert intake.clean["foam_coverage_pct"].to_list() == [None, None, 40.0]
    assert intake.problems["kind"].to_list() == ["fraction_or_percent"] * 2


def test_hidden_rows_columns_and_sheets_merged_cells_and_comments_are_said(
    tmp_path: Path, read_files: ReadFiles
) -> None:
    path = tmp_path / "survey.xlsx"
    with xlsxwriter.Workbook(str(path)) as book:
        sheet = book.add_worksheet("Roofs")
        sheet.write_row(0, 0, [*HEAD, "storeys", "archetype_code"])
        sheet.write_row(1, 0, ["H1", "main", 2])
        sheet.write_row(2, 0, ["H2", "main", 3])
        sheet.merge_range("D2:D3", "T4")
        sheet.set_row(2, None, None, {"hidden": True})
        sheet.set_column("C:C", None, None, {"hidden": True})
        sheet.write_comment("A2", "really H9")
        extra = book.add_worksheet("More")
        extra.write_row(0, 0, HEAD)
        extra.write_row(1, 0, ["H3", "main"])
        extra.hide()
    intake = read_files(path)
    assert intake.clean["property_id"].to_list() == ["H1", "H2", "H3"]
    said = intake.problems.select("kind", "sheet", "row", "column").rows()
    assert sorted(said, key=str) == sorted(
        [
            ("hidden_row", "Roofs", 3, None),
            ("hidden_column", "Roofs", None, "C"),
            ("merged_cells", "Roofs", 2, "D"),
            ("comment_not_read", "Roofs", None, None),
            ("hidden_sheet", "More", None, None),
        ],
        key=str,
    )


def test_a_formula_that_was_never_calculated_is_said(tmp_path: Path, read_files: ReadFiles) -> None:
    openpyxl = pytest.importorskip("openpyxl")  # writes formulas without their values
    book = openpyxl.Workbook()
    book.active.append([*HEAD, "storeys"])
    book.active.append(["H1", "main", "=1+1"])
    book.save(tmp_path / "survey.xlsx")
    intake = read_files(tmp_path / "survey.xlsx")
    assert intake.problems.select("kind", "row", "column").rows() == [
        ("formula_without_value", 2, "C")
    ]


def test_an_ods_error_cell_is_found_though_the_reader_gives_nothing(
    tmp_path: Path, read_files: ReadFiles
) -> None:
    from odf.opendocument import OpenDocumentSpreadsheet
    from odf.table import Table, TableCell, TableRow
    from odf.text import P

    document, table = OpenDocumentSpreadsheet(), Table(name="Roofs")
    for texts in ([*HEAD, "storeys", "foam_coverage_pct"], ["H1", "main", "#DIV/0!", "80%"]):
        row = TableRow()
        for text in texts:
            kind = {"#DIV/0!": "string", "80%": "percentage"}.get(text, "string")
            cell = TableCell(valuetype=kind)
            if text == "#DIV/0!":
                cell = TableCell(valuetype="string", stringvalue="", formula="of:=1/0")
            elif text == "80%":
                cell = TableCell(valuetype="percentage", value="0.8")
            cell.addElement(P(text=text))
            row.addElement(cell)
        table.addElement(row)
    document.spreadsheet.addElement(table)
    document.save(str(tmp_path / "survey.ods"))
    intake = read_files(tmp_path / "survey.ods")
    assert intake.problems.select("kind", "row", "column").rows() == [("error_cell", 2, "C")]
    assert intake.clean["foam_coverage_pct"].to_list() == [80.0]


@pytest.mark.parametrize("field", ["archetype_code", "roof_covering_condition", "building_id"])
def test_a_short_text_that_became_a_date_is_refused(
    field: str, write_book: WriteBook, read_files: ReadFiles
) -> None:
    intake = read_files(write_book([[*HEAD, field], ["H1", "main", datetime(2026, 2, 1)]]))
    assert intake.clean[field].to_list() == [None]
    assert intake.problems["kind"].to_list() == ["turned_into_date"]


def test_a_pitch_that_became_a_date_is_no_number(
    write_book: WriteBook, read_files: ReadFiles
) -> None:
    rows = [[*HEAD, "roof_pitch_deg"], ["H1", "main", date(2026, 12, 6)]]
    intake = read_files(write_book(rows))
    assert intake.clean["roof_pitch_deg"].to_list() == [None]
    assert intake.problems["kind"].to_list() == ["not_a_number"]


def test_identifiers_keep_zeros_lose_apostrophes_and_are_refused_when_damaged(
    write_book: WriteBook, read_files: ReadFiles
) -> None:
    texts = ["0042", "'0043", " H 44 ", "1.00E+11", "TBC", "#N/A", None, 45]
    rows = [[*HEAD, "storeys"], *([text, "main", 2] for text in texts)]
    intake = read_files(write_book(rows))
    assert intake.clean["property_id"].to_list() == ["0042", "0043", "H 44", "45"]
    assert intake.counts == {"read": 8, "accepted": 4, "rejected": 4, "superseded": 0}
    assert intake.rows.filter(status="rejected")["reason"].unique().to_list() == [
        "no reference of the home; the row is not used"
    ]
    kinds = intake.problems.filter(kind="damaged_id").select("row", "raw").rows()
    assert kinds == [(5, "1.00E+11")]


@pytest.mark.parametrize(
    ("typed", "field", "country", "expected", "kinds"),
    [
        (2134, "postal_code", "US", "02134", ["zero_restored"]),
        ("2134-1234", "postal_code", "US", "02134-1234", ["zero_restored"]),
        (21341234, "postal_code", "US", "02134-1234", ["zero_restored"]),
        ("90210", "postal_code", "US", "90210", []),
        ("902101234", "postal_code", "US", "90210-1234", []),
        (6037, "admin_area_code", "US", "06037", ["zero_restored"]),
        ("48453", "admin_area_code", "US", "48453", []),
        (2134, "postal_code", "GB", "2134", []),
        ("ab12cd", "postal_code", "GB", "AB1 2CD", []),
        ("ab1  2cd ", "postal_code", "GB", "AB1 2CD", []),
        ("not issued yet", "postal_code", "GB", "NOT ISSUED YET", []),
        ("various", "postal_code", "GB", None, []),
    ],
)
def test_postal_and_county_codes(
    *, typed: object, field: str, country: str, expected: str | None, kinds: list[str],
    write_book: WriteBook, read_files: ReadFiles,
) -> None:  # fmt: skip
    path = write_book([[*HEAD, field], ["H1", "main", typed]])
    intake = read_files(path, country=country)
    assert intake.clean[field].to_list() == [expected]
    assert intake.problems["kind"].to_list() == kinds


def test_unformatted_serials_follow_the_day_count_of_the_workbook(
    tmp_path: Path, read_files: ReadFiles
) -> None:
    for is_1904, number in ((False, 44652), (True, 43190)):  # both are 1 April 2022
        path = tmp_path / f"survey{number}.xlsx"
        with xlsxwriter.Workbook(str(path), {"date_1904": is_1904}) as book:
            sheet = book.add_worksheet("Roofs")
            sheet.write_row(0, 0, [*HEAD, "survey_date"])
            sheet.write_row(1, 0, ["H1", "main", number])
        assert read_files(path).clean["survey_date"].to_list() == [date(2022, 4, 1)]


def test_a_column_without_a_unit_is_refused_once_and_every_cell_accounted_for(
    write_book: WriteBook, make_profile: LoadProfile, read_files: ReadFiles
) -> None:
    profile = make_profile(
        '[columns]\nRef = "property_id"\nPart = "building_part"\nLoft = "ceiling_insulation_mm"\n'
    )
    rows = [
        ["Ref", "Part", "Loft"],
        *([f"H{k}", "main", v] for k, v in enumerate((100, '4"', 0, 270))),
    ]
    intake = read_files(write_book(rows), profile=profile)
    assert intake.clean["ceiling_insulation_mm"].to_list() == [
        None,
        pytest.approx(101.6),
        0.0,
        None,
    ]
    assert intake.unknowns.select("row_id", "field").rows() == [
        (0, "ceiling_insulation_mm"), (3, "ceiling_insulation_mm"),
    ]  # fmt: skip
    problem = intake.problems.row(0, named=True)
    assert intake.problems.height == 1
    assert (problem["kind"], problem["row"], problem["column"]) == ("unit_missing", None, "C")
    assert "2" in problem["message"]
