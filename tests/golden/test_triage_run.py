"""Both demonstration programmes, from the command line to every output.

Queues, lanes and main rules come from `expected_queues.csv`, written by hand from the rule texts.
Counts of rows are made from the survey files by other readers than the tool's. What the outputs
must hold comes from the description of the outputs and of `run --json`.
"""

import csv
import random
import re
import shutil
import struct
import tomllib
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import duckdb
import fastexcel
import openpyxl
import polars as pl
import pyogrio
import pytest
from cli_helpers import LONG, triage
from golden_runs import PROGRAMMES, DemoRun
from polars.testing import assert_frame_equal

QUEUES = {"safe-to-insulate", "fix-water-first", "specialist-review"}
LANES = {"technical", "safety", "contradiction", "expired", "evidence_gap", "inspection"}
NOT_EVALUATED = 8
JSON_KEYS = {"format", "run_id", "rows", "homes", "assessed", "queues", "lanes", "not_evaluated"}
JSON_KEYS |= {"seconds", "outputs"}
KEY = ["property_id", "building_part", "measure_code"]
TABLES = ("queue.parquet", "rule_results.parquet", "homes.parquet", "blocks.parquet")


def test_every_hand_written_expectation_holds(demo: DemoRun) -> None:
    rows = {tuple(row[k] for k in KEY): row for row in demo.queue.iter_rows(named=True)}
    wrong = []
    for home in demo.expected.fill_null("").iter_rows(named=True):
        row = rows[tuple(home[k] for k in KEY)]
        lane = home["expected_lane"] or None
        named = {*row["fired"], *row["undecidable"], *row["confirm_first"], *row["disputed"]}
        rule = home["main_rule"]
        has_rule = not rule or any(name.startswith(rule) for name in named)
        if (row["queue"], row["lane"]) != (home["expected_queue"], lane) or not has_rule:
            wrong.append((home, row["queue"], row["lane"], sorted(named)))
    assert not wrong


def test_expectations_are_enough(demo_runs: dict[str, DemoRun]) -> None:
    homes = {home for run in demo_runs.values() for home in run.expected["property_id"]}
    assert len(homes) >= 40


def test_a_rule_that_decides_a_repair_or_a_technical_review_has_fired(demo: DemoRun) -> None:
    fired = {tuple(row[k] for k in KEY): row["fired"] for row in demo.queue.iter_rows(named=True)}
    deciding = [
        home
        for home in demo.expected.iter_rows(named=True)
        if home["expected_queue"] == "fix-water-first"
        or home["expected_lane"] in ("technical", "safety")
    ]
    assert deciding
    for home in deciding:
        rules = fired[tuple(home[k] for k in KEY)]
        assert any(rule.startswith(home["main_rule"]) for rule in rules), home


def test_all_queues_and_lanes_occur(demo_runs: dict[str, DemoRun]) -> None:
    both = pl.concat([run.queue.select("queue", "lane") for run in demo_runs.values()])
    assert set(both["queue"]) == QUEUES
    assert set(both["lane"].drop_nulls()) == LANES
    assert both.filter(
        (pl.col("queue") == "specialist-review") & pl.col("lane").is_null()
    ).is_empty()
    assert both.filter(
        (pl.col("queue") != "specialist-review") & pl.col("lane").is_not_null()
    ).is_empty()


def _grids(path: Path, sheets: list[str] | None) -> Iterator[list[tuple[Any, ...]]]:
    if path.suffix == ".csv":
        with path.open(encoding="cp1252", newline="") as file:
            yield [tuple(row) for row in csv.reader(file, delimiter=";")]
    elif path.suffix == ".xlsx":
        book = openpyxl.load_workbook(path, read_only=True)
        for name in sheets or book.sheetnames:
            yield list(book[name].iter_rows(values_only=True))
    else:
        old = fastexcel.read_excel(path)
        for name in sheets or old.sheet_names:
            yield old.load_sheet(name, header_row=None, dtypes="string").to_polars().rows()


def _lines_above(layout: dict[str, Any]) -> int:
    """How many lines stand above the first home."""
    above = layout.get("header_row", 1) - 1 + layout.get("header_lines", 1)
    return int(above + layout.get("units_row", False))


def _sources(programme: Path) -> Iterator[tuple[Path, dict[str, Any]]]:
    told = tomllib.loads(programme.read_text(encoding="utf-8"))
    for source in told["sources"]:
        profile = (programme.parent / source["profile"]).read_text(encoding="utf-8")
        for path in sorted(programme.parent.glob(source["files"])):
            yield path, tomllib.loads(profile).get("layout", {})


def test_every_row_of_every_file_is_accounted_for(demo: DemoRun) -> None:
    counted = {
        path.name: sum(
            any(str(cell or "").strip() for cell in row)
            for grid in _grids(path, layout.get("sheets"))
            for row in grid[_lines_above(layout) :]
        )
        for path, layout in _sources(demo.programme)
    }
    read: dict[str, int] = dict.fromkeys(counted, 0)
    for item in demo.record["inputs"]:
        read[Path(item["file"]).name] += item["rows_read"]
    assert read == counted
    rows = demo.record["rows"]
    assert rows["read"] == sum(counted.values())
    assert rows["read"] == rows["accepted"] + rows["rejected"] + rows["superseded"]
    assert rows["rejected"] > 0
    assert rows["superseded"] > 0
    assert demo.answer.code == 1  # finished, some rows were rejected


def test_every_foamed_home_part_has_a_row_of_its_own(demo: DemoRun) -> None:
    details = ["foam_type", "foam_location", "foam_density_kg_m3", "foam_thickness_mm"]
    details += ["foam_coverage_pct", "foam_install_date", "foam_substrate", "foam_air_gap_mm"]
    details += ["foam_evidence", "foam_defects"]
    with duckdb.connect(str(demo.folder / "store.duckdb"), read_only=True) as store:
        surveys = store.sql("SELECT * FROM clean_survey").pl()
    said = surveys.filter(pl.col("foam_present").is_in(["yes", "suspected"]))
    # Nobody records a detail of foam that is not there, nor is kept from a view by it.
    hidden = pl.col("access_limits").list.contains("foam_covered")
    described = surveys.filter(pl.any_horizontal(pl.col(details).is_not_null(), hidden))
    checks = demo.queue.filter(pl.col("measure_code") == "foam_check")
    rows = set(checks.select(KEY[:2]).iter_rows())
    foamed = set(said.select(KEY[:2]).iter_rows())
    assert foamed
    assert foamed <= rows
    # Flats share their roof: foam that one of them describes is over the others too.
    homes = demo.queue.select("property_id", "building_id").unique()
    told = described.select("property_id").join(homes, on="property_id")
    under = homes.join(told.drop_nulls().select("building_id"), on="building_id", how="semi")
    shared = surveys.join(under, on="property_id", how="semi")
    known = pl.concat([described.select(KEY[:2]), shared.select(KEY[:2])])
    assert rows - foamed <= set(known.iter_rows())
    assert checks.filter(pl.col("queue") == "safe-to-insulate").is_empty()


def test_no_poor_survey_makes_a_row_safe(demo: DemoRun) -> None:
    poor = demo.queue.filter(pl.col("survey_quality") == "poor")
    assert poor.height > 0
    assert set(poor["queue"]) == {"fix-water-first", "specialist-review"}


def test_released_rows_are_safe_rows_with_nothing_outstanding(demo: DemoRun) -> None:
    released = demo.queue.filter("released")
    assert released.height == demo.record["released"] > 0
    assert set(released["queue"]) == {"safe-to-insulate"}
    assert released["checks"].list.len().sum() == 0
    assert released["undecidable"].list.len().sum() == 0


def test_every_rule_of_the_pack_is_evaluated(demo: DemoRun) -> None:
    assert demo.record["not_evaluated"] == []
    results = pl.read_parquet(demo.folder / "rule_results.parquet")
    rules = [name for name in results.columns if results.schema[name] == pl.UInt8]
    assert NOT_EVALUATED not in set(results.select(pl.col(rules)).unpivot()["value"])


def test_json_on_standard_output_says_what_the_tables_say(demo: DemoRun) -> None:
    told = demo.answer.json
    assert set(told) >= JSON_KEYS
    assert told["format"] == 1
    assert told["assessed"] == demo.queue.height
    assert told["queues"] == dict(demo.queue["queue"].value_counts().iter_rows())
    assert told["lanes"] == dict(demo.queue["lane"].drop_nulls().value_counts().iter_rows())
    assert set(told["rows"]) == {"read", "accepted", "rejected", "superseded"}
    assert all(seconds >= 0 for seconds in told["seconds"].values())
    assert all(Path(path).is_file() for path in told["outputs"].values())
    assert {key: told[key] for key in JSON_KEYS - {"outputs"}} == {
        key: demo.record[key] for key in JSON_KEYS - {"outputs"}
    }


def test_the_record_names_inputs_policy_and_versions(demo: DemoRun) -> None:
    record = demo.record
    assert record["as_of"] == "2026-10-31"
    assert record["policy"]["name"] == "default"
    assert len(record["policy"]["sha256"]) == 64
    assert all(len(item["sha256"]) == 64 for item in record["inputs"])
    assert {"polars", "duckdb", "geopandas"} <= set(record["versions"])
    there = sorted(path.name for path in demo.folder.iterdir())
    assert sorted([*record["outputs"], "inputs"]) == there
    kept = {item["sha256"] for item in record["stored_inputs"] if item["role"] == "survey"}
    assert kept == {item["sha256"] for item in record["inputs"]}


def test_homes_open_in_mapping_programs(demo: DemoRun) -> None:
    homes = pl.read_parquet(demo.folder / "homes.parquet", columns=["property_id"])
    assert homes.height == homes["property_id"].n_unique() == demo.record["homes"]
    assert pyogrio.read_info(demo.folder / "homes.gpkg")["features"] == homes.height


def test_the_workbook_holds_the_rows_of_the_queue_table(demo: DemoRun) -> None:
    book = openpyxl.load_workbook(demo.folder / "queues.xlsx", read_only=True)
    for queue, count in demo.record["queues"].items():
        lines = list(book[queue].iter_rows(values_only=True, max_col=3))
        head = next(number for number, line in enumerate(lines) if line[:2] == ("Home", "Part"))
        homes = sorted(line[0] for line in lines[head + 1 :] if line[0] is not None)
        assert len(homes) == count
        assert homes == sorted(demo.queue.filter(pl.col("queue") == queue)["property_id"])


@pytest.mark.parametrize("name", ["map_queues.png", "map_climate.png"])
def test_the_maps_are_pictures_of_the_size_that_the_record_states(demo: DemoRun, name: str) -> None:
    content = (demo.folder / name).read_bytes()
    assert content.startswith(b"\x89PNG\r\n\x1a\n")
    size = struct.unpack(">II", content[16:24])  # IHDR: width, height (PNG specification 11.2.2)
    drawn = demo.record["maps"][name]
    assert size == (drawn["width_px"], drawn["height_px"])
    assert min(size) > 1000


@pytest.mark.parametrize("demo", PROGRAMMES if LONG else PROGRAMMES[1:], indirect=True)
def test_two_runs_give_the_same_bytes(demo: DemoRun, tmp_path: Path) -> None:
    again = triage("run", demo.programme, "--out", tmp_path / "again", "--json")
    assert again.json["run_id"] == demo.record["run_id"]
    for name in TABLES:
        assert (tmp_path / "again" / name).read_bytes() == (demo.folder / name).read_bytes(), name


def _shuffle_workbook(path: Path, layout: dict[str, Any], rng: random.Random) -> None:
    book = openpyxl.load_workbook(path)
    for name in layout["sheets"]:
        page = book[name]
        rows = list(page.iter_rows(min_row=_lines_above(layout) + 1))
        content = [[(cell.value, cell.number_format) for cell in row] for row in rows]
        rng.shuffle(content)
        for row, values in zip(rows, content, strict=True):
            for cell, (value, number_format) in zip(row, values, strict=True):
                cell.value, cell.number_format = value, number_format
    book.save(path)


def _shuffle_csv(path: Path, rng: random.Random) -> None:
    head, *lines = path.read_bytes().splitlines(keepends=True)
    rng.shuffle(lines)
    path.write_bytes(head + b"".join(lines))


def _turn_sources_round(programme: Path) -> None:
    head, *tables = re.split(r"(?m)^(?=\[\[)", programme.read_text(encoding="utf-8"))
    programme.write_text("".join([head, *reversed(tables)]), encoding="utf-8")


@pytest.mark.parametrize("demo", PROGRAMMES if LONG else PROGRAMMES[1:], indirect=True)
def test_order_of_rows_and_sources_changes_no_queue(demo: DemoRun, tmp_path: Path) -> None:
    folder = tmp_path / "shuffled"
    shutil.copytree(demo.source, folder)
    rng = random.Random(20261031)
    shuffled = 0
    for path, layout in _sources(folder / "programme.toml"):
        before = path.read_bytes()
        if path.suffix == ".xlsx":
            _shuffle_workbook(path, layout, rng)
        elif path.suffix == ".csv":
            _shuffle_csv(path, rng)
        shuffled += path.read_bytes() != before
    assert shuffled >= 2
    _turn_sources_round(folder / "programme.toml")
    done = triage("run", folder / "programme.toml", "--out", tmp_path / "out", "--json")
    assert done.json["rows"] == demo.record["rows"]
    assert done.json["run_id"] != demo.record["run_id"]  # other files
    shown = pl.read_parquet(tmp_path / "out" / "queue.parquet")
    assert_frame_equal(_without_row_numbers(shown), _without_row_numbers(demo.queue))


def _without_row_numbers(queue: pl.DataFrame) -> pl.DataFrame:
    """The queue without the rows of the cells that it quotes: those are what was shuffled."""
    row, blank = r", row \d+,", ", row,"
    return queue.with_columns(
        pl.col("reason").str.replace_all(row, blank),
        pl.col("conflict_notes").list.eval(pl.element().str.replace_all(row, blank)),
    )
