"""Which disputed answers hold a row, so that somebody can confirm just those."""

import polars as pl

from triage.contract.policy import GATING, Policy
from triage.rules.board import rule_fields
from triage.rules.current import KEY


def disputed_fields(rows: pl.DataFrame, conflicts: pl.DataFrame, policy: Policy) -> pl.Series:
    """Fields with two standing answers that the disputed rules of a row read.

    Parameters
    ----------
    rows
        Assessment rows: the key, `measure_group`, and `disputed`, a list of rule ids.
    conflicts
        Disputed fields: the key and `field`.

    Returns
    -------
    pl.Series
        List(String) in row order, empty where nothing is disputed.
    """
    numbered = rows.select(*KEY, "measure_group", "disputed").with_row_index("_row")
    read = pl.DataFrame(
        [
            (rule.id, group, name)
            for rule in policy.rules.values()
            if rule.outcome in GATING
            for group in rule.groups
            for name in sorted(rule_fields(rule, group, policy))
        ],
        schema={"disputed": pl.String, "measure_group": pl.String, "field": pl.String},
        orient="row",
    )
    found = (
        numbered.filter(pl.col("disputed").list.len() > 0)
        .explode("disputed")
        .join(read, on=["disputed", "measure_group"], how="inner")
        .join(conflicts.select(*KEY, "field"), on=[*KEY, "field"], how="inner")
        .group_by("_row")
        .agg(pl.col("field").unique().sort().alias("fields"))
    )
    joined = numbered.select("_row").join(found, on="_row", how="left", maintain_order="left")
    return joined["fields"].fill_null(pl.Series([[]], dtype=pl.List(pl.String)))
