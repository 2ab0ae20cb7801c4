"""A run folder: made whole or not at all, with a record of what went in and what came out."""

import hashlib
import json
import os
import shutil
from collections.abc import Iterable, Iterator, Mapping
from contextlib import contextmanager
from datetime import date
from functools import cache
from importlib.metadata import version
from importlib.resources import files
from pathlib import Path
from typing import Any

import polars as pl

from triage import __version__
from triage.contract.assemblies import Library
from triage.contract.policy import Policy
from triage.contract.programme import Programme
from triage.errors import StoreError
from triage.resources import resource_dir
from triage.store import Store, StoreLockedError

STORE = "store.duckdb"
RECORD = "run.json"
_TEXTS = (".py", ".toml", ".sql", ".csv", ".md")
_LEFT_OUT = frozenset({"__pycache__", "_resources", "policy"})
_LIBRARIES = ("polars", "duckdb", "geopandas", "shapely", "pyproj", "numpy", "scipy", "fastexcel")


@contextmanager
def new_run_folder(out: Path) -> Iterator[Path]:
    """A folder to write into, renamed to `out` when the block ends well, removed when it does not.

    Killed at any moment, the last finished run is intact: nothing is ever written into `out`.

    Raises
    ------
    StoreError
        If `out` exists already, its parent does not, or another run is writing to it.
    """
    if out.exists():
        raise StoreError(
            "the output folder exists already", str(out), "name a new folder, or move this one away"
        )
    if not out.absolute().parent.is_dir():
        raise StoreError("there is no such folder", str(out.absolute().parent), "make it first")
    partial = out.absolute().with_name(f".{out.name}.partial")
    if partial.exists():
        _clear_abandoned(partial)
    partial.mkdir()
    try:
        yield partial
        partial.rename(out)
    finally:
        shutil.rmtree(partial, ignore_errors=True)


def _clear_abandoned(partial: Path) -> None:
    """Remove what a killed run left; refuse if a run that lives still holds its store."""
    store = partial / STORE
    if store.exists():
        try:
            Store(store).close()
        except StoreLockedError:
            raise
        except StoreError:
            # Torn by the kill and held by nobody: there is nothing in it to keep.
            pass
    shutil.rmtree(partial)


def file_digest(path: Path) -> str:
    """SHA-256 of a file."""
    with path.open("rb") as stream:
        return hashlib.file_digest(stream, "sha256").hexdigest()


def run_id(
    programme: Programme,
    policy: Policy,
    library: Library,
    sources: pl.DataFrame,
    records: str = "",
) -> str:
    """Name of a run, the same for the same inputs, records, policy, programme file and software."""
    total = hashlib.sha256()
    profiles = {s.profile.path for s in programme.sources if s.profile is not None}
    total.update(programme.path.read_bytes())
    # By content: the stored copies of a run stand elsewhere and are the same run.
    for content in sorted(path.read_bytes() for path in profiles):
        total.update(content)
    for digest in sorted(set(sources["sha256"].to_list())):
        total.update(digest.encode())
    for text in (policy.digest, library.digest, records, programme.as_of.isoformat(), __version__):
        total.update(text.encode())
    return total.hexdigest()[:12]


def versions() -> dict[str, str]:
    """Versions of this tool and of the libraries that decide results."""
    return {"retrofit-moisture-triage": __version__} | {name: version(name) for name in _LIBRARIES}


@cache
def tool_digest() -> str:
    """SHA-256 over the tool's own files: code, contract, pipelines and tables that ship.

    Packs are left out: a run has its own. The same on every system and line ending.
    """
    package = Path(str(files("triage")))
    roots = [
        ("triage", package),
        *((name, resource_dir(name)) for name in ("schemas", "pipelines")),
    ]
    total = hashlib.sha256()
    for name, root in roots:
        inside = {path.relative_to(root).as_posix(): path for path in root.rglob("*")}
        for shown in sorted(inside):
            path = inside[shown]
            if path.is_file() and not _LEFT_OUT.intersection(Path(name, shown).parts):
                content = path.read_bytes()
                text = path.suffix in _TEXTS
                total.update(f"{name}/{shown}".encode())
                total.update(content.replace(b"\r\n", b"\n") if text else content)
    return total.hexdigest()


def this_tool() -> dict[str, str]:
    """Version of this tool and hash of its own files."""
    return {"version": __version__, "sha256": tool_digest()}


def tables_of(folder: Path) -> list[dict[str, Any]]:
    """Name, hash and rows of every table file at the top of a run folder."""
    paths = sorted(path for path in folder.iterdir() if path.suffix in (".parquet", ".csv"))
    return [
        {"name": path.name, "sha256": file_digest(path), "rows": _rows_of(path)} for path in paths
    ]


def _rows_of(path: Path) -> int:
    lazy = pl.scan_csv(path, infer_schema=False) if path.suffix == ".csv" else pl.scan_parquet(path)
    return int(lazy.select(pl.len()).collect().item())


def write_record(folder: Path, record: Mapping[str, Any]) -> None:
    """Write run.json, keys in a fixed order, dates as ISO text."""

    def plain(value: object) -> object:
        if isinstance(value, date):
            return value.isoformat()
        if isinstance(value, Path):
            return value.as_posix()
        raise TypeError(f"cannot write {type(value).__name__} to run.json")

    text = json.dumps(record, indent=2, ensure_ascii=False, default=plain)
    with (folder / RECORD).open("w", encoding="utf-8", newline="\n") as stream:
        stream.write(text + "\n")
        stream.flush()
        os.fsync(stream.fileno())


def read_record(folder: Path) -> dict[str, Any]:
    """The record of a finished run.

    Raises
    ------
    StoreError
        If the folder is not a finished run.
    """
    path = folder / RECORD
    if not path.is_file():
        raise StoreError(
            "this is not the folder of a finished run", str(folder), "name one that holds run.json"
        )
    record: dict[str, Any] = json.loads(path.read_text(encoding="utf-8"))
    return record


def need_tables(run: Store, folder: Path, names: Iterable[str], then: str) -> None:
    """Make sure that a run holds tables.

    Raises
    ------
    StoreError
        If it lacks one; `then` is what to do once the programme has been run again.
    """
    missing = sorted(set(names) - set(run.tables()))
    if missing:
        what = f"the run has no table {missing[0]!r}: an older version of the tool made it"
        raise StoreError(what, str(folder), f"run the programme again, then {then}")
