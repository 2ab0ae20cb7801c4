"""The stages that bring records into a run: which count, and as what evidence."""

from collections.abc import Mapping

import polars as pl

from triage.contract import normalise
from triage.records import load_records
from triage.records.answers import AnswerRows, answer_evidence
from triage.rules.record_facts import record_facts
from triage.rules.record_rows import evidence_rows, sampled_types
from triage.rules.record_use import records_in_use
from triage.rules.records import DECISIONS, EVENTS, Records
from triage.rules.repairs import judge_repairs
from triage.store import Store
from triage.work import Work

_TOLD = (
    *("inspection_id", "property_id", "building_part", "selection_stream", "stratum"),
    *("inspected_on", "outcome_status", "record_row"),
)
_ORIGIN = ("record_row", "file", "sheet", "row")


def read_records(work: Work) -> None:
    """The latest version of every record of the programme, those that count apart."""
    loaded = load_records(work.programme, work.contract)
    work.records_digest = loaded.digest
    keep_records(work, loaded.tables)


def keep_records(work: Work, tables: Mapping[str, pl.DataFrame]) -> None:
    """Sort the records out and keep what counts, wherever they come from."""
    surveys = work.store.table("clean_survey").select("property_id", "building_part", "survey_id")
    in_use = records_in_use(tables, surveys, work.programme.as_of, work.policy)
    for kind, frame in in_use.tables.items():
        work.store.put(f"record_{kind}", frame)
    work.store.put("record_use", in_use.use)
    # A visit that came to nothing is no evidence of the roof, but it was made, and is counted.
    visits = tables["inspection"].filter(pl.col("inspected_on") <= work.programme.as_of)
    work.store.put("inspection_told", visits.select(_TOLD))
    origins = [frame.select(_ORIGIN) for frame in tables.values()]
    work.store.put("record_origin", pl.concat(origins).sort("record_row"))


def gather_evidence(work: Work) -> None:
    """Survey rows and what records add to them, side by side, with the grade of each row."""
    store = work.store
    survey = store.table("clean_survey").join(
        store.table("row_grade"), on="row_id", maintain_order="left"
    )
    tables = {
        kind: store.table(f"record_{kind}")
        for kind in ("reading", "opening", "inspection", "repair")
    }
    answered = _answers(work)
    recorded = evidence_rows(tables, _leaks(store), _fields(work), work.policy)
    made = pl.concat([recorded, _as_survey(answered.rows, recorded.schema)])
    first = int(survey["row_id"].max() or 0) + 1  # type: ignore[arg-type]
    made = made.with_columns(
        (pl.int_range(pl.len(), dtype=pl.UInt32) + first).cast(pl.UInt32).alias("row_id")
    )
    of_answers = made.tail(answered.rows.height).select("row_id", "kind", "record_id")
    store.put(
        "evidence_origin",
        pl.concat([_whole_rows(made.head(recorded.height)), _by_field(of_answers, answered)]),
    )
    rows = made.select(*survey.columns, "mc_subsurface")
    blank = pl.lit(None, pl.Boolean).alias("mc_subsurface")
    store.put("evidence_row", pl.concat([survey.with_columns(blank), rows]))
    sampled = sampled_types(tables["inspection"])["inspection_id"].implode()
    of_sample = made.filter((pl.col("kind") == "inspection") & pl.col("record_id").is_in(sampled))
    marks = [
        of_sample.filter(pl.col(name).is_not_null()).select(
            "row_id", pl.lit(name).alias("field"), pl.lit("measured").alias("grade")
        )
        for name in ("foam_type", "foam_density_kg_m3")
    ]
    store.put(
        "evidence_mark", pl.concat([store.table("cell_mark"), *marks]).sort("row_id", "field")
    )


def _answers(work: Work) -> AnswerRows:
    """What visit lists brought back; an answer that cannot be used any more is said."""
    store = work.store
    words = {normalise(word): code for word, code in work.policy.measure_words.items()}
    answered = answer_evidence(
        store.table("record_answer"), work.contract, words, work.programme.as_of
    )
    if answered.unread.height:
        lost = answered.unread.select("record_id", pl.col("why_not").alias("lost"))
        told = store.table("record_use").join(
            lost.with_columns(pl.lit("answer").alias("kind")),
            on=["kind", "record_id"],
            how="left",
            maintain_order="left",
        )
        store.put("record_use", told.with_columns(pl.coalesce("why_not", "lost")).drop("lost"))
    return answered


def _as_survey(rows: pl.DataFrame, schema: pl.Schema) -> pl.DataFrame:
    """Rows of answers with every column of the rows that other records make."""
    return rows.select(
        (pl.col(name) if name in rows.columns else pl.lit(None)).cast(kind).alias(name)
        for name, kind in schema.items()
    )


def _whole_rows(made: pl.DataFrame) -> pl.DataFrame:
    """The record behind every field of a row."""
    return made.select(
        "row_id", pl.lit(None, pl.String).alias("field"), "kind", "record_id", "record_row"
    )


def _by_field(rows: pl.DataFrame, answered: AnswerRows) -> pl.DataFrame:
    """The answer behind each field of a row."""
    visits = rows.with_columns(pl.int_range(pl.len(), dtype=pl.UInt32).alias("visit"))
    return answered.cells.join(visits, on="visit", maintain_order="left").select(
        "row_id", "field", "kind", "record_id", "record_row"
    )


def _fields(work: Work) -> dict[str, pl.DataType]:
    return work.contract.polars_schema()


def _leaks(store: Store) -> pl.DataFrame:
    """Homes with a reported leak; one that names no part is about the main one."""
    return (
        store.table("event_hit")
        .filter(pl.col("event_type") == "leak_report")
        .select(
            "property_id",
            pl.col("building_part").fill_null("main"),
            "event_id",
            "event_on",
            "record_row",
        )
    )


def judged_records(work: Work) -> Records:
    """Everything on record, as the judging takes it."""
    store, as_of = work.store, pl.lit(work.programme.as_of).alias("as_of")
    north = store.table("placed_home").select("property_id", "latitude_north")

    def placed(kind: str) -> pl.DataFrame:
        frame = store.table(f"record_{kind}").with_columns(as_of)
        return frame.join(north, on="property_id", how="left", maintain_order="left")

    repairs = judge_repairs(placed("repair"), work.policy)
    facts = record_facts(placed("reading"), placed("inspection"), repairs, work.policy)
    return Records(
        facts,
        store.table("event_hit").select(EVENTS.keys()),
        repairs,
        store.table("record_decision").select(DECISIONS.keys()),
    )
