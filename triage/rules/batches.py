"""E07: batches of surveys that say the same of every home."""

import polars as pl

from triage.contract.policy import Policy

_FLAGS = pl.Schema(
    {
        "kind": pl.String,
        "who": pl.String,
        "survey_date": pl.Date,
        "homes": pl.UInt32,
        "visit_again": pl.UInt32,
        "message": pl.String,
    }
)


def same_answers(rows: pl.DataFrame, policy: Policy) -> pl.DataFrame:
    """Batches to visit again in part.

    Parameters
    ----------
    rows
        Accepted survey rows: `property_id`, `surveyor_id`, `survey_date`, `archetype_code` and
        the condition fields of the pack.

    Returns
    -------
    pl.DataFrame
        One row a batch: kind (`one_surveyor_one_day` or `one_archetype`), who, survey_date,
        homes, visit_again (homes to visit again), message.
    """
    fields = [name for name in policy.evidence.batch_fields if name in rows.columns]
    answered = pl.sum_horizontal(pl.col(name).is_not_null().cast(pl.Int32) for name in fields)
    seen = rows.filter(answered >= max(2, len(fields) // 2))
    least = int(policy.number("batch_min_homes"))
    by_day = (
        seen.filter(pl.col("surveyor_id").is_not_null() & pl.col("survey_date").is_not_null())
        .group_by("surveyor_id", "survey_date", *fields)
        .agg(pl.col("property_id").n_unique().alias("homes"))
        .filter(pl.col("homes") >= least)
        .select(
            pl.lit("one_surveyor_one_day").alias("kind"),
            pl.col("surveyor_id").alias("who"),
            "survey_date",
            "homes",
        )
    )
    varied = [(pl.col(name).n_unique() > 1).alias(name) for name in fields]
    by_type = (
        seen.filter(pl.col("archetype_code").is_not_null())
        .group_by("archetype_code")
        .agg(pl.col("property_id").n_unique().alias("homes"), *varied)
        .filter((pl.col("homes") >= least) & ~pl.any_horizontal(fields))
        .select(
            pl.lit("one_archetype").alias("kind"),
            pl.col("archetype_code").alias("who"),
            pl.lit(None, pl.Date).alias("survey_date"),
            "homes",
        )
    )
    share = policy.number("batch_repeat_share")
    again = (pl.col("homes") * share).ceil().cast(pl.UInt32).alias("visit_again")
    flags = pl.concat([by_day, by_type]).with_columns(again)
    message = pl.format(
        "{} homes of {} have the same answer in every condition field: visit {} again",
        "homes",
        "who",
        "visit_again",
    )
    ordered = flags.with_columns(message.alias("message")).sort(
        "kind", "who", "survey_date", "homes"
    )
    return ordered.cast(_FLAGS).select(_FLAGS.names())
