"""Takes files of records in: reads, checks, and adds what is new to the store, all or nothing."""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date
from pathlib import Path
from typing import Any

import polars as pl

from triage.contract import Contract, load_contract, load_programme, normalise
from triage.contract.policy_load import load_policy, policy_dir
from triage.errors import TriageError
from triage.intake.record_sheets import KINDS, RecordFile, RecordSheet, id_column, read_record_file
from triage.records.check_places import with_visit_home
from triage.records.checks import findings
from triage.records.findings import PROBLEM_SCHEMA
from triage.records.incoming import Incoming, gather, with_content
from triage.records.kept import (
    OWN,
    RECORDS_STORE,
    STORED,
    ddl,
    latest,
    record_ddl,
    stored,
    versions,
)
from triage.records.known import Known, survey_ground
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


@dataclass(frozen=True)
class Appended:
    """What one call did: sheets, problems (schema `findings.PROBLEM_SCHEMA`), and errors."""

    store: Path
    sheets: tuple[SheetTaken, ...]
    problems: pl.DataFrame
    skipped: tuple[tuple[str, str | None, str], ...] = ()
    errors: tuple[TriageError, ...] = ()

    def total(self, name: str) -> int:
        """Rows read, kept, repeated or refused, of all sheets."""
        return sum(int(getattr(sheet, name)) for sheet in self.sheets)

    @property
    def exit_code(self) -> int:
        """0 all kept or held already, 1 some refused, 2 nothing could be read."""
        if not self.sheets:
            return 2
        return int(self.total("refused") > 0 or bool(self.errors))


@dataclass
class _Checked:
    """Rows of one kind with their fate: `rows` has status, version and content."""

    incoming: Incoming
    rows: pl.DataFrame
    problems: pl.DataFrame


@dataclass
class _Work:
    store: Store
    contract: Contract
    known: Known
    measures: Mapping[str, str]
    sheets: Sequence[RecordSheet]
    checked: list[_Checked] = field(default_factory=list)


def record_files(
    programme_path: Path,
    files: Sequence[Path],
    say: Callable[[str], None],
    received_on: date | None = None,
) -> Appended:
    """Take files of records into the store beside a programme file.

    Parameters
    ----------
    programme_path
        The programme file; its surveys say which homes and parts there are.
    files
        Workbooks or texts, each sheet one table of records.
    say
        Told what is about to happen.
    received_on
        The day that the batches bear; today if None.

    Raises
    ------
    TriageError
        A programme or survey that cannot be read, a store that is locked. What is wrong with the
        files themselves is in the result.
    """
    contract = load_contract()
    programme = load_programme(programme_path, contract)
    policy = load_policy(policy_dir(programme.policy, programme.folder))
    measures = {normalise(word): code for word, code in policy.measure_words.items()}
    read = []
    for path in dict.fromkeys(files):
        shown = shown_name(path, programme.folder)
        say(f"reading {shown}")
        read.append(read_record_file(path, shown, contract, measures, programme.as_of))
    sheets = [sheet for file in read for sheet in file.sheets]
    where = programme.folder / RECORDS_STORE
    if not sheets:
        return _result(where, (), pl.DataFrame(schema=PROBLEM_SCHEMA), read)
    known = survey_ground(programme, policy, contract, say)
    say("checking")
    with Store(where) as store:
        work = _Work(store, contract, known, measures, sheets)
        _check_all(work)
        taken, problems = _write(work, received_on or date.today())
    return _result(where, taken, problems, read)


def shown_name(path: Path, folder: Path) -> str:
    """A file as provenance names it: from the programme's folder if it lies inside."""
    full = path.resolve()
    inside = full.is_relative_to(folder.resolve())
    return full.relative_to(folder.resolve()).as_posix() if inside else path.as_posix()


def _result(
    store: Path, taken: tuple[SheetTaken, ...], problems: pl.DataFrame, read: list[RecordFile]
) -> Appended:
    skipped = tuple((f.file, name, note.message) for f in read for name, note in f.skipped.items())
    errors = tuple(error for file in read for error in file.errors)
    return Appended(store, taken, problems, skipped, errors)


def _check_all(work: _Work) -> None:
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
        work.checked.append(_check(work, incoming, every[kind], pl.concat(openings)))


def _check(
    work: _Work, incoming: Incoming, every: pl.DataFrame, openings: pl.DataFrame
) -> _Checked:
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
    is_held = pl.col("is_held").fill_null(value=False)
    new = Incoming(kind, key, rows, incoming.cells).with_rows(rows.filter(~is_held))
    found = findings(new, work.known, work.measures, openings)
    refused = found.filter("refused").select("at").unique().with_columns(no=pl.lit(value=True))
    rows = rows.join(refused, on="at", how="left", maintain_order="left")
    is_first = pl.struct(key, "content", pl.col("no").is_null()).is_first_distinct()
    status = (
        pl.when(is_held)
        .then(pl.lit("repeated"))
        .when(pl.col("no"))
        .then(pl.lit("refused"))
        .when(~is_first)
        .then(pl.lit("repeated"))
        .otherwise(pl.lit("kept"))
    )
    rows = _numbered(rows.with_columns(status.alias("status")), every, key)
    work.known.hold(kind, rows.filter(pl.col("status") == "kept"))
    return _Checked(incoming, rows, found)


def _as_written(incoming: Incoming) -> pl.DataFrame:
    """Answers with the text of the cell, also where it is a word for unknown or a date."""
    raw = incoming.cells.filter(
        (pl.col("field") == "value") & (pl.col("problem") != "error_cell").fill_null(value=True)
    )
    said = raw.select("at", pl.col("raw").alias("said"))
    rows = incoming.rows.join(said, on="at", how="left", maintain_order="left")
    return rows.with_columns(pl.coalesce("value", "said").alias("value")).drop("said")


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


def _write(work: _Work, received_on: date) -> tuple[tuple[SheetTaken, ...], pl.DataFrame]:
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


def _batches(work: _Work, held: pl.DataFrame) -> tuple[list[SheetTaken], pl.DataFrame]:
    seen = set(held.select("sha256", "sheet", "kind").iter_rows())
    next_batch = held.height + 1
    counts: dict[tuple[int, str], int] = {}
    for each in work.checked:
        for number, status, count in each.rows.group_by("sheet_no", "status").len().iter_rows():
            counts[number, status] = count
    taken: list[SheetTaken] = []
    for number, sheet in enumerate(work.sheets):
        kept, repeated, refused = (
            counts.get((number, status), 0) for status in ("kept", "repeated", "refused")
        )
        read = sheet.table.raw.height
        if read != kept + repeated + refused:
            raise RuntimeError(f"rows do not reconcile: {read} read, {counts}")
        key = (sheet.sha256, sheet.table.sheet.name, sheet.kind)
        is_new = kept > 0 or (read > 0 and key not in seen)
        batch = next_batch if is_new else None
        next_batch += is_new
        seen.add(key)
        name = sheet.table.sheet.name
        taken.append(SheetTaken(sheet.file, name, sheet.kind, batch, read, kept, repeated, refused))
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
    }
    return pl.DataFrame([values], schema=STORED["record_batch"])


def _column_rows(batch: int, sheet: RecordSheet) -> pl.DataFrame:
    mapped = [(batch, c.field, c.letters, c.heading) for c in sheet.table.columns if c.field]
    return pl.DataFrame(mapped, schema=STORED["record_column"], orient="row")


def _add(store: Store, name: str, frame: pl.DataFrame) -> None:
    schema = STORED[name]
    rows = frame.select(pl.col(column).cast(kind) for column, kind in schema.items())
    store.add(name, rows, ddl(name, schema))


def _add_rows(work: _Work, each: _Checked, numbers: pl.DataFrame) -> None:
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


def _problems(work: _Work) -> pl.DataFrame:
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
    found = [
        each.problems.join(
            each.rows.select("at", "sheet_no", "row", pl.col(each.incoming.id).alias("record_id")),
            on="at",
            maintain_order="left",
        ).with_columns(pl.lit(each.incoming.kind).alias("kind"))
        for each in work.checked
    ]
    return (
        pl.concat(found)
        .join(letters, on=["sheet_no", "field"], how="left", maintain_order="left")
        .join(sheets, on="sheet_no", how="left", maintain_order="left")
        .sort("sheet_no", "row", "column", "problem", maintain_order=True)
        .select("sheet_no", *PROBLEM_SCHEMA)
    )
