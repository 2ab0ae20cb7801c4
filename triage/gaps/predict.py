"""What the answers would do: each waiting home judged again with good ones, and with bad ones.

One what-if run holds every waiting home twice. Where a good answer to a question depends on what
else is known (which layer is in the wall, say), a second and a third try the others.
"""

from dataclasses import dataclass

import polars as pl

from triage.errors import StoreError
from triage.gaps.cells import CELL, answer_rows
from triage.gaps.other_answers import GOOD, copies_of, improved, numbered_tries, of_variant
from triage.gaps.values import Values
from triage.gaps.whatif import VARIANT, Rejudged, WhatIf, judge_again
from triage.rules.queue import SAFE
from triage.rules.table import ID
from triage.work import Work

BAD, AS_IT_IS = 1, 2  # beside GOOD
_CONTROL = 300  # homes judged without any answer, to see that the run is the one of this programme
_SAID = ("queue", "lane", "missing")


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
            *(copies_of(concerned, variant) for variant in (GOOD, BAD)),
            copies_of(concerned.join(_units(control, homes), on="unit", how="semi"), AS_IT_IS),
        ]
    )
    day = pl.lit(work.programme.as_of).alias("survey_date")
    rows = answer_rows(pl.concat(both).with_columns(day), values, evidence)
    first = judge_again(work, WhatIf(copies, rows))
    _check_control(first.queue.filter(pl.col(VARIANT) == AS_IT_IS), queue, work)
    good = Rejudged(*of_variant(first, GOOD))
    chosen, good = improved(work, start, values, concerned, good, queue)
    bad = Rejudged(*of_variant(first, BAD))
    return Predicted(chosen, good.queue, bad.queue, bad.results)


def homes_units(work: Work) -> pl.DataFrame:
    """property_id and `unit`: homes of one building are judged together, for they share a roof."""
    return work.store.table("home").select(
        "property_id", pl.coalesce("building_id", "property_id").alias("unit")
    )


def _units(some: pl.DataFrame, homes: pl.DataFrame) -> pl.DataFrame:
    return homes.join(some, on="property_id", how="semi").select("unit").unique()


def _check_control(again: pl.DataFrame, queue: pl.DataFrame, work: Work) -> None:
    before = queue.join(again.select("property_id").unique(), on="property_id", how="semi")
    if not before.select(*ID, *_SAID).sort(ID).equals(again.select(*ID, *_SAID).sort(ID)):
        raise StoreError(
            "this run was not made from the programme as it stands now: its homes come to "
            "something else",
            str(work.folder),
            "run the programme again, or name the programme file of this run",
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
    numbered = numbered_tries(cells.with_columns(pl.col("value_no").alias("other")), homes)
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
