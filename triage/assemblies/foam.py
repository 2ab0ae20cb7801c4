"""Foam as a rule sees it: whether it is there, where, and of which class."""

import polars as pl

from triage.contract.policy import Policy

ROOF_PLACES = (
    *("underside_covering", "underside_underlay", "underside_deck", "between_rafters_gap"),
    *("over_rafters", "eaves_wallhead", "gable_wall"),
)
AT_RAFTERS = (
    *("underside_covering", "underside_underlay", "underside_deck", "between_rafters_gap"),
    "over_rafters",
)
_DETAILS = (
    *("foam_type", "foam_substrate", "foam_thickness_mm", "foam_coverage_pct"),
    *("foam_density_kg_m3", "foam_air_gap_mm"),
)
_NOT_FOAM = ("none_seen", "none_found", "not_applicable", "none")
SPRAYED = ("spf_open", "spf_closed")


def has_any(column: str, codes: tuple[str, ...]) -> pl.Expr:
    """Whether a several-codes field holds any of the codes; null where the field is unknown."""
    return pl.col(column).list.eval(pl.element().is_in(list(codes))).list.any()


def foam_now() -> pl.Expr:
    """Foam there or suspected. A recorded foam detail implies it: unknown is never no."""
    detail = pl.any_horizontal(
        *(pl.col(name).is_not_null() for name in _DETAILS),
        (pl.col("foam_location").list.len() > 0).fill_null(value=False),
        _says_more("foam_defects"),
        _says_more("foam_evidence"),
        pl.col("access_limits").list.contains("foam_covered").fill_null(value=False),
    )
    said = pl.col("foam_present").is_in(["yes", "suspected"])
    return pl.when(said.fill_null(value=False) | detail).then(statement=True).otherwise(said)


def _says_more(column: str) -> pl.Expr:
    """A several-codes field holds something that only foam can have."""
    return (~pl.col(column).list.eval(pl.element().is_in(list(_NOT_FOAM))).list.all()).fill_null(
        value=False
    )


def foam_deck_top_only() -> pl.Expr:
    """The only foam recorded is roofing foam on the deck; false where the location is unknown."""
    on_top = pl.col("foam_location").list.contains("deck_top")
    return (on_top & (pl.col("foam_location").list.len() == 1)).fill_null(value=False)


def foam_in_roof() -> pl.Expr:
    """Foam inside the roof: not only on the deck, on walls or under a floor. Needs `foam_now`.

    Where the location is unknown, foam that is there counts as in the roof.
    """
    elsewhere = (~has_any("foam_location", ROOF_PLACES)).fill_null(value=False)
    located = (pl.col("foam_location").list.len() > 0).fill_null(value=False)
    return (
        pl.when(pl.col("foam_now") & located & elsewhere)
        .then(statement=False)
        .otherwise(pl.col("foam_now"))
    )


def foam_class_resolved(policy: Policy) -> pl.Expr:
    """Foam class: a density that was weighed outranks the recorded type.

    Below `foam_open_max_kg_m3` open-cell, from `foam_closed_min_kg_m3` closed-cell, from
    `foam_roofing_min_kg_m3` roofing foam where it lies on the deck. Between the first two the
    density decides nothing. [kg/m3]
    """
    density = pl.col("foam_density_kg_m3")
    weighed = (
        pl.when((density >= policy.number("foam_roofing_min_kg_m3")) & foam_deck_top_only())
        .then(pl.lit("closed_cell_roofing"))
        .when(density >= policy.number("foam_closed_min_kg_m3"))
        .then(pl.lit("closed_cell"))
        .when(density <= policy.number("foam_open_max_kg_m3"))
        .then(pl.lit("open_cell"))
    )
    said = pl.col("foam_type")
    # Two types in one roof stay two types whatever one sample weighs.
    return pl.when(said == "mixed").then(said).otherwise(pl.coalesce(weighed, said))


def foam_measure() -> pl.Expr:
    """The proposed measure sprays foam at the roof line; null where the material is unknown."""
    sprayed = pl.col("measure_material").is_in(list(SPRAYED))
    return pl.when(pl.col("measure_group") == "RAFT").then(sprayed).otherwise(statement=False)


def foam_class_after() -> pl.Expr:
    """Foam class once the measure is done. Needs the other foam quantities."""
    proposed = pl.col("measure_material").replace_strict(
        {"spf_open": "open_cell", "spf_closed": "closed_cell"}, default=None, return_dtype=pl.String
    )
    there = pl.col("foam_class_resolved")
    return (
        pl.when(pl.col("foam_measure") & pl.col("foam_in_roof") & (there != proposed))
        .then(pl.lit("mixed"))
        .when(pl.col("foam_measure"))
        .then(proposed)
        .when(pl.col("foam_in_roof"))
        .then(there)
        .when(~pl.col("foam_in_roof") & ~pl.col("foam_measure"))
        .then(pl.lit("none"))
    )
