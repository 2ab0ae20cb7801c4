import re
import subprocess
import zipfile
from datetime import date, datetime
from pathlib import Path

import openpyxl
import polars as pl
import pytest
from office import tool_at_hand
from openpyxl.utils.escape import unescape
from report_frames import HOSTILE, TITLES, context, gaps, problems, queue

from triage.report.labels import QUEUES
from triage.report.workbook import write_queue_workbook

HEADING = 3  # row of the headings, as the file shows it


def _write(path: Path, frame: pl.DataFrame, raw: list[str] | None = None, **options: int) -> None:
    found = problems(HOSTILE if raw is None else raw)
    write_queue_workbook(path, frame, gaps(), found, context(), **options)


def _table(book: openpyxl.Workbook, name: str) -> list[dict[str, object]]:
    rows = list(book[name].iter_rows(min_row=HEADING, values_only=True))
    return [dict(zip(rows[0], row, strict=True)) for row in rows[1:]]


def test_a_reader_finds_every_row_with_its_values(tmp_path: Path) -> None:
    frame = queue(200)
    _write(tmp_path / "q.xlsx", frame)
    book = openpyxl.load_workbook(tmp_path / "q.xlsx")
    assert book.sheetnames == ["Summary", *(look.queue for look in QUEUES), "Gaps", "Problems"]
    for look in QUEUES:
        rows = frame.filter(pl.col("queue") == look.queue).rows(named=True)
        shown = _table(book, look.queue)
        assert len(shown) == len(rows)
        for want, got in zip(rows, shown, strict=True):
            assert got["Home"] == want["property_id"]
            assert got["Measure"] == want["measure_name"]
            assert got["Main reason"] == want["reason"]
            assert got["Severity (1 to 5)"] == want["severity"]
            found_on = got["Survey date"]
            assert isinstance(found_on, datetime)
            assert found_on.date() == want["survey_on"]
            until = got["Evidence good until"]
            assert (until.date() if isinstance(until, datetime) else until) == want["expires_on"]


def test_lists_become_lines_with_the_words_of_rules_and_fields(tmp_path: Path) -> None:
    frame = queue(30).with_columns(
        queue=pl.lit("fix-water-first"),
        lane=pl.lit(None, pl.String),
        fired=pl.lit(["W09", "W02", "R12"]),
        main_rule=pl.lit("W02"),
        missing=pl.lit(["loft_rh", "not_in_the_gap_list"]),
    )
    _write(tmp_path / "q.xlsx", frame)
    row = _table(openpyxl.load_workbook(tmp_path / "q.xlsx"), "fix-water-first")[0]
    assert row["Other reasons"] == f"{TITLES['W09']} (W09)\n{TITLES['R12']} (R12)"
    assert row["Missing evidence"] == "humidity in the loft\nnot_in_the_gap_list"
    assert row["Notes"] is None


@pytest.mark.parametrize("raw", HOSTILE)
def test_hostile_text_is_inert_and_still_readable(tmp_path: Path, raw: str) -> None:
    _write(tmp_path / "q.xlsx", queue(2), [raw])
    with zipfile.ZipFile(tmp_path / "q.xlsx") as parts:
        sheets = [parts.read(name) for name in parts.namelist() if "sheet" in name]
    assert not any(b"<f>" in sheet or b"<f " in sheet for sheet in sheets)
    cell = openpyxl.load_workbook(tmp_path / "q.xlsx")["Problems"].cell(HEADING + 1, 3)
    text = unescape(str(cell.value))
    assert cell.data_type in {"s", "inlineStr"}
    assert not re.match(r"[=+\-@\t\r]", text)  # the list of the design, section "Outside"
    kept = raw.replace("\r", "\n")
    kept = re.sub(r"[\x00\x0b]", "\ufffd", kept)
    assert text in {kept, f"'{kept}"}


def test_the_name_of_a_programme_cannot_be_a_formula(tmp_path: Path) -> None:
    path = tmp_path / "q.xlsx"
    hostile = context(name="=1+1 & <b>", cautions=("=cmd()",), rule_titles={"R07": "@x"})
    write_queue_workbook(path, queue(5), gaps(), problems([]), hostile)
    cells = [c for row in openpyxl.load_workbook(path)["Summary"] for c in row if c.value]
    assert all(cell.data_type != "f" for cell in cells)
    assert "'=cmd()" in {cell.value for cell in cells}


def test_a_cell_holds_at_most_what_the_format_allows(tmp_path: Path) -> None:
    _write(tmp_path / "q.xlsx", queue(2), ["x" * 40_000])
    text = openpyxl.load_workbook(tmp_path / "q.xlsx")["Problems"].cell(HEADING + 1, 3).value
    assert len(str(text)) == 32_767  # published limit of a cell
    assert str(text).endswith("(cut)")


def test_summary_prints_the_counts_of_the_frame(tmp_path: Path) -> None:
    frame = queue(400)
    _write(tmp_path / "q.xlsx", frame)
    sheet = openpyxl.load_workbook(tmp_path / "q.xlsx")["Summary"]
    lines = {str(row[0]).strip(): row[1:] for row in sheet.iter_rows(values_only=True) if row[0]}
    for look in QUEUES:
        assert lines[look.title][0] == (frame["queue"] == look.queue).sum()
    safe = frame.filter(pl.col("queue") == "safe-to-insulate")
    assert lines["of these released"][0] == safe["released"].sum()
    assert lines["of these with checks outstanding"][0] == (~safe["released"]).sum()
    assert lines["Evidence gap"][0] == (frame["lane"] == "evidence_gap").sum()
    assert lines["Ceiling / loft"][0] == (frame["measure_group"] == "CEIL").sum()
    assert lines["Thorough survey"][0] == (frame["survey_quality"] == "thorough").sum()
    assert "R07   Too little outer insulation for the zone" in lines
    assert "Two climates were modelled; elsewhere is extrapolation." in lines
    rows = "10 read = 7 accepted + 2 rejected + 1 superseded"
    assert lines["Survey rows"][0] == rows


def test_sheets_are_set_up_for_a_laptop_and_for_paper(tmp_path: Path) -> None:
    _write(tmp_path / "q.xlsx", queue(50))
    book = openpyxl.load_workbook(tmp_path / "q.xlsx")
    for name in book.sheetnames[1:]:
        sheet = book[name]
        assert sheet.freeze_panes is not None
        assert sheet.auto_filter.ref is not None
        assert sheet.page_setup.orientation == "landscape"
        assert sheet.print_title_rows == "$3:$3"
    # 1366 pixels less row numbers and scroll bar; 7 pixels a character and 5 of padding.
    sheet = book["specialist-review"]
    first = [sheet.column_dimensions[letter].width for letter in "ABCDEFG"]
    assert sum(7 * width + 5 for width in first) < 1366
    assert [sheet.cell(HEADING, n).value for n in (5, 6, 7)] == [
        "Main reason",
        "Next action",
        "Missing evidence",
    ]


def test_a_long_queue_goes_on_in_a_second_sheet(tmp_path: Path) -> None:
    frame = queue(95).with_columns(queue=pl.lit("fix-water-first"))
    _write(tmp_path / "q.xlsx", frame, rows_per_sheet=40)
    book = openpyxl.load_workbook(tmp_path / "q.xlsx")
    names = ["fix-water-first", "fix-water-first (2)", "fix-water-first (3)"]
    tables = [_table(book, name) for name in names]
    assert [len(table) for table in tables] == [40, 40, 15]
    homes = [row["Home"] for table in tables for row in table]
    assert homes == frame["property_id"].to_list()


def test_an_empty_run_still_gives_every_sheet(tmp_path: Path) -> None:
    none = queue(0)
    write_queue_workbook(
        tmp_path / "q.xlsx", none, gaps().clear(), problems([]), context(cautions=())
    )
    book = openpyxl.load_workbook(tmp_path / "q.xlsx")
    assert all(_table(book, look.queue) == [] for look in QUEUES)
    assert book["Summary"]["A1"].value == "Moisture triage: Invented Coast Homes"


def test_two_writes_of_one_queue_hold_the_same_sheets(tmp_path: Path) -> None:
    contents = []
    for name in ("a.xlsx", "b.xlsx"):
        _write(tmp_path / name, queue(80))
        with zipfile.ZipFile(tmp_path / name) as parts:
            names = sorted(n for n in parts.namelist() if n.startswith("xl/worksheets"))
            contents.append([parts.read(n) for n in names])
    assert contents[0] == contents[1]


@pytest.mark.slow
def test_an_office_program_opens_it(tmp_path: Path) -> None:
    _write(tmp_path / "q.xlsx", queue(20).with_columns(survey_on=pl.lit(date(2025, 3, 9))))
    command = [
        tool_at_hand("soffice"),
        "--headless",
        f"-env:UserInstallation=file://{tmp_path}/profile",
    ]
    text_filter = "csv:Text - txt - csv (StarCalc):44,34,76,1,,0,false,true,false,false,false,-1"
    command += ["--convert-to", text_filter]
    command += ["--outdir", str(tmp_path), str(tmp_path / "q.xlsx")]
    subprocess.run(command, check=True, capture_output=True, timeout=180)
    text = (tmp_path / "q-Problems.csv").read_text(encoding="utf-8")
    assert "'+1+1" in text
    assert "2025-03-09" in (tmp_path / "q-fix-water-first.csv").read_text(encoding="utf-8")
