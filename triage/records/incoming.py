"""All rows of one kind that arrive together, with the sheet, row and cells of each."""

import hashlib
from collections.abc import Sequence
from dataclasses import dataclass, replace

import polars as pl

from triage.contract import Contract
from triage.intake.record_sheets import RecordSheet, id_column

CELL_SCHEMA: dict[str, pl.DataType] = {
    "at": pl.UInt32(),
    "field": pl.String(),
    "column": pl.String(),
    "raw": pl.String(),
    "flag": pl.String(),
    "unknown": pl.String(),
    "grade": pl.String(),
    "problem": pl.String(),
    "message": pl.String(),
}
"""One row per cell that is more than a plain value; `at` says of which row."""

_PART, _PAIR = "\x1f", "\x1e"


@dataclass(frozen=True)
class Incoming:
    """Rows of one kind as read.

    `rows` has the columns of the contract, `at` (the row among all that arrived), `sheet_no`,
    `row` (as the file numbers it) and `cells` (as read). `cells` has the schema `CELL_SCHEMA`.
    """

    kind: str
    id: str
    rows: pl.DataFrame
    cells: pl.DataFrame

    def with_rows(self, rows: pl.DataFrame) -> "Incoming":
        """The same with other rows; cells of rows that are gone are gone too."""
        return replace(self, rows=rows, cells=self.cells.join(rows, on="at", how="semi"))


def gather(sheets: Sequence[RecordSheet], kind: str, contract: Contract, first: int) -> Incoming:
    """The rows of one kind from all sheets, numbered from `first`."""
    schema = contract.polars_schema(kind)
    own = {"at": pl.UInt32(), "sheet_no": pl.UInt32(), "row": pl.UInt32()}
    rows = [pl.DataFrame(schema=schema | own | {"cells": pl.List(pl.String())})]
    cells = [pl.DataFrame(schema=CELL_SCHEMA)]
    for number, sheet in enumerate(sheets):
        if sheet.kind != kind:
            continue
        table = sheet.table
        end = first + table.raw.height
        at = pl.int_range(first, end, dtype=pl.UInt32, eager=True).alias("at")
        placed = table.raw.select(
            at,
            pl.lit(number, dtype=pl.UInt32).alias("sheet_no"),
            pl.col("sheet_row").alias("row"),
            "cells",
        )
        rows.append(table.clean.hstack(placed).select(rows[0].columns))
        odd = table.odd.with_columns((pl.col("row") + pl.lit(first)).cast(pl.UInt32).alias("at"))
        cells.append(odd.select(pl.col(name).cast(kind) for name, kind in CELL_SCHEMA.items()))
        first = end
    return Incoming(kind, id_column(contract, kind), pl.concat(rows), pl.concat(cells))


def with_content(incoming: Incoming, names: Sequence[str]) -> pl.DataFrame:
    """The rows with `content`, a SHA-256 of what each record says, the same wherever it stands.

    Columns that are null do not count: a column that the contract gains later changes nothing.
    """
    rows = incoming.rows
    said = ("field", "flag", "unknown", "grade", "raw")
    told = incoming.cells.filter(
        pl.any_horizontal(pl.col("flag", "unknown", "grade").is_not_null())
    )
    marks = (
        told.select(
            "at", pl.concat_str([pl.col(name).fill_null("") for name in said], separator=_PAIR)
        )
        .group_by("at")
        .agg(pl.col("field").sort().str.join(_PART).alias("marks"))
    )
    texts = rows.join(marks, on="at", how="left", maintain_order="left").select(
        pl.concat_str(
            [*(_pair(rows, name) for name in sorted(names)), pl.col("marks")],
            separator=_PART,
            ignore_nulls=True,
        )
    )
    return rows.with_columns(hashed(texts.to_series()).alias("content"))


def _pair(rows: pl.DataFrame, name: str) -> pl.Expr:
    is_list = isinstance(rows.schema[name], pl.List)
    text = pl.col(name).list.join("\x1d") if is_list else pl.col(name).cast(pl.String)
    return pl.lit(name + "=") + text


def hashed(texts: pl.Series) -> pl.Series:
    """SHA-256 of each text, as hexadecimal digits. Polars itself has no such hash."""
    digests = [hashlib.sha256(text.encode()).hexdigest() for text in texts]
    return pl.Series(texts.name, digests, dtype=pl.String)
