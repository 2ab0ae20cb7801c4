"""The calendar of the next 90 days: what ends when, and which home leaves the safe queue (5.6).

The whole-run tests compare it with runs as of the very days: the calendar must name exactly the
homes that are safe on the last good day and not on the day after.
"""

import json
from collections.abc import Iterable, Mapping
from datetime import date, timedelta
from pathlib import Path
from typing import Any

import fastexcel
import polars as pl
import pytest
from cli_helpers import Stock
from rule_homes import BASES, FIX, POLICY, REVIEW, SAFE, SOUND, Answer

from triage.rules.calendar import (
    AS_OF,
    calendar_span,
    days_to_judge,
    ending,
    expiry_calendar,
    later_queues,
    on_day,
    records_on_day,
)
from triage.rules.records import Records, no_records
from triage.rules.table import ID

TODAY, LAST = date(2026, 10, 31), date(2027, 1, 29)  # 31 October + 90 days
MOULD_DAY = date(2025, 12, 1)  # mould: 12 months (dry run Q9), so good up to 1 December 2026
MOULD_ENDS = date(2026, 12, 1)


def test_the_calendar_looks_90_days_ahead() -> None:
    assert TODAY + calendar_span(POLICY) == LAST


def _ids(*homes: str) -> dict[str, list[str]]:
    count = len(homes)
    return {
        "property_id": list(homes),
        "building_part": ["main"] * count,
        "measure_code": ["loft_topup"] * count,
    }


def _ends(*rows: tuple[str, str, date]) -> pl.DataFrame:
    homes, fields, days = zip(*rows, strict=True)
    return pl.DataFrame({**_ids(*homes), "field": fields, "expires_on": days})


def _queue(**queues: str) -> pl.DataFrame:
    lanes = [None if queue != REVIEW else "evidence_gap" for queue in queues.values()]
    return pl.DataFrame(
        {**_ids(*queues), "queue": list(queues.values()), "lane": lanes},
        schema_overrides={"lane": pl.String},
    )


def test_an_answer_is_listed_if_it_ends_within_the_span_and_no_other_is() -> None:
    until = pl.DataFrame(
        {
            **_ids("A", "B", "C"),
            "gutter_condition": [LAST, LAST + timedelta(days=1), None],
            "visible_mould": [TODAY, None, None],
        },
        schema_overrides={"gutter_condition": pl.Date, "visible_mould": pl.Date},
    )
    listed = ending(until, LAST).sort("field")
    assert listed.select("property_id", "field", "expires_on").rows() == [
        ("A", "gutter_condition", LAST),
        ("A", "visible_mould", TODAY),
    ]


def test_each_safe_home_is_judged_the_day_after_and_with_its_whole_building() -> None:
    ends = _ends(("A", "visible_mould", TODAY), ("F", "visible_mould", TODAY))
    places = pl.DataFrame({"property_id": ["A", "B", "F"], "building_id": ["B1", "B1", None]})
    days = days_to_judge(ends, _queue(A=SAFE, B=FIX, F=FIX), places)
    assert days.rows() == [("A", date(2026, 11, 1)), ("B", date(2026, 11, 1))]


def _later(*rows: tuple[str, date, str, str | None, list[str]]) -> pl.DataFrame:
    homes, days, queues, lanes, fields = zip(*rows, strict=True)
    return pl.DataFrame(
        {
            **_ids(*homes),
            AS_OF: days,
            "queue": queues,
            "lane": lanes,
            "open_fields": [list(names) for names in fields],
        },
        schema_overrides={"lane": pl.String, "open_fields": pl.List(pl.String)},
    )


def test_a_row_leaves_once_and_for_the_answers_that_it_then_asks_for() -> None:
    first, second = date(2026, 11, 10), date(2026, 12, 5)
    day = timedelta(days=1)
    ends = _ends(
        ("A", "chimney_condition", first),
        ("A", "gutter_condition", second),
        ("A", "parapet_condition", second),
        ("A", "visible_mould", LAST),
        ("B", "visible_mould", first),
    )
    asks = ["gutter_condition", "roof_leak_evidence"]
    later = _later(
        ("A", first + day, SAFE, None, []),
        ("A", second + day, REVIEW, "expired", asks),
        ("A", LAST + day, REVIEW, "expired", [*asks, "visible_mould"]),
    )
    told = expiry_calendar(ends, _queue(A=SAFE, B=FIX), later)
    assert told.select("property_id", "field", "leaves_safe", "becomes", "becomes_lane").rows() == [
        ("A", "chimney_condition", False, None, None),
        ("B", "visible_mould", False, None, None),
        ("A", "gutter_condition", True, REVIEW, "expired"),
        ("A", "parapet_condition", False, None, None),
        ("A", "visible_mould", False, None, None),
    ]


def test_where_the_row_asks_for_none_of_them_all_that_end_that_day_are_the_cause() -> None:
    ends = _ends(("A", "decision", TODAY), ("A", "visible_mould", TODAY))
    later = _later(("A", TODAY + timedelta(days=1), FIX, None, []))
    told = expiry_calendar(ends, _queue(A=SAFE), later)
    assert told["leaves_safe"].to_list() == [True, True]
    assert told["becomes"].to_list() == [FIX, FIX]


def test_copies_of_a_home_keep_apart_and_find_their_name_again() -> None:
    days = pl.DataFrame({"property_id": ["A", "A"], AS_OF: [TODAY, LAST]})
    rows = pl.DataFrame({"property_id": ["A", "B"], "building_id": ["B1", "B1"], "x": [1, 2]})
    copies = on_day(rows, days)
    assert copies["property_id"].n_unique() == copies["building_id"].n_unique() == 2
    assert copies["x"].to_list() == [1, 1]
    named = copies.with_columns(
        building_part=pl.lit("main"),
        measure_code=pl.lit("m"),
        queue=pl.lit(SAFE),
        lane=pl.lit(None, pl.String),
        open_fields=pl.lit([], pl.List(pl.String)),
    )
    back = later_queues(named)
    assert back.select("property_id", AS_OF).rows() == [("A", TODAY), ("A", LAST)]


def test_a_decision_counts_up_to_its_last_day() -> None:
    blank = no_records()
    decision = {"property_id": "A", "building_part": "main", "expires_on": MOULD_ENDS}
    decisions = pl.DataFrame(
        [{**dict.fromkeys(blank.decisions.columns), **decision}], schema=blank.decisions.schema
    )
    records = Records(blank.facts, blank.events, blank.repairs, decisions)
    days = pl.DataFrame(
        {"property_id": ["A", "A"], AS_OF: [MOULD_ENDS, MOULD_ENDS + timedelta(days=1)]}
    )
    kept = records_on_day(records, days)
    assert kept.decisions.height == 1
    assert kept.decisions["property_id"].item().endswith("2026-12-01")


# ---- whole runs ------------------------------------------------------------------------------

COLUMNS = ["survey_method", *(name for name, value in SOUND.items() if value is not None)]
HEAD = ["property_id", "building_part", "survey_id", "latitude", "longitude", "measure_code"]
Row = Mapping[str, Answer]


def _row(home: str, visit: str, facts: Row) -> list[object]:
    cells = [facts.get(name) for name in COLUMNS]
    joined = ["; ".join(cell) if isinstance(cell, list) else cell for cell in cells]
    return [home, "main", visit, 51.0, -1.3, "loft_topup", *joined]


def _visit(on: date, reach: str = "internal_void", **answers: Answer) -> Row:
    record = {"survey_date": on, "survey_method": "internal_void", "survey_reach_inside": reach}
    return {**record, **answers}


LOFT = {**BASES["loft"].facts, "survey_method": "internal_void"}
WITHOUT_MOULD = {**LOFT, "visible_mould": None}
HOMES: dict[str, list[Row]] = {
    "FRESH": [LOFT],  # surveyed in February 2026: nothing ends this year
    "LEAVES": [WITHOUT_MOULD, _visit(MOULD_DAY, visible_mould="none_seen")],
    # Opened up in 2025 and seen in 2026: the better answer ends, and the fresher one still counts.
    "STAYS": [
        WITHOUT_MOULD,
        _visit(MOULD_DAY, "opened_up", visible_mould="none_seen"),
        _visit(date(2026, 9, 1), visible_mould="none_seen"),
    ],
    "FAULTY": [
        {**WITHOUT_MOULD, "roof_leak_evidence": "active"},
        _visit(MOULD_DAY, visible_mould="none_seen"),
    ],
}


def _grid(homes: Mapping[str, Iterable[Row]]) -> list[list[object]]:
    rows = [
        _row(home, f"{home}-{n}", facts)
        for home, visits in homes.items()
        for n, facts in enumerate(visits)
    ]
    return [[*HEAD, *COLUMNS], *rows]


def _run(folder: Path, as_of: date) -> Path:
    folder.mkdir()
    stock = Stock(folder).write().survey(_grid(HOMES))
    text = stock.programme.read_text(encoding="utf-8")
    stock.programme.write_text(text.replace("2026-10-31", as_of.isoformat()), encoding="utf-8")
    done = stock.run("--json")
    assert done.code == 0, done.err
    return stock.out


@pytest.fixture(scope="module")
def runs(tmp_path_factory: pytest.TempPathFactory) -> dict[date, Path]:
    """The same programme as of today, of the last good day of the mould checks, and the next."""
    folder = tmp_path_factory.mktemp("calendar")
    days = (TODAY, MOULD_ENDS, MOULD_ENDS + timedelta(days=1))
    return {day: _run(folder / day.isoformat(), day) for day in days}


def _safe_homes(run: Path) -> set[str]:
    queue = pl.read_parquet(run / "queue.parquet")
    return set(queue.filter(pl.col("queue") == SAFE)["property_id"])


def test_the_homes_that_leave_are_those_that_a_run_of_that_day_finds(
    runs: dict[date, Path],
) -> None:
    calendar = pl.read_parquet(runs[TODAY] / "expiry_calendar.parquet")
    leaving = calendar.filter("leaves_safe")
    assert leaving.select("expires_on", "property_id", "field").rows() == [
        (MOULD_ENDS, "LEAVES", "visible_mould")
    ]
    assert leaving.select("becomes", "becomes_lane").rows() == [(REVIEW, "expired")]
    good, after = (_safe_homes(run) for day, run in runs.items() if day != TODAY)
    assert good == _safe_homes(runs[TODAY]) == {"FRESH", "LEAVES", "STAYS"}
    assert good - after == {"LEAVES"}


def test_what_ends_at_other_homes_is_listed_with_their_queues(runs: dict[date, Path]) -> None:
    calendar = pl.read_parquet(runs[TODAY] / "expiry_calendar.parquet")
    assert calendar.select("property_id", "field", "queue").rows() == [
        ("FAULTY", "visible_mould", FIX),
        ("LEAVES", "visible_mould", SAFE),
        ("STAYS", "visible_mould", SAFE),
    ]
    assert set(calendar["expires_on"]) == {MOULD_ENDS}
    assert calendar.columns[:4] == ["expires_on", *ID]


def test_the_calendar_is_in_the_record_the_table_the_csv_and_the_workbook(
    runs: dict[date, Path],
) -> None:
    run = runs[TODAY]
    said: dict[str, Any] = json.loads((run / "run.json").read_text("utf-8"))["expiry_calendar"]
    assert (said["days"], said["until"]) == (90, "2027-01-29")
    assert (said["answers"], said["homes"], said["homes_leaving_safe"]) == (3, 3, 1)
    assert said["first_leaves_on"] == "2026-12-01"
    assert said["by_month"] == [
        {"month": "2026-12", "answers": 3, "homes": 3, "homes_leaving_safe": 1}
    ]
    assert said["by_field"][0]["field"] == "visible_mould"
    csv = pl.read_csv(run / "expiry_calendar.csv", try_parse_dates=True)
    assert csv.equals(pl.read_parquet(run / "expiry_calendar.parquet"))
    book = fastexcel.read_excel(run / "queues.xlsx")
    sheet = book.load_sheet("Expiry calendar", header_row=2).to_polars()
    assert sheet["Home"].to_list() == ["FAULTY", "LEAVES", "STAYS"]
    assert sheet["Leaves safe-to-insulate"].to_list() == [None, "yes", None]


def test_two_runs_give_the_same_bytes(runs: dict[date, Path], tmp_path: Path) -> None:
    again = _run(tmp_path / "again", TODAY)
    for name in ("expiry_calendar.parquet", "expiry_calendar.csv", "contradictions.parquet"):
        assert (again / name).read_bytes() == (runs[TODAY] / name).read_bytes(), name
