"""Runs a pipeline: ordered steps, each a SQL file or a named Python stage, with its checks."""

import time
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any, TypeVar

from triage.contract.section import Section
from triage.contract.text import did_you_mean
from triage.contract.tomlfile import read_toml
from triage.errors import ProfileError, TriageError, raise_all
from triage.resources import resource_dir
from triage.store import Store

Work = TypeVar("Work")


class CheckFailedError(RuntimeError):
    """A check of the pipeline found rows that break a promise: a bug, not the user's doing."""


@dataclass(frozen=True, slots=True)
class Step:
    """One step: a SQL file under pipelines/sql, or the name of a Python stage."""

    name: str
    says: str
    sql: Path | None
    call: str | None
    check: Path | None


@dataclass(frozen=True, slots=True)
class Pipeline:
    """What happens, in which order."""

    name: str
    title: str
    steps: tuple[Step, ...]


def load_pipeline(name: str, stages: Mapping[str, object]) -> Pipeline:
    """Read pipelines/<name>.toml.

    Raises
    ------
    ProfileError or ManyErrors
        A step that names neither or both kinds, a SQL file or a stage that is not there.
    """
    folder = resource_dir("pipelines")
    file = read_toml(folder / f"{name}.toml", ProfileError)
    errors: list[TriageError] = []
    top = Section(file, dict(file.data), ProfileError, errors=errors)
    top.only("name", "title", "steps")
    steps = tuple(_step(entry, folder, stages) for entry in top.tables("steps"))
    raise_all(errors)
    return Pipeline(
        name=top.need("name", str, '"stock_triage"') or name,
        title=top.need("title", str, '"Stock triage"') or name,
        steps=steps,
    )


def _step(s: Section, folder: Path, stages: Mapping[str, object]) -> Step:
    s.only("name", "says", "sql", "call", "check")
    sql, call, check = s.get("sql", str), s.get("call", str), s.get("check", str)
    if (sql is None) == (call is None):
        s.blame("a step has either 'sql' or 'call'", "name one of them", "name")
    if call is not None and call not in stages:
        s.blame(f"{call!r} is no stage", did_you_mean(call, stages), "call")
    paths = {"sql": sql and folder / "sql" / sql, "checks": check and folder / "checks" / check}
    for kind, path in paths.items():
        if path and not path.is_file():
            s.blame(f"there is no file {path.name!r} in pipelines/{kind}", "write it", "name")
    return Step(
        name=s.need("name", str, '"read"') or "?",
        says=s.need("says", str, '"Reading surveys"') or "",
        sql=Path(paths["sql"]) if paths["sql"] else None,
        call=call,
        check=Path(paths["checks"]) if paths["checks"] else None,
    )


def run_pipeline(
    pipeline: Pipeline,
    work: Work,
    store: Store,
    stages: Mapping[str, Callable[[Work], None]],
    parameters: Mapping[str, Any],
    progress: Callable[[str], None],
) -> dict[str, float]:
    """Run all steps in order.

    Parameters
    ----------
    pipeline
        Steps to run.
    work
        Handed to every Python stage.
    store
        Tables that the SQL steps read and write.
    stages
        Python stages by name.
    parameters
        Named values for the SQL steps.
    progress
        Told what is about to happen.

    Returns
    -------
    dict
        Seconds by step.
    """
    seconds: dict[str, float] = {}
    for step in pipeline.steps:
        progress(step.says)
        begun = time.perf_counter()
        if step.sql is not None:
            store.run(step.sql.read_text(encoding="utf-8"), parameters)
        elif step.call is not None:
            stages[step.call](work)
        if step.check is not None:
            _check(step.check, store)
        seconds[step.name] = round(time.perf_counter() - begun, 3)
    return seconds


def _check(path: Path, store: Store) -> None:
    """Zero rows is a pass."""
    broken = store.ask(path.read_text(encoding="utf-8"))
    if broken.height:
        raise CheckFailedError(f"check {path.name} found {broken.height} rows:\n{broken.head(5)}")
