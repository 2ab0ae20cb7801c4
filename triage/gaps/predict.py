"""What the answers would do: each waiting home judged again with good ones, and with bad ones.

One what-if run holds every waiting home twice. Where a good answer to a question depends on what
else is known (which layer is in the wall, say), a second and a third try the others.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import polars as pl

from triage.contract.policy import GATING, Policy
from triage.errors import StoreError
from triage.gaps.cells import CELL, answer_rows
from triage.gaps.values import Values
from triage.gaps.whatif import VARIANT, Rejudged, WhatIf, judge_again
from triage.rules.board import rule_fields
from triage.rules.codes import CONFIRM, DISPUTED, EXPIRED, FIRES, KEY, UNDECIDABLE
from triage.rules.queue import FIX, SAFE
from triage.rules.table import ID
from triage.work import Work

GOOD, BAD, AS_IT_IS = 0, 1, 2
_TRIES = 2  # further runs in which other answers are tried
_OTHERS = 12  # other answers tried of one question
_CONTROL = 300  # homes judged without any answer, to see that the run is the one of this programme
_SAID = ("queue", "lane", "missing")
_HELD = [UNDECIDABLE, EXPIRED, CONFIRM, DISPUTED, FIRES]


@dataclass(frozen=True, slots=True)
class Predicted:
    """What the answers would do.

    `cells` are the answerable questions with `value_no`, the good answer assumed. `good` and `bad`
    hold the queue rows of every home that is asked anything, with all its good answers, and with
    all the answers that call for a repair; `bad_results` the rule answers of the latter.
    """

    cells: pl.DataFrame
    good: pl.DataFrame
    bad: pl.DataFrame
    bad_results: pl.DataFrame


def predict(
    work: Work, cells: pl.DataFrame, values: Values, homes: pl.DataFrame, queue: pl.DataFrame
) -> Predicted:
    """Judge the homes again with the answers filled in.

    Parameters
    ----------
    work
        The open run.
    cells
        Questions with `choices`, `adverse` and `survey_method`.
    values
        What value numbers stand for.
    homes
        property_id and `unit`: homes of a unit are judged together.
    queue
        The run's queue.

    Raises
    ------
    StoreError
        If the homes judged without any answer do not come to what the run says: then the
        programme is not the one that was run.
    """
    evidence = work.store.table("evidence_row")
    start = cells.filter(
        pl.col("survey_method").is_not_null() & (pl.col("choices").list.len() > 0)
    ).with_columns(pl.col("choices").list.first().alias("value_no"))
    concerned = homes.join(
        homes.join(start, on="property_id", how="semi").select("unit"), on="unit", how="semi"
    )
    adverse = start.filter(pl.col("adverse").is_not_null()).with_columns(
        pl.col("adverse").alias("value_no")
    )
    control = concerned.select("property_id").sort("property_id").head(_CONTROL)
    both = [
        start.with_columns(pl.lit(GOOD, pl.Int32).alias(VARIANT)),
        adverse.with_columns(pl.lit(BAD, pl.Int32).alias(VARIANT)),
    ]
    copies = pl.concat(
        [
            *(_copies(concerned, variant) for variant in (GOOD, BAD)),
            _copies(concerned.join(_units(control, homes), on="unit", how="semi"), AS_IT_IS),
        ]
    )
    day = pl.lit(work.programme.as_of).alias("survey_date")
    rows = answer_rows(pl.concat(both).with_columns(day), values, evidence)
    first = judge_again(work, WhatIf(copies, rows))
    _check_control(first.queue.filter(pl.col(VARIANT) == AS_IT_IS), queue, work)
    good = Rejudged(*_variant(first, GOOD))
    chosen, good = _improved(work, start, values, concerned, good, queue)
    bad = Rejudged(*_variant(first, BAD))
    return Predicted(chosen, good.queue, bad.queue, bad.results)


def homes_units(work: Work) -> pl.DataFrame:
    """property_id and `unit`: homes of one building are judged together, for they share a roof."""
    return work.store.table("home").select(
        "property_id", pl.coalesce("building_id", "property_id").alias("unit")
    )


def _units(some: pl.DataFrame, homes: pl.DataFrame) -> pl.DataFrame:
    return homes.join(some, on="property_id", how="semi").select("unit").unique()


def _copies(homes: pl.DataFrame, variant: int) -> pl.DataFrame:
    return homes.select("property_id", pl.lit(variant, pl.Int32).alias(VARIANT))


def _variant(judged: Rejudged, number: int) -> tuple[pl.DataFrame, pl.DataFrame]:
    queue, results = (
        frame.filter(pl.col(VARIANT) == number).drop(VARIANT).sort(ID)
        for frame in (judged.queue, judged.results)
    )
    return queue, results


def _check_control(again: pl.DataFrame, queue: pl.DataFrame, work: Work) -> None:
    before = queue.join(again.select("property_id").unique(), on="property_id", how="semi")
    if not before.select(*ID, *_SAID).sort(ID).equals(again.select(*ID, *_SAID).sort(ID)):
        raise StoreError(
            "this run was not made from the programme as it stands now: its homes come to "
            "something else",
            str(work.folder),
            "run the programme again, or name the programme file of this run",
        )


def _improved(
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
        numbered = _numbered(tries, homes)
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
    queue, results = _variant(judge_again(work, WhatIf(_copies(some, GOOD), rows)), GOOD)
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


def _numbered(tries: pl.DataFrame, homes: pl.DataFrame) -> pl.DataFrame:
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


def released_alone(
    work: Work,
    predicted: Predicted,
    values: Values,
    homes: pl.DataFrame,
    waiting: pl.DataFrame,
) -> pl.DataFrame:
    """Rows that wait for one answer, and that this good answer alone, nothing beside it, releases.

    Parameters
    ----------
    work, predicted, values, homes
        As for `predict`, and what it gave.
    waiting
        Queue rows that ask for evidence.

    Returns
    -------
    pl.DataFrame
        Their key and measure_code.
    """
    single = waiting.filter(pl.col("missing").list.len() == 1).explode("missing")
    asked = single.rename({"missing": "field"}).select(*ID, "field")
    cells = predicted.cells.join(asked.select(CELL).unique(), on=CELL, how="semi")
    numbered = _numbered(cells.with_columns(pl.col("value_no").alias("other")), homes)
    copies = homes.join(numbered.select("unit", VARIANT).unique(), on="unit").select(
        "property_id", VARIANT
    )
    day = pl.lit(work.programme.as_of).alias("survey_date")
    answers = numbered.select(*CELL, VARIANT, "value_no", "survey_method").with_columns(day)
    rows = answer_rows(answers, values, work.store.table("evidence_row"))
    judged = judge_again(work, WhatIf(copies.sort("property_id", VARIANT), rows))
    told = asked.join(numbered.select(*CELL, VARIANT), on=CELL)
    safe = judged.queue.filter(pl.col("queue") == SAFE)
    return told.join(safe, on=[*ID, VARIANT], how="semi").select(ID).sort(ID)
