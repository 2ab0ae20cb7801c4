"""What `triage record` says: what became of each sheet, what is wrong, what the store holds."""

from collections.abc import Iterator
from typing import Any

import polars as pl

from triage.records.append import Appended
from triage.records.findings import as_error
from triage.records.holdings import Holdings
from triage.records.writing import SheetTaken

_SHOWN = 60  # problems in words; --json has them all
_COUNTS = ("read", "kept", "repeated", "refused")
_WORDS = {"unanswered": "not filled in"}


def record_dict(done: Appended) -> dict[str, Any]:
    """What one call did, as plain values for JSON."""
    return {
        "format": 1,
        "exit_code": done.exit_code,
        "store": done.store.as_posix(),
        "rows": {name: done.total(name) for name in _told_counts(done.total("unanswered"))},
        "sheets": [
            {name: getattr(sheet, name) for name in ("file", "sheet", "kind", "batch", *_COUNTS)}
            for sheet in done.sheets
        ],
        "problems": done.problems.to_dicts(),
        "left_out": [
            {"file": file, "sheet": sheet, "why": why} for file, sheet, why in done.skipped
        ],
        "errors": [str(error) for error in done.errors],
    }


def problem_lines(done: Appended) -> Iterator[str]:
    """Errors and refusals first, then notes; each with its place and what to do."""
    yield from (str(error) for error in done.errors)
    refused = done.problems.filter("refused")
    noted = done.problems.filter(~pl.col("refused"))
    yield from _told(refused, "refused")
    yield from _told(noted, "noted")


def _told(problems: pl.DataFrame, how: str) -> Iterator[str]:
    for problem in problems.head(_SHOWN).iter_rows(named=True):
        yield f"{how}: {as_error(problem)}"
    if problems.height > _SHOWN:
        yield f"and {problems.height - _SHOWN} more {how}; --json lists them all"


def record_lines(done: Appended) -> Iterator[str]:
    """The result in words, one line a sheet."""
    for sheet in done.sheets:
        yield _sheet_line(sheet)
    names = _told_counts(done.total("unanswered"))
    counts = ", ".join(f"{done.total(name)} {_WORDS.get(name, name)}" for name in names)
    yield f"rows {counts}; {len(done.errors)} errors"


def _sheet_line(sheet: SheetTaken) -> str:
    name = sheet.file if sheet.sheet is None else f"{sheet.file}, {sheet.sheet}"
    fates = _told_counts(sheet.unanswered)
    counts = ", ".join(f"{getattr(sheet, fate)} {_WORDS.get(fate, fate)}" for fate in fates)
    if sheet.batch is not None:
        return f"{name}: {sheet.kind}, batch {sheet.batch}: {counts}"
    if sheet.read == 0:
        return f"{name}: {sheet.kind}: no rows"
    return f"{name}: {sheet.kind}: {counts}; taken in before, nothing changed"


def _told_counts(unanswered: int) -> tuple[str, ...]:
    """Only what this tool wrote itself, a list or an order, has rows that nobody filled in."""
    return (*_COUNTS, "unanswered") if unanswered else _COUNTS


def holding_lines(held: Holdings) -> Iterator[str]:
    """What the store holds, in words."""
    width = max(len(kind) for kind in held.kinds["kind"])
    yield f"{'kind':<{width}}  records  versions  batches  refused"
    for kind, records, versions, batches, refused in held.kinds.iter_rows():
        yield f"{kind:<{width}}  {records:>7}  {versions:>8}  {batches:>7}  {refused:>7}"
    for batch in held.batches.iter_rows(named=True):
        name = batch["file"] if batch["sheet"] is None else f"{batch['file']}, {batch['sheet']}"
        counts = ", ".join(f"{batch[f'rows_{count}']} {count}" for count in _COUNTS)
        yield f"batch {batch['batch']}, {batch['received_on']}: {name}: {batch['kind']}: {counts}"
