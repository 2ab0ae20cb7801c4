"""Moves between two runs as they are drawn, against a count home by home."""

from collections import Counter, defaultdict
from typing import Any

import numpy as np
import polars as pl
import pytest

from triage.compare.pictures import figures, home_ends, moves_between, row_ends
from triage.report.document import Flows

SAFE, FIX, REVIEW = "safe-to-insulate", "fix-water-first", "specialist-review"
NEW, GONE, NOTHING, ABSENT = (
    "new to the stock",
    "left the stock",
    "nothing to judge",
    "not proposed",
)
RECORD = {
    "run_id": "abc",
    "as_of": "2026-10-31",
    "policy": {"name": "default", "version": "1.0"},
}


def _rows(seed: int, homes: int) -> list[dict[str, Any]]:
    """Home-part-measures of either run, every kind of change among them."""
    rng = np.random.default_rng(seed)
    queues = np.array([SAFE, FIX, REVIEW])
    rows = []
    for number in range(homes):
        change = rng.choice(["new", "gone", "", "", "", ""])
        for measure in range(int(rng.integers(1, 4))):
            was, now = (str(q) for q in rng.choice(queues, 2))
            dropped = rng.random()
            rows.append(
                {
                    "property_id": f"H{number}",
                    "measure_code": f"m{measure}",
                    "from_queue": None
                    if change == "new" or (not change and dropped < 0.1)
                    else was,
                    "to_queue": None if change == "gone" or (not change and dropped > 0.9) else now,
                    "home_change": change or None,
                }
            )
    return rows


def _frame(rows: list[dict[str, Any]]) -> pl.DataFrame:
    names = ("property_id", "measure_code", "from_queue", "to_queue", "home_change")
    return pl.DataFrame(rows, schema=dict.fromkeys(names, pl.String))


def _worst(queues: list[str | None], otherwise: str) -> str:
    return next((q for q in (FIX, REVIEW, SAFE) if q in queues), otherwise)


@pytest.mark.parametrize("seed", range(4))
def test_every_home_and_every_row_is_in_one_band(seed: int) -> None:
    rows = _rows(seed, 150)
    of_home = defaultdict(list)
    for row in rows:
        of_home[row["property_id"]].append(row)
    homes = Counter(
        (
            _worst(
                [r["from_queue"] for r in mine], NEW if mine[0]["home_change"] == "new" else NOTHING
            ),
            _worst(
                [r["to_queue"] for r in mine], GONE if mine[0]["home_change"] == "gone" else NOTHING
            ),
        )
        for mine in of_home.values()
    )
    moves = moves_between(home_ends(_frame(rows)), NOTHING)
    assert {way: n for way, n in moves.flows.items() if n} == homes
    assert (moves.whole, sum(moves.was.values())) == (150, 150)
    each = Counter(
        (
            r["from_queue"] or (NEW if r["home_change"] == "new" else ABSENT),
            r["to_queue"] or (GONE if r["home_change"] == "gone" else ABSENT),
        )
        for r in rows
    )
    moves = moves_between(row_ends(_frame(rows)), ABSENT)
    assert {way: n for way, n in moves.flows.items() if n} == each
    drawn = figures(_frame(rows), RECORD, RECORD)
    for figure, count in zip(drawn, (homes, each), strict=True):
        (mark,) = figure.marks
        assert isinstance(mark, Flows)
        told = sorted((flow.homes, flow.is_move) for flow in mark.flows)
        assert told == sorted((n, was != now) for (was, now), n in count.items())
    assert "the height of a band is its home-part-measures" in drawn[1].unit


def test_two_runs_without_a_row_have_no_picture() -> None:
    assert figures(_frame([]), RECORD, RECORD) == []
