"""The queue table: one row per home, part and measure, in words."""

import polars as pl

from triage.contract.policy import Policy
from triage.rules.queue import REVIEW, SAFE
from triage.rules.words import main_rule, next_action, reason

ID = ("property_id", "building_part", "measure_code")
_WORKINGS = (
    *("presumed_checks", "rule_checks", "fix_actions", "review_actions", "disputed_actions"),
    *("fired_fix", "fired_review", "fired_safety"),
    *("decision_checks", "decided_until", "refused", "wants_evidence", "came_back"),
)


def queue_table(
    base: pl.DataFrame,
    decision: pl.DataFrame,
    lists: pl.DataFrame,
    standing: pl.DataFrame,
    policy: Policy,
) -> pl.DataFrame:
    """Put together what a row says to a reader.

    Parameters
    ----------
    base
        Assessment rows: key, measure, place, and Boolean `foam` (null: unknown).
    decision, lists, standing
        Queue and lane, word lists, and survey quality with expiry, in the same order.
    policy
        Names of measures and rules.
    """
    names = {code: measure.name for code, measure in policy.measures.items()}
    zone = pl.concat_str(pl.col("zone_num").cast(pl.String), pl.col("moist_letter").fill_null(""))
    known = base.select(
        *ID,
        "measure_group",
        pl.col("measure_code").replace_strict(names, return_dtype=pl.String).alias("measure_name"),
        "survey_on",
        "lat",
        "lon",
        "building_id",
        "region_name",
        "zone_join",
        "near_cold_line",
        "hazard_first_on",
        zone.alias("zone"),
        pl.coalesce("exposure_class", "exposure_from_place").alias("exposure"),
        pl.when("foam")
        .then(pl.lit("yes"))
        .when(~pl.col("foam"))
        .then(pl.lit("no"))
        .otherwise(pl.lit("unknown"))
        .alias("foam_present"),
    )
    table = pl.concat([known, decision, lists, standing], how="horizontal").with_columns(
        pl.concat_list("presumed_checks", "rule_checks", "decision_checks")
        .list.unique(maintain_order=True)
        .alias("checks"),
        pl.concat_list(
            "notes",
            pl.when(pl.col("near_cold_line")).then(
                pl.lit("Climate lies near the cold line: both sides were judged.")
            ),
            pl.when(pl.col("hazard_first_on").is_not_null()).then(
                pl.format(
                    "Mould hazard first recorded on {}: statutory clocks may run from that day.",
                    pl.col("hazard_first_on").dt.to_string("%Y-%m-%d"),
                )
            ),
            pl.when(pl.col("read_again_on").is_not_null()).then(
                pl.format(
                    "Timber was read in the drying half-year only: read it again from {} on.",
                    pl.col("read_again_on").dt.to_string("%Y-%m-%d"),
                )
            ),
        )
        .list.drop_nulls()
        .alias("notes"),
    )
    outstanding = pl.sum_horizontal(
        pl.col(name).list.len() for name in ("checks", "enabling", "stop_work")
    )
    table = table.with_columns(((pl.col("queue") == SAFE) & (outstanding == 0)).alias("released"))
    table = table.with_columns(
        main_rule().alias("main_rule"),
        pl.when(pl.col("lane") == "contradiction")
        .then("disputed_fields")
        .otherwise("missing")
        .alias("missing"),
    )
    table = table.with_columns(reason(policy).alias("reason"), next_action().alias("next_action"))
    asks = (pl.col("queue") == REVIEW) & pl.col("lane").is_in(
        ["evidence_gap", "expired", "contradiction"]
    )
    nothing = pl.lit([], pl.List(pl.String))
    return table.with_columns(
        # Where the answer could not change the outcome, nobody is sent to look (5.4).
        pl.col("missing").alias("open_fields"),
        pl.when(asks).then("missing").otherwise(nothing).alias("missing"),
        pl.when(pl.col("lane") == "expired").then("missing").otherwise(nothing).alias("expired"),
        asks.fill_null(value=False).alias("asks_for_evidence"),
    ).drop(_WORKINGS)
