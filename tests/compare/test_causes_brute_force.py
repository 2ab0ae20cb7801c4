"""Causes against brute force: every mixture of old and new inputs run through the command line."""

from collections.abc import Iterable
from datetime import date
from itertools import product
from pathlib import Path
from typing import Any

import polars as pl
import pytest
from cli_helpers import triage, write_book
from compare_stock import DECISION, LOOK, REPAIR, Estate, compared, grid, home, moves

pytestmark = pytest.mark.usefixtures("plain_runs")

WIDER = ("[cavity_min_width_mm]\nvalue = 50.0", "[cavity_min_width_mm]\nvalue = 80.0")
FACTORS = ("new_evidence", "repair", "decision", "event", "expiry", "policy")
# What may happen to a home, and whether its gutter was seen failed, its survey is recent, and its
# cavity narrower than the limit of the other policy.
HOMES = [
    (f"H{number:03}", dict(zip((*FACTORS[:4], "failed", "recent", "narrow"), traits, strict=True)))
    for number, traits in enumerate(product((False, True), repeat=7))
]
State = tuple[str, str | None, bool]


def build(folder: Path, factors: Iterable[str]) -> Estate:
    """The estate from scratch, with some of the inputs of the second run and the others' first."""
    new = set(factors)
    estate = Estate(folder).write(
        as_of="2027-02-20" if "expiry" in new else "2026-10-31",
        more='policy = "ours"' if "policy" in new else "",
    )
    estate.pack("ours", *WIDER)
    first = [
        home(
            name,
            gutter_condition="failed" if traits["failed"] else "good",
            cavity_width_mm=75 if traits["narrow"] else 100,
            survey_date=date(2026, 6, 20) if traits["recent"] else date(2026, 2, 16),
        )
        for name, traits in HOMES
    ]
    estate.survey("first.xlsx", *first)
    if "new_evidence" in new:
        looks = [{"property_id": n, **LOOK} for n, traits in HOMES if traits["new_evidence"]]
        estate.survey("second.xlsx", *looks)
    sheets: dict[str, list[dict[str, Any]]] = {"repair": [], "decision": [], "event": []}
    for name, traits in HOMES:
        own = {"property_id": name}
        if {"repair"} <= new and traits["repair"]:
            sheets["repair"].append({**REPAIR, **own, "repair_id": f"R-{name}"})
        if {"decision"} <= new and traits["decision"]:
            accepts = {"decision_id": f"D-{name}", "rule_ids": "M05"}
            sheets["decision"].append({**DECISION, **own, **accepts})
        if {"event"} <= new and traits["event"]:
            told = {"event_id": f"E-{name}", "event_type": "storm", "reported_by": "D-2"}
            sheets["event"].append({**told, **own, "event_on": date(2026, 10, 20)})
    filled = {kind: grid(rows) for kind, rows in sheets.items() if rows}
    if filled:
        book = write_book(folder / "records.xlsx", filled)
        taken = triage("record", book, "--programme", estate.programme)
        assert taken.code == 0, taken.out + taken.err
    return estate


def states(run: Path) -> dict[str, State]:
    frame = pl.read_parquet(
        run / "queue.parquet", columns=["property_id", "queue", "lane", "released"]
    )
    return {name: (queue, lane, released) for name, queue, lane, released in frame.iter_rows()}


@pytest.mark.slow
def test_causes_are_those_of_brute_force(tmp_path: Path) -> None:
    def run(name: str, factors: Iterable[str]) -> Path:
        return build(tmp_path / name, factors).run("run")

    before, after = run("before", ()), run("after", FACTORS)
    was, now = states(before), states(after)
    back = {f: states(run(f"no_{f}", set(FACTORS) - {f})) for f in FACTORS}
    only = {f: states(run(f"only_{f}", {f})) for f in FACTORS}
    _, told = compared(before, after)
    expected = {}
    for name, _ in HOMES:
        if was[name] == now[name]:
            continue
        needed = [f for f in FACTORS if back[f][name] != now[name]]
        enough = [f for f in FACTORS if only[f][name] == now[name]]
        if needed:
            expected[name] = (needed, "alone" if len(needed) == 1 else "together")
        else:
            assert enough, f"{name} needs a mixture of three: not expected of these homes"
            expected[name] = (enough, "alone" if len(enough) == 1 else "either")
    found = {name: move[2:] for name, move in moves(told).items()}
    assert found == expected
    hows = {how for _, how in expected.values()}
    assert hows == {"alone", "together", "either"}
    assert {f for needed, _ in expected.values() for f in needed} == set(FACTORS)
    assert told["unexplained"] == []
