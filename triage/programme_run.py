"""One run of a programme: from its file to a finished run folder."""

import hashlib
from collections.abc import Callable, Mapping
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any

from triage.calendar_stage import look_ahead
from triage.contract import load_contract, load_programme
from triage.contract.assemblies import load_library
from triage.contract.policy import Policy
from triage.contract.policy_check import condition_errors
from triage.contract.policy_load import load_policy, policy_dir
from triage.contract.programme import Programme
from triage.contract.text import did_you_mean
from triage.contract.tomlfile import read_toml
from triage.errors import ProfileError, TriageError, raise_all
from triage.inputs import KEPT, copy_inputs, input_files, refuse_changed
from triage.outputs import PAGE, record, write_outputs
from triage.programme_page import write_page
from triage.quotes import quote_conflicts
from triage.record_stages import gather_evidence, read_records
from triage.report.context import RunContext
from triage.report.summary import Summary
from triage.runs import (
    STORE,
    new_run_folder,
    tables_of,
    this_tool,
    versions,
    write_record,
)
from triage.stages import flag_batches, judge, place, read_surveys
from triage.steps import Pipeline, load_pipeline, run_pipeline
from triage.store import Store
from triage.work import Work

STAGES: Mapping[str, Callable[[Work], None]] = {
    "read_surveys": read_surveys,
    "read_records": read_records,
    "place": place,
    "gather_evidence": gather_evidence,
    "assess": judge,
    "quote_conflicts": quote_conflicts,
    "look_ahead": look_ahead,
    "flag_batches": flag_batches,
    "write_outputs": write_outputs,
}
_FOR_OUTPUTS = ("look_ahead", "write_outputs")


@dataclass(frozen=True, slots=True)
class Finished:
    """A finished run: its record and what the terminal says of it."""

    record: dict[str, Any]
    context: RunContext
    summary: Summary
    problems: dict[str, int]


def open_programme(path: Path) -> tuple[Programme, Policy]:
    """Read a programme and its policy, and check the one against the other.

    Raises
    ------
    TriageError
        A programme or policy that cannot be used as written; everything found is said at once.
    """
    programme = load_programme(path)
    policy = load_policy(policy_dir(programme.policy, programme.folder))
    known_measures(programme, policy)
    return programme, policy


def known_measures(programme: Programme, policy: Policy) -> None:
    """Refuse measures of a programme that the policy cannot judge.

    Raises
    ------
    TriageError
        Everything found at once.
    """
    errors: list[TriageError] = []
    file = read_toml(programme.path, ProfileError)
    for number, item in enumerate(programme.measures, 1):
        entry = f"measures[{number}]"
        if item.code not in policy.measures:
            what = f"the policy {policy.name!r} knows no measure {item.code!r}"
            fix = did_you_mean(item.code, policy.measures)
            errors.append(ProfileError(what, file.place(entry, "code"), fix))
        if item.where is not None:
            # Numbers are fine here: this is the programme's own choice of homes, not a rule.
            found = condition_errors(
                item.where, policy, load_contract(), file.place(entry, "where")
            )
            errors += [error for error in found if "holds the number" not in error.what]
    raise_all(errors)


def judge_programme(
    programme: Programme, policy: Policy, store: Store, folder: Path, say: Callable[[str], None]
) -> None:
    """Run all steps but the look ahead and the writing of outputs, into an open store."""
    pipeline = load_pipeline("stock_triage", STAGES)
    steps = tuple(step for step in pipeline.steps if step.call not in _FOR_OUTPUTS)
    library = load_library(programme.products)
    work = Work(programme, load_contract(), policy, library, store, folder, say)
    judged = Pipeline(pipeline.name, pipeline.title, steps)
    run_pipeline(judged, work, store, STAGES, {"as_of": programme.as_of}, say)


def run_programme(path: Path, out: Path, say: Callable[[str], None]) -> Finished:
    """Run the stock triage of a programme into a new folder.

    Parameters
    ----------
    path
        The programme file.
    out
        Folder to make; it must not exist.
    say
        Told what is about to happen.

    Raises
    ------
    TriageError
        If the programme cannot be run; `out` is then not made.
    """
    return run_opened(*open_programme(path), out, say)


def run_opened(
    programme: Programme,
    policy: Policy,
    out: Path,
    say: Callable[[str], None],
    *,
    keep_inputs: bool = True,
) -> Finished:
    """As `run_programme`, of a programme and a policy that are read already.

    Without `keep_inputs` nothing is copied: the run is made from copies, and is thrown away.
    """
    library = load_library(programme.products)
    pipeline = load_pipeline("stock_triage", STAGES)
    with new_run_folder(out) as folder:
        files = input_files(programme) if keep_inputs else []
        stored = copy_inputs(files, folder)
        with Store(folder / STORE) as store:
            work = Work(programme, load_contract(), policy, library, store, folder, say)
            seconds = run_pipeline(pipeline, work, store, STAGES, {"as_of": programme.as_of}, say)
            made = record(work, seconds, versions())
        refuse_changed(files, stored)
        made["tool"] = this_tool()
        proposals = repr(programme.measures).encode()
        made["proposals"] = {"sha256": hashlib.sha256(proposals).hexdigest()}
        made["tables"] = tables_of(folder)
        made[KEPT] = [asdict(item) for item in stored]
        write_record(folder, made)
        if keep_inputs:
            say("programme page")
            write_page(folder, folder / PAGE)
    problems = dict(work.written["problems"].group_by("kind").len().sort("kind").iter_rows())
    made["outputs"] = {name: str(out / where) for name, where in work.outputs.items()}
    return Finished(made, work.written["context"], work.written["summary"], problems)
