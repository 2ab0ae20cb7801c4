"""The visit list of each demonstration programme, filled in, moves the homes that it said it would.

The workbook is filled cell by cell with openpyxl, as a surveyor would, with the answer that the
count assumes for each question; then it is taken in and the programme is run again.
"""

import re
import shutil
from dataclasses import dataclass
from datetime import date
from pathlib import Path
from typing import Any

import openpyxl
import polars as pl
import pytest
from cli_helpers import triage
from golden_runs import DemoRun

ID = ["property_id", "building_part", "measure_code"]
HEAD, FIRST = 3, 4  # rows of the sheet


@dataclass(frozen=True)
class Asked:
    """What `triage gaps` said of a demonstration run, and the folder it wrote."""

    folder: Path
    told: Any


@pytest.fixture(scope="module")
def asked_once(
    demo_runs: dict[str, DemoRun], tmp_path_factory: pytest.TempPathFactory
) -> dict[str, Asked]:
    found = {}
    for name, run in demo_runs.items():
        lists = tmp_path_factory.mktemp(name) / "gaps"
        told = triage("gaps", run.folder, "--out", lists, "--json")
        assert told.code == 0, told.err
        found[name] = Asked(lists, told.json)
    return found


@pytest.fixture
def asked(demo: DemoRun, asked_once: dict[str, Asked], tmp_path: Path) -> Asked:
    """The lists in a folder of the test's own, to be filled in."""
    once = asked_once[demo.name]
    shutil.copytree(once.folder, tmp_path / "gaps")
    return Asked(tmp_path / "gaps", once.told)


@pytest.fixture
def again(demo: DemoRun, tmp_path: Path) -> Path:
    """The programme in a folder of its own, for records of its own."""
    shutil.copytree(demo.source, tmp_path / "programme")
    return tmp_path / "programme" / "programme.toml"


def _fill(lists: Path, on: date) -> int:
    """Answer every question of a visit list as the count assumes; how many."""
    told = pl.read_csv(lists / "questions.csv", infer_schema=False)
    assumed = dict(told.select("answer_id", "assumed").iter_rows())
    book = lists / "visit_list.xlsx"
    pages = openpyxl.load_workbook(book)
    page = pages["Visit list"]
    at = {cell.value: cell.column for cell in page[HEAD]}
    for row in range(FIRST, page.max_row + 1):
        enough = page.cell(row, at["(see it from)"]).value
        page.cell(row, at["value"]).value = assumed[page.cell(row, at["answer_id"]).value]
        page.cell(row, at["observed_on"]).value = on
        page.cell(row, at["surveyor_id"]).value = "N9"
        page.cell(row, at["survey_method"]).value = str(enough).split(":")[0]
    pages.save(book)
    return int(page.max_row) - HEAD


def test_the_filled_list_moves_exactly_the_homes_foretold(
    demo: DemoRun, asked: Asked, again: Path, tmp_path: Path
) -> None:
    lists, later = asked.folder, tmp_path / "later"
    assert _fill(lists, date(2026, 10, 31)) == asked.told["questions"] > 0
    taken = triage("record", lists / "visit_list.xlsx", "--programme", again, "--run", demo.folder)
    assert taken.code == 0, taken.out + taken.err
    assert triage("run", again, "--out", later).code == 1  # the demo holds rows to be rejected
    before = demo.queue.select(*ID, "queue", "lane")
    after = pl.read_parquet(later / "queue.parquet").select(*ID, "queue", "lane")
    foretold = pl.read_csv(lists / "outcomes.csv", infer_schema=False).select(
        *ID, pl.col("good_queue").alias("queue"), pl.col("good_lane").alias("lane")
    )
    waiting = foretold.select(ID)
    expected = pl.concat([before.join(waiting, on=ID, how="anti"), foretold]).sort(ID)
    assert after.sort(ID).rows() == expected.rows()
    moved = before.join(after, on=ID, suffix="_now").filter(pl.col("queue") != pl.col("queue_now"))
    assert moved.height > 50
    released = (foretold["queue"] == "safe-to-insulate").sum()
    assert released == asked.told["rows_released_by_good_answers"]


def test_a_question_left_blank_is_no_answer_and_no_mistake(
    demo: DemoRun, asked: Asked, again: Path
) -> None:
    lists = asked.folder
    taken = triage(
        "record", lists / "visit_list.xlsx", "--programme", again, "--run", demo.folder, "--json"
    )
    assert taken.code == 0, taken.out + taken.err
    rows = taken.json["rows"]
    assert rows["unanswered"] == rows["read"] == asked.told["questions"]


def test_the_list_holds_only_cells_to_fill_and_nothing_that_runs(asked: Asked) -> None:
    page = openpyxl.load_workbook(asked.folder / "visit_list.xlsx")["Visit list"]
    assert page.protection.sheet
    at = {cell.value: cell.column for cell in page[HEAD]}
    fill = ("value", "observed_on", "surveyor_id", "survey_method", "photo_refs")
    for cell in page[FIRST]:
        assert cell.protection.locked == (page.cell(HEAD, cell.column).value not in fill)
        assert cell.data_type != "f"
    assert not [head for head in at if head and "good" in head]  # no answer is hinted at
    ids = [page.cell(row, at["answer_id"]).value for row in range(FIRST, page.max_row + 1)]
    assert len(set(ids)) == len(ids) == asked.told["questions"]
    covered = {
        (cell.row, cell.column)
        for rule in page.data_validations.dataValidation
        for span in rule.sqref.ranges
        for cell in _cells(page[span.coord])
    }
    values = {(row, at["value"]) for row in range(FIRST, page.max_row + 1)}
    assert values <= covered


def _cells(block: Any) -> list[Any]:
    """The cells of one cell, a line or a block."""
    if not isinstance(block, tuple):
        return [block]
    return [cell for part in block for cell in _cells(part)]


def test_the_picture_shows_what_the_tables_hold(asked: Asked) -> None:
    rows = pl.read_csv(asked.folder / "outcomes.csv", infer_schema=False).to_dicts()
    sets: dict[tuple[str, str], dict[str, set[str]]] = {}
    for row in rows:
        mine = sets.setdefault((row["missing"], row["measure_group"]), {"homes": set()})
        mine["homes"].add(row["property_id"])
        if row["good_queue"] == "safe-to-insulate":
            mine.setdefault("safe", set()).add(row["property_id"])
        if row["bad_queue"] == "fix-water-first":
            mine.setdefault("bad", set()).add(row["property_id"])
    counted = sorted(
        (
            -len(s["safe"]),
            f"{len(s['safe'])} of {len(s['homes'])} safe; {len(s.get('bad', ()))} to repair if bad",
        )
        for s in sets.values()
        if "safe" in s
    )
    text = (asked.folder / "gaps_by_homes_released.svg").read_text("utf-8")
    told = re.findall(r">\s*(\d+ of \d+ safe; \d+ to repair if bad)\s*<", text)
    assert told
    first = -counted[min(len(counted), len(told)) - 1][0]
    sure = sorted(t for n, t in counted if -n > first)  # at the last place there may be a tie
    assert [t for t in sure if t not in told] == []
    assert set(told) <= {t for _, t in counted}
    every = {row["property_id"] for row in rows}
    assert f"n = {len(every)} homes wait" in re.sub(r"\s+", " ", re.sub(r"<[^>]+>", " ", text))
    # Whoever looks should not know which answer is hoped for.
    assert not openpyxl.load_workbook(asked.folder / "visit_list.xlsx")["Visit list"]._images
