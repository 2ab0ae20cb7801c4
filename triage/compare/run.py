"""Compares two finished runs."""

from collections.abc import Callable
from pathlib import Path

import polars as pl

from triage.compare.causes import attribute
from triage.compare.digests import TABLES
from triage.compare.moves import OF_ROWS, possible_causes, side_by_side
from triage.compare.result import Comparison, state
from triage.compare.sides import FACTORS, TOOL, Side, differing, open_side, same_programme
from triage.compare.words import worded
from triage.compare.write import write_comparison
from triage.errors import StoreError
from triage.runs import STORE
from triage.store import Store


def compare_runs(
    before: Path, after: Path, out: Path | None, say: Callable[[str], None]
) -> Comparison:
    """Compare two runs of one programme, row by row.

    Parameters
    ----------
    before, after
        Folders of finished runs.
    out
        Folder to make for the tables and the workbook; None writes nothing.
    say
        Told what is about to happen.

    Raises
    ------
    StoreError
        A folder that is no run, runs of two programmes, or an output folder that exists.
    """
    sides = open_side(before, second=False), open_side(after, second=True)
    same_programme(*sides)
    say("setting the runs side by side")
    with (
        Store(before / STORE, read_only=True) as was,
        Store(after / STORE, read_only=True) as now,
    ):
        _refuse_older(was, now)
        rows, told = side_by_side(was, now)
        homes = pl.concat(
            store.table("home").select("property_id", "building_id") for store in (was, now)
        )
    rows = rows.with_columns(state("from_").alias("from_state"), state("to_").alias("to_state"))
    differs = _differing(*sides, rows)
    changed = rows.filter(pl.col("change") != "same")
    possible = changed.select(possible_causes(changed, differs))
    found = attribute(changed, possible, sides, homes, say)
    moved = worded(changed.hstack(found.table), told, sides)
    made = Comparison(sides[0].record, sides[1].record, rows, moved, tuple(differs), found.notes)
    return made if out is None else write_comparison(made, out)


def _refuse_older(*stores: Store) -> None:
    """Refuse runs whose stores lack tables that this version compares."""
    for store in stores:
        lacks = sorted({*TABLES} - {*store.tables()})
        if lacks:
            what = f"an earlier version of the tool made this run: it has no table {lacks[0]!r}"
            raise StoreError(what, str(store.path), "run the programme again")


def _differing(before: Side, after: Side, rows: pl.DataFrame) -> list[str]:
    """What is not the same in the two runs, from their inputs or else from records and hashes."""
    tool = [TOOL] if before.tool != after.tool else []
    if before.inputs is not None and after.inputs is not None:
        return [*differing(before.inputs, after.inputs), *tool]
    was, now = before.record, after.record
    maybe = {
        **rows.select(test.any() for test in possible_causes(rows, [*OF_ROWS])).row(0, named=True),
        "expiry": was["as_of"] != now["as_of"],
        "policy": was["policy"]["sha256"] != now["policy"]["sha256"],
        "proposal": "proposals" not in was or was["proposals"] != now.get("proposals"),
        "product": was["materials"] != now["materials"],
    }
    return [*(factor for factor in FACTORS if maybe[factor]), *tool]
