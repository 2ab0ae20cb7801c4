"""What ends in the days to come, and which homes leave a queue because of it."""

from datetime import date, timedelta

import polars as pl

from triage.contract.policy import Policy
from triage.rules.queue import SAFE
from triage.rules.records import Records
from triage.rules.table import ID

DECISION = "decision"
"""Stands for a field where a specialist's decision ends."""
AS_OF = "judged_on"
_MARK = "\x1f"  # no identifier holds it: intake takes control characters out
_LATER = ("queue", "lane", "open_fields")


def calendar_span(policy: Policy) -> timedelta:
    """How far the calendar looks ahead."""
    return timedelta(days=int(policy.number("expiry_calendar_days")))


def ending(until: pl.DataFrame, last: date) -> pl.DataFrame:
    """One row for each needed answer, or decision, whose last good day is not after `last`.

    Parameters
    ----------
    until
        ID, and a Date a field: last good day of each answer that counts today.
    last
        Last day of the calendar.

    Returns
    -------
    pl.DataFrame
        ID, `field`, `expires_on`.
    """
    fields = [name for name in until.columns if name not in ID]
    dated = until.with_columns(pl.col(fields).cast(pl.Date))
    soon = dated.filter(pl.min_horizontal(fields) <= last)
    return soon.unpivot(
        fields, index=list(ID), variable_name="field", value_name="expires_on"
    ).filter(pl.col("expires_on") <= last)


def days_to_judge(ends: pl.DataFrame, queue: pl.DataFrame, places: pl.DataFrame) -> pl.DataFrame:
    """Homes and days on which a safe row may leave: the day after each of its answers ends.

    Homes of the same building are judged with it, since they may tell of its roof.

    Returns
    -------
    pl.DataFrame
        `property_id`, `judged_on`.
    """
    safe = queue.filter(pl.col("queue") == SAFE).select(ID)
    days = ends.join(safe, on=ID, how="semi").select(
        "property_id", pl.col("expires_on").dt.offset_by("1d").alias(AS_OF)
    )
    homes = places.select("property_id", "building_id")
    of_buildings = days.join(homes, on="property_id").drop_nulls("building_id")
    mates = of_buildings.select("building_id", AS_OF).join(homes, on="building_id")
    every = pl.concat([days, mates.select("property_id", AS_OF)])
    return every.unique().sort("property_id", AS_OF)


def on_day(frame: pl.DataFrame, days: pl.DataFrame) -> pl.DataFrame:
    """One copy of a home's rows for each of its days, under a name of its own."""
    copies = frame.join(days, on="property_id", how="inner", maintain_order="left_right")
    named = [name for name in ("property_id", "building_id") if name in frame.columns]
    return copies.with_columns(
        pl.concat_str(name, pl.lit(_MARK), pl.col(AS_OF).cast(pl.String)).alias(name)
        for name in named
    )


def records_on_day(records: Records, days: pl.DataFrame) -> Records:
    """The records as of each day: a decision past its last day is no longer in force."""
    in_force = on_day(records.decisions, days).filter(
        (pl.col("expires_on") >= pl.col(AS_OF)).fill_null(value=True)
    )
    frames = (on_day(frame, days) for frame in (records.facts, records.events, records.repairs))
    return Records(*(frame.drop(AS_OF) for frame in (*frames, in_force)))


def later_queues(queue: pl.DataFrame) -> pl.DataFrame:
    """Queue rows of homes judged on days of their own, under their own names again."""
    home, day = (pl.col("property_id").str.split(_MARK).list.get(n) for n in (0, 1))
    return queue.with_columns(home.alias("property_id"), day.str.to_date().alias(AS_OF)).select(
        *ID, AS_OF, *_LATER
    )


def expiry_calendar(ends: pl.DataFrame, queue: pl.DataFrame, later: pl.DataFrame) -> pl.DataFrame:
    """What ends when, and which row leaves `safe-to-insulate` because of it.

    A row leaves once, on the first day on which it would not be safe. Of several answers that end
    the day before, those count as the cause that the row then asks for.

    Parameters
    ----------
    ends
        As `ending` gives it.
    queue
        Queue rows of today.
    later
        As `later_queues` gives it.

    Returns
    -------
    pl.DataFrame
        By day: `expires_on`, ID, `field`, `queue` and `lane` of today, `leaves_safe`, and
        `becomes` and `becomes_lane`: where the row then goes, null where it stays.
    """
    left = (
        later.filter(pl.col("queue") != SAFE)
        .sort(AS_OF)
        .unique(ID, keep="first", maintain_order=True)
        .select(
            *ID,
            pl.col(AS_OF).dt.offset_by("-1d").alias("expires_on"),
            pl.col("queue").alias("becomes"),
            pl.col("lane").alias("becomes_lane"),
            "open_fields",
        )
    )
    today = queue.select(*ID, "queue", "lane")
    told = ends.join(today, on=ID, how="inner").join(left, on=[*ID, "expires_on"], how="left")
    asked = pl.col("open_fields").list.contains(pl.col("field")).fill_null(value=False)
    causes = asked | ~asked.any().over(*ID, "expires_on")
    leaves = pl.col("becomes").is_not_null() & (pl.col("queue") == SAFE) & causes
    return (
        told.with_columns(leaves.alias("leaves_safe"))
        .with_columns(pl.when("leaves_safe").then(pl.col("becomes", "becomes_lane")))
        .select(
            *("expires_on", *ID, "field", "queue", "lane"),
            *("leaves_safe", "becomes", "becomes_lane"),
        )
        .sort("expires_on", *ID, "field")
    )
