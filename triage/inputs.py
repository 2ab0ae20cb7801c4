"""The stored inputs of a run: a copy of every file that it read, with its hash."""

import shutil
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path, PurePosixPath
from typing import Any

from triage.contract.policy import Policy
from triage.contract.policy_load import load_policy, policy_dir, policy_files
from triage.contract.programme import Programme, load_programme
from triage.contract.references import place_of, references, stays_inside
from triage.contract.tomlfile import read_toml
from triage.errors import ProfileError, StoreError
from triage.records import RECORDS_STORE
from triage.runs import RECORD, file_digest

INPUTS = "inputs"
KEPT = "stored_inputs"  # in run.json
_POLICY = "_policy"
_OUTSIDE = "_outside"
_WITH_SIDES = (".shp", ".tab", ".mif")  # formats of several files with one stem


@dataclass(frozen=True, slots=True)
class Stored:
    """One stored input.

    `path` is relative to the folder of the inputs. `role` is programme, survey, reference,
    policy or records. `written` is the path as the programme writes it, where the copy stands
    elsewhere; None where the programme's own words lead to the copy.
    """

    path: str
    role: str
    sha256: str
    bytes: int
    written: str | None = None


def input_files(programme: Programme) -> list[tuple[Path, Stored]]:
    """Every file that a run of the programme reads, and where its copy will stand; no hash yet."""
    found = [(programme.path, _blank(programme.path.name, "programme"))]
    for source in programme.sources:
        for path in source.files:
            found.append((path, _blank(path.relative_to(programme.folder).as_posix(), "survey")))
    data = read_toml(programme.path, ProfileError).data
    for number, written in enumerate(dict.fromkeys(references(data)), start=1):
        found += _reference(programme.folder, written, number)
    pack = policy_dir(programme.policy, programme.folder)
    for path in policy_files(pack):
        found.append((path, _blank(f"{_POLICY}/{path.relative_to(pack).as_posix()}", "policy")))
    for name in (RECORDS_STORE, f"{RECORDS_STORE}.wal"):
        if (programme.folder / name).is_file():
            found.append((programme.folder / name, _blank(name, "records")))
    return found


def _blank(path: str, role: str, written: str | None = None) -> Stored:
    return Stored(path, role, "", 0, written)


def _reference(folder: Path, written: str, number: int) -> list[tuple[Path, Stored]]:
    path = place_of(written, folder)
    inside = stays_inside(written)
    names = [path.name]
    if path.suffix.lower() in _WITH_SIDES:
        names += sorted(
            p.name
            for p in path.parent.glob("*")
            if p.stem == path.stem and p != path and p.is_file()
        )
    home = (
        PurePosixPath(written.replace("\\", "/")).parent.as_posix()
        if inside
        else f"{_OUTSIDE}/{number}"
    )
    told = [None if inside or name != path.name else written for name in names]
    return [
        (path.parent / name, _blank((PurePosixPath(home) / name).as_posix(), "reference", written))
        for name, written in zip(names, told, strict=True)
    ]


def copy_inputs(files: Sequence[tuple[Path, Stored]], run_folder: Path) -> list[Stored]:
    """Copy the files into the run folder; a link would let a later edit change the run.

    Raises
    ------
    StoreError
        If the disk has no room for the copies.
    """
    base = run_folder / INPUTS
    need = sum(path.stat().st_size for path, _ in files)
    free = shutil.disk_usage(run_folder).free
    if need > free:
        what = f"the copies of the inputs need {need / 1e6:,.0f} MB, {free / 1e6:,.0f} MB are free"
        raise StoreError(what, str(run_folder), "make room, or write to another disk")
    done: dict[str, Stored] = {}
    for path, where in files:
        target = base / where.path
        if where.path in done:
            what = f"two inputs would be stored as {where.path!r}"
            raise StoreError(what, str(path), "rename one of the two folders that begin with '_'")
        target.parent.mkdir(parents=True, exist_ok=True)
        shutil.copyfile(path, target)
        copied = replace(where, sha256=file_digest(target), bytes=target.stat().st_size)
        done[where.path] = copied
    return sorted(done.values(), key=lambda stored: stored.path)


def refuse_changed(files: Sequence[tuple[Path, Stored]], stored: Iterable[Stored]) -> None:
    """Refuse a run whose inputs changed under it: the copies would not be what it read.

    Raises
    ------
    StoreError
        Naming the first file that is no longer what was copied.
    """
    hashes = {item.path: item.sha256 for item in stored}
    for path, where in files:
        if not path.is_file() or file_digest(path) != hashes[where.path]:
            what = "the file changed while the run was reading it"
            raise StoreError(what, str(path), "run again when nobody is writing to it")


def stored_inputs(folder: Path, record: Mapping[str, Any]) -> list[Stored]:
    """The inputs that a run says it stored.

    Raises
    ------
    StoreError
        If the run stored none, or names a path that leaves its folder.
    """
    if KEPT not in record:
        what = "this run stored no inputs: an earlier version of the tool made it"
        raise StoreError(what, str(folder), "run the programme again")
    try:
        found = [Stored(**item) for item in record[KEPT]]
    except TypeError as problem:
        what = f"the record does not say what was stored: {problem}"
        raise StoreError(what, str(folder / RECORD), "take the run from a sound copy") from problem
    for item in found:
        if not item.path or not stays_inside(item.path):
            what = f"the record names an input outside its folder: {item.path!r}"
            raise StoreError(what, str(folder / RECORD), "take the run from a copy of yours")
    return found


def changed_inputs(folder: Path, stored: Sequence[Stored]) -> list[str]:
    """What is wrong with the stored inputs on disk, a sentence a file; nothing if all is well."""
    base = folder / INPUTS
    there = {path.relative_to(base).as_posix() for path in base.rglob("*") if not path.is_dir()}
    told = []
    for item in stored:
        path = base / item.path
        if item.path not in there or not path.is_file():
            told.append(f"{INPUTS}/{item.path} is missing")
        elif not path.resolve().is_relative_to(base.resolve()):
            told.append(f"{INPUTS}/{item.path} is a link that leaves the folder")
        elif file_digest(path) != item.sha256:
            told.append(f"{INPUTS}/{item.path} is not what the run read: its hash differs")
    extra = sorted(there - {item.path for item in stored})
    return told + [f"{INPUTS}/{name} was put there after the run" for name in extra]


def open_stored(folder: Path, stored: Sequence[Stored]) -> tuple[Programme, Policy]:
    """The programme and the policy of a run, from its stored inputs.

    Raises
    ------
    TriageError
        If the copies cannot be read as a programme and a policy pack.
    """
    base = folder / INPUTS
    name = next((item.path for item in stored if item.role == "programme"), "programme.toml")
    moved = {item.written: item.path for item in stored if item.written is not None}
    programme = load_programme(base / name, moved=moved)
    # A name with a slash is never one of the packs that ship.
    programme = replace(programme, policy=f"./{_POLICY}")
    return programme, load_policy(base / _POLICY)
