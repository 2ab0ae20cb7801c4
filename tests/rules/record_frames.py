"""Records made by hand, as the contract types them, and taken the way a run takes them."""

from collections.abc import Mapping
from datetime import date
from typing import Any

import polars as pl
from rule_homes import AS_OF, CONTRACT, POLICY

from triage.rules.record_facts import record_facts
from triage.rules.records import DECISIONS, EVENTS, Records, no_records
from triage.rules.repairs import judge_repairs

Row = Mapping[str, Any]
HOME = "H000000"
KINDS = ("reading", "opening", "inspection", "repair", "event", "decision", "answer")


def table(kind: str, *rows: Row) -> pl.DataFrame:
    """Rows of a record table, of the home H000000's main part unless they say otherwise."""
    schema = {**CONTRACT.polars_schema(kind), "record_row": pl.UInt32()}
    unheard = {key for row in rows for key in row} - set(schema)
    assert not unheard, unheard
    own = {"property_id": HOME, "building_part": "main"}
    own = {name: value for name, value in own.items() if name in schema}
    filled = [
        {**dict.fromkeys(schema), **own, f"{kind}_id": f"{kind}-{n}", "record_row": n, **row}
        for n, row in enumerate(rows)
    ]
    return pl.DataFrame(filled, schema=schema, orient="row")


def tables(**given: pl.DataFrame) -> dict[str, pl.DataFrame]:
    """Every record table; those that are not given are empty."""
    return {kind: given.get(kind, table(kind)) for kind in KINDS}


def on_record(
    *,
    repairs: pl.DataFrame | None = None,
    readings: pl.DataFrame | None = None,
    inspections: pl.DataFrame | None = None,
    decisions: pl.DataFrame | None = None,
    events: pl.DataFrame | None = None,
    as_of: date = AS_OF,
) -> Records:
    """The records as the judging takes them."""
    day = [pl.lit(as_of).alias("as_of"), pl.lit(value=True).alias("latitude_north")]

    def dated(kind: str, frame: pl.DataFrame | None) -> pl.DataFrame:
        return (table(kind) if frame is None else frame).with_columns(day)

    judged = judge_repairs(dated("repair", repairs), POLICY)
    read, opened = dated("reading", readings), dated("inspection", inspections)
    blank = no_records()
    return Records(
        record_facts(read, opened, judged, POLICY),
        blank.events if events is None else events.select(EVENTS.keys()),
        judged,
        blank.decisions if decisions is None else decisions.select(DECISIONS.keys()),
    )
