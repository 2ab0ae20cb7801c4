"""Says of every row that arrives what becomes of it: kept, repeated, refused or unanswered."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

import polars as pl

from triage.contract import Contract
from triage.intake.record_sheets import KINDS, RecordSheet, id_column
from triage.records.check_places import with_visit_home
from triage.records.checks import findings
from triage.records.incoming import Incoming, gather, with_content
from triage.records.kept import latest, versions
from triage.records.known import Known
from triage.store import Store

PREPARED: Mapping[str, frozenset[str]] = {
    "repair": frozenset(
        (
            *("repair_id", "property_id", "building_part", "trigger_rule_ids", "defect_location"),
            *("repair_type", "repair_verified", "reopened_count"),
        )
    ),
    "inspection": frozenset(
        (
            *("inspection_id", "property_id", "building_part", "selection_stream", "stratum"),
            "selection_weight",
        )
    ),
    "answer": frozenset(
        (
            *("answer_id", "property_id", "building_part", "field", "observed_on"),
            *("surveyor_id", "survey_method", "photo_refs"),
        )
    ),
}
"""Cells without which a row that this tool wrote, or began, says nothing: nobody filled it in."""


@dataclass
class Checked:
    """Rows of one kind with their fate: `rows` has status, version and content."""

    incoming: Incoming
    rows: pl.DataFrame
    problems: pl.DataFrame


@dataclass
class Work:
    """What one call works on, and what it has found so far."""

    store: Store
    contract: Contract
    known: Known
    measures: Mapping[str, str]
    sheets: Sequence[RecordSheet]
    checked: list[Checked] = field(default_factory=list)


def check_all(work: Work) -> None:
    """Check kind after kind, each with those on which it rests already taken."""
    every = {kind: versions(work.store, work.contract, kind) for kind in KINDS}
    work.known.held = {k: latest(v, id_column(work.contract, k)) for k, v in every.items()}
    first = 0
    arriving: dict[str, Incoming] = {}
    for kind in KINDS:
        arriving[kind] = gather(work.sheets, kind, work.contract, first)
        first += arriving[kind].rows.height
    names = ["inspection_id", "opened_on"]
    openings = [work.known.held["opening"].select(names), arriving["opening"].rows.select(names)]
    for kind, incoming in arriving.items():
        if incoming.rows.is_empty():  # most files hold one kind of seven
            continue
        work.checked.append(_check(work, incoming, every[kind], pl.concat(openings)))


def _check(work: Work, incoming: Incoming, every: pl.DataFrame, openings: pl.DataFrame) -> Checked:
    kind, key = incoming.kind, incoming.id
    fields = list(work.contract.tables[kind].columns)
    rows = incoming.rows
    if kind == "reading":
        rows = with_visit_home(rows, work.known)
    elif kind == "answer":
        rows = _as_written(incoming)
    rows = with_content(Incoming(kind, key, rows, incoming.cells), fields)
    held = every.select(key, "content", pl.lit(value=True).alias("is_held"))
    rows = rows.join(held.unique(), on=[key, "content"], how="left", maintain_order="left")
    rows = rows.with_columns(_unanswered(incoming, rows, fields))
    is_held, is_blank = pl.col("is_held").fill_null(value=False), pl.col("is_blank")
    new = Incoming(kind, key, rows, incoming.cells).with_rows(rows.filter(~is_held & ~is_blank))
    found = findings(new, work.known, work.measures, openings)
    refused = found.filter("refused").select("at").unique().with_columns(no=pl.lit(value=True))
    rows = rows.join(refused, on="at", how="left", maintain_order="left")
    is_first = pl.struct(key, "content", pl.col("no").is_null()).is_first_distinct()
    status = (
        pl.when(is_blank)
        .then(pl.lit("unanswered"))
        .when(is_held)
        .then(pl.lit("repeated"))
        .when(pl.col("no"))
        .then(pl.lit("refused"))
        .when(~is_first)
        .then(pl.lit("repeated"))
        .otherwise(pl.lit("kept"))
    )
    rows = _numbered(rows.with_columns(status.alias("status")), every, key)
    work.known.hold(kind, rows.filter(pl.col("status") == "kept"))
    return Checked(incoming, rows, found)


def _as_written(incoming: Incoming) -> pl.DataFrame:
    """Answers with the text of the cell, also where it is a word for unknown or a date."""
    raw = incoming.cells.filter(
        (pl.col("field") == "value") & (pl.col("problem") != "error_cell").fill_null(value=True)
    )
    said = raw.select("at", pl.col("raw").alias("said"))
    rows = incoming.rows.join(said, on="at", how="left", maintain_order="left")
    return rows.with_columns(pl.coalesce("value", "said").alias("value")).drop("said")


def _unanswered(incoming: Incoming, rows: pl.DataFrame, fields: Sequence[str]) -> pl.Series:
    """Rows that this tool wrote and nobody filled in: a question, an order, a roof on a list."""
    kind = incoming.kind
    if kind not in PREPARED:
        return pl.repeat(value=False, n=rows.height, dtype=pl.Boolean, eager=True).alias("is_blank")
    filled = [name for name in fields if name not in PREPARED[kind]]
    is_broken = (pl.col("problem") == "error_cell").fill_null(value=False)
    # A word for unknown is the answer to no question; in a record it is one.
    says = is_broken if kind == "answer" else is_broken | pl.col("raw").is_not_null()
    told = incoming.cells.filter(pl.col("field").is_in(filled) & says)["at"]
    blank = pl.all_horizontal(pl.col(filled).is_null()) & ~pl.col("at").is_in(told.implode())
    if kind == "repair":  # an order writes "no" itself; any other word is somebody's
        blank &= pl.col("repair_verified").is_null() | (pl.col("repair_verified") == "no")
    return rows.select(blank.alias("is_blank")).to_series()


def _numbered(rows: pl.DataFrame, every: pl.DataFrame, key: str) -> pl.DataFrame:
    """Kept rows with their version: the next one of their record, in the order they came."""
    before = every.group_by(key).agg(pl.col("version").max().alias("before"))
    is_kept = pl.col("status") == "kept"
    return (
        rows.join(before, on=key, how="left", maintain_order="left")
        .with_columns(
            pl.when(is_kept)
            .then(pl.col("before").fill_null(0) + is_kept.cast(pl.UInt32).cum_sum().over(key))
            .cast(pl.UInt32)
            .alias("version")
        )
        .drop("before")
    )
