"""Judges homes of a finished run again with answers that nobody gave yet, by the run's own stage.

The stage reads its tables through a store. Here it gets a store that holds only the homes asked
about, each as many times as there are variants of it, and the further answers as evidence rows.
Whatever else the stage reads of a home (records, events, place) comes along unchanged.
"""

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Any, cast

import polars as pl

from triage.stages import judged_batches
from triage.store import Store
from triage.work import Work

VARIANT, UNIT = "variant_no", "unit"
_MARK = "\x1f"  # between an id and its variant: no id that was read holds it
_EVIDENCE = "evidence_row"
_IDS = ("property_id", "building_id")


@dataclass(frozen=True, slots=True)
class WhatIf:
    """Homes to judge again.

    `homes` has property_id and `variant_no` (Int32), one row for each copy of a home to judge.
    `answers` has the same two columns and those of an evidence row: `building_part`,
    `survey_date`, `survey_method`, `base_grade` and any survey fields.
    """

    homes: pl.DataFrame
    answers: pl.DataFrame


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
    store = cast("Store", _CopiedHomes(work.store, asked))
    parts = list(judged_batches(replace(work, store=store, say=lambda _: None)))
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


class _CopiedHomes:
    """A store of copied homes with further answers; it writes nothing."""

    def __init__(self, store: Store, asked: WhatIf) -> None:
        self._store = store
        self._homes = asked.homes.select("property_id", pl.col(VARIANT).cast(pl.String))
        copied = self._copied(store.table(_EVIDENCE))
        old = copied.select(pl.col("row_id").alias("_old"))
        copied = copied.with_columns(pl.int_range(pl.len(), dtype=pl.UInt32).alias("row_id"))
        self._rows = old.hstack(copied.select("row_id"))
        self._answers = self._answer_rows(asked.answers, copied)
        self._survey = copied

    def _answer_rows(self, answers: pl.DataFrame, survey: pl.DataFrame) -> pl.DataFrame:
        first = survey.height
        return answers.with_columns(
            _copy_name("property_id"),
            (pl.int_range(pl.len(), dtype=pl.UInt32) + first).cast(pl.UInt32).alias("row_id"),
        ).drop(VARIANT)

    def table(self, name: str) -> pl.DataFrame:
        """A table of the run for the copied homes; the evidence with the further answers."""
        if name == _EVIDENCE:
            answers = self._answers.select(
                column for column in self._survey.columns if column in self._answers.columns
            )
            return pl.concat([self._survey, answers], how="diagonal")
        frame = self._store.table(name)
        if "property_id" in frame.columns:
            return self._copied(frame)
        return self._by_row(frame) if "row_id" in frame.columns else frame

    def ask(self, sql: str, parameters: Mapping[str, Any] | None = None) -> pl.DataFrame:
        """Rows of a query about the copied homes."""
        found = self._store.ask(sql, parameters)
        return self._copied(found) if "property_id" in found.columns else found

    def put(self, name: str, frame: pl.DataFrame, ddl: str | None = None) -> None:
        """Nothing is written: what might be is not what is."""

    def _copied(self, frame: pl.DataFrame) -> pl.DataFrame:
        joined = frame.join(self._homes, on="property_id", how="inner", maintain_order="left")
        names = [name for name in _IDS if name in frame.columns]
        return joined.with_columns(_copy_name(name) for name in names).drop(VARIANT)

    def _by_row(self, frame: pl.DataFrame) -> pl.DataFrame:
        joined = self._rows.join(frame, left_on="_old", right_on="row_id", how="inner")
        return joined.select(frame.columns).sort("row_id")


def _copy_name(name: str) -> pl.Expr:
    text = pl.col(name) + _MARK + pl.col(VARIANT).cast(pl.String)
    return text.alias(name)
