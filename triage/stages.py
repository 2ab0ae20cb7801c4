"""The Python stages of the pipelines: reading, placing, judging, flagging, writing."""

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date

import polars as pl

from triage.assess import Assessed, Standing, assess
from triage.contract import normalise
from triage.intake import Intake, read_sources
from triage.place import PlaceLimits, place_homes
from triage.record_stages import judged_records
from triage.rules.batches import same_answers
from triage.rules.calendar import calendar_span, ending
from triage.rules.records import Records
from triage.rules.table import ID
from triage.work import Work

BATCH_HOMES = 50_000
"""Homes judged at a time: bounds memory, changes no result."""


def read_surveys(work: Work) -> None:
    """Raw and typed rows of all sources, with the origin and the fate of each."""
    spellings = {normalise(word): code for word, code in work.policy.measure_words.items()}
    intake = read_sources(work.programme, work.contract, spellings, work.say)
    tables = {
        "source_file": intake.sources,
        "source_column": intake.columns,
        "raw_survey": intake.raw,
        "cell_mark": intake.marks,
        "row_grade": intake.grades,
        "cell_unknown": intake.unknowns,
        "cell_limit": intake.limits,
        "survey_problem": intake.problems,
        "survey_row": intake.rows,
    }
    for name, frame in tables.items():
        work.store.put(name, frame)
    declared = work.contract.duckdb_ddl(name="clean_survey", also={"row_id": "UINTEGER"})
    work.store.put("clean_survey", intake.clean, declared)
    work.rows = _reconciled(intake)


def _reconciled(intake: Intake) -> dict[str, int]:
    counts = intake.counts
    if counts["read"] != counts["accepted"] + counts["rejected"] + counts["superseded"]:
        raise RuntimeError(f"rows do not reconcile: {counts}")
    return counts


def place(work: Work) -> None:
    """Where each home stands and in which climate."""
    policy = work.policy
    limits = PlaceLimits(
        good_distance_km=policy.number("station_far_km"),
        good_height_m=policy.number("station_height_diff_m"),
    )
    placed = place_homes(
        work.store.table("home"),
        work.programme.climate,
        work.programme.country_code,
        exposure=work.programme.exposure,
        limits=limits,
    )
    work.store.put("placed_home", placed.homes)
    work.store.put("place_problem", placed.problems)
    work.store.put("climate_record", placed.climate)


def judge(work: Work) -> None:
    """Every proposed measure and every foamed home-part, batch by batch."""
    parts = list(judged_batches(work))
    # A building whose homes lie apart in the order is judged in one batch: put them back.
    work.store.put("queue", pl.concat([part.queue for part in parts]).sort(ID))
    work.store.put("rule_result", pl.concat([part.results for part in parts]).sort(ID))
    work.store.put("current_evidence", pl.concat([part.current.table for part in parts]))
    work.store.put("evidence_conflict", pl.concat([part.current.conflicts for part in parts]))
    work.store.put("evidence_superseded", pl.concat([part.current.superseded for part in parts]))
    work.store.put("quantity", pl.concat([part.quantities for part in parts]).sort(ID))
    cases = pl.concat([part.cases for part in parts])
    work.store.put("moisture_case", cases.unique("case", maintain_order=True).sort("case"))
    last = work.programme.as_of + calendar_span(work.policy)
    ends = [ending(part.until, last) for part in parts]
    work.store.put("evidence_ending", pl.concat(ends).sort("expires_on", *ID, "field"))


def judged_batches(work: Work) -> Iterator[Assessed]:
    """All homes of the store as of the programme's date, some at a time."""
    return judged(gathered(work), work, work.programme.as_of)


@dataclass(frozen=True, slots=True)
class Gathered:
    """All that the judging of homes takes, of every home."""

    rows: pl.DataFrame
    marks: pl.DataFrame
    proposals: pl.DataFrame
    places: pl.DataFrame
    records: Records


def gathered(work: Work) -> Gathered:
    """Read what the judging takes from the store."""
    store = work.store
    return Gathered(
        rows=_with_foam_traces(store.table("evidence_row"), store.table("cell_unknown")),
        marks=store.table("evidence_mark"),
        proposals=store.table("written_proposal"),
        places=store.ask(
            """
            SELECT placed.*, home.building_id
            FROM placed_home AS placed JOIN home USING (property_id)
            """
        ),
        records=judged_records(work),
    )


def judged(homes: Gathered, work: Work, as_of: date | pl.Expr) -> Iterator[Assessed]:
    """Judge homes batch by batch; `as_of` may be an expression over the survey rows."""
    climate = work.store.table("climate_record")
    standing = [
        Standing(p.code, p.where, p.material, p.thickness_mm) for p in work.programme.measures
    ]
    total, done = homes.places.height, 0
    for some in in_batches(homes.places):
        if total > BATCH_HOMES:
            work.say(f"homes {done + 1} to {done + some.height} of {total}")
        done += some.height
        mine = homes.rows.join(some, on="property_id", how="semi")
        yield assess(
            mine,
            homes.marks.join(mine.select("row_id"), on="row_id", how="semi"),
            homes.proposals.join(some, on="property_id", how="semi"),
            homes.places.join(some, on="property_id", how="semi"),
            climate,
            standing,
            work.policy,
            work.library,
            as_of,
            list(work.contract.fields),
            homes.records.of_homes(some),
        )


def in_batches(places: pl.DataFrame) -> list[pl.DataFrame]:
    """Homes in batches, in order; those of one building stay together, since they share a roof."""
    numbered = places.select("property_id", "building_id").sort("property_id").with_row_index("_n")
    batch = pl.col("_n") // BATCH_HOMES
    first = (
        pl.when(pl.col("building_id").is_null())
        .then(batch)
        .otherwise(batch.min().over("building_id"))
    )
    cut = numbered.with_columns(first.alias("_batch")).select("_batch", "property_id")
    parts = cut.partition_by("_batch", maintain_order=True, include_key=False)
    return parts or [cut.drop("_batch")]


def _with_foam_traces(rows: pl.DataFrame, unknowns: pl.DataFrame) -> pl.DataFrame:
    """Somebody wrote something about foam that cannot be read: then foam is suspected.

    It is not where the same row answers the question itself.
    """
    written = pl.col("kind").is_in(["unmapped", "illegible", "conflicting"])
    about_foam = pl.col("field").str.starts_with("foam_")
    traced = unknowns.filter(written & about_foam)["row_id"].unique()
    suspected = pl.col("foam_present").is_null() & pl.col("row_id").is_in(traced.implode())
    return rows.with_columns(
        pl.when(suspected).then(pl.lit("suspected")).otherwise("foam_present").alias("foam_present")
    )


def flag_batches(work: Work) -> None:
    """E07: surveys whose answers are the same for every home."""
    rows = work.store.table("clean_survey")
    work.store.put("batch_flag", same_answers(rows, work.policy))
