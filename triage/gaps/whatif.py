"""Judges homes of a finished run again with answers that nobody gave yet, by the run's own stage.

The stage judges what was gathered from the store. Here it gets only the homes asked about, each as
many times as there are variants of it, and the further answers as evidence rows. Whatever else is
known of a home (records, events, place) comes along unchanged.
"""

from dataclasses import dataclass, fields, replace

import polars as pl

from triage.rules.records import Records
from triage.stages import Gathered, gathered, judged
from triage.work import Work

VARIANT, UNIT = "variant_no", "unit"
_MARK = "\x1f"  # between an id and its variant: no id that was read holds it
_IDS = ("property_id", "building_id")


@dataclass(frozen=True, slots=True)
class WhatIf:
    """Homes to judge again.

    `homes` has property_id and `variant_no` (Int32), one row for each copy of a home to judge.
    `answers` has the same two columns and those of an evidence row: `building_part`,
    `survey_date`, `survey_method`, `base_grade` and any survey fields. `repairs`, if any, has
    `variant_no` and the columns of `records.REPAIRS`: repairs that are to stand on record.
    """

    homes: pl.DataFrame
    answers: pl.DataFrame
    repairs: pl.DataFrame | None = None


@dataclass(frozen=True, slots=True)
class Rejudged:
    """What the homes came to: queue rows and rule results, each with `variant_no`."""

    queue: pl.DataFrame
    results: pl.DataFrame


def judge_again(work: Work, asked: WhatIf) -> Rejudged:
    """Judge copies of homes with further answers.

    Parameters
    ----------
    work
        An open run.
    asked
        Which homes, and the answers of each copy.

    Returns
    -------
    Rejudged
        Queue and results by variant, in no particular order of variants.
    """
    if asked.homes.is_empty():
        empty = pl.lit(0, pl.Int32).alias(VARIANT)
        return Rejudged(
            work.store.table("queue").clear().with_columns(empty),
            work.store.table("rule_result").clear().with_columns(empty),
        )
    copied = _copied(gathered(work), asked)
    silent = replace(work, say=lambda _: None)
    parts = list(judged(copied, silent, work.programme.as_of))
    return Rejudged(
        _with_variant(pl.concat([part.queue for part in parts])),
        _with_variant(pl.concat([part.results for part in parts])),
    )


def _with_variant(frame: pl.DataFrame) -> pl.DataFrame:
    """The real ids back, and which copy a row is about."""
    split = pl.col("property_id").str.split_exact(_MARK, 1)
    back = [split.struct[0].alias("property_id"), split.struct[1].cast(pl.Int32).alias(VARIANT)]
    if "building_id" in frame.columns:
        back.append(pl.col("building_id").str.split(_MARK).list.first())
    return frame.with_columns(back)


def _copied(whole: Gathered, asked: WhatIf) -> Gathered:
    """The homes asked about, copy by copy, with their further answers."""
    homes = asked.homes.select("property_id", pl.col(VARIANT).cast(pl.String))
    rows = _copies(whole.rows, homes)
    old = rows.select(pl.col("row_id").alias("_old"))
    rows = rows.with_columns(pl.int_range(pl.len(), dtype=pl.UInt32).alias("row_id"))
    numbers = old.hstack(rows.select("row_id"))
    marks = numbers.join(whole.marks, left_on="_old", right_on="row_id", how="inner")
    answers = asked.answers.with_columns(
        _copy_name("property_id"),
        (pl.int_range(pl.len(), dtype=pl.UInt32) + rows.height).cast(pl.UInt32).alias("row_id"),
    ).drop(VARIANT)
    on_record = {
        field.name: _copies(getattr(whole.records, field.name), homes) for field in fields(Records)
    }
    if asked.repairs is not None:
        more = asked.repairs.with_columns(_copy_name("property_id")).drop(VARIANT)
        held = on_record["repairs"]
        on_record["repairs"] = pl.concat([held, more.select(held.columns)])
    return Gathered(
        rows=pl.concat(
            [rows, answers.select(c for c in rows.columns if c in answers.columns)],
            how="diagonal",
        ),
        marks=marks.select(whole.marks.columns).sort("row_id", "field"),
        proposals=_copies(whole.proposals, homes),
        places=_copies(whole.places, homes),
        records=Records(**on_record),
    )


def _copies(frame: pl.DataFrame, homes: pl.DataFrame) -> pl.DataFrame:
    joined = frame.join(homes, on="property_id", how="inner", maintain_order="left")
    names = [name for name in _IDS if name in frame.columns]
    return joined.with_columns(_copy_name(name) for name in names).drop(VARIANT)


def _copy_name(name: str) -> pl.Expr:
    text = pl.col(name) + _MARK + pl.col(VARIANT).cast(pl.String)
    return text.alias(name)
