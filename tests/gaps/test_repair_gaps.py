"""What repairs would do: foretold by `triage gaps --repairs`, then recorded and run."""

from datetime import date
from pathlib import Path
from typing import Any

import polars as pl
import pytest
from cli_helpers import Answer, Stock, triage, write_book
from gap_stock import WRITTEN

ID = ["property_id", "building_part", "measure_code"]
FOUND: dict[str, dict[str, Any]] = {
    "A": {"gutter_condition": "failed"},
    "B": {"gutter_condition": "failed", "roof_covering_condition": "poor"},
    "C": {"gutter_condition": "failed", "roof_leak_evidence": None},
    "D": {"visible_mould": "extensive"},
    "E": {},
}


def _row(home: str, visit: int, on: date, found: dict[str, Any]) -> list[Any]:
    own = {
        "property_id": home,
        "survey_id": f"{home}-{visit}",
        "surveyor_id": "S1",
        "measure_code": "loft_topup",
    }
    facts = {**WRITTEN, "survey_date": on, "mc_date": on, **found}
    return [*own.values(), *facts.values()]


HEAD = ["property_id", "survey_id", "surveyor_id", "measure_code", *WRITTEN]


@pytest.fixture(scope="module")
def stock(tmp_path_factory: pytest.TempPathFactory) -> Stock:
    stock = Stock(tmp_path_factory.mktemp("repairs")).write()
    first = date(2026, 2, 16)
    stock.survey([HEAD, *(_row(home, 1, first, found) for home, found in FOUND.items())])
    assert stock.run().code == 0
    return stock


@pytest.fixture(scope="module")
def told(stock: Stock) -> Answer:
    answer = triage("gaps", stock.out, "--repairs", "--out", stock.folder / "out", "--json")
    assert answer.code == 0, answer.err
    return answer


def test_repairs_are_counted_alone_and_together(told: Answer) -> None:
    by_rule = {row["rule"]: row for row in told.json["repairs"]}
    counts = ("homes_waiting", "homes_waiting_for_it_alone", "homes_released_alone")
    # W04 holds A, B and C; it alone holds A and C; C waits for a look for leaks then.
    assert [by_rule["W04"][name] for name in counts] == [3, 2, 1]
    assert by_rule["W04"]["homes_released_with_others"] == 1
    assert [by_rule["W02"][name] for name in counts] == [1, 0, 0]
    sets = {row["repairs"]: row for row in told.json["sets"]}
    assert sets["W04"]["homes_released"] == 1
    assert sets["W04"]["homes_to_visit"] == 1
    assert sets["W02, W04"]["homes_released"] == 1


def test_what_is_foretold_is_what_a_run_finds_after_the_repairs(stock: Stock, told: Answer) -> None:
    """Every repair proven and every home looked at again: the queues are those foretold."""
    assert told.json["rows_waiting"] == 4
    foretold = pl.read_csv(stock.folder / "out" / "repair_outcomes.csv", infer_schema=False)
    repairs = [
        {
            "repair_id": f"R-{home}-{rule}",
            "property_id": home,
            "building_part": "main",
            "trigger_rule_ids": rule,
            "defect_location": "front",
            "repair_type": kind,
            "ordered_on": date(2026, 3, 2),
            "started_on": date(2026, 3, 9),
            "completed_on": date(2026, 3, 12),
            "contractor_id": "C4",
            "evidence_before": "a.jpg",
            "evidence_after": "b.jpg",
            "water_test": "rain_event",
            "rain_event_mm": 14,
            "repair_verified": "yes",
            "verified_by": "Q7",
            "verified_on": date(2026, 5, 21),
        }
        for home, rule, kind in (
            ("A", "W04", "gutter_valley"),
            ("B", "W04", "gutter_valley"),
            ("B", "W02", "patch_covering"),
            ("C", "W04", "gutter_valley"),
            ("D", "V04", "extract_fan"),
        )
    ]
    book = {"repair": [list(repairs[0]), *(list(row.values()) for row in repairs)]}
    path = write_book(stock.folder / "repairs.xlsx", book)
    taken = triage("record", path, "--programme", stock.programme)
    assert taken.code == 0, taken.out + taken.err
    mended = {"gutter_condition": "good", "roof_covering_condition": "good"}
    mended |= {"visible_mould": "none_seen"}
    again = [_row(home, 2, date(2026, 6, 20), found | mended) for home, found in FOUND.items()]
    stock.survey([HEAD, *again], "second.xlsx")
    later = stock.out.with_name("later")
    assert triage("run", stock.programme, "--out", later).code == 0
    found = pl.read_parquet(later / "queue.parquet").select(*ID, "queue", "lane")
    expected = foretold.select(*ID, pl.col("then_queue").alias("queue"), "then_lane")
    got = found.join(expected.select(ID), on=ID, how="semi").sort(ID)
    assert got.rows() == expected.sort(ID).rows()


def _rates(folder: Path, *lines: str) -> Path:
    path = folder / "rates.csv"
    path.write_text("\n".join(lines) + "\n", encoding="utf-8")
    return path


def _plan(stock: Stock, tmp_path: Path, budget: float, *lines: str) -> Answer:
    rates = _rates(tmp_path, *lines)
    return triage("gaps", stock.out, "--repairs", "--rates", rates, "--budget", budget, "--json")


def test_a_budget_buys_the_most_homes(stock: Stock, tmp_path: Path) -> None:
    rates = ("rule_id,rate", "W04,200", "W02,900")
    # A costs 200, B 1,100; C and D are not released or have no rate.
    for budget, homes, spent in ((199, 0, 0), (200, 1, 200), (1299, 1, 200), (1300, 2, 1300)):
        plan = _plan(stock, tmp_path, budget, *rates).json["plan"]
        assert (plan["homes_released"], plan["spent"]) == (homes, spent), budget
        assert plan["gap"] == 0
        assert plan["no_rate_for"] == ["V04"]


BAD = [
    (("rule,rate", "W04,200"), "no column 'rule_id'", "row 1"),
    (("rule_id,rate", "W4,200"), "'W4' is no rule of fix-water-first", "row 2"),
    (("rule_id,rate", "W04,-1"), "'-1' is no cost", "row 2"),
    (("rule_id,rate", "W04,cheap"), "'cheap' is no cost", "row 2"),
    (("rule_id,rate", "W04,1", "W04,2"), "'W04' twice", "row 3"),
    (("rule_id,rate,per", "W04,1,street"), "'street' is no unit of a rate", "row 2"),
]


@pytest.mark.parametrize(("lines", "what", "where"), BAD)
def test_rates_that_cannot_be_used_are_refused_at_their_cell(
    stock: Stock, tmp_path: Path, lines: tuple[str, ...], what: str, where: str
) -> None:
    answer = _plan(stock, tmp_path, 100, *lines)
    assert (answer.code, answer.out) == (2, "")
    assert what in answer.err
    assert where in answer.err


def test_a_budget_without_rates_is_no_question(stock: Stock) -> None:
    assert triage("gaps", stock.out, "--repairs", "--budget", "5").code == 2
    assert triage("gaps", stock.out, "--rates", "x.csv", "--budget", "5").code == 2


def test_planned_works_cost_this_budget_nothing(stock: Stock, tmp_path: Path) -> None:
    planned = tmp_path / "planned.csv"
    planned.write_text("property_id,rule_ids,year\nB,W02; W04,2027\n", encoding="utf-8")
    answer = triage(
        *("gaps", stock.out, "--repairs", "--json", "--budget", "200"),
        *("--rates", _rates(tmp_path, "rule_id,rate", "W04,200", "W02,900")),
        *("--planned", planned),
    )
    assert answer.code == 0, answer.err
    assert answer.json["plan"]["homes_released"] == 2
    planned.write_text("property_id,rule_ids,year\nZ,W02,soon\n", encoding="utf-8")
    refused = triage(
        *("gaps", stock.out, "--repairs", "--budget", "200", "--planned", planned),
        *("--rates", _rates(tmp_path, "rule_id,rate", "W04,200")),
    )
    assert refused.code == 2
    assert "'Z' is no home of this run" in refused.err
    assert "'soon' is no year" in refused.err
