"""Records that are evidence: readings, openings, repairs and leak reports as survey rows."""

from collections.abc import Mapping, Sequence

import polars as pl

from triage.contract.policy import Policy
from triage.rules.codes import KEY

WOOD = ("softwood", "hardwood", "plywood", "osb")
PER_CENT = ("wood_pct", "wme_pct", "carbide_pct", "gravimetric_pct")
DEEP = "pin_insulated_deep"
_SEEN = ("completed", "partial")
_DECAY = ("d0", "d1", "d2", "d3", "d4", "dx")  # as adverse as they come
_FROM_OUTSIDE = (
    *("covering", "flashing", "valley", "gutter", "chimney", "parapet", "penetration"),
    "undiagnosed",
)
_STOPS = {
    "asbestos": ("asbestos_status", "presumed"),
    "flue": ("flue_clearance", "short"),
    "species": ("protected_species", "evidence"),
    "structure": ("roof_structure_concern", "concern"),
}
_BESIDE: Mapping[str, pl.DataType] = {
    "base_grade": pl.String(),
    "mc_subsurface": pl.Boolean(),
    "kind": pl.String(),
    "record_id": pl.String(),
    "record_row": pl.UInt32(),
}
"""What a row made of a record has beside the fields of a survey row."""


def evidence_rows(
    records: Mapping[str, pl.DataFrame],
    leaks: pl.DataFrame,
    survey: Mapping[str, pl.DataType],
    policy: Policy,
) -> pl.DataFrame:
    """Survey rows made of records, in a stable order.

    Parameters
    ----------
    records
        Latest version of each record by kind, homes resolved: the contract's columns and
        `record_row`.
    leaks
        Homes that a leak report reached: the key, `event_id`, `event_on`, `record_row`.
    survey
        Schema of a survey row.
    policy
        Gives the act level of timber. [percent of dry mass]

    Returns
    -------
    pl.DataFrame
        The columns of `survey` and, beside them, `base_grade`, `mc_subsurface`, `kind`,
        `record_id` and `record_row`.
    """
    parts = [
        reading_rows(records["reading"], policy),
        inspection_rows(records["inspection"], records["opening"]),
        repair_rows(records["repair"]),
        leak_rows(leaks),
    ]
    schema = pl.Schema({**survey, **_BESIDE})
    blank = pl.DataFrame(schema=schema)
    made = pl.concat([blank, *(part.cast(_only(part, schema)) for part in parts)], how="diagonal")
    return made.sort("kind", "record_id", "base_grade", nulls_last=True)


def _only(frame: pl.DataFrame, schema: pl.Schema) -> pl.Schema:
    return pl.Schema({name: schema[name] for name in frame.columns})


def numeric_wood(readings: pl.DataFrame) -> pl.DataFrame:
    """Readings of wood on a per cent scale: all that is evidence of timber moisture (E05)."""
    on_wood = pl.col("material").is_in(list(WOOD)) & pl.col("scale").is_in(list(PER_CENT))
    return readings.filter(on_wood & pl.col("value").is_not_null())


def reading_rows(readings: pl.DataFrame, policy: Policy) -> pl.DataFrame:
    """One row a visit, day and standing: the highest reading decides.

    Treated or salty timber misleads a meter: such a reading asks for confirmation and no more.
    Where nobody said, it may fire a rule and never clears one.
    """
    deep = pl.col("method") == DEEP
    act = policy.number("mc_act_pct")
    at_top = deep & (pl.col("value") == pl.col("value").max())
    standing = (
        pl.when(pl.col("treated_or_salty") == "no")
        .then(pl.lit("observed"))
        .when(pl.col("treated_or_salty") == "yes")
        .then(pl.lit("assumed"))
        .otherwise(pl.lit("reported"))
    )
    return (
        numeric_wood(readings)
        .with_columns(standing.alias("base_grade"))
        .sort("reading_id")
        .group_by(*KEY, "survey_id", "reading_date", "base_grade", maintain_order=True)
        .agg(
            pl.max("value").alias("timber_mc_pct"),
            (at_top | (deep & (pl.col("value") >= act))).any().alias("mc_subsurface"),
            pl.col("location").drop_nulls().unique(maintain_order=True).alias("mc_location"),
            pl.first("reading_id").alias("record_id"),
            pl.first("record_row"),
        )
        .with_columns(
            pl.col("reading_date").alias("survey_date"),
            pl.col("reading_date").alias("mc_date"),
            pl.lit("reading").alias("kind"),
        )
        .drop("reading_date")
    )


def inspection_rows(inspections: pl.DataFrame, openings: pl.DataFrame) -> pl.DataFrame:
    """What an opened-up roof showed; openings on record count where they are worse."""
    seen = inspections.filter(pl.col("outcome_status").is_in([*_SEEN, "not_foam"]))
    worst = openings.group_by("inspection_id").agg(
        pl.max("timber_mc_pct").alias("_mc"),
        _rank(pl.col("decay_grade")).max().alias("_decay"),
        (pl.col("free_water") == "yes").any().alias("_water"),
    )
    joined = seen.join(worst, on="inspection_id", how="left")
    decay = pl.max_horizontal(_rank(pl.col("decay_grade_max")), "_decay")
    found = pl.col("leak_found")
    leak = (
        pl.when(pl.col("_water"))
        .then(pl.lit("active"))
        .when(_any_of(found, _FROM_OUTSIDE))
        .then(pl.lit("recent"))
        .when(found.list.join("") == "none")
        .then(pl.lit("none_seen"))
    )
    wet = pl.max_horizontal("timber_mc_max_pct", "_mc")
    return joined.select(
        *KEY,
        pl.col("inspection_id").alias("survey_id"),
        pl.col("inspected_on").alias("survey_date"),
        pl.col("inspector_id").alias("surveyor_id"),
        pl.col("inspector_competence").alias("surveyor_competence"),
        pl.lit("opened_up").alias("survey_method"),
        pl.col("photos").alias("photo_refs"),
        _foam_there().alias("foam_present"),
        pl.col("foam_type_found").alias("foam_type"),
        pl.col("foam_density_found_kg_m3").alias("foam_density_kg_m3"),
        pl.col("foam_thickness_typ_mm").alias("foam_thickness_mm"),
        pl.col("substrate_found").alias("foam_substrate"),
        pl.col("underlay_found").alias("roof_underlay"),
        pl.col("air_gap_found_mm").alias("foam_air_gap_mm"),
        pl.col("defects_found").alias("foam_defects"),
        wet.alias("timber_mc_pct"),
        pl.when(wet.is_not_null()).then("inspected_on").alias("mc_date"),
        decay.replace_strict(dict(enumerate(_DECAY)), default=None, return_dtype=pl.String).alias(
            "timber_decay_grade"
        ),
        leak.alias("roof_leak_evidence"),
        pl.when(_any_of(found, ("plumbing",))).then(pl.lit("recent")).alias("plumbing_leak"),
        *(
            pl.when(_any_of(pl.col("stop_work_flags"), (flag,))).then(pl.lit(code)).alias(field)
            for flag, (field, code) in _STOPS.items()
        ),
        pl.lit("observed").alias("base_grade"),
        pl.lit("inspection").alias("kind"),
        pl.col("inspection_id").alias("record_id"),
        "record_row",
    )


def _rank(grade: pl.Expr) -> pl.Expr:
    ranks = {code: n for n, code in enumerate(_DECAY)}
    return grade.replace_strict(ranks, default=None, return_dtype=pl.Int8)


def _any_of(codes: pl.Expr, wanted: Sequence[str]) -> pl.Expr:
    return codes.list.eval(pl.element().is_in(list(wanted))).list.any().fill_null(value=False)


def _foam_there() -> pl.Expr:
    """Foam was found, or looked for and not found; nothing where the record does not say."""
    return (
        pl.when(pl.col("outcome_status") == "not_foam")
        .then(pl.lit("no"))
        .when(pl.col("foam_type_found").is_not_null())
        .then(pl.lit("yes"))
    )


def sampled_types(inspections: pl.DataFrame) -> pl.DataFrame:
    """Inspections whose foam type or density rests on a sample with a reference."""
    return inspections.filter(
        pl.col("foam_sample_ref").is_not_null() & pl.col("outcome_status").is_in(list(_SEEN))
    )


def repair_rows(repairs: pl.DataFrame) -> pl.DataFrame:
    """The reading after a repair, at the marked point."""
    return repairs.filter(
        pl.col("mc_after_pct").is_not_null() & pl.col("mc_after_date").is_not_null()
    ).select(
        *KEY,
        pl.col("repair_id").alias("survey_id"),
        pl.col("mc_after_date").alias("survey_date"),
        pl.col("mc_after_date").alias("mc_date"),
        pl.col("verified_by").alias("surveyor_id"),
        pl.col("mc_after_pct").alias("timber_mc_pct"),
        pl.lit("observed").alias("base_grade"),
        pl.lit("repair").alias("kind"),
        pl.col("repair_id").alias("record_id"),
        "record_row",
    )


def leak_rows(leaks: pl.DataFrame) -> pl.DataFrame:
    """A reported leak is leak evidence of grade reported: it may fire, it never clears."""
    return leaks.select(
        *KEY,
        pl.col("event_id").alias("survey_id"),
        pl.col("event_on").alias("survey_date"),
        pl.lit("recent").alias("roof_leak_evidence"),
        pl.lit("reported").alias("base_grade"),
        pl.lit("event").alias("kind"),
        pl.col("event_id").alias("record_id"),
        "record_row",
    )
