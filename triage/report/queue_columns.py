"""Columns of a queue sheet: what a reader sees, in reading order."""

from collections.abc import Mapping
from dataclasses import dataclass

import polars as pl

from triage.report.cells import joined, worded
from triage.report.labels import LANES, REVIEW, SAFE


@dataclass(frozen=True, slots=True)
class Column:
    """One column of a sheet: heading, where its value comes from, width in characters."""

    heading: str
    value: pl.Expr
    width: float


def worded_queue(
    queue: pl.DataFrame, rule_titles: Mapping[str, str], field_labels: Mapping[str, str]
) -> pl.DataFrame:
    """Give a queue table the words of its rules and fields, and `others`, the reasons but one.

    A rule becomes its title and id, a field its label; codes without words stay as they are.
    """
    rules = {rule: f"{title} ({rule})" for rule, title in rule_titles.items()}
    labels = dict(field_labels)
    return _with_others(queue).with_columns(
        worded("others", rules),
        worded("undecidable", rules),
        worded("confirm_first", rules),
        worded("missing", labels),
        worded("expired", labels),
    )


def _with_others(queue: pl.DataFrame) -> pl.DataFrame:
    """Add `others`: the fired rules in their order without the main one."""
    rows = queue.with_row_index("__row")
    others = (
        rows.select("__row", "main_rule", others="fired")
        .explode("others", empty_as_null=True, keep_nulls=True)
        .filter(pl.col("others").ne_missing(pl.col("main_rule")) & pl.col("others").is_not_null())
        .group_by("__row", maintain_order=True)
        .agg("others")
    )
    return rows.join(others, on="__row", how="left", maintain_order="left").drop("__row")


def queue_columns(queue: str) -> list[Column]:
    """Columns of the sheet of one queue, over a table from `worded_queue`.

    The first six or seven fit a laptop screen 1366 pixels wide: who, what, why, what next.
    """
    return [
        Column("Home", pl.col("property_id"), 15),
        Column("Part", _spaced("building_part"), 11),
        Column("Measure", pl.col("measure_name").fill_null(pl.col("measure_code")), 18),
        *_state(queue),
        Column("Main reason", pl.col("reason"), 40),
        Column("Next action", pl.col("next_action"), 40),
        *([] if queue == SAFE else [Column("Missing evidence", joined("missing"), 30)]),
        Column("Stop-work flags", joined("stop_work"), 24),
        Column("Checks before start", joined("checks"), 40),
        Column("Enabling work", joined("enabling"), 36),
        Column("Cautions", joined("cautions"), 44),
        Column("Other reasons", joined("others"), 44),
        Column("Cannot be decided yet", joined("undecidable"), 40),
        Column("To be confirmed first", joined("confirm_first"), 30),
        Column("Conflicting records", joined("conflict_notes"), 60),
        Column("Expired evidence", joined("expired"), 26),
        Column("Taken as usual, to be checked", joined("presumed"), 26),
        Column("Accepted by a specialist", joined("decision_notes"), 44),
        Column("Repairs on record", joined("repair_notes"), 36),
        *_record(),
    ]


def _state(queue: str) -> list[Column]:
    if queue == REVIEW:
        lanes = {lane: words for lane, (words, _) in LANES.items()}
        return [Column("Lane", pl.col("lane").replace(lanes), 13)]
    if queue == SAFE:
        released = pl.when(pl.col("released")).then(pl.lit("released"))
        return [Column("Release", released.otherwise(pl.lit("checks outstanding")), 13)]
    return []


def _record() -> list[Column]:
    return [
        Column("Main rule", pl.col("main_rule"), 9),
        Column("Severity (1 to 5)", pl.col("severity"), 9),
        Column("Survey date", pl.col("survey_on"), 12),
        Column("Evidence good until", pl.col("expires_on"), 12),
        Column("Survey quality", pl.col("survey_quality"), 11),
        Column("Rests on, at least", _spaced("evidence_quality"), 12),
        Column("Climate zone", pl.col("zone"), 9),
        Column("Climate region", pl.col("region_name"), 20),
        Column("Rain exposure", _spaced("exposure"), 12),
        Column("Foam present", _spaced("foam_present"), 10),
        Column("Building", pl.col("building_id"), 14),
        Column("Notes", joined("notes"), 40),
    ]


def _spaced(column: str) -> pl.Expr:
    return pl.col(column).cast(pl.String).str.replace_all("_", " ", literal=True)
