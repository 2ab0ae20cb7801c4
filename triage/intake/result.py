"""What intake hands on: raw cells, typed rows, and everything that is known about both."""

from dataclasses import dataclass

import polars as pl

from triage.contract import Contract

ROW_ID = pl.UInt32()
SOURCE_ID = pl.UInt16()
SCHEMAS: dict[str, dict[str, pl.DataType]] = {
    "sources": {
        "source_id": SOURCE_ID,
        "file": pl.String(),
        "sha256": pl.String(),
        "sheet": pl.String(),
        "profile": pl.String(),
        "rows_read": pl.UInt32(),
    },
    "columns": {
        "source_id": SOURCE_ID,
        "position": pl.UInt16(),
        "column": pl.String(),
        "heading": pl.String(),
        "field": pl.String(),
        "status": pl.String(),
    },
    "raw": {
        "row_id": ROW_ID,
        "source_id": SOURCE_ID,
        "sheet_row": pl.UInt32(),
        "cells": pl.List(pl.String()),
    },
    "marks": {"row_id": ROW_ID, "field": pl.String(), "grade": pl.String()},
    "grades": {"row_id": ROW_ID, "base_grade": pl.String()},
    "unknowns": {"row_id": ROW_ID, "field": pl.String(), "kind": pl.String()},
    "limits": {"row_id": ROW_ID, "field": pl.String(), "flag": pl.String()},
    "problems": {
        "row_id": ROW_ID,
        "kind": pl.String(),
        "field": pl.String(),
        "raw": pl.String(),
        "file": pl.String(),
        "sheet": pl.String(),
        "row": pl.UInt32(),
        "column": pl.String(),
        "message": pl.String(),
    },
    "rows": {
        "row_id": ROW_ID,
        "source_id": SOURCE_ID,
        "status": pl.String(),
        "reason": pl.String(),
        "superseded_by": ROW_ID,
    },
}
"""Schema of every frame but `clean`, which has `row_id` and the fields of the contract."""


@dataclass(frozen=True)
class Intake:
    """Everything read from the sources of a programme. All frames are sorted by their first column.

    `sources` has one row per sheet read, `columns` one per column of such a sheet and one per
    constant. `raw` has every row as read; `cells` starts at the first used column of its sheet,
    whose letters are those of the first row of that source in `columns`. `rows` says of each
    what became of it. `clean`, `marks`, `grades`, `unknowns` and `limits` are about accepted
    rows only; `problems` about all rows, and about whole columns and sheets (row_id null).
    In `clean` null is unknown: of the kind in `unknowns`, else blank or not asked;
    `measure_code` holds one or more codes joined by ";".
    """

    sources: pl.DataFrame
    columns: pl.DataFrame
    raw: pl.DataFrame
    clean: pl.DataFrame
    marks: pl.DataFrame
    grades: pl.DataFrame
    unknowns: pl.DataFrame
    limits: pl.DataFrame
    problems: pl.DataFrame
    rows: pl.DataFrame

    @property
    def counts(self) -> dict[str, int]:
        """Rows read, accepted, rejected and superseded."""
        found = dict(self.rows.group_by("status").len().iter_rows())
        states = ("accepted", "rejected", "superseded")
        return {"read": self.raw.height} | {state: found.get(state, 0) for state in states}


def empty_frame(name: str) -> pl.DataFrame:
    """A frame of the result without rows."""
    return pl.DataFrame(schema=SCHEMAS[name])


def clean_schema(contract: Contract) -> dict[str, pl.DataType]:
    """Schema of `clean`."""
    return {"row_id": ROW_ID} | contract.polars_schema()
