"""Reads Parquet tables as sheets of text, so that they meet the same rules as workbooks."""

from pathlib import Path

import polars as pl
import polars.exceptions

from triage.errors import FileError, Place
from triage.intake.damage import damage_refused
from triage.intake.limits import Limits
from triage.intake.sheets import Sheet, letters


def read_parquet(path: Path, shown: str, limits: Limits) -> Sheet:
    """Read a Parquet table; its column names are row 0, so that its rows count from 1.

    Lists become their items joined by "; ". Numbers that are not a number become blank.

    Raises
    ------
    FileError
        If the file is damaged, breaks a limit or has a column that is no plain value.
    """
    try:
        with damage_refused(shown):
            lazy = pl.scan_parquet(path)
            schema = lazy.collect_schema()
            height = lazy.select(pl.len()).collect().item()
            _refuse_size(height, len(schema), shown, limits)
            table = lazy.select(
                _as_text(pl.nth(k), name, kind, shown).alias(letters(k))
                for k, (name, kind) in enumerate(schema.items())
            ).collect()
    except polars.exceptions.PolarsError as error:
        fix = "write it again; the transfer may have failed"
        raise FileError(f"the table cannot be read: {error}", shown, fix) from error
    heading = pl.DataFrame(
        {letters(k): [name] for k, name in enumerate(schema.names())},
        schema=dict.fromkeys(table.columns, pl.String),
    )
    return Sheet(None, pl.concat([heading, table]), first_row=0)


def _as_text(column: pl.Expr, name: str, kind: pl.DataType, shown: str) -> pl.Expr:
    # The column comes by number: as names, "*" and "^a.*$" would mean several columns.
    if isinstance(kind, pl.List):
        return column.cast(pl.List(pl.String)).list.join("; ", ignore_nulls=True)
    if kind.is_nested() or kind in (pl.Binary, pl.Object):
        fix = "write plain columns: text, numbers, dates"
        raise FileError(f"a column of type {kind} is not read", Place(shown, column=name), fix)
    if kind.is_float():
        column = column.fill_nan(None).cast(pl.Float64)
        whole = (column == column.floor()) & (column.abs() < 2**53)
        return (
            pl.when(whole)
            .then(column.cast(pl.Int64, strict=False).cast(pl.String))
            .otherwise(column.cast(pl.String))
        )
    return column.cast(pl.String).replace("", None)


def _refuse_size(height: int, width: int, shown: str, limits: Limits) -> None:
    if height > limits.rows or width > limits.columns:
        what = f"{height} rows and {width} columns; the limit is {limits.rows} and {limits.columns}"
        raise FileError(what, shown, "split the table")
