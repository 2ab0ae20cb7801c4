"""Other answers to what a home is asked, tried where the first ones do not make it safe."""

from collections.abc import Sequence

import polars as pl

from triage.contract.policy import GATING, Policy
from triage.gaps.cells import CELL, answer_rows
from triage.gaps.values import Values
from triage.gaps.whatif import VARIANT, Rejudged, WhatIf, judge_again
from triage.rules.board import rule_fields
from triage.rules.codes import CONFIRM, DISPUTED, EXPIRED, FIRES, KEY, UNDECIDABLE
from triage.rules.queue import FIX, SAFE
from triage.rules.table import ID
from triage.work import Work

GOOD = 0
_TRIES = 2  # further runs in which other answers are tried
_OTHERS = 12  # other answers tried of one question
_HELD = [UNDECIDABLE, EXPIRED, CONFIRM, DISPUTED, FIRES]


def improved(
    work: Work,
    start: pl.DataFrame,
    values: Values,
    homes: pl.DataFrame,
    good: Rejudged,
    queue: pl.DataFrame,
) -> tuple[pl.DataFrame, Rejudged]:
    """Try other answers where the first one does not make a row safe, one question at a time."""
    chosen = start
    for _ in range(_TRIES):
        tries = _alternatives(chosen, good, queue, work.policy)
        if tries.is_empty():
            break
        units = homes.join(tries.select("property_id").unique(), on="property_id", how="semi")
        numbered = numbered_tries(tries, homes)
        copies = (
            homes.join(units.select("unit").unique(), on="unit", how="semi")
            .join(numbered.select("unit", VARIANT).unique(), on="unit")
            .select("property_id", VARIANT)
        )
        answers = _with_one_changed(chosen, numbered, copies)
        day = pl.lit(work.programme.as_of).alias("survey_date")
        evidence = work.store.table("evidence_row")
        rows = answer_rows(answers.with_columns(day), values, evidence)
        judged = judge_again(work, WhatIf(copies.sort("property_id", VARIANT), rows))
        better = _better(numbered, judged.queue, good.queue, queue)
        if better.is_empty():
            break
        chosen = (
            chosen.join(better.select(*CELL, "other"), on=CELL, how="left", maintain_order="left")
            .with_columns(pl.coalesce("other", "value_no").alias("value_no"))
            .drop("other")
        )
        good = _settled(work, chosen, values, homes, better, good)
    return chosen, good


def _settled(
    work: Work,
    chosen: pl.DataFrame,
    values: Values,
    homes: pl.DataFrame,
    better: pl.DataFrame,
    good: Rejudged,
) -> Rejudged:
    """Judge the homes whose answers changed with all their answers as they are chosen now."""
    units = homes.join(better.select("property_id"), on="property_id", how="semi").select("unit")
    some = homes.join(units.unique(), on="unit", how="semi")
    mine = chosen.join(some, on="property_id", how="semi").with_columns(
        pl.lit(GOOD, pl.Int32).alias(VARIANT),
        pl.lit(work.programme.as_of).alias("survey_date"),
    )
    rows = answer_rows(mine, values, work.store.table("evidence_row"))
    queue, results = of_variant(judge_again(work, WhatIf(copies_of(some, GOOD), rows)), GOOD)
    rest = [frame.join(some, on="property_id", how="anti") for frame in (good.queue, good.results)]
    return Rejudged(
        pl.concat([rest[0], queue.select(rest[0].columns)]).sort(ID),
        pl.concat([rest[1], results.select(rest[1].columns)]).sort(ID),
    )


def _alternatives(
    chosen: pl.DataFrame, good: Rejudged, queue: pl.DataFrame, policy: Policy
) -> pl.DataFrame:
    """Other answers to the questions that rules read which still hold a row: `other` value."""
    waiting = queue.filter("asks_for_evidence").select(ID)
    held = good.queue.join(waiting, on=ID, how="semi").filter(pl.col("queue") != SAFE)
    gating = [rule for rule in policy.rules.values() if rule.outcome in GATING]
    holding = (
        good.results.join(held.select(*ID, "measure_group"), on=ID)
        .unpivot([r.id for r in gating], index=[*ID, "measure_group"], variable_name="rule")
        .filter(pl.col("value").is_in(_HELD))
    )
    read = rules_read(policy)
    blamed = holding.join(read, on=["rule", "measure_group"]).select(CELL).unique()
    others = (
        chosen.join(blamed, on=CELL, how="semi")
        .with_columns(pl.col("choices").list.head(_OTHERS + 1))
        .explode("choices")
        .filter(pl.col("choices") != pl.col("value_no"))
    )
    return others.select(*CELL, pl.col("choices").alias("other"))


def rules_read(policy: Policy) -> pl.DataFrame:
    """Which survey fields each gating rule reads for each measure group, through quantities too."""
    rows = [
        (rule.id, group, name)
        for rule in policy.rules.values()
        if rule.outcome in GATING
        for group in rule.groups
        for name in sorted(rule_fields(rule, group, policy))
    ]
    schema = dict.fromkeys(("rule", "measure_group", "field"), pl.String)
    return pl.DataFrame(rows, schema=schema, orient="row")


def numbered_tries(tries: pl.DataFrame, homes: pl.DataFrame) -> pl.DataFrame:
    """A variant of the unit for each try."""
    placed = tries.join(homes, on="property_id", how="left").sort("unit", *CELL, "other")
    number = pl.int_range(pl.len(), dtype=pl.Int32).over("unit") + 1
    return placed.with_columns(number.cast(pl.Int32).alias(VARIANT))


def _with_one_changed(
    chosen: pl.DataFrame, numbered: pl.DataFrame, copies: pl.DataFrame
) -> pl.DataFrame:
    every = chosen.select(*CELL, "value_no", "survey_method").join(copies, on="property_id")
    changed = numbered.select(*CELL, VARIANT, "other")
    return (
        every.join(changed, on=[*CELL, VARIANT], how="left", maintain_order="left")
        .with_columns(pl.coalesce("other", "value_no").alias("value_no"))
        .drop("other")
    )


def worth(queue: pl.DataFrame, before: pl.DataFrame, by: Sequence[str]) -> pl.DataFrame:
    """How good the outcome of the waiting rows of a home-part is, added up: `worth`.

    Safe counts most, then another question, then a specialist, then a repair.
    """
    asks = pl.col("asks_for_evidence")
    points = (
        pl.when(pl.col("queue") == SAFE)
        .then(100)
        .when(asks)
        .then(3)
        .when(pl.col("queue") != FIX)
        .then(1)
        .otherwise(0)
    )
    waiting = before.filter("asks_for_evidence").select(ID)
    mine = queue.join(waiting, on=ID, how="semi").with_columns(points.alias("worth"))
    return mine.group_by(by).agg(pl.col("worth").sum())


def _better(
    numbered: pl.DataFrame, tried: pl.DataFrame, good: pl.DataFrame, queue: pl.DataFrame
) -> pl.DataFrame:
    """The best try of each home-part that gains by one."""
    now = worth(good, queue, KEY).rename({"worth": "now"})
    then = worth(tried, queue, [*KEY, VARIANT])
    gained = numbered.join(then, on=[*KEY, VARIANT]).join(now, on=KEY, how="left")
    return (
        gained.filter(pl.col("worth") > pl.col("now"))
        .sort(*KEY, "worth", VARIANT, descending=[False, False, True, False])
        .unique(KEY, keep="first", maintain_order=True)
    )


def copies_of(homes: pl.DataFrame, variant: int) -> pl.DataFrame:
    """One copy of each home, numbered so."""
    return homes.select("property_id", pl.lit(variant, pl.Int32).alias(VARIANT))


def of_variant(judged: Rejudged, number: int) -> tuple[pl.DataFrame, pl.DataFrame]:
    """Queue rows and rule answers of one copy of each home."""
    queue, results = (
        frame.filter(pl.col(VARIANT) == number).drop(VARIANT).sort(ID)
        for frame in (judged.queue, judged.results)
    )
    return queue, results
