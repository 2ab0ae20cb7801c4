"""Events that end evidence before its age does: a storm, a reported leak, another household."""

import polars as pl

from triage.contract.policy import Policy
from triage.rules.codes import KEY

EVENT = "event__"


def ended_classes(policy: Policy) -> tuple[str, ...]:
    """Expiry classes that some event ends."""
    return tuple(sorted({c for ended in policy.records.event_ends.values() for c in ended}))


def with_events(rows: pl.DataFrame, events: pl.DataFrame, policy: Policy) -> pl.DataFrame:
    """Add `event__<class>`: the first day, from that of the survey on, of an event that ends it.

    A survey of the same day may have come before the event, so it is ended too.

    Parameters
    ----------
    rows
        Survey rows: the key, `survey_date`, `mc_date`.
    events
        Of the same homes, see `Records`.
    policy
        Says which event ends which expiry class.
    """
    classes = ended_classes(policy)
    blank = [pl.lit(None, pl.Date).alias(f"event__{name}") for name in classes]
    if events.is_empty():
        return rows.with_columns(blank)
    parts = rows.select(KEY).unique()
    only = pl.col("building_part_only")
    reached = parts.join(events, on="property_id", how="inner", suffix="_only").filter(
        only.is_null() | (pl.col("building_part") == only)
    )
    for name in classes:
        kinds = [kind for kind, ended in policy.records.event_ends.items() if name in ended]
        read = [pl.col("mc_date")] if name == "timber_reading" else []
        mine = reached.filter(pl.col("event_type").is_in(kinds)).select(
            *KEY, pl.col("event_on").alias(f"event__{name}")
        )
        on = pl.coalesce(*read, "survey_date")
        numbered = rows.select(*KEY, on.alias("on")).with_row_index("_row")
        found = (
            numbered.drop_nulls("on")
            .sort("on")
            .join_asof(
                mine.sort(f"event__{name}"),
                left_on="on",
                right_on=f"event__{name}",
                by=list(KEY),
                strategy="forward",
                coalesce=False,
                check_sortedness=False,  # sorted above
            )
            .select("_row", f"event__{name}")
        )
        rows = rows.hstack(
            numbered.select("_row")
            .join(found, on="_row", how="left", maintain_order="left")
            .select(f"event__{name}")
        )
    return rows
