"""The runs whose visit lists may come back: the one that is named, or those of the programme."""

import json
from collections.abc import Iterator
from pathlib import Path

from triage.contract import Programme
from triage.errors import StoreError
from triage.runs import RECORD, read_record

_DEPTH = 3  # folders below the programme's: runs/2026/october
_MOST = 2_000  # folders looked into
_LARGEST = 4_000_000  # bytes of a run.json


def asking_runs(programme: Programme, run: Path | None) -> tuple[tuple[str, ...], str]:
    """Ids of the runs that may have asked, and which they are in words.

    Parameters
    ----------
    programme
        Its runs are looked for below its folder, three folders deep; none may be found.
    run
        The folder of the one run that asked; then no other counts.

    Raises
    ------
    StoreError
        If `run` is no finished run, or one of another programme.
    """
    if run is not None:
        record = read_record(run)
        if record.get("programme_id") != programme.programme_id:
            what = f"this is a run of the programme {record.get('programme_id')!r}"
            fix = f"name the folder of a run of {programme.programme_id!r}"
            raise StoreError(what, str(run), fix)
        return (str(record["run_id"]),), f"the run {record['run_id']} of {run}"
    found = {run_id for path in _records(programme.folder) if (run_id := _id(path, programme))}
    return tuple(sorted(found)), f"among the {len(found)} runs in {programme.folder}"


def _records(folder: Path) -> Iterator[Path]:
    """Each run.json below a folder, so far and so many; a link is not followed."""
    looked, level = 0, [folder]
    for _ in range(_DEPTH):
        inner = [path for parent in level for path in _folders(parent)]
        level = []
        for path in inner:
            looked += 1
            if looked > _MOST:
                return
            if (path / RECORD).is_file():
                yield path / RECORD
            else:
                level.append(path)


def _folders(parent: Path) -> list[Path]:
    try:
        return sorted(p for p in parent.iterdir() if p.is_dir() and not p.is_symlink())
    except PermissionError:
        return []  # a folder that is closed to us holds no run that we could compare with


def _id(path: Path, programme: Programme) -> str | None:
    if path.stat().st_size > _LARGEST:
        return None
    try:
        record = json.loads(path.read_text(encoding="utf-8"))
    except ValueError:
        return None  # some other program's file: ours is written whole or not at all
    if not isinstance(record, dict) or record.get("programme_id") != programme.programme_id:
        return None
    return str(record.get("run_id"))
