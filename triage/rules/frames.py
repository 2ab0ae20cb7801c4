"""Builds the assessment rows, home × part × measure, and reads their evidence three ways."""

from collections.abc import Sequence
from dataclasses import dataclass

import polars as pl

from triage.contract.expressions import names_in
from triage.contract.policy import Policy
from triage.rules.codes import KEY
from triage.rules.grading import CLOSE, COUNTS, QUALITY, RANK_BITS, STALE

MEASURE = (
    "measure_code",
    "measure_group",
    "measure_element",
    "measure_material",
    "measure_thickness_mm",
    "tightening",
)
PLACE_CLIMATE = ("zone_num", "rain_mm_year", "freeze_thaw_index")
# Fields that the derived quantities and context flags read, whatever the rules name.
DERIVED_FROM = (
    *("property_type", "year_built", "age_band", "roof_form", "roof_pitch_deg", "roof_covering"),
    *("roof_underlay", "roof_deck", "roof_outer_class", "insulation_plane", "roof_leak_evidence"),
    *("pointing_condition", "render_condition", "wall_finish_external", "wall_construction"),
    *("exposure_class", "foam_present", "foam_type", "foam_density_kg_m3", "foam_location"),
    *("foam_substrate", "foam_thickness_mm", "foam_coverage_pct", "ceiling_insulation_mm"),
    *("interior_vapour_control", "high_moisture_use", "timber_mc_pct", "timber_decay_grade"),
    *("mc_date", "survey_date", "extract_kitchen", "extract_bathroom", "visible_mould"),
    *("wall_damp_evidence", "access_limits", "photo_refs", "foam_air_gap_mm", "foam_defects"),
    *("foam_evidence", "wall_thickness_mm", "wall_insulation_existing", "cavity_width_mm"),
    *("cavity_state", "floor_construction", "vapour_diffusion_port", "edge_detail_drawings"),
)
NOT_EVIDENCE = ("measure_code", "measure_material", "measure_thickness_mm")


@dataclass(frozen=True, slots=True)
class Frames:
    """The same assessment rows, in the same order, read three ways.

    `stale` is Boolean per field (`<field>`): it would count for clearing but for its age.
    """

    all: pl.DataFrame
    firm: pl.DataFrame
    clear: pl.DataFrame
    stale: pl.DataFrame

    def of_group(self, group: str) -> "Frames":
        """The rows of one measure group."""
        mask = self.all["measure_group"] == group
        return Frames(
            self.all.filter(mask),
            self.firm.filter(mask),
            self.clear.filter(mask),
            self.stale.filter(mask),
        )


def evidence_fields(policy: Policy, fields: Sequence[str], also: Sequence[str] = ()) -> list[str]:
    """Survey fields that the pack, or any of the conditions `also`, reads, in survey order."""
    texts = [
        sql
        for rule in policy.rules.values()
        for sql in (rule.fires, rule.applies, rule.review_before_repair)
        if sql
    ]
    texts += [*(item.when for item in policy.presumptions), *also]
    named = {name for sql in texts for name in names_in(sql)}
    for rule in policy.rules.values():
        named |= {
            n
            for needs in (rule.needs, *rule.needs_for.values())
            for any_of in needs
            for n in any_of
        }
    for quantity in policy.quantities.values():
        named |= set(quantity.fields)
    named |= {item.field for item in policy.presumptions} | set(DERIVED_FROM)
    return [name for name in fields if name in named and name not in NOT_EVIDENCE]


def read_three_ways(rows: pl.DataFrame, fields: Sequence[str], policy: Policy) -> Frames:
    """Split assessment rows into all, firm and clearing evidence.

    Parameters
    ----------
    rows
        One row per assessment with `fields`, their qualities `q__…`, the measure and the place
        columns, with `join_quality` and `zone_join`.
    fields
        Evidence fields.
    """
    carried = [
        name
        for name in rows.columns
        if not name.startswith((QUALITY, "r__")) and name not in fields
    ]
    firm_rank = policy.evidence.rank(policy.evidence.firm_from)
    firm = [
        pl.when((pl.col(QUALITY + f) & RANK_BITS) >= firm_rank).then(pl.col(f)).alias(f)
        for f in fields
    ]
    clear = [pl.when(_counts(f, policy)).then(pl.col(f)).alias(f) for f in fields]
    # Exposure computed from climate is an assumption about the address: it may fire, never clear.
    no_guess = pl.lit(None, pl.String).alias("exposure_from_place")
    trusted = _trusted_climate()
    base = rows.select(*carried, *fields)
    return Frames(
        all=base,
        firm=rows.select(*carried, *firm).with_columns(no_guess),
        clear=rows.select(*carried, *clear).with_columns(no_guess, *trusted),
        stale=rows.select(
            ((pl.col(QUALITY + f) & STALE) > 0).fill_null(value=False).alias(f) for f in fields
        ),
    )


def _counts(field: str, policy: Policy) -> pl.Expr:
    """Whether an answer is good enough to clear, for the measure of its row (Q5)."""
    view = policy.evidence.views[policy.evidence.of(field).view]
    counts = (pl.col(QUALITY + field) & COUNTS) > 0
    if not view.close_for and not view.dry_void_for:
        return counts
    close = (pl.col(QUALITY + field) & CLOSE) > 0
    leak = pl.col("roof_leak_evidence").is_in(["none_seen", "historic"])
    dry = (leak & ((pl.col(QUALITY + "roof_leak_evidence") & COUNTS) > 0)).fill_null(value=False)
    group = pl.col("measure_group")
    enough = (
        pl.when(group.is_in(list(view.close_for)))
        .then(close)
        .when(group.is_in(list(view.dry_void_for)))
        .then(close | dry)
        .otherwise(statement=True)
    )
    return counts & enough


def _trusted_climate() -> list[pl.Expr]:
    """E04: a climate join of low quality, or a zone that two polygons claim, cannot clear."""
    good = (pl.col("join_quality") == "good").fill_null(value=False)
    sure = (pl.col("zone_join") != "ambiguous").fill_null(value=False)
    return [
        pl.when(good).then("rain_mm_year"),
        pl.when(good).then("freeze_thaw_index"),
        pl.when(sure).then("zone_num"),
    ]


def assessment_rows(
    current: pl.DataFrame,
    proposals: pl.DataFrame,
    places: pl.DataFrame,
    policy: Policy,
    foam: pl.Expr,
) -> pl.DataFrame:
    """Join evidence to proposed measures and place; every foamed home-part gets a check of its own.

    Parameters
    ----------
    current
        Current evidence with variants, see `current.current_evidence`.
    proposals
        `property_id`, `building_part`, `measure_code`, `measure_material`,
        `measure_thickness_mm`; one row per proposal.
    places
        One row per property with the climate columns.
    foam
        Boolean expression over the evidence: foam is there or suspected.

    Returns
    -------
    pl.DataFrame
        One row per assessment and variant, ordered by key, measure and variant, with
        `assessment` (UInt32) numbering the home × part × measure.
    """
    foamed = current.filter(foam.fill_null(value=False)).select(KEY).unique()
    check = [code for code, measure in policy.measures.items() if measure.group == "FOAM"]
    checks = [
        foamed.with_columns(
            pl.lit(code).alias("measure_code"),
            pl.lit(None, pl.String).alias("measure_material"),
            pl.lit(None, pl.Float64).alias("measure_thickness_mm"),
        )
        for code in check
    ]
    wanted = pl.concat([proposals, *checks]).unique(
        [*KEY, "measure_code"], keep="first", maintain_order=True
    )
    wanted = wanted.sort(*KEY, "measure_code").with_row_index("assessment")
    measures = _measure_table(policy)
    joined = wanted.join(
        measures, on="measure_code", how="inner", maintain_order="left"
    ).with_columns(pl.coalesce("measure_material", "_default_material").alias("measure_material"))
    evidence = current.drop([name for name in MEASURE if name in current.columns])
    rows = joined.drop("_default_material").join(evidence, on=KEY, how="inner")
    return rows.join(places, on="property_id", how="left").sort("assessment", "variant")


def _measure_table(policy: Policy) -> pl.DataFrame:
    rows = [
        (m.code, m.group, policy.groups[m.group].element, m.tightening, m.default_material)
        for m in policy.measures.values()
    ]
    schema = {
        "measure_code": pl.String,
        "measure_group": pl.String,
        "measure_element": pl.String,
        "tightening": pl.Boolean,
        "_default_material": pl.String,
    }
    return pl.DataFrame(rows, schema=schema, orient="row")
