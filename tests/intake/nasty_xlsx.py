"""Nasty xlsx fixtures: what surveyors do to a sheet."""

from collections.abc import Callable
from datetime import date, datetime
from pathlib import Path
from typing import Any

import xlsxwriter

HEAD = ["property_id", "building_part"]
FILES: dict[str, Callable[[Path], None]] = {}
Make = Callable[[xlsxwriter.Workbook], None]


def xlsx(name: str, **options: Any) -> Callable[[Make], Make]:
    """Register what fills a workbook as a fixture of that name."""

    def register(make: Make) -> Make:
        def write(path: Path) -> None:
            with xlsxwriter.Workbook(str(path), options) as book:
                book.set_properties({"created": datetime(2026, 1, 1)})  # the same bytes each time
                make(book)

        FILES[name] = write
        return make

    return register


def fill(book: xlsxwriter.Workbook, rows: list[list[Any]], sheet: str = "Roofs") -> Any:
    """Write rows; dates as dd/mm/yyyy."""
    page = book.add_worksheet(sheet)
    day = book.add_format({"num_format": "dd/mm/yyyy"})
    for number, row in enumerate(rows):
        for column, value in enumerate(row):
            if isinstance(value, date):
                page.write_datetime(number, column, value, day)
            elif isinstance(value, str):
                page.write_string(number, column, value)
            elif value is not None:
                page.write(number, column, value)
    return page


@xlsx("title_block.xlsx")
def _title_block(book: xlsxwriter.Workbook) -> None:
    rows: list[list[Any]] = [
        ["Roof survey, northern estates"],
        ["Surveyor:", "AB", None, "Date:", date(2026, 3, 2)],
        ["property_id of each home stands in the first column"],
        [],
        [*HEAD, "survey_date", "gutter_condition", "storeys"],
        ["H1", "main", date(2026, 3, 2), "good", 2],
        ["H2", "main", date(2026, 3, 3), "poor", 3],
    ]
    page = fill(book, rows)
    page.merge_range("A1:E1", "Roof survey, northern estates")


@xlsx("two_line_headings.xlsx")
def _two_line_headings(book: xlsxwriter.Workbook) -> None:
    rows: list[list[Any]] = [
        ["Home", None, "Roof", None, "Loft", None],
        ["Ref", "Part", "Covering", "Gutters", "Ins mm", "MC"],
        ["H1", "main", "Welsh slate", "G", 270, 14],
        ["H2", "main", "Plain", "P", 100, 31],
    ]
    page = fill(book, rows)
    for span, text in (("A1:B1", "Home"), ("C1:D1", "Roof"), ("E1:F1", "Loft")):
        page.merge_range(span, text)


@xlsx("units_row.xlsx")
def _units_row(book: xlsxwriter.Workbook) -> None:
    fill(
        book,
        [
            ["Ref", "Part", "Loft ins", "Room temp"],
            [None, None, "inches", "°F"],
            ["H1", "main", 4, 68],
            ["H2", "main", 10, 50],
        ],
    )


@xlsx("units_row_against_heading.xlsx")
def _units_row_against_heading(book: xlsxwriter.Workbook) -> None:
    fill(
        book,
        [
            [*HEAD, "ceiling_insulation_mm", "storeys"],
            [None, None, "in", None],
            ["H1", "main", 4, 2],
            ["H2", "main", "100 mm", 1],
        ],
    )


@xlsx("sections.xlsx")
def _sections(book: xlsxwriter.Workbook) -> None:
    fill(
        book,
        [
            [*HEAD, "storeys"],
            ["Block A, Mill Street"],
            ["MS-001", "main", 2],
            ["MS-002", "main", 2],
            [],
            ["Block B, Mill Street"],
            ["MS-003", "main", 3],
            ["MS-004"],
            [None, "no access to the rest of the street"],
        ],
    )


@xlsx("totals.xlsx")
def _totals(book: xlsxwriter.Workbook) -> None:
    fill(
        book,
        [
            [*HEAD, "storeys", "floor_area_m2"],
            ["H1", "main", 2, 80],
            ["H2", "main", 1, 60],
            ["Sub-total", None, 3, 140],
            ["H3", "main", 2, 75],
            ["Average", None, 1.67, 71.7],
            ["Total: 3 homes", "main", 5, 215],
        ],
    )


@xlsx("hidden.xlsx")
def _hidden(book: xlsxwriter.Workbook) -> None:
    page = fill(book, [[*HEAD, "storeys"], ["H1", "main", 1], ["H2", "main", 2], ["H3", "main", 3]])
    page.set_row(2, None, None, {"hidden": True})
    page.set_column("C:C", None, None, {"hidden": True})
    fill(book, [HEAD, ["H4", "main"]], "Week 2").hide()
    fill(book, [HEAD, ["H5", "main"]], "Week 3").very_hidden()


@xlsx("tables_below.xlsx")
def _tables_below(book: xlsxwriter.Workbook) -> None:
    fill(
        book,
        [
            ["Roofs"],
            [*HEAD, "roof_covering", "gutter_condition"],
            ["H1", "main", "Welsh slate", "good"],
            ["H2", "main", "Plain", "poor"],
            [],
            ["Walls"],
            [*HEAD, "pointing_condition"],
            ["H1", "main", "good"],
            ["H2", "main", "poor"],
        ],
    )


@xlsx("tables_below_wider.xlsx")
def _tables_below_wider(book: xlsxwriter.Workbook) -> None:
    fill(
        book,
        [
            [*HEAD, "pointing_condition"],
            ["H1", "main", "good"],
            ["H2", "main", "poor"],
            [],
            [*HEAD, "roof_covering", "gutter_condition", "storeys"],
            ["H1", "main", "Welsh slate", "good", 2],
            ["H3", "main", "Plain", "poor", 2],
        ],
    )


@xlsx("tables_beside.xlsx")
def _tables_beside(book: xlsxwriter.Workbook) -> None:
    fill(
        book,
        [
            [*HEAD, "storeys", None, *HEAD, "gutter_condition"],
            ["H1", "main", 2, None, "H1", "main", "good"],
            ["H2", "main", 3, None, "H3", "main", "poor"],
            [None, None, None, None, "H4", "main", "fair"],
        ],
    )


def _week(surveyor: str, rows: list[list[Any]]) -> Make:
    def make(book: xlsxwriter.Workbook) -> None:
        head = [*HEAD, "survey_id", "survey_date", "surveyor_id", "gutter_condition"]
        fill(book, [head, *([*row[:4], surveyor, *row[4:]] for row in rows)])

    return make


xlsx("week_10_ab.xlsx")(
    _week(
        "AB",
        [
            ["H1", "main", "V1", date(2026, 3, 2), "good"],
            ["H2", "main", "V2", date(2026, 3, 3), "poor"],
        ],
    )
)
xlsx("week_11_ab.xlsx")(
    _week(
        "AB",
        [
            ["H2", "main", "V2", date(2026, 3, 3), "poor"],  # carried over from the week before
            ["H3", "main", "V3", date(2026, 3, 9), "fair"],
        ],
    )
)
xlsx("week_11_cd.xlsx")(_week("CD", [["H1", "main", "V9", date(2026, 3, 10), "poor"]]))


@xlsx("unit_told_half_way.xlsx")
def _unit_told_half_way(book: xlsxwriter.Workbook) -> None:
    fill(
        book,
        [
            [*HEAD, "ceiling_insulation_mm"],
            ["H1", "main", 100],
            ["H2", "main", 270],
            ["H3", "main", "now in inches"],
            ["H4", "main", 4],
            ["H5", "main", '10"'],
        ],
    )


@xlsx("unit_changes_unsaid.xlsx")
def _unit_changes_unsaid(book: xlsxwriter.Workbook) -> None:
    readings = [270, 100, 150, 200, 250, 300, 4, 10, 6, 8, 4, 12]
    rows = [[f"H{k}", "main", value] for k, value in enumerate(readings, start=1)]
    fill(book, [[*HEAD, "ceiling_insulation_mm"], *rows])


@xlsx("numbers_as_text.xlsx")
def _numbers_as_text(book: xlsxwriter.Workbook) -> None:
    texts = ["270", " 270 ", "270mm", "27 cm", '4"', "1,200", "about 100", "100-150", "n/a", "O"]
    rows = [[f"H{k}", "main", text] for k, text in enumerate(texts, start=1)]
    fill(book, [[*HEAD, "ceiling_insulation_mm"], *rows])


def _serials(book: xlsxwriter.Workbook, first: int) -> None:
    page = fill(
        book,
        [
            [*HEAD, "survey_date"],
            ["H1", "main", first],
            ["H2", "main", datetime(2026, 3, 3)],
            ["H3", "main", "2026-03-04"],
            ["H4", "main", "31/02/2026"],
            ["H5", "main"],
        ],
    )
    page.write_number("C6", first + 3, book.add_format({"num_format": "d mmm yy"}))


# 2 March 2026 is day 46,083 counted from 1900 and 1,462 days less counted from 1904.
xlsx("dates_from_1900.xlsx")(lambda book: _serials(book, 46_083))
xlsx("dates_from_1904.xlsx", date_1904=True)(lambda book: _serials(book, 44_621))


@xlsx("error_cells.xlsx")
def _error_cells(book: xlsxwriter.Workbook) -> None:
    page = fill(
        book, [[*HEAD, "storeys", "gutter_condition", "survey_date"], *([[None, "main"]] * 4)]
    )
    for row, reference in enumerate(("H1", "H2", "H3", None), start=1):
        if reference:
            page.write(row, 0, reference)
    page.write_formula("A5", "=VLOOKUP(1,Z:Z,1,0)", None, "#N/A")
    page.write_formula("C2", "=1/0", None, "#DIV/0!")
    page.write_formula("D3", "=Z99", None, "#REF!")
    page.write_formula("E4", '=DATEVALUE("x")', None, "#VALUE!")
    page.write("C3", 2)
    page.write("D4", "good")
    page.write("C5", 1)


@xlsx("damaged_references.xlsx")
def _damaged_references(book: xlsxwriter.Workbook) -> None:
    page = fill(
        book,
        [
            [*HEAD, "storeys"],
            ["1.23457E+11", "main", 1],
            [123456789012, "main", 2],
            [None, "main", 3],
            ["12345678901234567890", "main", 4],
            ["3E5", "main", 5],
        ],
    )
    page.write_number("A4", 12345678901234567890)


@xlsx("lost_zeros.xlsx")
def _lost_zeros(book: xlsxwriter.Workbook) -> None:
    page = fill(
        book,
        [
            [*HEAD, "storeys"],
            ["00042", "main", 2],
            [42, "main", 2],
            [None, "ext1", 1],
            ["00017", "main", 2],
        ],
    )
    page.write_number("A4", 42, book.add_format({"num_format": "00000"}))


@xlsx("spaces.xlsx")
def _spaces(book: xlsxwriter.Workbook) -> None:
    fill(
        book,
        [
            ["property_id ", "\u00a0building_part", " gutter_condition\n", "survey_id"],
            ["H1 ", "main\u00a0", " good", "V\u200b1"],
            ["\u00a0H2", "\tmain", "poor\u2009", "V2\n"],
            ["H1", " main ", "good ", "V1"],
            [" ", "\u00a0", "", "\u200b"],
        ],
    )


@xlsx("cases.xlsx")
def _cases(book: xlsxwriter.Workbook) -> None:
    fill(
        book,
        [
            ["PROPERTY_ID", "Building Part", "Roof_Covering", "GUTTER CONDITION"],
            ["H1", "MAIN", "SLATE_NATURAL", "g"],
            ["h2", "Main", "slate_Natural", "Poor"],
            ["H2", "ext1", "welsh slate", "FAIR"],
        ],
    )


@xlsx("swapped_answers.xlsx")
def _swapped_answers(book: xlsxwriter.Workbook) -> None:
    fill(
        book,
        [
            [*HEAD, "roof_covering", "gutter_condition", "storeys"],
            ["H1", "main", "Welsh slate", "good", 2],
            ["H2", "main", "poor", "Welsh slate", 2],
            ["H3", "main", "Plain", 2, "good"],
        ],
    )
