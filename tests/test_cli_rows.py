"""Rows and cells that cannot be used as written: each is said with its cell, the run goes on.

One survey holds a slip a row; every other answer in it is sound. The cases are those of the
description of bad input. Row numbers are counted as a spreadsheet shows them, headings in row 1.
"""

from datetime import date
from pathlib import Path
from typing import Any

import fastexcel
import openpyxl
import polars as pl
import pytest
from cli_helpers import GOOD, HEAD, PROGRAMME, Answer, Stock, triage

MAY = date(2026, 5, 1)
SOUND: dict[str, Any] = {
    "property_id": "GOOD",
    "building_part": "main",
    "survey_id": "v1",
    "survey_date": MAY,
    "latitude": 54.5,
    "longitude": -3.0,
    "country_code": "GB",
    "gutter_condition": "good",
    "rh_mean_pct": 50,
    "measure_code": "loft_topup",
}
SLIPS: list[dict[str, Any]] = [
    {},  # row 2
    {"property_id": "SAME"},
    {"property_id": "SAME"},  # row 4: a copy
    {"property_id": "LATER", "survey_date": date(2025, 5, 1), "gutter_condition": "poor"},
    {"property_id": "LATER"},
    {"property_id": "TWICE"},
    {"property_id": "TWICE", "gutter_condition": "poor"},  # row 8: the same key, other content
    {"property_id": "DATE", "survey_date": "03/04/2026"},
    {"property_id": "RANGE", "rh_mean_pct": 150},  # row 10: humidity ends at 100 %
    {"property_id": "CODE", "gutter_condition": "wobbly"},
    {"property_id": "SWAP", "latitude": -3.0, "longitude": 54.5},  # row 12
    {"property_id": "SIGN", "longitude": 3.0},  # in the North Sea
    {"property_id": "NOWHERE", "latitude": None, "longitude": None},  # row 14
    {"property_id": "SEA", "latitude": 39.0, "longitude": -72.0, "country_code": "US"},
    {"property_id": "MEASURE", "measure_code": "loft topup; magic dust"},  # row 16
    {"property_id": None},
    {"property_id": "PART", "building_part": "over there"},  # row 18
]
NO_UNIT = "depth without its unit.xlsx"
MORE = '\n[[sources]]\nfiles = "more/*.xlsx"\nprofile = "team.toml"\n'
# what row, what kind, what words the message has
SAID = [
    (8, "duplicate_key", "v1#2"),
    (9, "ambiguous_date", "date_order"),
    (10, "out_of_range", "10 to 100 %"),
    (11, "unmapped", "[spellings]"),
    (12, "swapped_coordinates", "latitude 54.5, longitude -3.0"),
    (13, "signless_longitude", "minus sign"),
    (14, "no_location", "postal code"),
    (15, "outside_every_zone", "SEA"),
    (16, "unknown_measure", "'magic dust'"),
    (17, "row_rejected", "not used"),
    (18, "row_rejected", "not used"),
]


@pytest.fixture(scope="module")
def messy(tmp_path_factory: pytest.TempPathFactory) -> Stock:
    stock = Stock(tmp_path_factory.mktemp("messy")).write(PROGRAMME + MORE)
    rows = [list((SOUND | slip).values()) for slip in SLIPS]
    stock.survey([list(SOUND), *rows])
    (stock.folder / "more").mkdir()
    stock.survey([[*HEAD, "Depth"], ["UNIT", *GOOD[1:], 100]], f"../more/{NO_UNIT}")
    names = "".join(f'{name} = "{name}"\n' for name in HEAD)
    text = f'name = "team"\n[columns]\n{names}Depth = "foam_thickness_mm"\n'
    (stock.folder / "team.toml").write_text(text, encoding="utf-8")
    return stock


@pytest.fixture(scope="module")
def done(messy: Stock) -> Answer:
    return messy.run("--json")


@pytest.fixture(scope="module")
def problems(messy: Stock, done: Answer) -> list[dict[str, Any]]:
    """The problems sheet of the workbook, as a user finds it."""
    assert done.code == 1
    book = openpyxl.load_workbook(messy.out / "queues.xlsx", read_only=True)
    lines = list(book["Problems"].iter_rows(values_only=True))
    head = next(number for number, line in enumerate(lines) if line[0] == "Kind")
    names = [str(name) for name in lines[head]]
    return [dict(zip(names, line, strict=True)) for line in lines[head + 1 :]]


def test_rejected_rows_are_counted_and_the_rest_goes_on(done: Answer, messy: Stock) -> None:
    assert done.code == 1
    # 17 rows and one; no id and no part; a copy and an older visit of the same key
    assert done.json["rows"] == {"read": 18, "accepted": 14, "rejected": 2, "superseded": 2}
    assert done.json["homes"] == 13
    queue = pl.read_parquet(messy.out / "queue.parquet")
    named = {slip.get("property_id", "GOOD") for slip in SLIPS} - {None, "PART"}
    lofts = queue.filter(pl.col("measure_code") == "loft_topup")
    assert sorted(lofts["property_id"]) == sorted(named | {"UNIT"})


@pytest.mark.parametrize(("row", "kind", "words"), SAID, ids=[kind for _, kind, _ in SAID])
def test_each_slip_is_said_with_its_place(
    problems: list[dict[str, Any]], row: int, kind: str, words: str
) -> None:
    found = [line for line in problems if (line["Kind"], line["Row"]) == (kind, row)]
    (line,) = found
    assert (line["File"], line["Sheet"]) == ("surveys/survey.xlsx", "Roofs")
    assert words in line["What is wrong, and what to do"]


def test_a_column_without_its_unit_is_said_once(problems: list[dict[str, Any]]) -> None:
    (line,) = [line for line in problems if line["Kind"] == "unit_missing"]
    assert (line["File"], line["Column"]) == (f"more/{NO_UNIT}", "G")
    assert "unit" in line["What is wrong, and what to do"]


def test_every_row_that_is_not_used_is_named_once(problems: list[dict[str, Any]]) -> None:
    gone = {line["Row"]: line["Kind"] for line in problems if line["Kind"].startswith("row_")}
    assert gone == {
        4: "row_superseded",
        5: "row_superseded",
        17: "row_rejected",
        18: "row_rejected",
    }


def test_the_copy_and_the_older_visit_give_way_and_two_answers_are_a_dispute(messy: Stock) -> None:
    queue = pl.read_parquet(messy.out / "queue.parquet")
    rows = {row["property_id"]: row for row in queue.iter_rows(named=True)}
    assert rows["LATER"]["queue"] == "specialist-review"  # the poor gutter was of the older visit
    assert "W04" not in rows["LATER"]["fired"]
    assert rows["TWICE"]["lane"] == "contradiction"
    assert rows["TWICE"]["disputed"] == ["W04"]  # W04: gutters


def test_both_cells_of_the_dispute_are_quoted_in_reason_workbook_and_explanation(
    messy: Stock,
) -> None:
    queue = pl.read_parquet(messy.out / "queue.parquet")
    (row,) = queue.filter(pl.col("property_id") == "TWICE").to_dicts()
    book = fastexcel.read_excel(messy.out / "queues.xlsx")
    sheet = book.load_sheet("Contradictions", header_row=2).to_polars()
    (line,) = sheet.filter(pl.col("Home") == "TWICE").to_dicts()
    told = triage("explain", messy.programme, "TWICE", "--run", messy.out, "--json").json
    (conflict,) = [c for c in told["conflicts"] if c["field"] == "gutter_condition"]
    assert conflict["measures"] == ["loft_topup"]
    for side, name in (("Taken", "taken"), ("Other", "other")):
        cell = conflict[name]
        quoted = (
            f"({cell['file']}, sheet {cell['sheet']}, row {cell['row']}, column {cell['column']}"
        )
        assert quoted in row["reason"]
        assert quoted in " ".join(row["conflict_notes"])
        assert line[f"{side}: file"] == cell["file"]
        assert line[f"{side}: row"] == cell["row"]
        assert line[f"{side}: as written"] == cell["raw"]
        assert line[f"{side}: column"] == cell["column"]
    assert {conflict["taken"]["value"], conflict["other"]["value"]} == {
        line["Taken"],
        line["Other"],
    }
    words = triage("explain", messy.programme, "TWICE", "--run", messy.out).out
    assert "Records that disagree" in words
    assert "it matters for: loft topup" in " ".join(words.split())


def test_a_refused_place_is_no_place_and_no_guess(messy: Stock) -> None:
    queue = pl.read_parquet(messy.out / "queue.parquet")
    lost = queue.filter(pl.col("property_id").is_in(["SWAP", "SIGN", "NOWHERE", "SEA"]))
    assert lost.height == 4
    assert lost["zone"].to_list() == [None] * 4
    assert set(lost["queue"]) == {"specialist-review"}


def test_an_unknown_measure_in_a_cell_is_counted_and_said(messy: Stock) -> None:
    told = triage("run", messy.programme, "--out", messy.out.with_name("words"))
    assert told.code == 1
    assert "1 proposals name an unknown measure" in " ".join(told.out.split())
    assert "18 survey rows read = 14 accepted + 2 rejected + 2 superseded" in told.out


def test_check_says_the_same_before_any_run(messy: Stock) -> None:
    survey = messy.folder / "surveys" / "survey.xlsx"
    answer = triage("check", survey, "--json")
    assert answer.code == answer.json["exit_code"] == 1
    assert answer.err == ""
    assert answer.json["rows"] == {"read": 17, "accepted": 13, "rejected": 2, "superseded": 2}
    (file,) = answer.json["files"]
    kinds = {problem["kind"] for problem in file["problems"]}
    of_place = {"swapped_coordinates", "signless_longitude", "no_location", "outside_every_zone"}
    # Places need the programme; check names the cell that cost the row its identity.
    of_run = {*of_place, "row_rejected"}
    identity = {"no_property_id", "no_building_part"}
    assert kinds == ({kind for _, kind, _ in SAID} - of_run) | identity
    words = triage("check", survey)
    assert words.code == 1
    assert "row 11, column 'H'" in words.out


def test_check_by_a_profile(messy: Stock) -> None:
    survey = messy.folder / "more" / NO_UNIT
    profile: Path = messy.folder / "team.toml"
    answer = triage("check", survey, "--profile", profile, "--json")
    assert answer.code == 0
    assert answer.json["files"][0]["mapped"]["Depth"] == "foam_thickness_mm"
