"""The stage that looks ahead: what ends soon, and what each home would be on the day after."""

from typing import Any

import polars as pl

from triage.rules.calendar import (
    AS_OF,
    calendar_span,
    days_to_judge,
    expiry_calendar,
    later_queues,
    on_day,
    records_on_day,
)
from triage.stages import Gathered, gathered, judged
from triage.work import Work


def look_ahead(work: Work) -> None:
    """Judge again, as of the day after, every safe home of which an answer ends soon.

    Nothing but the age of the evidence moves: repairs are as proven as they are today.
    """
    queue, ends = work.store.table("queue"), work.store.table("evidence_ending")
    homes = gathered(work)
    days = days_to_judge(ends, queue, homes.places)
    parts = []
    if days.height:
        for part in judged(_on_days(homes, days), work, pl.col(AS_OF)):
            parts.append(later_queues(part.queue))
    later = pl.concat(parts) if parts else later_queues(queue.clear())
    work.store.put("expiry_calendar", expiry_calendar(ends, queue, later))


def _on_days(homes: Gathered, days: pl.DataFrame) -> Gathered:
    rows = on_day(homes.rows, days).rename({"row_id": "_held"}).with_row_index("row_id")
    marks = homes.marks.rename({"row_id": "_held"}).join(
        rows.select("_held", "row_id"), on="_held", how="inner", maintain_order="left_right"
    )
    return Gathered(
        rows=rows.drop("_held"),
        marks=marks.select(homes.marks.columns),
        proposals=on_day(homes.proposals, days).drop(AS_OF),
        places=on_day(homes.places, days).drop(AS_OF),
        records=records_on_day(homes.records, days),
    )


def calendar_record(work: Work) -> dict[str, Any]:
    """What run.json says of the days to come."""
    calendar = work.store.table("expiry_calendar")
    leaving = calendar.filter("leaves_safe")
    by_field = (
        calendar.group_by("field")
        .agg(
            pl.len().alias("answers"),
            pl.col("property_id").n_unique().alias("homes"),
            pl.col("property_id").filter("leaves_safe").n_unique().alias("homes_leaving_safe"),
        )
        .sort("homes_leaving_safe", "homes", "field", descending=[True, True, False])
    )
    month = pl.col("expires_on").dt.strftime("%Y-%m").alias("month")
    by_month = (
        calendar.group_by(month)
        .agg(
            pl.len().alias("answers"),
            pl.col("property_id").n_unique().alias("homes"),
            pl.col("property_id").filter("leaves_safe").n_unique().alias("homes_leaving_safe"),
        )
        .sort("month")
    )
    span = calendar_span(work.policy)
    return {
        "days": span.days,
        "until": work.programme.as_of + span,
        "answers": calendar.height,
        "homes": calendar["property_id"].n_unique(),
        "homes_leaving_safe": leaving["property_id"].n_unique(),
        "rows_leaving_safe": leaving.select("property_id", "building_part", "measure_code")
        .unique()
        .height,
        "first_leaves_on": leaving["expires_on"].min(),
        "by_month": by_month.to_dicts(),
        "by_field": by_field.to_dicts(),
    }


def calendar_note(work: Work) -> str:
    """The days to come in one line."""
    said = calendar_record(work)
    first = f", the first after {said['first_leaves_on']}" if said["first_leaves_on"] else ""
    return (
        f"expires within {said['days']} days: {said['answers']:,} answers about "
        f"{said['homes']:,} homes; {said['homes_leaving_safe']:,} homes would leave "
        f"safe-to-insulate{first} (expiry_calendar.csv)"
    )
