"""Repairs: shown to work or not, what they make old, and homes that come back from them."""

import polars as pl

from triage.contract.policy import Policy, Rule
from triage.rules.board import rule_fields
from triage.rules.codes import FIRES, KEY
from triage.rules.grading import COUNTS, QUALITY, STALE

_TESTED = ("hose", "flood")
_TIMBER = "timber_mc_pct"


def rules_named(name: str, policy: Policy) -> list[Rule]:
    """The entries that a record means by a rule id: it, and those that it is the base of."""
    return [rule for rule in policy.rules.values() if name in (rule.id, rule.base)]


def fields_of(rule: Rule, policy: Policy) -> set[str]:
    """Every survey field that a rule reads for any of its measure groups."""
    return {name for group in rule.groups for name in rule_fields(rule, group, policy)}


def judge_repairs(repairs: pl.DataFrame, policy: Policy) -> pl.DataFrame:
    """Say of each repair whether it is shown to work, and what is still due (5.7, W10).

    Parameters
    ----------
    repairs
        Columns of the table `repair`, `as_of` (Date, the day of judging) and `latitude_north`.

    Returns
    -------
    pl.DataFrame
        One row for each repair and rule entry that it answers: the columns of `records.REPAIRS`.
    """
    due = _due(policy)
    told = pl.format(
        "{} ({}): {}",
        "repair_id",
        pl.col("repair_type").str.replace_all("_", " "),
        pl.when(pl.col("_due").list.len() == 0)
        .then(pl.lit("shown to work"))
        .otherwise(pl.col("_due").list.join("; ")),
    )
    entries = pl.DataFrame(
        [(name, rule.id) for name in policy.rules for rule in rules_named(name, policy)],
        schema={"trigger_rule_ids": pl.String, "rule": pl.String},
        orient="row",
    )
    judged = repairs.with_columns(pl.concat_list(due).list.drop_nulls().alias("_due"))
    return (
        judged.with_columns((pl.col("_due").list.len() == 0).alias("proven"), told.alias("told"))
        .explode("trigger_rule_ids")
        .join(entries, on="trigger_rule_ids", how="left")
        .select(*KEY, "repair_id", "rule", "completed_on", "reopened_count", "proven", "told")
        .unique(["repair_id", "rule"], maintain_order=True)
    )


def _due(policy: Policy) -> list[pl.Expr]:
    """What a repair still lacks, each a text or null."""
    done, as_of = pl.col("completed_on"), pl.col("as_of")
    days = (
        pl.when(pl.col("repair_type").is_in(list(policy.records.slow_repairs)))
        .then(int(policy.number("repair_dry_slow_days")))
        .otherwise(int(policy.number("repair_dry_days")))
    )
    dry_on = done + pl.duration(days=days)
    by_another = (pl.col("verified_by") != pl.col("contractor_id")).fill_null(value=False)
    rain = (pl.col("water_test") == "rain_event") & (
        pl.col("rain_event_mm") >= policy.number("repair_rain_min_mm")
    )
    wet = pl.col("water_test").is_in(list(_TESTED)) | rain
    verified = (pl.col("repair_verified") == "yes") & (pl.col("verified_on") <= as_of)
    lower = pl.col("mc_after_pct") < pl.col("mc_before_pct").fill_null(float("inf"))
    level = _clear_level(policy)
    dry = lower & (pl.col("mc_after_pct") <= level) & (pl.col("mc_after_date") >= dry_on)
    completed = (done <= as_of).fill_null(value=False)
    lacks = {
        "not completed": ~completed,
        "looked at and not mended": completed & (pl.col("repair_verified") == "failed"),
        "not verified by somebody other than the contractor": completed
        & ~((verified & by_another).fill_null(value=False)),
        "no rain event of enough depth and no water test since": completed
        & ~wet.fill_null(value=False),
        "no later, lower reading at or under the clear level": completed
        & _involves_timber(policy)
        & ~(dry & (pl.col("mc_after_date") <= as_of)).fill_null(value=False),
    }
    told = [pl.when(test.fill_null(value=False)).then(pl.lit(text)) for text, test in lacks.items()]
    drying = pl.when(completed & (as_of < dry_on)).then(
        pl.format("drying until {}", dry_on.dt.to_string("%Y-%m-%d"))
    )
    return [*told, drying]


def _clear_level(policy: Policy) -> pl.Expr:
    """Level at or under which the reading after the repair is clear in its season."""
    winter = pl.col("mc_after_date").dt.month().is_in([10, 11, 12, 1, 2, 3])
    north = pl.col("latitude_north").fill_null(value=True)
    wetting = pl.when(north).then(winter).otherwise(~winter)
    return (
        pl.when(wetting)
        .then(policy.number("mc_clear_wetting_pct"))
        .otherwise(policy.number("mc_clear_drying_pct"))
    )


def _involves_timber(policy: Policy) -> pl.Expr:
    """A reading was taken before, or a rule that reads timber ordered the repair."""
    reads = [
        name
        for name in policy.rules
        if any(_TIMBER in fields_of(rule, policy) for rule in rules_named(name, policy))
        and policy.rules[name].outcome == "fix-water-first"
    ]
    by_rule = pl.col("trigger_rule_ids").list.eval(pl.element().is_in(reads)).list.any()
    return pl.col("mc_before_pct").is_not_null() | by_rule.fill_null(value=False)


def retire_repaired(graded: pl.DataFrame, repairs: pl.DataFrame, policy: Policy) -> pl.DataFrame:
    """Take out answers from before a repair that is shown to work, where a newer one counted.

    A defect that was put right and looked at again is no contradiction, nor does it become one
    when that look has grown old. Without a newer answer the old one stands: nothing is presumed
    mended.

    Parameters
    ----------
    graded
        Survey rows as graded.
    repairs
        See `records.Records`.

    Returns
    -------
    pl.DataFrame
        The same rows and order; retired answers are null, their quality too.
    """
    proven = repairs.filter(pl.col("proven") & pl.col("rule").is_not_null())
    if proven.is_empty():
        return graded
    fields: dict[str, list[str]] = {}
    for rule_id in proven["rule"].unique().sort().to_list():
        for name in sorted(fields_of(policy.rules[rule_id], policy)):
            if QUALITY + name in graded.columns:
                fields.setdefault(name, []).append(rule_id)
    changed: dict[str, pl.Series] = {}
    keys = graded.select(*KEY, "survey_on")
    for name, rules in fields.items():
        mended = (
            proven.filter(pl.col("rule").is_in(rules))
            .group_by(KEY)
            .agg(pl.max("completed_on").alias("_mended"))
        )
        on = keys.join(mended, on=KEY, how="left", maintain_order="left").with_columns(
            ((graded[QUALITY + name] & (COUNTS | STALE)) > 0).alias("_counts")
        )
        newer = (pl.col("_counts") & (pl.col("survey_on") > pl.col("_mended"))).any().over(KEY)
        old = ~(pl.col("survey_on") > pl.col("_mended")).fill_null(value=False)
        retired = on.select(
            (pl.col("_mended").is_not_null() & newer & old).fill_null(value=False).alias("r")
        )["r"]
        for column in (name, QUALITY + name):
            kept = pl.when(~retired).then(graded[column]).alias(column)
            changed[column] = pl.select(kept)[column]
    return graded.with_columns(changed.values())


def came_back(
    base: pl.DataFrame,
    results: pl.DataFrame,
    seen_on: dict[str, pl.Series],
    repairs: pl.DataFrame,
    policy: Policy,
) -> pl.Series:
    """Rows that fire the same rule again after as many repairs as the policy allows.

    Parameters
    ----------
    base
        Assessment rows with the key.
    results
        Rule answers in the same order.
    seen_on
        Rule id -> newest day of the evidence that the rule reads, in the same order.
    repairs
        See `records.Records`.

    Returns
    -------
    pl.Series
        Boolean, without nulls.
    """
    back = pl.repeat(value=False, n=base.height, dtype=pl.Boolean, eager=True)
    limit = int(policy.number("repairs_before_repeat"))
    for rule_id, days in seen_on.items():
        mine = repairs.filter(pl.col("rule") == rule_id)
        done = pl.col("completed_on").drop_nulls().sort()
        counted = mine.group_by(KEY).agg(
            done.get(limit - 1, null_on_oob=True).alias("done"),
            pl.col("reopened_count").max().alias("reopened"),
        )
        on = base.select(KEY).join(counted, on=KEY, how="left", maintain_order="left")
        again = (on["done"] < days).fill_null(value=False)
        reopened = (on["reopened"] >= limit).fill_null(value=False)
        back = back | ((again | reopened) & (results[rule_id] == FIRES))
    return back.alias("came_back")


def repair_notes(base: pl.DataFrame, repairs: pl.DataFrame) -> pl.Series:
    """What is due on each repair of a row's home-part: `repair_notes`, a list in row order."""
    told = (
        repairs.sort("repair_id")
        .group_by(KEY)
        .agg(pl.col("told").unique(maintain_order=True).alias("repair_notes"))
    )
    joined = base.select(KEY).join(told, on=KEY, how="left", maintain_order="left")
    return joined["repair_notes"].fill_null(pl.Series([[]], dtype=pl.List(pl.String)))
