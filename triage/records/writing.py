"""Adds what was kept to the store in one transaction, with the fate of every row."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any

import polars as pl

from triage.intake.record_sheets import RecordSheet
from triage.records.findings import PROBLEM_SCHEMA
from triage.records.judging import Checked, Work
from triage.records.kept import OWN, STORED, ddl, record_ddl, stored
from triage.store import Store


@dataclass(frozen=True, slots=True)
class SheetTaken:
    """What became of the rows of one sheet; `batch` is None where nothing was new."""

    file: str
    sheet: str | None
    kind: str
    batch: int | None
    read: int
    kept: int
    repeated: int
    refused: int
    unanswered: int = 0


def write(work: Work, received_on: date) -> tuple[tuple[SheetTaken, ...], pl.DataFrame]:
    """Add what is new in one transaction; a sheet that brings nothing new makes no batch."""
    batches = stored(work.store, "record_batch", STORED["record_batch"])
    taken, numbers = _batches(work, batches)
    problems = _problems(work)
    with work.store.all_or_nothing():
        for number, sheet in enumerate(taken):
            if sheet.batch is not None:
                source = work.sheets[number]
                _add(work.store, "record_batch", _batch_row(sheet, source.sha256, received_on))
                _add(work.store, "record_column", _column_rows(sheet.batch, source))
        for each in work.checked:
            _add_rows(work, each, numbers)
        told = problems.join(numbers, on="sheet_no", how="inner", maintain_order="left")
        _add(work.store, "record_problem", told)
    return tuple(taken), problems.select(list(PROBLEM_SCHEMA))


def _batches(work: Work, held: pl.DataFrame) -> tuple[list[SheetTaken], pl.DataFrame]:
    seen = set(held.select("sha256", "sheet", "kind").iter_rows())
    next_batch = held.height + 1
    counts: dict[tuple[int, str], int] = {}
    for each in work.checked:
        for number, status, count in each.rows.group_by("sheet_no", "status").len().iter_rows():
            counts[number, status] = count
    taken: list[SheetTaken] = []
    for number, sheet in enumerate(work.sheets):
        kept, repeated, refused, blank = (
            counts.get((number, status), 0)
            for status in ("kept", "repeated", "refused", "unanswered")
        )
        read = sheet.table.raw.height
        if read != kept + repeated + refused + blank:
            raise RuntimeError(f"rows do not reconcile: {read} read, {counts}")
        key = (sheet.sha256, sheet.table.sheet.name, sheet.kind)
        is_new = kept > 0 or (read > 0 and key not in seen)
        batch = next_batch if is_new else None
        next_batch += is_new
        seen.add(key)
        name = sheet.table.sheet.name
        fates = (read, kept, repeated, refused, blank)
        taken.append(SheetTaken(sheet.file, name, sheet.kind, batch, *fates))
    pairs = [(n, sheet.batch) for n, sheet in enumerate(taken) if sheet.batch is not None]
    schema = {"sheet_no": pl.UInt32, "batch": pl.UInt32}
    return taken, pl.DataFrame(pairs, schema=schema, orient="row")


def _batch_row(sheet: SheetTaken, sha256: str, received_on: date) -> pl.DataFrame:
    values: dict[str, Any] = {
        "batch": sheet.batch,
        "file": sheet.file,
        "sheet": sheet.sheet,
        "sha256": sha256,
        "kind": sheet.kind,
        "received_on": received_on,
        "rows_read": sheet.read,
        "rows_kept": sheet.kept,
        "rows_repeated": sheet.repeated,
        "rows_refused": sheet.refused,
        "rows_unanswered": sheet.unanswered,
    }
    return pl.DataFrame([values], schema=STORED["record_batch"])


def _column_rows(batch: int, sheet: RecordSheet) -> pl.DataFrame:
    mapped = [(batch, c.field, c.letters, c.heading) for c in sheet.table.columns if c.field]
    return pl.DataFrame(mapped, schema=STORED["record_column"], orient="row")


def _add(store: Store, name: str, frame: pl.DataFrame) -> None:
    schema = STORED[name]
    rows = frame.select(pl.col(column).cast(kind) for column, kind in schema.items())
    store.add(name, rows, ddl(name, schema))


def _add_rows(work: Work, each: Checked, numbers: pl.DataFrame) -> None:
    """The versions that are kept, their cells, and every row as read with its fate."""
    kind, key = each.incoming.kind, each.incoming.id
    rows = each.rows.join(numbers, on="sheet_no", how="inner", maintain_order="left")
    named = rows.with_columns(pl.col(key).alias("record_id"))
    _add(work.store, "record_row", named)
    kept = named.filter(pl.col("status") == "kept")
    fields = list(work.contract.tables[kind].columns)
    work.store.add(f"record_{kind}", kept.select(*fields, *OWN), record_ddl(work.contract, kind))
    cells = each.incoming.cells.join(
        kept.select("at", "record_id", "version"), on="at", maintain_order="left"
    )
    _add(work.store, "record_cell", cells.with_columns(pl.lit(kind).alias("kind")))


def _problems(work: Work) -> pl.DataFrame:
    """All findings with their place, in the order of sheets and rows."""
    columns = [
        (number, column.field, column.letters)
        for number, sheet in enumerate(work.sheets)
        for column in sheet.table.columns
        if column.field
    ]
    letters = pl.DataFrame(
        columns,
        schema={"sheet_no": pl.UInt32, "field": pl.String, "column": pl.String},
        orient="row",
    )
    sheets = pl.DataFrame(
        [(n, s.file, s.table.sheet.name) for n, s in enumerate(work.sheets)],
        schema={"sheet_no": pl.UInt32, "file": pl.String, "sheet": pl.String},
        orient="row",
    )
    own = {n: kind for n, kind in PROBLEM_SCHEMA.items() if n not in ("file", "sheet", "column")}
    nothing = pl.DataFrame(schema={**own, "sheet_no": pl.UInt32})
    found = [
        each.problems.join(
            each.rows.select("at", "sheet_no", "row", pl.col(each.incoming.id).alias("record_id")),
            on="at",
            maintain_order="left",
        ).with_columns(pl.lit(each.incoming.kind).alias("kind"))
        for each in work.checked
    ]
    placed = pl.concat([nothing, *found], how="diagonal_relaxed").join(
        letters, on=["sheet_no", "field"], how="left", maintain_order="left"
    )
    return (
        pl.concat([placed, _sheet_notes(work.sheets)], how="diagonal_relaxed")
        .join(sheets, on="sheet_no", how="left", maintain_order="left")
        .sort("sheet_no", "row", "column", "problem", maintain_order=True)
        .select("sheet_no", *PROBLEM_SCHEMA)
    )


def _sheet_notes(sheets: Sequence[RecordSheet]) -> pl.DataFrame:
    """What a file says beside its cells and is not read: comments, colours, hidden rows."""
    told = [
        (number, sheet.kind, note.kind, note.raw, note.message, note.row, note.column)
        for number, sheet in enumerate(sheets)
        for note in sheet.table.sheet.notes
        if note.row is None or note.row >= _first_row(sheet)
    ]
    schema = {
        "sheet_no": pl.UInt32,
        "kind": pl.String,
        "problem": pl.String,
        "raw": pl.String,
        "message": pl.String,
        "row": pl.UInt32,
        "column": pl.String,
    }
    fix = pl.lit("check that it says nothing more than the cells do").alias("fix")
    return pl.DataFrame(told, schema=schema, orient="row").with_columns(
        pl.lit(value=False).alias("refused"), fix
    )


def _first_row(sheet: RecordSheet) -> int:
    """The first row of records; what is said of the lines above concerns none of them."""
    rows = sheet.table.raw.get_column("sheet_row")
    return int(str(rows.min())) if rows.len() else 0
