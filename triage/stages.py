"""The Python stages of the pipelines: reading, placing, judging, flagging, writing."""

from collections.abc import Iterator

import polars as pl

from triage.assess import Assessed, Standing, assess
from triage.contract import normalise
from triage.intake import Intake, read_sources
from triage.place import PlaceLimits, place_homes
from triage.record_stages import judged_records
from triage.rules.batches import same_answers
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
    parts = list(_batches(work))
    queue = pl.concat([part.queue for part in parts])
    work.store.put("queue", queue)
    work.store.put("rule_result", pl.concat([part.results for part in parts]))
    work.store.put("current_evidence", pl.concat([part.current.table for part in parts]))
    work.store.put("evidence_conflict", pl.concat([part.current.conflicts for part in parts]))
    work.store.put("quantity", pl.concat([part.quantities for part in parts]))
    cases = pl.concat([part.cases for part in parts])
    work.store.put("moisture_case", cases.unique("case", maintain_order=True).sort("case"))


def _batches(work: Work) -> Iterator[Assessed]:
    rows = _with_foam_traces(work.store.table("evidence_row"), work.store.table("cell_unknown"))
    marks = work.store.table("evidence_mark")
    records = judged_records(work)
    proposals = work.store.table("written_proposal")
    places = work.store.ask(
        "SELECT placed.*, home.building_id FROM placed_home AS placed JOIN home USING (property_id)"
    )
    climate = work.store.table("climate_record")
    standing = [
        Standing(p.code, p.where, p.material, p.thickness_mm) for p in work.programme.measures
    ]
    homes = places.select("property_id").sort("property_id")
    for start in range(0, max(homes.height, 1), BATCH_HOMES):
        some = homes.slice(start, BATCH_HOMES)
        if homes.height > BATCH_HOMES:
            work.say(f"homes {start + 1} to {start + some.height} of {homes.height}")
        mine = rows.join(some, on="property_id", how="semi")
        yield assess(
            mine,
            marks.join(mine.select("row_id"), on="row_id", how="semi"),
            proposals.join(some, on="property_id", how="semi"),
            places.join(some, on="property_id", how="semi"),
            climate,
            standing,
            work.policy,
            work.library,
            work.programme.as_of,
            list(work.contract.fields),
            records.of_homes(some),
        )


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
