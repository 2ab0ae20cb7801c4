"""Re-runs a finished run from its stored inputs and compares what comes out."""

import tempfile
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import polars as pl

from triage import __version__
from triage.errors import StoreError, TriageError
from triage.inputs import changed_inputs, open_stored, stored_inputs
from triage.programme_run import run_opened
from triage.report.labels import visible
from triage.runs import RECORD, STORE, file_digest, read_record, tool_digest, versions
from triage.store import Store

_COUNTS = (
    *("run_id", "rows", "homes", "assessed", "queues", "lanes", "released"),
    *("checks_outstanding", "accepted_by_decision", "records"),
)
_KEY = ("property_id", "building_part", "measure_code")
_SHOWN = 3  # differing rows that are quoted


@dataclass(frozen=True, slots=True)
class Checked:
    """One table or count: whether it agrees, and if not, how it differs."""

    what: str
    agrees: bool
    told: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Verified:
    """What the check of a run found. `reasons` say why it could not be made."""

    run: Path
    checked: tuple[Checked, ...]
    reasons: tuple[str, ...]
    notes: tuple[str, ...]

    @property
    def exit_code(self) -> int:
        """0 the same, 1 something differs, 2 it could not be checked."""
        if self.reasons:
            return 2
        return 0 if all(item.agrees for item in self.checked) else 1

    def to_dict(self) -> dict[str, Any]:
        """The result as plain values, for JSON."""
        verdict = ("same", "differs", "not checked")[self.exit_code]
        return {
            "format": 1,
            "run": self.run.as_posix(),
            "verdict": verdict,
            "reasons": list(self.reasons),
            "notes": list(self.notes),
            "checked": [
                {"what": item.what, "agrees": item.agrees, "differences": list(item.told)}
                for item in self.checked
            ],
        }

    def lines(self) -> Iterator[str]:
        """The result in words."""
        yield from map(visible, self._lines())

    def _lines(self) -> Iterator[str]:
        yield from (f"note: {note}" for note in self.notes)
        if self.reasons:
            yield f"Not checked: {self.run} cannot be run again as it was."
            yield from (f"  {reason}" for reason in self.reasons)
            return
        wrong = [item for item in self.checked if not item.agrees]
        for item in wrong:
            yield f"differs: {item.what}"
            yield from (f"  {line}" for line in item.told)
        agree = len(self.checked) - len(wrong)
        yield f"{agree} of {len(self.checked)} tables and counts agree."


def verify_run(folder: Path, say: Callable[[str], None]) -> Verified:
    """Run again from the stored inputs, into a folder that is then thrown away, and compare.

    Raises
    ------
    StoreError
        If the folder is not a finished run.
    """
    record = read_record(folder)
    try:
        stored = stored_inputs(folder, record)
    except StoreError as problem:
        return Verified(folder, (), (problem.what,), ())
    reasons = [*changed_inputs(folder, stored), *_other_tool(record)]
    if not (folder / STORE).is_file():
        reasons.append(f"{STORE} is missing")
    if reasons:
        return Verified(folder, (), tuple(reasons), ())
    with tempfile.TemporaryDirectory(prefix="triage-") as temporary:
        again = Path(temporary) / "run"
        try:
            programme, policy = open_stored(folder, stored)
            run_opened(programme, policy, again, say, keep_inputs=False)
        except TriageError as problem:
            # The run itself went through, so this tool must read its inputs differently.
            found = (f"the stored inputs cannot be run: {problem}",)
            return Verified(folder, (), found, ())
        checked = (
            *_files(folder, again, record),
            *_store_tables(folder / STORE, again / STORE),
            *_counts(record, read_record(again)),
        )
    return Verified(folder, checked, (), tuple(_other_libraries(record)))


def _other_tool(record: Mapping[str, Any]) -> list[str]:
    """Why this tool is not the one that made the run."""
    made = record["tool"]
    if made["version"] != __version__:
        return [f"version {made['version']} of the tool made this run, this is {__version__}"]
    if made["sha256"] != tool_digest():
        was, now = made["sha256"][:12], tool_digest()[:12]
        return [f"the tool's own files are not those that made this run ({was}, now {now})"]
    return []


def _other_libraries(record: Mapping[str, Any]) -> Iterator[str]:
    now = versions()
    for name, was in record["versions"].items():
        if now.get(name) != was:
            yield f"made with {name} {was}, checked with {now.get(name, 'none')}"


def _files(folder: Path, again: Path, record: Mapping[str, Any]) -> Iterator[Checked]:
    """Table files: the recorded hash, the file on disk, and the file made now."""
    remade = {item["name"]: item["sha256"] for item in read_record(again)["tables"]}
    recorded = {item["name"]: item["sha256"] for item in record["tables"]}
    for name in sorted(remade.keys() | recorded.keys()):
        path = folder / name
        told = []
        if name not in recorded:
            told.append("the run has no such table")
        elif name not in remade:
            told.append("running again makes no such table")
        elif remade[name] != recorded[name]:
            told.append(f"hash {recorded[name][:12]} in {RECORD}, {remade[name][:12]} now")
        if not path.is_file():
            told.append("the file is missing")
        elif name in recorded and file_digest(path) != recorded[name]:
            told.append("the file was changed after the run")
        if told and path.is_file() and name in remade:
            told += _how(path, again / name)
        yield Checked(name, not told, tuple(told))


def _read(path: Path) -> pl.DataFrame:
    if path.suffix == ".csv":
        return pl.read_csv(path, infer_schema=False)
    return pl.read_parquet(path)


def _how(was: Path, now: Path) -> list[str]:
    try:
        before = _read(was)
    except (pl.exceptions.PolarsError, OSError) as problem:
        return [f"the file cannot be read: {str(problem).splitlines()[0]}"]
    return differences(before, _read(now))


def _store_tables(was: Path, now: Path) -> Iterator[Checked]:
    with Store(was, read_only=True) as before, Store(now, read_only=True) as after:
        names = before.tables(), after.tables()
        for name in sorted({*names[0], *names[1]}):
            if name not in names[0] or name not in names[1]:
                where = "the run" if name in names[0] else "the run made now"
                yield Checked(f"{STORE}: {name}", agrees=False, told=(f"only in {where}",))
                continue
            told = differences(before.table(name), after.table(name))
            yield Checked(f"{STORE}: {name}", not told, tuple(told))


def _counts(was: Mapping[str, Any], now: Mapping[str, Any]) -> Iterator[Checked]:
    for key in _COUNTS:
        same = was.get(key) == now.get(key)
        told = () if same else (f"{was.get(key)} in {RECORD}, {now.get(key)} now",)
        yield Checked(f"{RECORD}: {key}", same, told)


def differences(was: pl.DataFrame, now: pl.DataFrame) -> list[str]:
    """How two tables differ: columns, row counts, the first rows that are not the same."""
    if was.schema != now.schema:
        gone = [name for name in was.schema if was.schema[name] != now.schema.get(name)]
        new = [name for name in now.schema if now.schema[name] != was.schema.get(name)]
        names = ", ".join(dict.fromkeys([*gone, *new])) or "their order"
        return [f"the columns differ: {names}"]
    if was.equals(now):
        return []
    told = [] if was.height == now.height else [f"{was.height} rows, {now.height} now"]
    height = min(was.height, now.height)
    other, mark = "\x1fnow", "\x1fdiffers"
    pair = was.head(height).hstack(now.head(height).rename(lambda name: name + other))
    tests = [
        pl.col(name).ne_missing(pl.col(name + other)).alias(name + mark) for name in was.columns
    ]
    rows = pair.with_columns(tests).with_row_index(other)
    shown = rows.filter(pl.any_horizontal(pl.col(name + mark) for name in was.columns)).head(_SHOWN)
    for row in shown.iter_rows(named=True):  # few rows, to be quoted
        key = " ".join(str(row[name]) for name in _KEY if name in was.columns)
        cells = [
            f"{name} {row[name]!r}, now {row[name + other]!r}"
            for name in was.columns
            if row[name + mark]
        ]
        named = f" ({key})" if key else ""
        told.append(f"row {row[other] + 1}{named}: " + "; ".join(cells[:_SHOWN]))
    if not shown.height:
        told.append(f"rows {height + 1} and on are in one of the two only")
    return told
