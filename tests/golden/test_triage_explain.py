"""One home explained, held against its survey cells as openpyxl reads them.

Homes and rules are those of `expected_queues.csv`; the shape is that of `explain --json`.
"""

import calendar
from collections.abc import Callable
from datetime import datetime
from pathlib import Path
from typing import Any

import numpy as np
import openpyxl
import polars as pl
import pytest
from cli_helpers import Answer, triage
from golden_runs import DemoRun
from least_energy import year

from triage.programme_run import open_programme
from triage.report.document import Figure, Words, Year
from triage.runs import STORE
from triage.store import Store
from triage.summary.condensate import condensate_blocks

PART_KEYS = {"part", "measure", "queue", "lane", "fired", "undecidable", "clear"}
PART_KEYS |= {"next_action", "evidence"}
# a home whose row stands in an xlsx workbook, with a rule that fires by hand-written expectation
STORIES = {
    "coastal_association": ("KC-0142", "loft_topup", "fix-water-first", "W01"),
    "county_weatherisation": ("TR-2877", "internal_wall", "specialist-review", "M11"),
}
Explain = Callable[..., Answer]


@pytest.fixture
def explain(demo: DemoRun) -> Explain:
    return lambda home, *more: triage("explain", demo.programme, home, "--run", demo.folder, *more)


def _written(value: object) -> str:
    """A cell's value as text, whole numbers without a decimal point."""
    if isinstance(value, float) and value.is_integer():
        return str(int(value))
    if isinstance(value, datetime):
        return value.strftime("%Y-%m-%d %H:%M:%S")
    return str(value)


def test_every_fact_stands_in_the_cell_that_it_names(demo: DemoRun, explain: Explain) -> None:
    answer = explain(STORIES[demo.name][0], "--json")
    assert answer.code == 0
    assert answer.err == ""
    cells = [fact for fact in answer.json["facts"] if fact["column"] is not None]
    assert len(cells) > 40
    files = {fact["file"] for fact in cells}
    books = {file: openpyxl.load_workbook(demo.source / file) for file in files}
    for fact in cells:
        cell = books[fact["file"]][fact["sheet"]][f"{fact['column']}{fact['row']}"]
        assert fact["raw"] == _written(cell.value), fact


def test_decision_and_the_values_that_gave_it(demo: DemoRun, explain: Explain) -> None:
    home, measure, queue, rule = STORIES[demo.name]
    told = explain(home, "--json").json
    assert told["home"] == home
    (part,) = [part for part in told["parts"] if part["measure"] == measure]
    assert part.keys() >= PART_KEYS
    assert part["queue"] == queue
    fired = {entry["rule"]: entry for entry in part["fired"]}
    assert set(fired) == {rule}
    assert fired[rule]["values"]
    assert fired[rule]["source"]
    assert demo.record["not_evaluated"] == []
    assert "mould_index_max" in " ".join(told["limits"])  # waits for an hourly model


def test_words_for_a_reviewer(demo: DemoRun, explain: Explain) -> None:
    home, _, queue, rule = STORIES[demo.name]
    answer = explain(home)
    assert answer.code == 0
    assert answer.out.startswith(f"Home {home}\n")
    assert queue.replace("-", " ").upper() in answer.out
    assert f"\n{rule}  " in answer.out
    assert max(map(len, answer.out.splitlines())) <= 100


def test_what_is_missing_is_named_for_rules_that_cannot_be_decided(
    demo: DemoRun, explain: Explain
) -> None:
    is_gap = (pl.col("expected_lane") == "evidence_gap") & pl.col("main_rule").is_not_null()
    gap = demo.expected.filter(is_gap).row(0, named=True)
    told = explain(gap["property_id"], "--json").json
    (part,) = [part for part in told["parts"] if part["measure"] == gap["measure_code"]]
    assert (part["queue"], part["lane"]) == ("specialist-review", "evidence_gap")
    open_rules = {entry["rule"]: entry for entry in part["undecidable"]}
    named = [entry for rule, entry in open_rules.items() if rule.startswith(gap["main_rule"])]
    assert named
    assert part["evidence_that_would_change"]
    missing = {field for entry in open_rules.values() for field in entry["missing"]}
    assert missing
    assert missing <= set(part["evidence_that_would_change"])


def test_judging_now_tells_what_the_run_told(demo: DemoRun, explain: Explain) -> None:
    home = STORIES[demo.name][0]
    now = triage("explain", demo.programme, home, "--json")
    assert now.code == 0
    assert "Judging every measure" in now.err
    assert now.json == explain(home, "--json").json


def test_disputed_home_shows_both_cells(demo_runs: dict[str, DemoRun]) -> None:
    run = demo_runs["coastal_association"]
    is_disputed = run.expected["expected_lane"] == "contradiction"
    home = run.expected.filter(is_disputed).row(0, named=True)["property_id"]
    told: dict[str, Any] = triage(
        "explain", run.programme, home, "--run", run.folder, "--json"
    ).json
    assert told["conflicts"]
    for conflict in told["conflicts"]:
        places = {(side["file"], side["row"]) for side in (conflict["taken"], conflict["other"])}
        assert len(places) == 2


def test_unknown_home_names_the_nearest(demo: DemoRun, explain: Explain) -> None:
    home = STORIES[demo.name][0]
    answer = explain(home.replace("-", ""), "--json")  # the dash is what people leave out
    assert answer.code == 2
    assert answer.out == ""
    assert answer.err.startswith("TR109 ")
    assert repr(home) in answer.err


def test_run_of_another_programme_is_refused(demo_runs: dict[str, DemoRun]) -> None:
    coastal, county = demo_runs.values()
    answer = triage("explain", coastal.programme, "KC-0142", "--run", county.folder)
    assert answer.code == 2
    assert "TR108 this is a run of 'TR26', not of 'KC26'" in answer.err


def test_folder_that_is_no_run_is_refused(demo_runs: dict[str, DemoRun], tmp_path: Path) -> None:
    coastal = demo_runs["coastal_association"]
    for folder in (tmp_path, tmp_path / "gone"):
        answer = triage("explain", coastal.programme, "KC-0142", "--run", folder)
        assert answer.code == 2
        assert "TR108" in answer.err
        assert "run.json" in answer.err


def test_the_year_in_a_report_is_what_a_second_solver_finds(demo: DemoRun) -> None:
    programme, policy = open_programme(demo.programme)
    with Store(demo.folder / STORE, read_only=True) as run:
        words, figure = condensate_blocks(run, policy, programme)
        cases = {row["case"]: row for row in run.table("moisture_case").iter_rows(named=True)}
    assert isinstance(words, Words)
    assert isinstance(figure, Figure)
    rows = pl.read_parquet(demo.folder / "quantities.parquet").to_dicts()
    judged = [
        r for r in rows if r["monthly_method_valid"] and r["condensate_peak_g_m2"] is not None
    ]
    wet = [r for r in judged if r["condensate_peak_g_m2"] > 0]
    build = [r for r in judged if r["condensate_residual_g_m2"] > 0]
    invalid = [r for r in rows if r["monthly_method_valid"] is False]
    counts = (len(judged) - len(wet), len(wet) - len(build), len(build), len(invalid))
    assert f"of {len(rows):,} home-part-measures it judges {len(judged):,}." in words.text
    assert f"In {counts[0]:,} no water" in words.text
    assert f"in {counts[1]:,} it condenses and dries within the year" in words.text
    assert f"in {counts[2]:,} it builds up. It cannot judge {counts[3]:,}" in words.text
    # The case of most homes, counted over.
    homes: dict[str, set[str]] = {}
    for row in judged:
        case, old = cases[row["case_after"]], cases[row["case_before"]]
        before = old["peak_g_m2"] if old["method"] is None else 0.0
        if case["method"] is None and (case["peak_g_m2"] > 0 or before > 0):
            homes.setdefault(row["case_after"], set()).add(row["property_id"])
    most = max(map(len, homes.values()))
    every = set.union(*homes.values())
    assert f"n = {most:,} of {len(every):,} homes" in figure.unit
    (mark,) = figure.marks
    assert isinstance(mark, Year)
    drawn = {name: dict(zip(mark.months, values, strict=True)) for name, values in mark.states}
    found = [
        name
        for name in (n for n, some in homes.items() if len(some) == most)
        if _agrees(cases, name, drawn)
    ]
    assert len(found) == 1


def _agrees(
    cases: dict[str, dict[str, Any]], name: str, drawn: dict[str, dict[str, float]]
) -> bool:
    """Whether the drawn years are those of a case, solved anew from its layers and its air."""
    for title, case in (("Before", cases["b" + name[1:]]), ("After", cases[name])):
        months = next((v for k, v in drawn.items() if title.lower() in k.lower()), None)
        if months is None:
            continue
        layers = tuple(np.array([slot[k] for slot in case["slots"]]) for k in ("r_m2k_w", "sd_m"))
        air = [np.array(case[k]) for k in ("t_out_c", "p_out_pa", "t_in_c", "p_in_pa")]
        _, _, store = year((layers[0], layers[1]), (case["r_se"], case["r_si"]), air)
        told = [months[m] for m in calendar.month_abbr[1:]]
        if not np.allclose(told, store, rtol=1e-3, atol=1e-3):
            return False
    return True
