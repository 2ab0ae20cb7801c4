"""What records say of a home-part as a whole: openings, readings below the surface, repairs."""

import polars as pl

from triage.contract.policy import Policy
from triage.rules.codes import KEY
from triage.rules.record_rows import DEEP, numeric_wood, sampled_types
from triage.rules.records import FACTS

_ROOF = (
    *("rafter_mid", "rafter_foot", "wall_plate", "valley_member", "purlin_end", "ridge"),
    *("sheathing_n", "sheathing_s"),
)
_ENDS = ("joist_end", "beam_end")
_SHADED_NORTH, _SHADED_SOUTH = ("N", "NE", "NW"), ("S", "SE", "SW")
# After these verdicts an opening says nothing in favour of what it found.
_ADVERSE = ("fix_water", "specialist", "remove_foam", "unsafe_stop")


def record_facts(
    readings: pl.DataFrame, inspections: pl.DataFrame, repairs: pl.DataFrame, policy: Policy
) -> pl.DataFrame:
    """One row a home-part with the columns of FACTS.

    Parameters
    ----------
    readings
        Columns of the table `reading`, homes resolved, with `as_of` and `latitude_north`.
    inspections
        Columns of the table `inspection`, with `as_of`.
    repairs
        As judged, see `repairs.judge_repairs`.
    policy
        Says for how long openings count. [months]
    """
    months = f"-{int(policy.number('opening_recent_months'))}mo"
    opened = _opened(inspections.filter(pl.col("inspected_on") >= _ago("as_of", months)))
    wood = numeric_wood(readings).filter(
        (pl.col("method") == DEEP)
        & (pl.col("treated_or_salty") == "no")
        & (pl.col("reading_date") >= _ago("as_of", months))
    )
    mended = repairs.group_by(KEY).agg(
        pl.lit(value=True).alias("repair_on_record"),
        (~pl.col("proven")).any().alias("repair_unproven"),
    )
    parts = [opened, _roof(wood), _ends(wood), mended]
    keys = pl.concat([part.select(KEY) for part in parts]).unique().sort(KEY)
    facts = keys
    for part in parts:
        facts = facts.join(part, on=list(KEY), how="left", maintain_order="left")
    adverse = pl.col("_adverse").fill_null(value=False)
    cleared = [
        pl.when(adverse).then(pl.lit(0).cast(FACTS[name])).otherwise(pl.col(name)).alias(name)
        for name in ("openings_n", "foam_sampled", "deep_readings_n", "deep_readings_shaded_n")
    ]
    return facts.with_columns(cleared).select(
        *KEY, *(pl.col(name).cast(kind) for name, kind in FACTS.items())
    )


def _ago(day: str, months: str) -> pl.Expr:
    return pl.col(day).dt.offset_by(months)


def _opened(inspections: pl.DataFrame) -> pl.DataFrame:
    """The last inspection that opened anything; a refusal or no access opens nothing."""
    done = inspections.filter(
        pl.col("outcome_status").is_in(["completed", "partial"]) & (pl.col("openings_count") > 0)
    ).sort("inspected_on", "inspection_id")
    sampled = sampled_types(inspections).select("inspection_id").unique()
    return done.group_by(KEY, maintain_order=True).agg(
        pl.last("openings_count").alias("openings_n"),
        pl.col("inspection_id")
        .is_in(sampled["inspection_id"].implode())
        .any()
        .alias("foam_sampled"),
        pl.last("verdict").is_in(list(_ADVERSE)).alias("_adverse"),
    )


def _roof(wood: pl.DataFrame) -> pl.DataFrame:
    roof = wood.filter(pl.col("location").is_in(list(_ROOF)))
    north = pl.col("latitude_north").fill_null(value=True)
    location, aspect = pl.col("location"), pl.col("aspect")
    shaded = (
        pl.when(north)
        .then((location == "sheathing_n") | aspect.is_in(list(_SHADED_NORTH)))
        .otherwise((location == "sheathing_s") | aspect.is_in(list(_SHADED_SOUTH)))
        .fill_null(value=False)
    )
    winter = _winter()
    return roof.group_by(KEY).agg(
        winter.is_not_null().sum().alias("deep_readings_n"),
        (winter.is_not_null() & shaded).sum().alias("deep_readings_shaded_n"),
        pl.max("value").alias("deep_reading_max_pct"),
        winter.drop_nulls().n_unique().alias("deep_winters_n"),
    )


def _ends(wood: pl.DataFrame) -> pl.DataFrame:
    ends = wood.filter(pl.col("location").is_in(list(_ENDS)))
    winter = _winter()
    aspect = pl.col("aspect")
    known = winter.is_not_null() & aspect.is_not_null() & ~aspect.is_in(["na", "mixed"])
    return ends.group_by(KEY).agg(
        winter.is_not_null().sum().alias("end_readings_n"),
        aspect.filter(known.fill_null(value=False)).n_unique().alias("end_aspects_n"),
        pl.max("value").alias("end_reading_max_pct"),
    )


def _winter() -> pl.Expr:
    """Year in which the wetting half-year of a reading began; null in the drying half-year."""
    on = pl.col("reading_date")
    north = pl.col("latitude_north").fill_null(value=True)
    month, year = on.dt.month(), on.dt.year()
    wetting = pl.when(north).then((month >= 10) | (month <= 3)).otherwise(month.is_between(4, 9))
    begun = pl.when(north & (month <= 3)).then(year - 1).otherwise(year)
    return pl.when(wetting).then(begun)
