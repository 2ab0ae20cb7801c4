"""What is wrong with records, each with its cell: refused, or kept and noted."""

from collections.abc import Iterable, Mapping, Sequence

import polars as pl

from triage.contract import Field
from triage.errors import CellError, Place

_LISTABLE = 24  # codes
_PROFILE_SAYS = (
    r"[;,] (add it under \[spellings\] of the profile|set reading\.date_order in the profile|"
    r"see reading\.decimal)"
)

FINDING_SCHEMA: dict[str, pl.DataType] = {
    "at": pl.UInt32(),
    "field": pl.String(),
    "problem": pl.String(),
    "raw": pl.String(),
    "message": pl.String(),
    "fix": pl.String(),
    "refused": pl.Boolean(),
}
PROBLEM_SCHEMA: dict[str, pl.DataType] = {
    "kind": pl.String(),
    "record_id": pl.String(),
    "field": pl.String(),
    "problem": pl.String(),
    "refused": pl.Boolean(),
    "raw": pl.String(),
    "message": pl.String(),
    "fix": pl.String(),
    "file": pl.String(),
    "sheet": pl.String(),
    "row": pl.UInt32(),
    "column": pl.String(),
}
"""Findings with their place, as they are stored and told."""


def find(
    rows: pl.DataFrame,
    when: pl.Expr,
    field: str,
    problem: str,
    message: str | pl.Expr,
    fix: str,
    *,
    refused: bool = True,
) -> pl.DataFrame:
    """One finding for each row for which `when` is true; null is no finding.

    Parameters
    ----------
    rows
        Rows with `at` and the columns that `when`, `field` and `message` use.
    field
        The cell to blame.
    problem
        A short name of what is wrong.
    message, fix
        What is wrong, and what to do about it.
    refused
        Whether the row is not taken; otherwise it is kept and the finding is a note.
    """
    is_list = isinstance(rows.schema[field], pl.List)
    raw = pl.col(field).list.join("; ") if is_list else pl.col(field).cast(pl.String)
    return rows.filter(when.fill_null(value=False)).select(
        "at",
        pl.lit(field).alias("field"),
        pl.lit(problem).alias("problem"),
        raw.alias("raw"),
        (pl.lit(message) if isinstance(message, str) else message).alias("message"),
        pl.lit(fix).alias("fix"),
        pl.lit(refused).alias("refused"),
    )


def together(found: Iterable[pl.DataFrame]) -> pl.DataFrame:
    """All findings in one frame."""
    return pl.concat([pl.DataFrame(schema=FINDING_SCHEMA), *found])


def absent(
    rows: pl.DataFrame, cells: pl.DataFrame, fields: Sequence[str], kind: str
) -> pl.DataFrame:
    """Fields without which a record cannot be used; cells that could not be read are told once."""
    unread = cells.filter(pl.col("problem").is_not_null())
    found = []
    for name in fields:
        told = unread.filter(pl.col("field") == name)
        empty = rows.join(told, on="at", how="anti", maintain_order="left")
        message = f"{name} is missing; a {kind} cannot be used without it"
        fix = "fill the cell in and record the file again"
        found.append(find(empty, pl.col(name).is_null(), name, "missing", message, fix))
    return together(found)


def unread(
    cells: pl.DataFrame,
    rows: pl.DataFrame,
    essential: Sequence[str],
    columns: Mapping[str, Field],
) -> pl.DataFrame:
    """Cells that could not be read as they stand.

    A record is refused where it needs the cell (`essential`), and where a day that cannot lie
    in the future does; otherwise it is kept and the answer is unknown.
    """
    days = [name for name, asked in columns.items() if asked.until_as_of]
    lists = {name: _choices(asked) for name, asked in columns.items() if asked.codes}
    empty = [
        rows.select("at", pl.lit(name).alias("field"), pl.col(name).is_null().alias("gone"))
        for name in essential
    ]
    told = (
        cells.filter(pl.col("problem").is_not_null())
        .join(rows, on="at", how="semi", maintain_order="left")
        .join(pl.concat(empty), on=["at", "field"], how="left", maintain_order="left")
    )
    is_future = (pl.col("problem") == "out_of_range") & pl.col("field").is_in(list(days))
    of_list = pl.col("field").replace_strict(lists, default=None, return_dtype=pl.String)
    return told.select(
        "at",
        "field",
        "problem",
        "raw",
        # There is no profile here that could be mended.
        pl.col("message").str.replace(_PROFILE_SAYS, ""),
        pl.when(pl.col("problem").is_in(["ambiguous_date", "imprecise_date"]))
        .then(pl.lit("write it as 2026-03-31"))
        .when(pl.col("problem") == "unmapped")
        .then(of_list)
        .fill_null("correct the cell and record the file again")
        .alias("fix"),
        (pl.col("gone").fill_null(value=False) | is_future).alias("refused"),
    )


def _choices(asked: Field) -> str:
    known = asked.known_codes
    if len(known) > _LISTABLE:
        return f"use a code of the list {asked.code_list}; the template's sheet Codes has it"
    return "use one of: " + ", ".join(known)


def number(name: str) -> pl.Expr:
    """A number as people write it: 140, not 140.0."""
    return pl.col(name).cast(pl.String).str.strip_suffix(".0")


def as_error(problem: Mapping[str, object]) -> CellError:
    """A finding in words: what, where, what to do."""
    place = Place(
        str(problem["file"]),
        None if problem["sheet"] is None else str(problem["sheet"]),
        None if problem["row"] is None else int(str(problem["row"])),
        None if problem["column"] is None else str(problem["column"]),
    )
    return CellError(str(problem["message"]), place, str(problem["fix"]))
