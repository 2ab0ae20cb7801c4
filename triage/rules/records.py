"""Records of events, repairs, openings and decisions, as the judging of homes takes them."""

from collections.abc import Mapping
from dataclasses import dataclass

import polars as pl

from triage.rules.codes import KEY

_KEY = dict.fromkeys(KEY, pl.String())
FACTS: Mapping[str, pl.DataType] = {
    "repair_on_record": pl.Boolean(),
    "repair_unproven": pl.Boolean(),
    "openings_n": pl.Int64(),
    "foam_sampled": pl.Boolean(),
    "deep_readings_n": pl.Int64(),
    "deep_readings_shaded_n": pl.Int64(),
    "deep_reading_max_pct": pl.Float64(),
    "deep_winters_n": pl.Int64(),
    "end_readings_n": pl.Int64(),
    "end_aspects_n": pl.Int64(),
    "end_reading_max_pct": pl.Float64(),
}
"""What records say of a home-part; without a record nothing was opened, read or repaired."""
EVENTS: Mapping[str, pl.DataType] = {
    "property_id": pl.String(),
    "building_part": pl.String(),
    "event_type": pl.String(),
    "event_on": pl.Date(),
}
REPAIRS: Mapping[str, pl.DataType] = {
    **_KEY,
    "repair_id": pl.String(),
    "rule": pl.String(),
    "completed_on": pl.Date(),
    "reopened_count": pl.Int64(),
    "proven": pl.Boolean(),
    "told": pl.String(),
}
DECISIONS: Mapping[str, pl.DataType] = {
    **_KEY,
    "measure_code": pl.String(),
    "decision_id": pl.String(),
    "rule_ids": pl.List(pl.String()),
    "decision": pl.String(),
    "reason": pl.String(),
    "evidence_refs": pl.List(pl.String()),
    "conditions": pl.String(),
    "decided_by": pl.String(),
    "competence": pl.String(),
    "second_person": pl.String(),
    "decided_on": pl.Date(),
    "expires_on": pl.Date(),
}
_BLANK = {pl.Boolean(): False, pl.Int64(): 0}


@dataclass(frozen=True, slots=True)
class Records:
    """Records of a batch of homes, none dated after the day of judging.

    `facts` has one row a home-part with what was opened, read and repaired (FACTS); `events` one
    row for each home that an event reached, `building_part` null for all of its parts; `repairs`
    one row for each repair and rule that it answers; `decisions` one row a decision.
    """

    facts: pl.DataFrame
    events: pl.DataFrame
    repairs: pl.DataFrame
    decisions: pl.DataFrame

    def of_homes(self, homes: pl.DataFrame) -> "Records":
        """The records of some homes only."""
        kept = (
            frame.join(homes, on="property_id", how="semi")
            for frame in (self.facts, self.events, self.repairs, self.decisions)
        )
        return Records(*kept)


def no_records() -> Records:
    """Nothing on record."""
    schemas = ({**_KEY, **FACTS}, EVENTS, REPAIRS, DECISIONS)
    return Records(*(pl.DataFrame(schema=schema) for schema in schemas))


def with_facts(rows: pl.DataFrame, facts: pl.DataFrame) -> pl.DataFrame:
    """Add the columns of FACTS to rows with the key; where nothing is on record: none, no, null."""
    joined = rows.join(facts.select(*KEY, *FACTS), on=KEY, how="left", maintain_order="left")
    return joined.with_columns(
        pl.col(name).fill_null(pl.lit(_BLANK[kind]))
        for name, kind in FACTS.items()
        if kind in _BLANK
    )
