"""Percentages and changes made of printed counts alone, so that they tell nothing more."""

import polars as pl

from triage.contract.disclosure import Disclosure
from triage.learn.cells import ALL, HOMES


def with_percent(rows: pl.DataFrame, over: str, rule: Disclosure) -> pl.DataFrame:
    """Add `percent`: each printed count as a share of its total over one dimension.

    Parameters
    ----------
    rows
        A table of a release.
    over
        Dimension whose total is the denominator.
    rule
        Says from which denominator a percentage is printed.

    Returns
    -------
    pl.DataFrame
        The rows in their order; `percent` is whole, at most 100, and null where the count or
        the total is withheld, or the total is under the minimum.
    """
    names = [c for c in rows.columns if c not in (HOMES, "is_withheld", over)]
    totals = rows.filter(pl.col(over) == ALL).select(*names, pl.col(HOMES).alias("total"))
    joined = (
        rows.join(totals, on=names, how="left", maintain_order="left")
        if names
        else rows.join(totals, how="cross", maintain_order="left")
    )
    share = (100 * pl.col(HOMES) / pl.col("total")).round().clip(0, 100).cast(pl.Int64)
    enough = pl.col("total") >= rule.percent_min
    return joined.with_columns(pl.when(enough).then(share).alias("percent")).drop("total")


def changes(now: pl.DataFrame, before: pl.DataFrame, rule: Disclosure) -> pl.DataFrame:
    """Change of each printed count since an earlier report.

    Parameters
    ----------
    now, before
        The same table of two releases.
    rule
        Says how small a change may be told.

    Returns
    -------
    pl.DataFrame
        The rows of both, sorted; `change` is null where either count is withheld, or where it is
        not 0 and smaller than the minimum; a category that only one of them has counts as not
        told.
    """
    names = [c for c in now.columns if c not in (HOMES, "is_withheld")]
    then = before.select(*names, pl.col(HOMES).alias("was"))
    change = pl.col(HOMES) - pl.col("was")
    told = (change == 0) | (change.abs() >= rule.cell_min)
    return (
        now.select(*names, HOMES)
        .join(then, on=names, how="full", coalesce=True)
        .select(*names, pl.when(told).then(change).alias("change"))
        .sort(names)
    )
