"""One home from its first sheet to repaired, proven, safe, expired, open again and accepted.

Every state is a run of the real command line on a later day, with the documents that came in since.
What should follow from each stands in the job notes: 5.2 (precedence), 5.6 (age), 5.7 (repairs),
5.8 (decisions).
"""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from pathlib import Path
from typing import Any

import duckdb
import openpyxl
import polars as pl
import pytest
from cli_helpers import Stock, triage, write_book
from story_home import HOME, survey

FIX, REVIEW, SAFE = "fix-water-first", "specialist-review", "safe-to-insulate"
PROGRAMME = """name = "One roof"
programme_id = "one-roof"
country_code = "GB"
as_of = {as_of}

[[sources]]
files = "surveys/*.xlsx"
"""
REPAIR: dict[str, Any] = {
    "repair_id": "R-1",
    "property_id": HOME,
    "building_part": "main",
    "trigger_rule_ids": "W02; W09",
    "defect_location": "rear slope",
    "repair_type": "patch_covering",
    "ordered_on": date(2023, 3, 6),
    "started_on": date(2023, 5, 8),
    "completed_on": date(2023, 5, 10),
    "contractor_id": "C4",
    "evidence_before": "before.jpg",
    "evidence_after": "after.jpg",
    "mc_before_pct": 24,
}
PROOF: dict[str, Any] = {
    **REPAIR,
    "water_test": "rain_event",
    "rain_event_mm": 14,
    "mc_after_pct": 15,
    "mc_after_date": date(2023, 8, 1),
    "repair_verified": "yes",
    "verified_by": "Q7",
    "verified_on": date(2023, 8, 1),
}
DECISION: dict[str, Any] = {
    "decision_id": "D-1",
    "property_id": HOME,
    "building_part": "main",
    "measure_code": "loft_topup",
    "rule_ids": "W02",
    "decision": "accept_with_conditions",
    "reason_code": "monitoring",
    "reason": "two slates slipped over the porch, outside the insulated ceiling",
    "evidence_refs": "report-14.pdf",
    "conditions": "refix both slates before the winter",
    "decided_by": "S1",
    "competence": "building_surveyor",
    "second_person": None,
    "decided_on": date(2026, 3, 9),
    "expires_on": date(2026, 9, 8),
}


@dataclass(frozen=True)
class State:
    """What one run says of the home, and the documents that say it."""

    folder: Path
    row: dict[str, Any]
    record: dict[str, Any]
    told: str

    def answer(self, rule: str) -> str:
        """What the stored result of a rule says in words."""
        results = pl.read_parquet(self.folder / "rule_results.parquet")
        return ("not_applicable", "clear", "", "undecidable", "expired", "", "", "fires")[
            results[rule].item()
        ]

    def sheet(self) -> dict[str, Any]:
        """The home's line in the workbook, on the sheet of its queue."""
        book = openpyxl.load_workbook(self.folder / "queues.xlsx")
        rows = [[cell.value for cell in row] for row in book[self.row["queue"]].iter_rows()]
        head = next(row for row in rows if row[0] == "Home")
        (mine,) = [row for row in rows if row[0] == HOME]
        others = {q for q in (FIX, REVIEW, SAFE) if q != self.row["queue"]}
        elsewhere = [row[0].value for q in others for row in book[q].iter_rows()]
        assert HOME not in elsewhere
        return dict(zip(head, mine, strict=True))


@dataclass(frozen=True)
class Story:
    stock: Stock

    def survey(self, number: int, on: date, **found: Any) -> None:
        self.stock.survey(survey(number, on, **found), f"visit_{number}.xlsx")

    def record(self, on: date, name: str, kind: str, row: Mapping[str, Any]) -> str:
        """Take one record in from a workbook of its own; it must be kept."""
        self.stock.write(PROGRAMME.format(as_of=on.isoformat()))
        book = write_book(self.stock.folder / name, {kind: [list(row), list(row.values())]})
        done = triage("record", book, "--programme", self.stock.programme)
        assert done.code == 0, done.out + done.err
        return done.out

    def on(self, day: date) -> State:
        self.stock.write(PROGRAMME.format(as_of=day.isoformat()))
        folder = self.stock.folder / "runs" / day.isoformat()
        done = triage("run", self.stock.programme, "--out", folder, "--json")
        assert done.code == 0, done.err
        (row,) = pl.read_parquet(folder / "queue.parquet").to_dicts()
        told = triage("explain", self.stock.programme, HOME, "--run", folder)
        assert told.code == 0, told.err
        return State(folder, row, done.json, " ".join(told.out.split()))


@pytest.fixture(scope="module")
def states(tmp_path_factory: pytest.TempPathFactory) -> dict[str, State]:
    """The whole story, told once, in the order in which it happened."""
    story = Story(Stock(tmp_path_factory.mktemp("story")).write())
    states: dict[str, State] = {}
    wet = {"roof_covering_condition": "poor", "timber_mc_pct": 24}
    story.survey(1, date(2023, 2, 16), **wet)
    states["first sheet"] = story.on(date(2023, 3, 1))
    story.record(date(2023, 5, 20), "repair.xlsx", "repair", REPAIR)
    states["fixed"] = story.on(date(2023, 5, 20))
    story.record(date(2023, 8, 15), "repair_shown.xlsx", "repair", PROOF)
    states["proven"] = story.on(date(2023, 8, 15))
    story.survey(2, date(2024, 1, 20))
    states["safe"] = story.on(date(2024, 2, 1))
    states["expired"] = story.on(date(2026, 2, 10))
    story.survey(3, date(2026, 2, 20), roof_covering_condition="poor")
    states["open again"] = story.on(date(2026, 3, 1))
    story.record(date(2026, 3, 10), "decision.xlsx", "decision", DECISION)
    states["accepted"] = story.on(date(2026, 3, 10))
    states["decision over"] = story.on(date(2026, 9, 20))
    return states


def _stands(state: State) -> tuple[str, str | None]:
    return state.row["queue"], state.row["lane"]


def test_first_sheet_finds_a_worn_covering_and_wet_timber(states: dict[str, State]) -> None:
    state = states["first sheet"]
    assert _stands(state) == (FIX, None)
    assert state.row["fired"] == ["W09", "W02"]  # severity 5 before 4
    assert state.sheet()["Other reasons"] == "Roof covering defective (W02)"
    assert "because: timber_mc_pct = 24" in state.told
    assert "repairs on record" not in state.told


def test_a_repair_that_nobody_checked_changes_no_queue(states: dict[str, State]) -> None:
    state = states["fixed"]
    assert _stands(state) == (FIX, None)
    assert state.row["fired"] == ["W09", "W02", "W10"]
    due = state.sheet()["Repairs on record"]
    assert due.startswith("R-1 (patch covering): not verified by somebody other than")
    assert "drying until 2023-06-09" in due  # 30 days after 10 May
    assert due in state.told


def test_a_proven_repair_still_wants_a_second_look_at_the_covering(
    states: dict[str, State],
) -> None:
    state = states["proven"]
    assert _stands(state) == (FIX, None)
    # The reading after the repair answers W09; nobody has said what the covering looks like now.
    assert (state.row["fired"], state.answer("W09"), state.answer("W10")) == (
        ["W02"],
        "clear",
        "clear",
    )
    assert state.sheet()["Repairs on record"] == "R-1 (patch covering): shown to work"


def test_the_second_look_lets_the_home_go(states: dict[str, State]) -> None:
    state = states["safe"]
    assert _stands(state) == (SAFE, None)
    assert state.row["released"]
    assert state.row["expires_on"] == date(2025, 1, 20)  # 12 months for the reading (5.6)
    assert state.sheet()["Release"] == "released"
    assert "good until: 2025-01-20" in state.told
    assert state.record["queues"][SAFE] == 1


def test_an_old_look_holds_nothing_up_but_clears_nothing_either(states: dict[str, State]) -> None:
    state = states["expired"]
    assert _stands(state) == (REVIEW, "expired")
    assert state.row["fired"] == []
    assert {"roof_covering_condition", "roof_leak_evidence"} <= set(state.row["expired"])
    assert state.sheet()["Next action"].startswith("Refresh: ")
    assert "SPECIALIST REVIEW (expired)" in state.told


def test_a_new_defect_opens_the_home_again(states: dict[str, State]) -> None:
    state = states["open again"]
    assert _stands(state) == (FIX, None)  # the old look, out of date, cannot dispute the new one
    assert state.row["fired"] == ["W02"]
    assert state.row["repair_notes"] == ["R-1 (patch covering): shown to work"]


def test_a_specialist_accepts_it_on_the_record_and_the_rule_stays_visible(
    states: dict[str, State],
) -> None:
    state = states["accepted"]
    assert _stands(state) == (SAFE, None)
    assert state.row["overridden"] == ["W02"]
    assert state.answer("W02") == "fires"
    assert not state.row["released"]
    assert state.row["expires_on"] == date(2026, 9, 8)  # the decision ends before the evidence
    page = state.sheet()
    assert page["Release"] == "checks outstanding"
    assert "refix both slates before the winter" in page["Checks before start"]
    assert "W02" in page["Accepted by a specialist"]
    assert "S1" in state.told
    assert "report-14.pdf" in state.told
    assert "roof_covering_condition = poor" in state.told
    assert state.record["accepted_by_decision"] == 1


def test_when_the_decision_has_run_out_the_rule_holds_again(states: dict[str, State]) -> None:
    state = states["decision over"]
    assert _stands(state) == (FIX, None)
    assert (state.row["fired"], state.row["overridden"]) == (["W02"], [])


def test_every_answer_that_was_ever_given_is_still_there(states: dict[str, State]) -> None:
    last = states["decision over"].folder / "store.duckdb"
    with duckdb.connect(str(last), read_only=True) as store:
        seen = "SELECT survey_date, roof_covering_condition FROM clean_survey ORDER BY 1"
        assert store.sql(seen).fetchall() == [
            (date(2023, 2, 16), "poor"),
            (date(2024, 1, 20), "good"),
            (date(2026, 2, 20), "poor"),
        ]


def test_earlier_runs_still_say_what_they_said(states: dict[str, State]) -> None:
    first = states["first sheet"]
    again = pl.read_parquet(first.folder / "queue.parquet").row(0, named=True)
    assert again == first.row
