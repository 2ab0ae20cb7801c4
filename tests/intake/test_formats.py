"""One survey in every format gives one result."""

from datetime import date, datetime
from pathlib import Path

import pandas as pd
import polars as pl
import pytest
import xlwt
from intake_helpers import LoadProfile, ReadFiles, WriteBook

HEADINGS = ["property_id", "building_part", "survey_id", "survey_date", "roof_covering",
            "ceiling_insulation_mm", "foam_present", "survey_method"]  # fmt: skip
ROWS = [
    ["H1", "main", "V1", date(2024, 1, 15), "Welsh slate", 270, "no", "internal"],
    ["0042", "ext1", "V2", date(2024, 2, 29), "Plain", '4"', None, "Drone"],
]
# What a reader of the sheet would write down: 4 inches are 101.6 mm (1 in = 25.4 mm exactly).
EXPECTED = [
    ("H1", "main", "V1", date(2024, 1, 15), "slate_natural", 270.0, "no", "internal"),
    ("0042", "ext1", "V2", date(2024, 2, 29), "tile_plain", 101.6, None, "external_close"),
]
WORKBOOKS = Path(__file__).parents[1] / "fixtures" / "workbooks"


def _texts(day: str = "%Y-%m-%d") -> list[list[str]]:
    return [
        [v.strftime(day) if isinstance(v, date) else "" if v is None else str(v) for v in row]
        for row in ROWS
    ]


def _delimited(path: Path, mark: str, encoding: str) -> Path:
    quoted = [[f'"{c.replace(chr(34), chr(34) * 2)}"' for c in row] for row in _texts()]
    lines = [mark.join(row) for row in ([HEADINGS, *quoted])]
    path.write_bytes("\r\n".join(lines).encode(encoding))
    return path


def _xls(path: Path) -> Path:
    book = xlwt.Workbook()
    sheet = book.add_sheet("Roofs")
    day = xlwt.easyxf(num_format_str="DD/MM/YYYY")
    for number, row in enumerate([HEADINGS, *ROWS]):
        for column, value in enumerate(row):
            if isinstance(value, date):
                sheet.write(number, column, value, day)
            elif value is not None:
                sheet.write(number, column, value)
    book.save(str(path))
    return path


def _ods(path: Path) -> Path:
    rows = [
        [datetime(v.year, v.month, v.day) if isinstance(v, date) else v for v in r] for r in ROWS
    ]
    pd.DataFrame(rows, columns=HEADINGS).to_excel(path, index=False, engine="odf")
    return path


def _parquet(path: Path) -> Path:
    columns = {name: [row[k] for row in ROWS] for k, name in enumerate(HEADINGS)}
    columns["ceiling_insulation_mm"] = ["270", '4"']
    pl.DataFrame(columns).write_parquet(path)
    return path


def _file(kind: str, folder: Path, write_book: WriteBook) -> Path:
    if kind == "xlsx":
        return write_book([HEADINGS, *ROWS])
    if kind == "xlsb":
        return WORKBOOKS / "survey.xlsb"
    writers = {"xls": _xls, "ods": _ods, "parquet": _parquet}
    if kind in writers:
        return writers[kind](folder / f"survey.{kind}")
    mark, encoding = kind.split(" ")[1:]
    return _delimited(folder / "survey.csv", {"tab": "\t"}.get(mark, mark), encoding)


@pytest.mark.parametrize(
    "kind",
    ["xlsx", "xls", "xlsb", "ods", "parquet", "csv , utf-8", "csv ; cp1252", "csv tab utf-16",
     "csv | utf-8-sig", "csv , utf-16-le"],
)  # fmt: skip
def test_every_format_gives_the_same_rows(
    kind: str, tmp_path: Path, write_book: WriteBook, read_files: ReadFiles
) -> None:
    intake = read_files(_file(kind, tmp_path, write_book))
    assert intake.clean.select(HEADINGS).rows() == EXPECTED
    first = 1 if kind == "parquet" else 2  # a table has no heading line to count
    assert intake.raw["sheet_row"].to_list() == [first, first + 1]
    assert intake.counts == {"read": 2, "accepted": 2, "rejected": 0, "superseded": 0}


def test_signs_of_cp1252_survive(tmp_path: Path, read_files: ReadFiles) -> None:
    path = tmp_path / "survey.csv"
    text = "property_id;building_part;surveyor_id\nH1;main;Müller £½\n"
    path.write_bytes(text.encode("cp1252"))
    intake = read_files(path)
    assert intake.clean["surveyor_id"].to_list() == ["Müller £½"]
    assert intake.problems["kind"].to_list() == ["encoding_guessed"]


def test_decimal_commas_of_a_semicolon_file(
    tmp_path: Path, make_profile: LoadProfile, read_files: ReadFiles
) -> None:
    path = tmp_path / "survey.csv"
    text = "Ref;Part;Pitch;Temp\nH1;main;22,5;19,5\nH2;main;1.250;20\nH3;main;12.5;20\n"
    path.write_text(text, encoding="utf-8")
    profile = make_profile(
        '[reading]\ndecimal = ","\n[columns]\n"Ref" = "property_id"\n"Part" = "building_part"\n'
        'Pitch = "roof_pitch_deg"\nTemp = { field = "temp_mean_c", unit = "C" }\n'
    )
    intake = read_files(path, profile=profile)
    # 1.250 is 1,250 in such a file, beyond any pitch; 12.5 is no number there.
    assert intake.clean["roof_pitch_deg"].to_list() == [22.5, None, None]
    assert intake.clean["temp_mean_c"].to_list() == [19.5, 20.0, 20.0]
    kinds = intake.problems.select("row", "kind").rows()
    assert kinds == [(3, "out_of_range"), (4, "not_a_number")]


def test_records_over_several_lines_and_blank_lines_keep_their_numbers(
    tmp_path: Path, read_files: ReadFiles
) -> None:
    path = tmp_path / "survey.csv"
    path.write_text(
        'title\n\nproperty_id,building_part\n"H\n1",main\n\nH2,main\n', encoding="utf-8"
    )
    intake = read_files(path)
    assert intake.raw["sheet_row"].to_list() == [4, 6]
    assert intake.clean["property_id"].to_list() == ["H 1", "H2"]


def test_rows_and_columns_are_named_as_the_file_shows_them(
    write_book: WriteBook, read_files: ReadFiles
) -> None:
    rows: list[list[object]] = [[], [], [None, None, "Survey"], []]
    rows += [[None, None, "property_id", "building_part", "year_built"], []]
    rows += [[None, None, "H1", "main", "soon"]]
    intake = read_files(write_book(rows))
    problem = intake.problems.row(0, named=True)
    assert (problem["sheet"], problem["row"], problem["column"]) == ("Roofs", 7, "E")
    assert intake.columns["column"].to_list() == ["C", "D", "E"]
    assert intake.columns["position"].to_list() == [3, 4, 5]


def test_protected_zeros_of_an_export(tmp_path: Path, read_files: ReadFiles) -> None:
    path = tmp_path / "survey.csv"
    path.write_text('property_id,building_part\n"=""0042""",main\n', encoding="utf-8")
    assert read_files(path).clean["property_id"].to_list() == ["0042"]
