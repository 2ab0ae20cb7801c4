"""The records store: every version of every record, and the latest ones for a run."""

import hashlib
from collections.abc import Mapping
from dataclasses import dataclass, replace
from pathlib import Path

import polars as pl

from triage.contract import Contract, Programme
from triage.errors import StoreError
from triage.intake.record_sheets import KINDS, id_column
from triage.records.findings import PROBLEM_SCHEMA
from triage.store import Store, StoreLockedError

RECORDS_STORE = "records.duckdb"
SQL_TYPES: Mapping[pl.DataType, str] = {
    pl.String(): "VARCHAR",
    pl.UInt32(): "UINTEGER",
    pl.Boolean(): "BOOLEAN",
    pl.Date(): "DATE",
    pl.List(pl.String()): "VARCHAR[]",
}
STORED: dict[str, dict[str, pl.DataType]] = {
    "record_batch": {
        "batch": pl.UInt32(),
        "file": pl.String(),
        "sheet": pl.String(),
        "sha256": pl.String(),
        "kind": pl.String(),
        "received_on": pl.Date(),
        "rows_read": pl.UInt32(),
        "rows_kept": pl.UInt32(),
        "rows_repeated": pl.UInt32(),
        "rows_refused": pl.UInt32(),
        "rows_unanswered": pl.UInt32(),
    },
    "record_row": {
        "batch": pl.UInt32(),
        "row": pl.UInt32(),
        "record_id": pl.String(),
        "status": pl.String(),
        "version": pl.UInt32(),
        "cells": pl.List(pl.String()),
    },
    "record_column": {
        "batch": pl.UInt32(),
        "field": pl.String(),
        "column": pl.String(),
        "heading": pl.String(),
    },
    "record_cell": {
        "kind": pl.String(),
        "record_id": pl.String(),
        "version": pl.UInt32(),
        "field": pl.String(),
        "column": pl.String(),
        "raw": pl.String(),
        "flag": pl.String(),
        "unknown": pl.String(),
        "grade": pl.String(),
        "problem": pl.String(),
        "message": pl.String(),
    },
    "record_problem": {"batch": pl.UInt32()}
    | {name: kind for name, kind in PROBLEM_SCHEMA.items() if name not in ("file", "sheet")},
}
"""Tables beside the records themselves, which stand in `record_<kind>`, one row per version."""

OWN: dict[str, pl.DataType] = {
    "batch": pl.UInt32(),
    "version": pl.UInt32(),
    "row": pl.UInt32(),
    "content": pl.String(),
}
"""What a stored record has beside the columns of the contract."""

_PLACE: dict[str, pl.DataType] = {
    "record_row": pl.UInt32(),
    "batch": pl.UInt32(),
    "version": pl.UInt32(),
    "file": pl.String(),
    "sheet": pl.String(),
    "row": pl.UInt32(),
}


@dataclass(frozen=True)
class Records:
    """The records of a programme as a run uses them: the latest version of each.

    `tables` has one frame per kind, sorted by id: the columns of the contract, then record_row
    (unique over all kinds; the same records have the same numbers, in whatever order they came
    in), batch, version, file, sheet and row. `cells` says of cells that are more than a plain
    value what they are (record_row, field, column, raw, flag, unknown, grade, problem, message),
    `columns` in which column of its sheet each field of a batch stood. `digest` is a SHA-256
    over what the records say, whatever files they came from; `batches` is `record_batch`.
    """

    tables: dict[str, pl.DataFrame]
    cells: pl.DataFrame
    columns: pl.DataFrame
    batches: pl.DataFrame
    digest: str


def open_records(path: Path, *, read_only: bool = False) -> Store:
    """The records store.

    Raises
    ------
    StoreLockedError
        If another process holds it.
    StoreError
        If it is damaged, or no store.
    """
    try:
        return Store(path, read_only=read_only)
    except StoreLockedError:
        raise
    except StoreError as problem:
        fix = "put the last good copy back, or move it away and record the files again"
        raise StoreError(problem.what, problem.where, fix) from problem


def ddl(name: str, schema: Mapping[str, pl.DataType]) -> str:
    """`CREATE TABLE` of one of the tables beside the records."""
    lines = ", ".join(f'"{column}" {SQL_TYPES[kind]}' for column, kind in schema.items())
    return f"CREATE TABLE {name} ({lines})"


def record_ddl(contract: Contract, kind: str) -> str:
    """`CREATE TABLE` of the versions of one kind of record."""
    table = contract.tables[kind]
    keyed = replace(table, primary_key=(id_column(contract, kind), "version"))
    also = {name: SQL_TYPES[type_] for name, type_ in OWN.items()}
    wider = replace(contract, tables={**contract.tables, kind: keyed})
    return wider.duckdb_ddl(kind, name=f"record_{kind}", also=also)


def stored(store: Store, name: str, schema: Mapping[str, pl.DataType]) -> pl.DataFrame:
    """A table in the order in which it was written; empty if it is not there yet.

    Columns that it lacks, because the contract gained them later, are null.
    """
    if name not in store.tables():
        return pl.DataFrame(schema=schema)
    frame = store.table(name)
    return frame.select(
        (pl.col(column) if column in frame.columns else pl.lit(None)).cast(kind).alias(column)
        for column, kind in schema.items()
    )


def versions(store: Store, contract: Contract, kind: str) -> pl.DataFrame:
    """Every version of every record of a kind, sorted by id and version."""
    frame = stored(store, f"record_{kind}", contract.polars_schema(kind) | OWN)
    return frame.sort(id_column(contract, kind), "version")


def latest(all_versions: pl.DataFrame, key: str) -> pl.DataFrame:
    """The newest version of each record, sorted by id."""
    return all_versions.unique(key, keep="last", maintain_order=True)


def load_records(programme: Programme, contract: Contract) -> Records:
    """The records of a programme, from the store beside its file; none if there is no store.

    Raises
    ------
    StoreLockedError
        If records are being taken in just now.
    StoreError
        If the store is damaged.
    """
    path = programme.folder / RECORDS_STORE
    if not path.is_file():
        empty = {kind: pl.DataFrame(schema=contract.polars_schema(kind) | OWN) for kind in KINDS}
        other = {name: pl.DataFrame(schema=schema) for name, schema in STORED.items()}
        return _records(empty, other, contract)
    return _load(path, contract)


def _load(path: Path, contract: Contract) -> Records:
    with open_records(path, read_only=True) as store:
        every = {kind: versions(store, contract, kind) for kind in KINDS}
        other = {name: stored(store, name, schema) for name, schema in STORED.items()}
    return _records(every, other, contract)


def _records(
    every: Mapping[str, pl.DataFrame], other: Mapping[str, pl.DataFrame], contract: Contract
) -> Records:
    files = other["record_batch"].select("batch", "file", "sheet")
    tables: dict[str, pl.DataFrame] = {}
    ids = [
        pl.DataFrame(
            schema={
                "kind": pl.String,
                "record_id": pl.String,
                "version": pl.UInt32,
                "record_row": pl.UInt32,
            }
        )
    ]
    total = hashlib.sha256()
    first = 0
    for kind in KINDS:
        key = id_column(contract, kind)
        newest = latest(every[kind], key)
        end = first + newest.height
        numbers = pl.int_range(first, end, dtype=pl.UInt32, eager=True).alias("record_row")
        placed = newest.with_columns(numbers).join(
            files, on="batch", how="left", maintain_order="left"
        )
        tables[kind] = placed.select(*contract.tables[kind].columns, *_PLACE)
        named = pl.col(key).alias("record_id")
        ids.append(placed.select(pl.lit(kind).alias("kind"), named, "version", "record_row"))
        for line in newest.select(pl.concat_str(pl.lit(kind + " "), "content")).to_series():
            total.update(line.encode())
        first = end
    cells = (
        other["record_cell"]
        .join(pl.concat(ids), on=["kind", "record_id", "version"])
        .select(
            "record_row", *(c for c in STORED["record_cell"] if c not in ("record_id", "version"))
        )
        .sort("record_row", "field")
    )
    columns, batches = other["record_column"], other["record_batch"]
    return Records(tables, cells, columns.sort("batch", "field"), batches, total.hexdigest())
