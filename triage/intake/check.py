"""Checks survey files before any run: what would be read, what not, and what to do about it."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date
from pathlib import Path
from typing import Any

import polars as pl

from triage.contract import Contract
from triage.contract.profile import Profile
from triage.errors import Place, TriageError
from triage.intake.assemble import assemble
from triage.intake.field_rules import new_context
from triage.intake.files import FileReading, read_file
from triage.intake.limits import DEFAULT_LIMITS, Limits
from triage.intake.result import Intake

_EXAMPLES = 3
_STATES = ("accepted", "rejected", "superseded")


@dataclass(frozen=True, slots=True)
class FileCheck:
    """What was found in one file; `problems` is kind -> count, `examples` kind -> places."""

    file: str
    sheets: dict[str, int]
    skipped: tuple[str, ...]
    rows: dict[str, int]
    mapped: dict[str, str]
    ignored: tuple[str, ...]
    absent: tuple[str, ...]
    problems: dict[str, int]
    examples: dict[str, list[str]] = field(repr=False)
    errors: tuple[TriageError, ...] = ()


@dataclass(frozen=True, slots=True)
class CheckReport:
    """What was found in all files."""

    files: tuple[FileCheck, ...]

    @property
    def errors(self) -> list[TriageError]:
        """Everything that would keep a run from starting."""
        return [error for file in self.files for error in file.errors]

    @property
    def rows(self) -> dict[str, int]:
        """Rows read, accepted, rejected and superseded, of all files."""
        return {state: sum(f.rows[state] for f in self.files) for state in ("read", *_STATES)}

    @property
    def exit_code(self) -> int:
        """0 if all rows can be used, 1 if some are rejected, 2 if a run could not start."""
        return 2 if self.errors else int(self.rows["rejected"] > 0)

    def to_dict(self) -> dict[str, Any]:
        """The report as plain values, for JSON."""
        return {
            "format": 1,
            "exit_code": self.exit_code,
            "rows": self.rows,
            "files": [_file_dict(file) for file in self.files],
        }

    def lines(self) -> Iterator[str]:
        """The report in words, one line after the other."""
        for file in self.files:
            yield from _file_lines(file)
        counts = ", ".join(f"{count} {state}" for state, count in self.rows.items())
        files = f"{len(self.files)} file" + ("" if len(self.files) == 1 else "s")
        yield f"{files}: rows {counts}; {len(self.errors)} errors"


def check_files(
    files: Sequence[Path],
    profile: Profile | None,
    contract: Contract,
    measures: Mapping[str, str],
    as_of: date | None = None,
    *,
    limits: Limits = DEFAULT_LIMITS,
) -> CheckReport:
    """Read files as a run would, and report all of it instead of stopping.

    Parameters
    ----------
    files, profile
        Files that one profile describes; None reads them by field names.
    contract, measures
        Fields and code lists, and the texts of measures that the policy knows.
    as_of
        Last day that is not in the future; today if None.
    limits
        Upper bounds for one file.
    """
    context = new_context(contract, profile, measures, as_of or date.today())
    readings = [read_file(path, path.as_posix(), context, limits) for path in files]
    intake = assemble(readings, contract)
    return CheckReport(tuple(_check_of(reading, intake) for reading in readings))


def _check_of(reading: FileReading, intake: Intake) -> FileCheck:
    sources = intake.sources.filter(pl.col("file") == reading.file)
    rows = intake.rows.join(sources, on="source_id", how="semi")
    states = dict(rows.group_by("status").len().iter_rows())
    problems = intake.problems.filter(pl.col("file") == reading.file)
    counts = problems.group_by("kind").len().sort("len", "kind", descending=[True, False])
    columns = [column for group in reading.headings.values() for column in group]
    filled = {column.field for column in columns}
    stated = reading.profile.columns.values() if reading.profile is not None and columns else ()
    return FileCheck(
        file=reading.file,
        sheets=_rows_by_sheet(reading),
        skipped=tuple(name or "-" for name in reading.skipped),
        rows={"read": rows.height} | {state: states.get(state, 0) for state in _STATES},
        mapped={str(c.heading): c.field for c in columns if c.field is not None},
        ignored=tuple(dict.fromkeys(str(c.heading) for c in columns if c.status == "ignored")),
        absent=tuple(column.heading for column in stated if column.field not in filled),
        problems=dict(counts.iter_rows()),
        examples=_examples(problems),
        errors=tuple(reading.errors),
    )


def _rows_by_sheet(reading: FileReading) -> dict[str, int]:
    """Rows of each sheet; a sheet may hold several tables."""
    counts: dict[str, int] = {}
    for table in reading.tables:
        name = table.sheet.name or "-"
        counts[name] = counts.get(name, 0) + table.raw.height
    return counts


def _examples(problems: pl.DataFrame) -> dict[str, list[str]]:
    """The first few problems of each kind, with their places and what to do."""
    found: dict[str, list[str]] = {}
    for problem in problems.group_by("kind", maintain_order=True).head(_EXAMPLES).to_dicts():
        place = Place(problem["file"], problem["sheet"], problem["row"], problem["column"])
        named = f" {problem['field']}:" if problem["field"] else ""
        found.setdefault(problem["kind"], []).append(f"{place}:{named} {problem['message']}")
    return found


def _file_dict(file: FileCheck) -> dict[str, Any]:
    errors = [
        {"code": error.code, "what": error.what, "where": str(error.where), "do": error.fix}
        for error in file.errors
    ]
    return {
        "file": file.file,
        "sheets": file.sheets,
        "sheets_left_out": list(file.skipped),
        "rows": file.rows,
        "mapped": file.mapped,
        "ignored": list(file.ignored),
        "profile_headings_absent": list(file.absent),
        "problems": [
            {"kind": kind, "count": count, "examples": file.examples.get(kind, [])}
            for kind, count in file.problems.items()
        ],
        "errors": errors,
    }


def _file_lines(file: FileCheck) -> Iterator[str]:
    yield file.file
    if file.sheets:
        yield "  sheets: " + ", ".join(
            f"{name} ({count} rows)" for name, count in file.sheets.items()
        )
    if file.skipped:
        yield f"  left out, no survey table: {', '.join(file.skipped)}"
    if file.sheets:
        yield "  rows: " + ", ".join(f"{count} {state}" for state, count in file.rows.items())
    if file.mapped:
        yield f"  columns: {len(file.mapped)} mapped, {len(file.ignored)} ignored"
    if file.absent:
        yield f"  in the profile but not in the file: {', '.join(file.absent)}"
    for kind, count in file.problems.items():
        yield f"  {kind}: {count}"
        yield from (f"    {example}" for example in file.examples.get(kind, []))
    for error in file.errors:
        yield from (f"  {line}" for line in str(error).splitlines())
