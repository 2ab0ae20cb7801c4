"""The two runs of a comparison, and what of one can be put in the place of the other's."""

from collections.abc import Mapping
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import polars as pl

from triage.compare.digests import EVIDENCE_KINDS
from triage.contract import load_contract
from triage.contract.policy import Policy
from triage.contract.programme import Programme
from triage.errors import StoreError, TriageError
from triage.inputs import INPUTS, changed_inputs, open_stored, stored_inputs
from triage.records import load_records
from triage.runs import read_record, tool_digest, versions

FACTORS = (
    *("evidence", "repair", "decision", "event", "expiry", "policy"),
    *("proposal", "place", "product"),
)
TOOL = "tool"
_PROVENANCE = ("record_row", "batch", "version", "file", "sheet", "row")


@dataclass(frozen=True)
class Inputs:
    """Everything that decides a queue: can be judged, and mixed with another's."""

    programme: Programme
    policy: Policy
    records: Mapping[str, pl.DataFrame]
    files: Mapping[Path, str]

    def hash_of(self, path: Path | None) -> str | None:
        """Hash of one of the stored files, and of those that belong to it by their stem."""
        if path is None:
            return None
        stem = path.with_suffix("")
        return " ".join(sha for at, sha in self.files.items() if at.with_suffix("") == stem)


@dataclass(frozen=True)
class Side:
    """One run. `inputs` is None where it cannot be judged again; `problem` says why."""

    folder: Path
    record: Mapping[str, Any]
    inputs: Inputs | None
    problem: str | None

    @property
    def tool(self) -> tuple[object, ...]:
        """What made the run."""
        return self.record.get("tool", {}).get("sha256"), *sorted(self.record["versions"].items())


def current_tool() -> tuple[object, ...]:
    """As `Side.tool`, of this tool."""
    return tool_digest(), *sorted(versions().items())


def open_side(folder: Path, *, second: bool) -> Side:
    """Read the record of a run and, if they are as they were, its stored inputs.

    Raises
    ------
    StoreError
        If the folder is not a finished run.
    """
    record = read_record(folder)
    try:
        stored = stored_inputs(folder, record)
        wrong = changed_inputs(folder, stored)
        if wrong:
            return Side(folder, record, None, f"{folder}: {wrong[0]}")
        programme, policy = open_stored(folder, stored)
        tables = load_records(programme, load_contract()).tables
    except TriageError as problem:
        return Side(folder, record, None, f"{folder}: {problem.what}")
    # Even numbers for one run, odd ones for the other: their records may be mixed.
    numbered = {
        kind: frame.with_columns((pl.col("record_row") * 2 + int(second)).cast(pl.UInt32))
        for kind, frame in tables.items()
    }
    files = {folder / INPUTS / item.path: item.sha256 for item in stored}
    return Side(folder, record, Inputs(programme, policy, numbered, files), None)


def same_programme(before: Side, after: Side) -> None:
    """Refuse runs of two programmes.

    Raises
    ------
    StoreError
        Naming both.
    """
    ids = before.record["programme_id"], after.record["programme_id"]
    if ids[0] != ids[1]:
        what = f"the runs are of two programmes, {ids[0]!r} and {ids[1]!r}"
        raise StoreError(what, str(after.folder), "name two runs of one programme")


def _content(frame: pl.DataFrame) -> pl.DataFrame:
    return frame.drop(_PROVENANCE)


def _same_records(a: Inputs, b: Inputs, kinds: tuple[str, ...]) -> bool:
    return all(_content(a.records[kind]).equals(_content(b.records[kind])) for kind in kinds)


def _read_from(inputs: Inputs) -> list[tuple[str, str | None]]:
    """Survey files by content, each with how it is read."""
    return sorted(
        (inputs.files[path], inputs.hash_of(source.profile.path) or "" if source.profile else "")
        for source in inputs.programme.sources
        for path in source.files
    )


def _placed_by(inputs: Inputs) -> tuple[object, ...]:
    climate, exposure = inputs.programme.climate, inputs.programme.exposure
    own = (
        (inputs.hash_of(climate.stations), inputs.hash_of(climate.zones), climate.zone_column)
        if climate is not None
        else None
    )
    rain = (inputs.hash_of(exposure.zones), exposure.column) if exposure is not None else None
    return inputs.programme.country_code, own, rain


def differing(a: Inputs, b: Inputs) -> list[str]:
    """Which of FACTORS are not the same."""
    same = {
        "evidence": _read_from(a) == _read_from(b) and _same_records(a, b, EVIDENCE_KINDS),
        "repair": _same_records(a, b, ("repair",)),
        "decision": _same_records(a, b, ("decision",)),
        "event": _same_records(a, b, ("event",)),
        "expiry": a.programme.as_of == b.programme.as_of,
        "policy": a.policy.digest == b.policy.digest,
        "proposal": a.programme.measures == b.programme.measures,
        "place": _placed_by(a) == _placed_by(b),
        "product": a.programme.products == b.programme.products,
    }
    return [factor for factor in FACTORS if not same[factor]]


def swapped(base: Inputs, other: Inputs, factor: str) -> Inputs:
    """`base` with one factor as the other run had it."""
    theirs = other.programme
    if factor == "policy":
        return replace(base, policy=other.policy)
    kinds = EVIDENCE_KINDS if factor == "evidence" else (factor,)
    if factor in ("evidence", "repair", "decision", "event"):
        taken = {kind: other.records[kind] for kind in kinds}
        mixed = replace(base, records={**base.records, **taken})
        if factor != "evidence":
            return mixed
        return replace(mixed, programme=replace(base.programme, sources=theirs.sources))
    change: dict[str, Any] = {
        "expiry": {"as_of": theirs.as_of},
        "proposal": {"measures": theirs.measures},
        "place": {
            "climate": theirs.climate,
            "exposure": theirs.exposure,
            "country_code": theirs.country_code,
        },
        "product": {"products": theirs.products},
    }
    return replace(base, programme=replace(base.programme, **change[factor]))
