"""A run takes the newest version of a record: a repair releases its home once it is verified."""

from datetime import date
from typing import Any

import polars as pl
import pytest
from cli_helpers import Stock, triage
from record_rows import REPAIR, Shelf
from sound_home import SOUND_HOME

pytestmark = pytest.mark.usefixtures("plain_runs")

SOUND: dict[str, Any] = {
    **SOUND_HOME,
    "measure_code": "loft_topup",
    "measure_material": "mineral_wool",
    "measure_thickness_mm": 100,
    "latitude": 51.5,
    "longitude": -0.4,
    "surveyor_id": "N3",
}
LOOK: dict[str, Any] = {
    "building_part": "main",
    "survey_date": date(2026, 7, 10),
    "survey_method": "opened_up",
    "surveyor_id": "N3",
    "survey_reach_inside": "opened_up",
    "survey_reach_outside": "external_close",
    "gutter_condition": "good",
}
MADE: dict[str, Any] = REPAIR | {
    "repair_type": "gutter_valley",
    "trigger_rule_ids": "W04",
    "defect_location": "rear gutter",
    "ordered_on": date(2026, 4, 20),
    "started_on": date(2026, 5, 28),
    "completed_on": date(2026, 6, 1),
    "mc_before_pct": None,
    "mc_after_pct": None,
    "mc_after_date": None,
    "repair_verified": "no",
    "verified_by": None,
    "verified_on": None,
}
VERIFIED = {"repair_verified": "yes", "verified_by": "Q7", "verified_on": date(2026, 7, 10)}
SAFE, FIX = "safe-to-insulate", "fix-water-first"


def _queues(stock: Stock, name: str) -> dict[str, str]:
    out = stock.folder / "runs" / name
    answer = triage("run", stock.programme, "--out", out)
    assert answer.code == 0, answer.err
    table = pl.read_parquet(out / "queue.parquet")
    return dict(table.select("property_id", "queue").iter_rows())


def _survey(stock: Stock, name: str, rows: dict[str, dict[str, Any]]) -> None:
    heads = list(next(iter(rows.values())))
    lines = [[home, *(row[head] for head in heads)] for home, row in rows.items()]
    stock.survey([["property_id", *heads], *lines], name=name)


def test_a_repair_that_is_verified_in_a_second_record_moves_the_home(shelf: Shelf) -> None:
    stock = shelf.stock
    failed = SOUND | {"gutter_condition": "failed"}
    (stock.folder / "surveys" / "survey.xlsx").unlink()
    _survey(stock, "first.xlsx", {"H1": failed, "H2": SOUND, "H3": failed})
    assert _queues(stock, "first") == {"H1": FIX, "H2": SAFE, "H3": FIX}
    _survey(stock, "look.xlsx", {"H1": LOOK})

    def record(name: str, row: dict[str, Any]) -> None:
        file = shelf.file(name, repair=[row])
        answer = triage("record", file, "--programme", stock.programme, "--json")
        assert answer.code == 0, answer.err
        assert answer.json["rows"]["kept"] == 1

    record("made.xlsx", MADE)
    made = _queues(stock, "made")
    assert made["H1"] != SAFE
    record("verified.xlsx", MADE | VERIFIED)
    assert _queues(stock, "verified") == {"H1": SAFE, "H2": SAFE, "H3": FIX}
    record("failed.xlsx", MADE | VERIFIED | {"repair_verified": "failed", "reopened_count": 1})
    assert _queues(stock, "failed")["H1"] != SAFE
    assert shelf.load().tables["repair"]["version"].to_list() == [3]
