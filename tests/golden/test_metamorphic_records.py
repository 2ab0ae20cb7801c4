"""Records of generated portfolios: in any order, in any number of files, they come to the same.

They are taken in as `triage record` takes them. A decision of a specialist is a record too: it may
let a home through, but what fired stays on the page.
"""

from collections.abc import Mapping, Sequence
from datetime import date, timedelta
from random import Random
from typing import Any

import polars as pl
import pytest
from cli_helpers import LONG
from portfolio_files import ID, Outcome, assert_same, judge
from portfolios import Book, portfolio
from record_rows import DECISION, EVENT, INSPECTION, OPENING, READING, REPAIR
from rule_homes import AS_OF, FIX, POLICY, SAFE

from triage.records.check_decisions import is_never_accepted
from triage.rules.codes import FIRES

pytestmark = pytest.mark.usefixtures("plain_runs")

Rows = list[dict[str, Any]]
SEED = 5
_DECIDED = AS_OF - timedelta(days=3)
_BASES = {rule.base for rule in POLICY.rules.values()}


@pytest.fixture(scope="module")
def books() -> list[Book]:
    return portfolio(SEED, homes=100)


@pytest.fixture(scope="module")
def plain(books: list[Book]) -> Outcome:
    return judge(books)


@pytest.fixture(scope="module")
def records(plain: Outcome) -> dict[str, Rows]:
    return {**_happened(plain), "decision": _accepted(plain)}


@pytest.fixture(scope="module")
def recorded(books: list[Book], records: Mapping[str, Rows]) -> Outcome:
    return judge(books, records)


def _may_accept(name: str) -> bool:
    rule = POLICY.rules[name]
    return not any(is_never_accepted(r) for r in POLICY.rules.values() if r.base == rule.base)


def _accepted(plain: Outcome) -> Rows:
    """A decision of two people on everything that fired and that may be accepted."""
    rows = []
    for row in plain.queue.filter(pl.col("fired").list.len() > 0).to_dicts():
        rules = [name for name in row["fired"] if _may_accept(name)]
        if rules:
            own = {k: row[k] for k in ID} | {"rule_ids": "; ".join(rules)}
            when = {"decided_on": _DECIDED, "expires_on": date(2027, 4, 1)}
            two = {"decision": "accept", "conditions": None, "second_person": "T. Birch"}
            rows.append({**DECISION, **own, **when, **two, "decision_id": f"D-{len(rows)}"})
    return rows


def _happened(plain: Outcome) -> dict[str, Rows]:
    """Repairs, events, readings and openings at homes drawn by chance."""
    dice = Random(SEED)
    parts = plain.queue.select("property_id", "building_part").unique().sort(pl.all()).rows()
    made: dict[str, Rows] = {k: [] for k in ("repair", "event", "inspection", "opening", "reading")}
    fired = plain.queue.filter(pl.col("queue") == FIX).unique(ID[:2], maintain_order=True)
    mended = fired.select(*ID[:2], pl.col("fired").list.join("; ")).rows()
    for n, (home, part, rules) in enumerate(mended):
        at = {"property_id": home, "building_part": part, "repair_id": f"R-{n}"}
        made["repair"].append({**REPAIR, **at, "trigger_rule_ids": rules})
    for n, (home, part) in enumerate(dice.sample(parts, 20)):
        on = {"property_id": home, "building_part": part}
        made["event"].append(
            {
                **EVENT,
                "event_id": f"E-{n}",
                "event_type": dice.choice(("storm", "leak_report", "new_household")),
                "event_on": AS_OF - timedelta(days=dice.choice((30, 300))),
                "property_id": on["property_id"],
            }
        )
    for n, (home, part) in enumerate(dice.sample(parts, 20)):
        at = {"property_id": home, "building_part": part, "inspection_id": f"I-{n}"}
        wet = {"timber_mc_max_pct": dice.choice((15, 19, 27)), "openings_count": 1}
        made["inspection"].append({**INSPECTION, **at, **wet, "readings_n": 1})
        opened = {"opening_id": f"O-{n}", "inspection_id": f"I-{n}"}
        made["opening"].append({**OPENING, **opened, "timber_mc_pct": dice.choice((12, 18, 24))})
        taken = {"reading_id": f"M-{n}", "survey_id": f"O-{n}", "value": dice.choice((13.5, 22))}
        made["reading"].append({**READING, **taken, "reading_date": date(2026, 4, 20)})
    return made


def test_the_records_count(plain: Outcome, recorded: Outcome, records: Mapping[str, Rows]) -> None:
    """Otherwise the other tests could not fail."""
    assert min(len(rows) for rows in records.values()) >= 4, {k: len(v) for k, v in records.items()}
    both = plain.queue.join(recorded.queue, on=ID, suffix="_now", nulls_equal=True)
    assert both.height == plain.queue.height  # foam found adds rows, nothing is dropped
    moved = both.filter(pl.col("queue") != pl.col("queue_now"))
    assert (moved["queue_now"] == SAFE).sum() >= 3
    assert (moved["queue"] == SAFE).sum() >= 3
    assert both.filter(pl.col("repair_notes_now").list.len() > 0).height >= 4


def _shuffled(records: Mapping[str, Rows]) -> dict[str, Rows]:
    dice = Random(1)
    return {kind: dice.sample(rows, len(rows)) for kind, rows in reversed(records.items())}


def _halves(records: Mapping[str, Rows]) -> Sequence[dict[str, Rows]]:
    """Two batches by number, so that readings and openings go with their inspection.

    A reading whose visit is not known yet would be refused, and that is right.
    """

    def is_odd(row: Mapping[str, Any]) -> bool:
        return int(str(next(iter(row.values()))).rpartition("-")[2]) % 2 == 1

    return [
        {kind: [row for row in rows if is_odd(row) == odd] for kind, rows in records.items()}
        for odd in (False, True)
    ]


ORDERS = ("shuffled", "second batch first")


@pytest.mark.parametrize("order", [*ORDERS, *(("two batches", "again") if LONG else ())])
def test_order_and_batches_change_nothing(
    order: str, books: list[Book], records: Mapping[str, Rows], recorded: Outcome
) -> None:
    batches = {
        "shuffled": [_shuffled(records)],
        "two batches": _halves(records),
        "second batch first": _halves(_shuffled(records))[::-1],
        "again": [records, _shuffled(records)],
    }[order]
    assert_same(judge(books, *batches), recorded)


def test_a_decision_hides_no_fired_rule(
    books: list[Book], plain: Outcome, records: Mapping[str, Rows]
) -> None:
    """The answers of the rules are the same; what was accepted is named with who and why."""
    decided = judge(books, {"decision": records["decision"]})
    for name in ("rule_result", "evidence", "quantity"):
        assert plain.tables[name].equals(decided.tables[name]), name
    told = {(d["property_id"], d["building_part"], d["measure_code"]) for d in records["decision"]}
    freed = 0
    for was, now in zip(plain.queue.to_dicts(), decided.queue.to_dicts(), strict=True):
        key = tuple(was[k] for k in ID)
        assert key == tuple(now[k] for k in ID)
        assert set(was["fired"]) == set(now["fired"]) | set(now["overridden"]), key
        assert not set(now["fired"]) & set(now["overridden"]), key
        assert bool(now["overridden"]) <= (key in told), key
        for rule in now["overridden"]:
            assert _may_accept(rule)
            note = " ".join(n for n in now["decision_notes"] if n.startswith(f"{rule} accepted"))
            assert DECISION["decided_by"] in note, (key, rule)
            assert "T. Birch" in note, (key, rule)
        if any(not _may_accept(rule) for rule in was["fired"]):
            assert now["queue"] != SAFE, key
        freed += was["queue"] != SAFE and now["queue"] == SAFE
    assert freed >= 3
    overridden = decided.queue.filter(pl.col("overridden").list.len() > 0)
    assert overridden.height >= 10
    shown = overridden.join(decided.tables["rule_result"], on=ID, nulls_equal=True).to_dicts()
    assert all(row[rule] == FIRES for row in shown for rule in row["overridden"])
