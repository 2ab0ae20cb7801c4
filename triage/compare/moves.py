"""Rows of two runs side by side: what moved, and which of its inputs are not the same."""

from collections.abc import Sequence

import polars as pl

from triage.compare.digests import HASHES, NEAR, changed_pieces, digests, pieces
from triage.compare.judging import STATE
from triage.rules.codes import KEY
from triage.rules.table import ID
from triage.store import Store

_SHOWN = (*STATE, "main_rule", "reason", "expired")
_NAMES = ("measure_name", "building_id")
OF_ROWS = {
    "evidence": ("evidence", "written"),
    "repair": ("repair",),
    "decision": ("decision",),
    "event": ("event",),
    "place": ("place",),
}
"""Factors that differ home by home, and the hashes that say so; the others hold for all rows."""


def side_by_side(before: Store, after: Store) -> tuple[pl.DataFrame, pl.DataFrame]:
    """Every home-part-measure of either run.

    Returns
    -------
    tuple
        One row each, in key order: the key, `measure_name`, `building_id`, `from_…` and `to_…` of
        queue, lane, release, main rule, reason and expired fields, `change` (same, moved, new,
        gone),
        `home_change` (new, gone or null), `was_…` and `is_…` hashes, and `same_inputs`.
        And where changes came from: `part`, the key, `told`.
    """
    found = [pieces(before), pieces(after)]
    homes = [store.table("home").select("property_id", "building_id") for store in (before, after)]
    sums = [digests(*pair) for pair in zip(found, homes, strict=True)]
    rows = _queues(before, after)
    for prefix, table in zip(("was_", "is_"), sums, strict=True):
        named = table.rename({name: prefix + name for name in HASHES})
        rows = rows.join(named, on=KEY, how="left", maintain_order="left")
    known = [frame["property_id"].implode() for frame in homes]
    same = pl.all_horizontal(_same(name) for name in HASHES)
    rows = rows.with_columns(
        pl.when(~pl.col("property_id").is_in(known[0]))
        .then(pl.lit("new"))
        .when(~pl.col("property_id").is_in(known[1]))
        .then(pl.lit("gone"))
        .alias("home_change"),
        same.alias("same_inputs"),
    )
    return rows, changed_pieces(*found)


def _same(name: str) -> pl.Expr:
    return pl.col(f"was_{name}").eq_missing(pl.col(f"is_{name}"))


def _queues(before: Store, after: Store) -> pl.DataFrame:
    was, now = (
        store.table("queue").select(
            *ID, *_NAMES, *(pl.col(name).alias(prefix + name) for name in _SHOWN)
        )
        for store, prefix in ((before, "from_"), (after, "to_"))
    )
    rows = was.join(now, on=ID, how="full", coalesce=True, suffix="_now").sort(ID)
    names = [pl.coalesce(f"{name}_now", name).alias(name) for name in _NAMES]
    moved = pl.any_horizontal(pl.col(f"from_{n}").ne_missing(pl.col(f"to_{n}")) for n in STATE)
    change = (
        pl.when(pl.col("from_queue").is_null())
        .then(pl.lit("new"))
        .when(pl.col("to_queue").is_null())
        .then(pl.lit("gone"))
        .when(moved)
        .then(pl.lit("moved"))
        .otherwise(pl.lit("same"))
    )
    return rows.with_columns(*names, change.alias("change")).drop(f"{name}_now" for name in _NAMES)


def possible_causes(rows: pl.DataFrame, factors: Sequence[str]) -> list[pl.Expr]:
    """For each factor whether it may have moved a row: one of the row's own inputs is not the same.

    Its whole building is one of a row's inputs: neighbours share a roof, parts an exposure.
    """
    tests = []
    for factor in factors:
        if factor in OF_ROWS:
            changed = [~_same(NEAR + name) for name in OF_ROWS[factor]]
            tests.append(pl.any_horizontal(changed).alias(factor))
        else:
            tests.append(pl.repeat(value=True, n=rows.height, dtype=pl.Boolean).alias(factor))
    return tests


def only_proposal() -> pl.Expr:
    """Rows whose survey says the same but for the measure that it proposes."""
    return ~_same("written") & _same(NEAR + "evidence")
