"""How well a row was surveyed, and until when its evidence stands."""

from datetime import date

import polars as pl

from triage.contract.policy import Policy
from triage.rules.codes import FIRES
from triage.rules.events import EVENT, ended_classes
from triage.rules.grading import QUALITY, RANK_BITS, SOURCE, last_good_day


def ordinary_needs(policy: Policy, group: str) -> list[str]:
    """What the required rules of a group ask of an ordinary home, foam details aside."""
    names: dict[str, None] = {}
    for rule_id in policy.groups[group].required:
        rule = policy.rules[rule_id]
        if "foam" in (rule.applies or "") and group != "FOAM":
            continue
        for any_of in rule.needs_in(group):
            names[any_of[0]] = None
    return list(names)


def fields_relied_on(policy: Policy, group: str) -> set[str]:
    """Every survey field behind what the required rules of a group need, quantities included."""
    fields: set[str] = set()
    for rule_id in policy.groups[group].required:
        for name in (n for any_of in policy.rules[rule_id].needs_in(group) for n in any_of):
            quantity = policy.quantities.get(name)
            fields |= {name} if quantity is None else set(quantity.fields)
    return fields


def survey_quality(clear: pl.DataFrame, policy: Policy) -> pl.Series:
    """Thorough, typical or poor, by the share of what the measure needs that counts.

    Parameters
    ----------
    clear
        Assessment rows with only the evidence that is good enough to clear.
    """
    share: pl.Expr = pl.lit(None, pl.Float64)
    for group in policy.groups:
        # What is looked up or settled by inference says nothing of how well the visit was done.
        inferred = {p.field for p in policy.presumptions if group in p.groups and not p.counts}
        needed = [name for name in ordinary_needs(policy, group) if name not in inferred]
        names = [name for name in needed if name in clear.columns]
        if names:
            known = pl.sum_horizontal(pl.col(name).is_not_null().cast(pl.Float64) for name in names)
            share = (
                pl.when(pl.col("measure_group") == group).then(known / len(names)).otherwise(share)
            )
    words = (
        pl.when(share >= policy.number("quality_thorough_share"))
        .then(pl.lit("thorough"))
        .when(share >= policy.number("quality_typical_share"))
        .then(pl.lit("typical"))
        .otherwise(pl.lit("poor"))
    )
    return clear.select(words.alias("survey_quality"))["survey_quality"]


def rests_on(base: pl.DataFrame, clear: pl.DataFrame, policy: Policy) -> pl.Series:
    """Weakest grade among the needed answers that count: what the row rests on, at the least.

    Parameters
    ----------
    base
        Assessment rows with the quality `q__<field>` of each answer.
    clear
        The same rows with only the evidence that counts.
    """
    relied = {group: fields_relied_on(policy, group) for group in policy.groups}
    ranks = []
    for name in [c.removeprefix(QUALITY) for c in base.columns if c.startswith(QUALITY)]:
        groups = [group for group, fields in relied.items() if name in fields]
        if groups:
            concerned = base["measure_group"].is_in(groups) & clear[name].is_not_null()
            rank = pl.when(concerned).then(base[QUALITY + name] & RANK_BITS)
            ranks.append(pl.select(rank.alias(name))[name])
    words = dict(enumerate(policy.evidence.grades, start=1))
    weakest = pl.DataFrame(ranks).select(pl.min_horizontal(pl.all()).alias("evidence_quality"))
    return weakest["evidence_quality"].replace_strict(words, default=None, return_dtype=pl.String)


def good_until(
    base: pl.DataFrame, clear: pl.DataFrame, graded: pl.DataFrame, policy: Policy
) -> pl.DataFrame:
    """Last good day of each needed answer that counts today and ages.

    Parameters
    ----------
    base
        Assessment rows with the source row `r__<field>` of each answer.
    clear
        The same rows with only the evidence that counts.
    graded
        Survey rows as graded, with what decides their age.

    Returns
    -------
    pl.DataFrame
        In row order a Date a field, null where the row does not need it, or it does not count.
    """
    ends_early = [EVENT + name for name in ended_classes(policy)]
    rows = graded.select("row_id", "survey_date", "mc_date", "exposed", *ends_early).sort("row_id")
    height = rows["row_id"].to_list()[-1] + 1 if rows.height else 1
    dense = pl.DataFrame({"row_id": pl.int_range(height, dtype=pl.UInt32, eager=True)}).join(
        rows, on="row_id", how="left", maintain_order="left"
    )
    relied = {group: fields_relied_on(policy, group) for group in policy.groups}
    ends = []
    for name in [c.removeprefix(SOURCE) for c in base.columns if c.startswith(SOURCE)]:
        standard = policy.evidence.of(name)
        groups = [group for group, fields in relied.items() if name in fields]
        if standard.expires == "none" or not groups:
            continue
        end = dense.select(last_good_day(standard, policy).alias(name))[name]
        concerned = base["measure_group"].is_in(groups) & clear[name].is_not_null()
        value = end.gather(base[SOURCE + name].fill_null(0))
        ends.append(pl.select(pl.when(concerned).then(value).alias(name))[name])
    return pl.DataFrame(ends) if ends else pl.DataFrame({"_none": [None] * base.height})


def expires_on(until: pl.DataFrame) -> pl.Series:
    """Last day on which every needed answer that counts today is good; null where none ages.

    Parameters
    ----------
    until
        As `good_until` gives it.
    """
    return until.select(pl.min_horizontal(pl.all()).cast(pl.Date).alias("x"))["x"]


def read_again_on(
    base: pl.DataFrame, results: pl.DataFrame, policy: Policy, as_of: date | None
) -> pl.Series:
    """First day in the wetting half-year from `as_of` on, for rows that want a reading then (E06).

    Parameters
    ----------
    base
        Assessment rows: `latitude_north`; null counts as north.
    results
        Rule answers in the same order.
    as_of
        None: each home is judged on a day of its own, and nobody is told when to read.

    Returns
    -------
    pl.Series
        Date, in row order; null where the pack's rules do not ask for a winter reading.
    """
    rules = list(policy.evidence.winter_readings)
    if as_of is None or not rules:
        return pl.Series("read_again_on", [None] * base.height, dtype=pl.Date)
    wanted = results.select(pl.any_horizontal(pl.col(rules) == FIRES).alias("x"))["x"]
    north, south = (_next_wetting_day(as_of, first) for first in (10, 4))
    is_north = base["latitude_north"].fill_null(value=True)
    day = pl.when(is_north).then(pl.lit(north)).otherwise(pl.lit(south))
    return pl.select(pl.when(wanted).then(day).alias("read_again_on")).to_series()


def _next_wetting_day(on: date, first_month: int) -> date:
    """The day itself in the half-year that begins with a month, else the day it begins."""
    if (on.month - first_month) % 12 < 6:
        return on
    return date(on.year + (on.month > first_month), first_month, 1)
