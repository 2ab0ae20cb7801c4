"""Opens a finished run for questions, with the programme, policy and materials that made it."""

from collections.abc import Callable
from pathlib import Path
from typing import Any

from triage.contract import load_contract
from triage.contract.assemblies import load_library
from triage.errors import StoreError
from triage.inputs import changed_inputs, open_stored, stored_inputs
from triage.runs import RECORD, STORE, read_record, tool_digest
from triage.store import Store
from triage.work import Work


def open_run(folder: Path, say: Callable[[str], None]) -> tuple[Work, dict[str, Any]]:
    """The run's store, opened for reading, and its record. The caller closes `work.store`.

    Programme and policy are those that the run stored, whatever has become of them since.

    Parameters
    ----------
    folder
        Folder of a finished run.
    say
        Told what is about to happen.

    Raises
    ------
    StoreError
        If the folder is no finished run, its stored inputs were changed, or another version of
        the tool made it.
    """
    record = read_record(folder)
    stored = stored_inputs(folder, record)
    changed = changed_inputs(folder, stored)
    if changed:
        what = f"the inputs stored with the run are no longer what it read: {changed[0]}"
        raise StoreError(what, str(folder), "run the programme again, then ask for its gaps")
    if record["tool"]["sha256"] != tool_digest():
        what = "another version of the tool made this run, and may judge otherwise"
        where = str(folder / RECORD)
        raise StoreError(what, where, "run the programme again, then ask for its gaps")
    programme, policy = open_stored(folder, stored)
    library = load_library(programme.products)
    store = Store(folder / STORE, read_only=True)
    work = Work(programme, load_contract(), policy, library, store, folder, say)
    work.run_id = str(record["run_id"])
    return work, record
