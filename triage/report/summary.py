"""Counts of a queue table: one calculation for the workbook, the terminal and the maps."""

from dataclasses import dataclass

import polars as pl

from triage.report.labels import (
    FIX,
    LANES,
    MEASURE_GROUPS,
    QUEUES,
    REVIEW,
    SAFE,
    SURVEY_QUALITIES,
    WORST_ORDER,
)

PERCENT_FROM = 10  # smallest denominator for which a programme report prints a share (POLICY 7.3)


@dataclass(frozen=True, slots=True)
class Summary:
    """Counts over home x part x measure rows; every frame is small and ready to print.

    queues: queue, rows, homes (any measure in it), worst_homes (homes whose worst queue it is)
    lanes: lane, rows; all lanes that occur, in fixed order
    by_measure, by_survey: key, then one count column a mix class, and total
    stop_work: flag, rows, homes
    `decidable` counts rows on which every required rule could be answered, `accepted` those on
    which a specialist accepted a rule that fired.
    """

    rows: int
    homes: int
    decidable: int
    released: int
    checks_outstanding: int
    accepted: int
    queues: pl.DataFrame
    lanes: pl.DataFrame
    by_measure: pl.DataFrame
    by_survey: pl.DataFrame
    stop_work: pl.DataFrame

    def count(self, queue: str) -> int:
        """Rows in one queue."""
        return int(self.queues.filter(pl.col("queue") == queue)["rows"].item())


MIX_CLASSES = ("released", "checks", "fix", *LANES, "no_lane")


def summarise(queue: pl.DataFrame) -> Summary:
    """Count a queue table (one row per home, part and measure; see `Summary`).

    Reads property_id, queue, lane, released, undecidable, overridden, measure_group,
    survey_quality and stop_work. Other columns are not looked at. Row order does not matter.
    """
    safe = queue.filter(pl.col("queue") == SAFE)
    released = int(safe["released"].sum() or 0)
    return Summary(
        rows=queue.height,
        homes=queue["property_id"].n_unique(),
        decidable=queue.filter(pl.col("undecidable").list.len().fill_null(0) == 0).height,
        released=released,
        checks_outstanding=safe.height - released,
        accepted=queue.filter(pl.col("overridden").list.len() > 0).height,
        queues=_queues(queue),
        lanes=_in_order(queue.drop_nulls("lane"), "lane", list(LANES)),
        by_measure=_mix(queue, "measure_group", list(MEASURE_GROUPS)),
        by_survey=_mix(queue, "survey_quality", list(SURVEY_QUALITIES)),
        stop_work=_stop_work(queue),
    )


def worst_queue(queue: pl.DataFrame) -> pl.DataFrame:
    """Worst queue of each home: property_id, queue. Fix beats review beats safe."""
    rank = pl.col("queue").replace_strict(
        list(WORST_ORDER), list(range(len(WORST_ORDER))), return_dtype=pl.Int8
    )
    worst = queue.group_by("property_id").agg(rank.max().alias("rank")).sort("property_id")
    names = pl.Series(WORST_ORDER)
    return worst.select("property_id", queue=pl.lit(names).gather(pl.col("rank")))


def _queues(queue: pl.DataFrame) -> pl.DataFrame:
    rows = queue.group_by("queue").agg(
        rows=pl.len().cast(pl.Int64), homes=pl.col("property_id").n_unique().cast(pl.Int64)
    )
    worst = worst_queue(queue).group_by("queue").agg(worst_homes=pl.len().cast(pl.Int64))
    order = pl.DataFrame({"queue": [look.queue for look in QUEUES]})
    return (
        order.join(rows, on="queue", how="left", maintain_order="left")
        .join(worst, on="queue", how="left", maintain_order="left")
        .with_columns(pl.col("rows", "homes", "worst_homes").fill_null(0))
    )


def _in_order(frame: pl.DataFrame, key: str, order: list[str]) -> pl.DataFrame:
    counts = frame.group_by(key).agg(rows=pl.len().cast(pl.Int64))
    return counts.sort(_place_in(key, order), key)


def _place_in(key: str, order: list[str]) -> pl.Expr:
    places = list(range(len(order)))
    return pl.col(key).replace_strict(order, places, default=len(order), return_dtype=pl.Int64)


def mix_class() -> pl.Expr:
    """Class of a queue row in the mix table: one of `MIX_CLASSES`."""
    return (
        pl.when(pl.col("queue") == FIX)
        .then(pl.lit("fix"))
        .when((pl.col("queue") == SAFE) & pl.col("released").fill_null(False))
        .then(pl.lit("released"))
        .when(pl.col("queue") == SAFE)
        .then(pl.lit("checks"))
        .when(pl.col("queue") == REVIEW)
        .then(pl.col("lane").fill_null("no_lane"))
    )


def _mix(queue: pl.DataFrame, key: str, order: list[str]) -> pl.DataFrame:
    long = queue.select(pl.col(key).fill_null("not known"), kind=mix_class())
    counts = [(pl.col("kind") == kind).sum().cast(pl.Int64).alias(kind) for kind in MIX_CLASSES]
    table = long.group_by(key).agg(*counts, total=pl.len().cast(pl.Int64))
    empty = [kind for kind in MIX_CLASSES if not (table[kind].sum() or 0)]
    unused = [kind for kind in empty if kind in {"repeat_return", "no_lane"}]
    return table.sort(_place_in(key, order), key).rename({key: "key"}).drop(unused)


def _stop_work(queue: pl.DataFrame) -> pl.DataFrame:
    flags = queue.select("property_id", flag=pl.col("stop_work")).explode(
        "flag", empty_as_null=True, keep_nulls=True
    )
    return (
        flags.drop_nulls("flag")
        .group_by("flag")
        .agg(
            rows=pl.len().cast(pl.Int64),
            homes=pl.col("property_id").n_unique().cast(pl.Int64),
        )
        .sort("rows", "flag", descending=[True, False])
    )


def share(part: int, whole: int) -> float | None:
    """Share of a whole, 0 to 1; None where the whole is too small for a share to mean much."""
    return part / whole if whole >= PERCENT_FROM else None
