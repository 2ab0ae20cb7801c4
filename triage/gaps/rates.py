"""Reads what a programme says of its repairs: rates, and works that are planned anyway."""

from collections.abc import Iterator, Sequence
from pathlib import Path

import polars as pl

from triage.contract.policy import Policy
from triage.contract.text import did_you_mean
from triage.errors import CellError, HeadingError, Place, TriageError, raise_all
from triage.intake.files import read_sheets
from triage.intake.limits import DEFAULT_LIMITS
from triage.rules.queue import FIX

PER_HOME, PER_BUILDING = "home", "building"
_RATE_HEADS, _PLAN_HEADS = ("rule_id", "rate"), ("property_id", "rule_ids", "year")


def read_rates(path: Path, policy: Policy) -> pl.DataFrame:
    """The rate of each repair.

    Parameters
    ----------
    path
        A sheet or text with the columns `rule_id` (a rule of fix-water-first), `rate` (cost of
        putting that defect right, any currency, the same for all) and optionally `per`: `home`,
        or `building` where one repair serves all homes of a building.
    policy
        Says which rules are repairs.

    Returns
    -------
    pl.DataFrame
        rule, rate, per.

    Raises
    ------
    HeadingError, CellError or ManyErrors
        A column is missing; a cell is no rule of this queue, no rate, given twice.
    """
    rows = _table(path, _RATE_HEADS)
    repairs = [rule.id for rule in policy.rules.values() if rule.outcome == FIX]
    if "per" not in rows.columns:
        rows = rows.with_columns(pl.lit(None, pl.String).alias("per"))
    rate = pl.col("rate").str.replace_all(",", "", literal=True).cast(pl.Float64, strict=False)
    read = rows.with_columns(
        rate.alias("number"), pl.coalesce("per", pl.lit(PER_HOME)).alias("unit")
    )
    bad_rate = ~(pl.col("number").is_finite() & (pl.col("number") >= 0)).fill_null(value=False)
    once = "one rate for each repair; take one of the lines out"
    known = [PER_HOME, PER_BUILDING]
    raise_all(
        [
            *_wrong(path, read, ~pl.col("rule_id").is_in(repairs), "rule_id", repairs),
            *_told(path, read, bad_rate, "rate", "is no cost", "write a number, 0 or more"),
            *_told(
                path,
                read,
                ~pl.col("unit").is_in(known),
                "per",
                "is no unit of a rate",
                f"write one of: {', '.join(known)}",
            ),
            *_told(path, read, ~pl.col("rule_id").is_first_distinct(), "rule_id", "twice", once),
        ]
    )
    return read.select(
        pl.col("rule_id").alias("rule"), pl.col("number").alias("rate"), pl.col("unit").alias("per")
    )


def read_planned(path: Path, policy: Policy, homes: pl.Series) -> pl.DataFrame:
    """Works that are planned anyway, re-roofing say, and the repairs that they bring with them.

    Parameters
    ----------
    path
        A sheet or text with the columns `property_id`, `rule_ids` (with ; between) and `year`.
    policy, homes
        The repairs and homes that there are.

    Returns
    -------
    pl.DataFrame
        property_id, rule, year: one row a home and repair, the first year of it.

    Raises
    ------
    HeadingError, CellError or ManyErrors
        A column is missing; a cell is no home, no repair, no year.
    """
    rows = _table(path, _PLAN_HEADS)
    repairs = [rule.id for rule in policy.rules.values() if rule.outcome == FIX]
    read = (
        rows.with_columns(
            pl.col("year").cast(pl.Int32, strict=False).alias("number"),
            pl.col("rule_ids").str.split(";").alias("rule"),
        )
        .explode("rule")
        .with_columns(pl.col("rule").str.strip_chars())
    )
    no_year = ~pl.col("number").is_between(2000, 2100).fill_null(value=False)
    raise_all(
        [
            *_told(
                path,
                read.unique("row", maintain_order=True),
                ~pl.col("property_id").is_in(homes.implode()),
                "property_id",
                "is no home of this run",
                "write the id as the surveys have it",
            ),
            *_told(
                path,
                read.unique("row", maintain_order=True),
                no_year,
                "year",
                "is no year",
                "write it with four figures",
            ),
            *_wrong(path, read, ~pl.col("rule").is_in(repairs), "rule", repairs, at="rule_ids"),
        ]
    )
    return read.group_by("property_id", "rule").agg(pl.col("number").min().alias("year"))


def _table(path: Path, heads: Sequence[str]) -> pl.DataFrame:
    """The first filled sheet by its heading line; `row` is the line in the file."""
    shown = str(path)
    filled = [s for s in read_sheets(path, shown, None, DEFAULT_LIMITS) if not s.is_empty]
    if not filled:
        raise HeadingError("no sheet holds any cell", shown, f"columns: {', '.join(heads)}")
    cells = filled[0].cells
    first = [(text or "").strip() for text in cells.row(0)]
    missing = [name for name in heads if name not in first]
    if missing:
        what = f"no column {missing[0]!r} in the first line"
        where = Place(shown, filled[0].name, 1)
        raise HeadingError(what, where, f"head the columns: {', '.join(heads)}")
    kept = {column: name for column, name in zip(cells.columns, first, strict=True) if name}
    rows = cells.select(list(kept)).rename(kept).with_row_index("row", offset=1).slice(1)
    texts = [name for name in rows.columns if name != "row"]
    stripped = rows.with_columns(pl.col(texts).str.strip_chars().replace("", None))
    return stripped.filter(pl.any_horizontal(pl.col(texts).is_not_null()))


def _told(
    path: Path, rows: pl.DataFrame, test: pl.Expr, column: str, what: str, fix: str
) -> Iterator[TriageError]:
    for row, text in rows.filter(test).select("row", column).head(20).iter_rows():
        yield CellError(f"{text!r} {what}", Place(str(path), None, row, column), fix)


def _wrong(
    path: Path,
    rows: pl.DataFrame,
    test: pl.Expr,
    column: str,
    known: Sequence[str],
    at: str | None = None,
) -> Iterator[TriageError]:
    for row, text in rows.filter(test).select("row", column).head(20).iter_rows():
        fix = did_you_mean(text or "", known)
        place = Place(str(path), None, row, at or column)
        yield CellError(f"{text!r} is no rule of fix-water-first", place, fix)
