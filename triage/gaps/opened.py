"""Opens a finished run for questions, with the programme, policy and materials that made it."""

from collections.abc import Callable
from pathlib import Path
from typing import Any

from triage.contract import load_contract
from triage.contract.assemblies import Library, load_library
from triage.contract.policy import Policy
from triage.contract.programme import Programme
from triage.errors import StoreError
from triage.programme_run import open_programme
from triage.runs import RECORD, STORE, read_record
from triage.store import Store
from triage.work import Work

_PROGRAMME = "programme.toml"


def open_run(
    folder: Path, programme_file: Path | None, say: Callable[[str], None]
) -> tuple[Work, dict[str, Any]]:
    """The run's store, opened for reading, and its record. The caller closes `work.store`.

    Parameters
    ----------
    folder
        Folder of a finished run.
    programme_file
        The programme that was run; None looks for it in the run's folder and in those above.
    say
        Told what is about to happen.

    Raises
    ------
    StoreError
        If the folder is no finished run, the programme is not found, or it, its policy or its
        materials are not those of the run.
    """
    record = read_record(folder)
    programme, policy = open_programme(programme_file or _found(folder))
    library = load_library(programme.products)
    _check(folder, record, programme, policy, library)
    store = Store(folder / STORE, read_only=True)
    work = Work(programme, load_contract(), policy, library, store, folder, say)
    work.run_id = str(record["run_id"])
    return work, record


def _found(folder: Path) -> Path:
    inside = folder.absolute()
    for place in (inside, inside / "inputs", *inside.parents[:2]):
        if (place / _PROGRAMME).is_file():
            return place / _PROGRAMME
    raise StoreError(
        "the programme of this run is needed and was not found beside it",
        str(folder),
        "name it: --programme FILE.toml",
    )


def _check(
    folder: Path, record: dict[str, Any], programme: Programme, policy: Policy, library: Library
) -> None:
    where = str(folder / RECORD)
    if record["programme_id"] != programme.programme_id:
        what = f"this is a run of {record['programme_id']!r}, not of {programme.programme_id!r}"
        raise StoreError(what, where, "name the programme of this run: --programme FILE.toml")
    told = {
        "policy pack": (record["policy"]["sha256"], policy.digest),
        "material library": (record["materials"]["sha256"], library.digest),
        "as-of date of the programme": (record["as_of"], programme.as_of.isoformat()),
    }
    for name, (then, now) in told.items():
        if then != now:
            what = f"the {name} has changed since this run: {then[:12]} then, {now[:12]} now"
            raise StoreError(what, where, "run the programme again, then ask for its gaps")
