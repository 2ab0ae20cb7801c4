"""Which checks belong to which kind of record, and which cells each cannot do without."""

from collections.abc import Mapping

import polars as pl

from triage.records.check_answers import answer_findings
from triage.records.check_decisions import decision_findings
from triage.records.check_events import event_findings
from triage.records.check_inspections import (
    inspection_findings,
    opening_findings,
    reading_findings,
)
from triage.records.check_repairs import repair_findings
from triage.records.findings import absent, find, together, unread
from triage.records.incoming import Incoming
from triage.records.known import Known

ESSENTIAL: Mapping[str, tuple[str, ...]] = {
    "inspection": ("inspection_id", "property_id", "building_part", "inspected_on"),
    "opening": ("opening_id", "inspection_id"),
    "repair": ("repair_id", "property_id", "building_part"),
    "reading": ("reading_id", "reading_date"),
    "event": ("event_id", "event_type", "event_on"),
    "decision": (
        "decision_id",
        "property_id",
        "building_part",
        "measure_code",
        "rule_ids",
        "decision",
        "reason_code",
        "reason",
        "evidence_refs",
        "decided_by",
        "competence",
        "decided_on",
        "expires_on",
    ),
    "answer": ("answer_id", "property_id", "building_part", "field", "value", "observed_on"),
}
"""Cells without which a record is refused. Others that are required are noted."""

_TEXT_SCALES = ("rel", "colour")


def findings(
    incoming: Incoming, known: Known, measures: Mapping[str, str], openings: pl.DataFrame
) -> pl.DataFrame:
    """Everything found in the rows of one kind (schema `findings.FINDING_SCHEMA`).

    Parameters
    ----------
    incoming
        Rows that are not held yet; readings with the home of their visit.
    known
        Ground, with all records of earlier kinds that arrived in the same go.
    measures
        Folded text -> measure code, for answers.
    openings
        Openings that arrive in the same go or are held, for inspections.
    """
    rows, cells, kind = incoming.rows, incoming.cells, incoming.kind
    columns = known.contract.tables[kind].columns
    essential = ESSENTIAL[kind]
    not_read = unread(cells, rows, essential, columns)
    if kind == "inspection":
        own = inspection_findings(rows, known, openings)
    elif kind == "opening":
        own = opening_findings(rows, known)
    elif kind == "repair":
        own = repair_findings(rows, known)
    elif kind == "reading":
        own = together([reading_findings(rows, known), _without_value(rows, cells)])
    elif kind == "event":
        own = event_findings(rows, known)
    elif kind == "decision":
        own = decision_findings(rows, known)
    else:
        own = answer_findings(rows, known, measures)
    others = [n for n, asked in columns.items() if asked.need == "R" and n not in essential]
    own = together([absent(rows, cells, essential, kind), own, _required(incoming, others)])
    return _told_once(not_read, own)


def _told_once(not_read: pl.DataFrame, own: pl.DataFrame) -> pl.DataFrame:
    """A cell that could not be read is told as that, and refused if what follows from it is."""
    cell = ["at", "field"]
    follows = own.filter("refused").select(cell).unique().with_columns(no=pl.lit(value=True))
    not_read = not_read.join(follows, on=cell, how="left", maintain_order="left").with_columns(
        pl.col("refused") | pl.col("no").fill_null(value=False)
    )
    rest = own.join(not_read, on=cell, how="anti", maintain_order="left")
    noted = ~pl.col("refused")
    noisy = rest.filter(noted).join(rest.filter("refused"), on=cell, how="semi")
    rest = rest.join(noisy, on=[*cell, "problem"], how="anti", maintain_order="left")
    return together([not_read.drop("no"), rest])


def _without_value(rows: pl.DataFrame, cells: pl.DataFrame) -> pl.DataFrame:
    """A reading needs a number, but on a scale of colours or marks: there the text is kept."""
    on_scale = ~pl.col("scale").is_in(_TEXT_SCALES) | pl.col("scale").is_null()
    said = cells.filter(pl.col("field") == "value").select("at", pl.col("raw").alias("said"))
    told = rows.join(said, on="at", how="left", maintain_order="left")
    return find(
        told,
        pl.col("value").is_null() & (on_scale | pl.col("said").is_null()),
        "value",
        "no_value",
        "a reading without a number",
        "write the number that the meter showed, or take the row out",
    )


def _required(incoming: Incoming, names: list[str]) -> pl.DataFrame:
    """One note for each required field that is blank, at the first such row, with the count."""
    found = []
    for name in names:
        told = incoming.cells.filter(pl.col("field") == name)
        empty = incoming.rows.filter(pl.col(name).is_null()).join(
            told, on="at", how="anti", maintain_order="left"
        )
        first = empty.group_by("sheet_no", maintain_order=True).agg(
            pl.len().alias("rows"), pl.exclude("sheet_no").first()
        )
        message = pl.format(f"{name} is blank in {{}} rows, first in this one", "rows")
        fix = "fill it in where it is known, and record the file again"
        found.append(find(first, pl.lit(value=True), name, "blank", message, fix, refused=False))
    return together(found)
