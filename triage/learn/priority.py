"""How much harm a visit to a roof is expected to spare, with every part shown."""

from collections.abc import Sequence

import polars as pl

from triage.contract.expressions import bind
from triage.contract.inspection import Case, InspectionPolicy

PARTS = (
    *("class_number", "start", "start_from", "moved_by", "likelihood", "consequence"),
    *("consequence_of", "evidence_gap", "unknown_fields", "timing", "timing_of", "priority"),
)
"""Columns that `with_priority` adds."""
_DIGITS = 6  # equal sums of decimal parts are equal, in whatever order they were added


def with_priority(
    roofs: pl.DataFrame, policy: InspectionPolicy, rates: pl.DataFrame | None = None
) -> pl.DataFrame:
    """Add the targeted priority: likelihood x consequence x (1 + evidence gap) x timing.

    Parameters
    ----------
    roofs
        One row a roof with `stratum` and all names of `contract.inspection.NAMES`.
    policy
        Classes, moves, points, gap fields and timings.
    rates
        `stratum`, `likelihood` and `basis` of strata that random inspections have been made in;
        they replace the class likelihood. None: nothing was opened yet.

    Returns
    -------
    pl.DataFrame
        The rows in their order with PARTS: chances 0 to 1, consequence 1 to 5, and lists of
        words that say what moved each of them.
    """
    low, high = policy.number("likelihood_min"), policy.number("likelihood_max")
    rated = _rates(roofs, rates).with_columns(
        _first(policy, [str(n) for n in policy.class_numbers]).cast(pl.Int64).alias("class_number"),
        _first(policy, [case.value for case in policy.classes]).alias("_class_start"),
        _first(policy, [case.name for case in policy.classes]).alias("_class_title"),
    )
    title = pl.format("class {}: {}", "class_number", "_class_title")
    moved = pl.col("start") + _total(policy.moves, policy)
    points = (1 + _total(policy.consequences, policy)).clip(1, policy.number("consequence_max"))
    fields = list(policy.gap_fields)
    unknown = [pl.when(pl.col(name).is_null()).then(pl.lit(name)) for name in fields]
    return (
        rated.with_columns(
            pl.coalesce("_rate", "_class_start").alias("start"),
            pl.coalesce("_basis", title).alias("start_from"),
        )
        .with_columns(
            _reasons(policy.moves, policy, "{:+.2f}").alias("moved_by"),
            moved.clip(low, high).round(_DIGITS).alias("likelihood"),
            points.cast(pl.Int64).alias("consequence"),
            _reasons(policy.consequences, policy, "{:+g}").alias("consequence_of"),
            pl.concat_list(unknown).list.drop_nulls().alias("unknown_fields"),
            _product(policy.timings, policy).alias("timing"),
            _reasons(policy.timings, policy, "x {:g}").alias("timing_of"),
        )
        .with_columns((pl.col("unknown_fields").list.len() / len(fields)).alias("evidence_gap"))
        .with_columns(
            pl.col("likelihood")
            .mul(pl.col("consequence"))
            .mul(1 + pl.col("evidence_gap"))
            .mul(pl.col("timing"))
            .round(_DIGITS)
            .alias("priority")
        )
        .select(*roofs.columns, *PARTS)
    )


def _rates(roofs: pl.DataFrame, rates: pl.DataFrame | None) -> pl.DataFrame:
    if rates is None:
        nothing = {"_rate": pl.Float64, "_basis": pl.String}
        return roofs.with_columns(pl.lit(None, kind).alias(n) for n, kind in nothing.items())
    named = rates.select(
        "stratum", pl.col("likelihood").alias("_rate"), pl.col("basis").alias("_basis")
    )
    return roofs.join(named, on="stratum", how="left", maintain_order="left", validate="m:1")


def _holds(case: Case, policy: InspectionPolicy) -> pl.Expr:
    """Known to hold: an unknown moves nothing."""
    return bind(case.when, policy.limits).fill_null(value=False)


def _first(policy: InspectionPolicy, values: Sequence[object]) -> pl.Expr:
    """The value beside the first class that holds."""
    pairs = zip(policy.classes, values, strict=True)
    return pl.coalesce(*(pl.when(_holds(c, policy)).then(pl.lit(v)) for c, v in pairs))


def _total(cases: Sequence[Case], policy: InspectionPolicy) -> pl.Expr:
    return pl.sum_horizontal(
        pl.lit(0.0), *(pl.when(_holds(c, policy)).then(c.value).otherwise(0.0) for c in cases)
    )


def _product(cases: Sequence[Case], policy: InspectionPolicy) -> pl.Expr:
    product = pl.lit(1.0)
    for case in cases:
        product = product * pl.when(_holds(case, policy)).then(case.value).otherwise(1.0)
    return product


def _reasons(cases: Sequence[Case], policy: InspectionPolicy, shape: str) -> pl.Expr:
    """What held, each with its number: "defect seen in the foam +0.15"."""
    if not cases:
        return pl.lit([], pl.List(pl.String))
    words = [
        pl.when(_holds(c, policy)).then(pl.lit(f"{c.name} {shape.format(c.value)}")) for c in cases
    ]
    return pl.concat_list(words).list.drop_nulls()
