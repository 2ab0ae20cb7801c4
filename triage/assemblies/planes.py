"""Where the insulation of a roof sits, today and once the proposed measure is done."""

import polars as pl

from triage.assemblies.foam import AT_RAFTERS, has_any
from triage.contract.policy import Policy

_ABOVE_CEILING = ("rafter_ventilated", "rafter_unvented", "above_deck", "mixed")
_STAYS_AT_RAFTERS = ("rafter_unvented", "mixed", "above_deck")


def plane_after(policy: Policy) -> pl.Expr:
    """Plane once the measure is done (dry run H2); null where it cannot be told.

    Needs `measure_group`, `insulation_plane`, `ceiling_insulation_mm`, `foam_location` and the
    quantities `foam_in_roof` and `foam_measure`.
    """
    group, today = pl.col("measure_group"), plane_today(policy)
    return (
        pl.when(group == "CEIL")
        .then(_with_ceiling_layer())
        .when(group == "RAFT")
        .then(_with_rafter_layer(today, policy))
        .when(group == "EXTR")
        .then(_with_layer_above(today))
        .otherwise(today)
    )


def foam_at_rafters() -> pl.Expr:
    """Foam at the rafters; null where foam is there and nobody said where."""
    return pl.col("foam_in_roof") & has_any("foam_location", AT_RAFTERS)


def _foam_somewhere() -> pl.Expr:
    """Foam in the roof whose place nobody recorded: the plane is then open, not assumed."""
    there = pl.col("foam_in_roof").fill_null(value=False)
    return there & has_any("foam_location", AT_RAFTERS).is_null()


def _ceiling_there(policy: Policy) -> pl.Expr:
    thick = pl.col("ceiling_insulation_mm") >= policy.number("two_planes_ceiling_mm")
    recorded = pl.col("insulation_plane").is_in(["ceiling", "mixed"])
    return (thick | recorded).fill_null(value=False)


def _above_ceiling() -> pl.Expr:
    return pl.col("insulation_plane").is_in(list(_ABOVE_CEILING)).fill_null(value=False)


def plane_today(policy: Policy) -> pl.Expr:
    """Plane as it is: recorded, but foam at the rafters counts as insulation there."""
    location = pl.col("foam_location")
    gap_kept = location.list.contains("between_rafters_gap") & (location.list.len() == 1)
    with_foam = (
        pl.when(_ceiling_there(policy))
        .then(pl.lit("mixed"))
        .when(gap_kept.fill_null(value=False))
        .then(pl.lit("rafter_ventilated"))
        .otherwise(pl.lit("rafter_unvented"))
    )
    return (
        pl.when(foam_at_rafters().fill_null(value=False))
        .then(with_foam)
        .when(_foam_somewhere() & ~_above_ceiling())
        .then(pl.lit(None, pl.String))
        .otherwise("insulation_plane")
    )


def _with_ceiling_layer() -> pl.Expr:
    return (
        pl.when(foam_at_rafters().fill_null(value=False) | _above_ceiling())
        .then(pl.lit("mixed"))
        .when(_foam_somewhere())
        .then(pl.lit(None, pl.String))
        .otherwise(pl.lit("ceiling"))
    )


def _with_rafter_layer(today: pl.Expr, policy: Policy) -> pl.Expr:
    sprayed = (
        pl.when(_ceiling_there(policy)).then(pl.lit("mixed")).otherwise(pl.lit("rafter_unvented"))
    )
    return (
        pl.when("foam_measure")
        .then(sprayed)
        .when(today.is_in(list(_STAYS_AT_RAFTERS)))
        .then(today)
        .when(pl.col("foam_measure").is_not_null())
        .then(pl.lit("rafter_ventilated"))
    )


def _with_layer_above(today: pl.Expr) -> pl.Expr:
    return (
        pl.when(today.is_in(["none", "above_deck"]))
        .then(pl.lit("above_deck"))
        .when(today.is_not_null())
        .then(pl.lit("mixed"))
    )
