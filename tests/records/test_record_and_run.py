"""Records and runs together: a proven repair moves a home, a visit list comes back to its run."""

import subprocess
from datetime import date
from pathlib import Path
from typing import Any

import pytest
from cli_helpers import command, triage
from record_rows import ANSWER, REPAIR, Row, Shelf

from triage.intake.answer_ids import answer_id

pytestmark = pytest.mark.usefixtures("plain_runs")

SURVEYED = date(2026, 1, 10)
FIXED = REPAIR | {
    "repair_type": "gutter",
    "trigger_rule_ids": "W03",
    "defect_location": "rear gutter",
    "mc_before_pct": None,
    "mc_after_pct": None,
    "mc_after_date": None,
}
ORDERED = FIXED | dict.fromkeys(
    ("completed_on", "evidence_after", "water_test", "rain_event_mm", "verified_by", "verified_on")
)
ORDERED["repair_verified"] = "no"


def _record(shelf: Shelf, *words: object) -> Any:
    return triage("record", *words, "--programme", shelf.stock.programme, "--json")


def _run(shelf: Shelf, name: str) -> tuple[dict[str, Any], Path]:
    out = shelf.folder / "runs" / name
    answer = triage("run", shelf.stock.programme, "--out", out, "--json")
    assert answer.code == 0, answer.err
    return answer.json, out


def _answers(run_id: str) -> list[Row]:
    key = answer_id(run_id, "H1", "main", "gutter_condition")
    return [ANSWER | {"answer_id": key}]


def test_a_visit_list_of_another_run_is_refused_at_its_ids(shelf: Shelf) -> None:
    told, out = _run(shelf, "october")
    mine, other = str(told["run_id"]), "fedcba987654"
    alien = shelf.file("alien.xlsx", answer=_answers(other))
    for words in ((), ("--run", out)):
        answer = _record(shelf, alien, *words)
        assert answer.code == 1
        (problem,) = [each for each in answer.json["problems"] if each["refused"]]
        place = (problem["file"], problem["sheet"], problem["row"], problem["column"])
        assert (problem["problem"], *place) == ("other_run", "alien.xlsx", "answer", 2, "A")
        assert other in problem["message"]
    both = shelf.file("both.xlsx", answer=[*_answers(mine), *_answers(other)])
    assert _record(shelf, both).json["rows"]["kept"] == 1
    assert shelf.load().tables["answer"]["answer_id"].to_list() == [_answers(mine)[0]["answer_id"]]


def test_without_a_run_to_compare_with_a_list_is_of_one_run(shelf: Shelf) -> None:
    file = shelf.file("two.xlsx", answer=[*_answers("aaaaaaaaaaaa"), *_answers("bbbbbbbbbbbb")])
    answer = _record(shelf, file)
    told = [(p["problem"], p["refused"], p["row"], p["column"]) for p in answer.json["problems"]]
    assert ("other_run", True, 3, "A") in told
    assert ("run_not_checked", False, 2, "A") in told


def test_a_run_that_is_none_stops_it(shelf: Shelf) -> None:
    file = shelf.file("one.xlsx", answer=_answers("aaaaaaaaaaaa"))
    assert _record(shelf, file, "--run", shelf.folder / "nowhere").code == 2
    assert not (shelf.folder / "records.duckdb").exists()


def test_two_processes_at_once_lose_nothing(shelf: Shelf) -> None:
    """One may be told that the store is locked; tried again, its records are there too."""
    files = [
        shelf.file(f"{n}.xlsx", repair=[REPAIR | {"repair_id": f"R-{n}", "property_id": home}])
        for n, home in enumerate(("H1", "H2"))
    ]
    words = [command("record", file, "--programme", shelf.stock.programme) for file in files]
    children = [
        subprocess.Popen(each, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True)
        for each in words
    ]
    for child, again in zip(children, words, strict=True):
        _, err = child.communicate(timeout=120)
        assert child.returncode in (0, 2), err
        if child.returncode == 2:
            assert "locked" in err
            assert subprocess.run(again, capture_output=True, check=False).returncode == 0
    held = shelf.load()
    assert held.tables["repair"]["repair_id"].to_list() == ["R-0", "R-1"]
    assert held.batches["batch"].to_list() == [1, 2]
