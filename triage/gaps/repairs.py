"""What repairs would do: which defects, put right and shown to be, release which homes.

Every home-part is judged again once for each set of repairs that any of its measures waits for,
with the defects of that set mended: a repair shown to work is put on record and the fields that it
mends are answered anew. What else is known of the home stays.
"""

from datetime import timedelta

import polars as pl

from triage.contract.expressions import names_in
from triage.contract.policy import Policy
from triage.gaps.cells import CELL, answer_rows, ranked_choices, with_methods
from triage.gaps.methods import clearing_methods
from triage.gaps.predict import homes_units
from triage.gaps.values import possible_values
from triage.gaps.whatif import VARIANT, WhatIf, judge_again
from triage.rules.codes import KEY
from triage.rules.queue import FIX, SAFE
from triage.rules.table import ID
from triage.work import Work

_ELEMENT_GONE = ("none_present", "not_applicable", "absent")  # no repair takes a chimney away


def repair_outcomes(work: Work) -> pl.DataFrame:
    """What becomes of each row of fix-water-first when its repairs are done and shown to work.

    Parameters
    ----------
    work
        An open run.

    Returns
    -------
    pl.DataFrame
        The key, `measure_code`, `measure_group`, `repairs` (the repair rules that fire, sorted),
        `then_queue`, `then_lane`, `then_missing`, `then_asks`; null where the row was not judged.
    """
    rows = _held_rows(work)
    sets = rows.select(*KEY, "repairs").unique().sort(*KEY, "repairs")
    # Homes under one roof are judged together, each of their sets in a copy of its own.
    units = homes_units(work)
    numbered = (
        sets.join(units, on="property_id", how="left")
        .sort("unit", *KEY, "repairs")
        .with_columns(
            (pl.int_range(pl.len(), dtype=pl.Int32).over("unit")).cast(pl.Int32).alias(VARIANT)
        )
    )
    copies = units.join(numbered.select("unit", VARIANT), on="unit").select("property_id", VARIANT)
    mended = _mended(numbered, rows, work)
    day = work.programme.as_of
    proofs = numbered.explode("repairs").select(
        *KEY,
        VARIANT,
        pl.format("forecast-{}", "repairs").alias("repair_id"),
        pl.col("repairs").alias("rule"),
        pl.lit(day - timedelta(days=1)).alias("completed_on"),
        pl.lit(0, pl.Int64).alias("reopened_count"),
        pl.lit(value=True).alias("proven"),
        pl.lit("forecast").alias("told"),
    )
    judged = judge_again(work, WhatIf(copies.sort("property_id", VARIANT), mended, proofs))
    then = judged.queue.select(
        *ID,
        VARIANT,
        *(pl.col(n).alias(f"then_{n}") for n in ("queue", "lane", "missing")),
        pl.col("asks_for_evidence").alias("then_asks"),
    )
    placed = rows.join(numbered.select(*KEY, "repairs", VARIANT), on=[*KEY, "repairs"], how="left")
    return placed.join(then, on=[*ID, VARIANT], how="left").drop(VARIANT).sort(ID)


def _held_rows(work: Work) -> pl.DataFrame:
    """Rows of fix-water-first with the repair rules that hold them."""
    repairs = [rule.id for rule in work.policy.rules.values() if rule.outcome == FIX]
    queue = work.store.table("queue").filter(pl.col("queue") == FIX)
    holding = pl.col("fired").list.eval(pl.element().filter(pl.element().is_in(repairs)))
    return queue.select(*ID, "measure_group", holding.list.sort().alias("repairs")).filter(
        pl.col("repairs").list.len() > 0
    )


def mended_fields(policy: Policy, rule_id: str) -> list[str]:
    """The fields of a repair rule whose answers a repair changes."""
    named = names_in(policy.rules[rule_id].fires)
    return [name for name in policy.records.mends if name in named]


def _mended(sets: pl.DataFrame, rows: pl.DataFrame, work: Work) -> pl.DataFrame:
    """Answers after the repairs, as evidence rows of the copies."""
    policy, contract, as_of = work.policy, work.contract, work.programme.as_of
    changed = {rule: mended_fields(policy, rule) for rule in policy.rules}
    pairs = [(rule, field) for rule, fields in changed.items() for field in fields]
    by_rule = pl.DataFrame(pairs, schema={"repairs": pl.String, "field": pl.String}, orient="row")
    groups = rows.group_by(KEY).agg(pl.col("measure_group").unique().sort().alias("groups"))
    cells = (
        sets.explode("repairs")
        .join(by_rule, on="repairs")
        .select(*KEY, VARIANT, "field")
        .unique()
        .join(_answered(work, sorted({field for _, field in pairs})), on=CELL, how="semi")
        .join(groups, on=KEY, how="left")
    )
    each = cells.select(*CELL, "groups").unique().sort(CELL)
    evidence = work.store.table("evidence_row")
    kinds = each.explode("groups").select("field", pl.col("groups").alias("measure_group")).unique()
    values = possible_values(policy, contract, kinds, evidence, {}, as_of)
    words = pl.lit(list(policy.records.mended), pl.List(pl.String)).alias("text")
    hoped = each.select(*CELL, words).explode("text")
    ranked = ranked_choices(each, hoped, values.without(_ELEMENT_GONE))
    methods = clearing_methods(policy, contract, each["field"].unique().sort().to_list(), as_of)
    chosen = with_methods(ranked.with_columns(pl.lit(value=True).alias("disputed")), methods)
    answers = (
        chosen.filter(pl.col("survey_method").is_not_null() & (pl.col("choices").list.len() > 0))
        .select(*CELL, pl.col("choices").list.first().alias("value_no"), "survey_method")
        .join(cells.select(*CELL, VARIANT), on=CELL)
        .with_columns(pl.lit(as_of).alias("survey_date"))
    )
    return answer_rows(answers.sort(*CELL, VARIANT), values, evidence)


def _answered(work: Work, fields: list[str]) -> pl.DataFrame:
    """Key and field of everything that the current evidence answers."""
    current = work.store.table("current_evidence").filter(pl.col("variant") == 0)
    known = current.select(*KEY, *(pl.col(f).is_not_null() for f in fields if f in current.columns))
    tall = known.unpivot(index=KEY, variable_name="field", value_name="known")
    return tall.filter("known").select(CELL)


def repair_table(outcomes: pl.DataFrame) -> pl.DataFrame:
    """Each repair: homes that wait for it, that it alone releases, that it helps to release.

    Returns
    -------
    pl.DataFrame
        rule, `homes_waiting`, `homes_waiting_for_it_alone`, `homes_released_alone`,
        `homes_released_with_others`; most released first.
    """
    each = outcomes.with_columns(pl.col("repairs").list.len().alias("_n")).explode("repairs")
    safe = (pl.col("then_queue") == SAFE).fill_null(value=False)
    alone = pl.col("_n") == 1

    def homes(test: pl.Expr, name: str) -> pl.Expr:
        return pl.col("property_id").filter(test).n_unique().cast(pl.Int64).alias(name)

    return (
        each.group_by(pl.col("repairs").alias("rule"))
        .agg(
            pl.col("property_id").n_unique().cast(pl.Int64).alias("homes_waiting"),
            homes(alone, "homes_waiting_for_it_alone"),
            homes(alone & safe, "homes_released_alone"),
            homes(~alone & safe, "homes_released_with_others"),
        )
        .sort("homes_released_alone", "homes_waiting", "rule", descending=[True, True, False])
    )


def repair_sets(outcomes: pl.DataFrame) -> pl.DataFrame:
    """Each set of repairs that rows wait for together, and what becomes of them then.

    Returns
    -------
    pl.DataFrame
        `repairs`, `repairs_n`, `measure_group`, `homes`, `homes_released`, `homes_to_visit` (more
        evidence is wanted then), `homes_to_specialist`, `homes_still_held`.
    """
    safe = (pl.col("then_queue") == SAFE).fill_null(value=False)
    held = (pl.col("then_queue") == FIX).fill_null(value=True)
    asks = pl.col("then_asks").fill_null(value=False) & ~safe & ~held

    def homes(test: pl.Expr, name: str) -> pl.Expr:
        return pl.col("property_id").filter(test).n_unique().cast(pl.Int64).alias(name)

    return (
        outcomes.with_columns(pl.col("repairs").list.join(", "))
        .group_by("repairs", "measure_group")
        .agg(
            (pl.col("repairs").first().str.count_matches(", ") + 1).cast(pl.Int64).alias("n"),
            pl.col("property_id").n_unique().cast(pl.Int64).alias("homes"),
            homes(safe, "homes_released"),
            homes(asks, "homes_to_visit"),
            homes(~safe & ~held & ~asks, "homes_to_specialist"),
            homes(held, "homes_still_held"),
        )
        .rename({"n": "repairs_n"})
        .sort(
            *("homes_released", "homes", "repairs_n", "repairs", "measure_group"),
            descending=[True, True, False, False, False],
        )
    )
