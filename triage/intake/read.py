"""Reads every source of a programme: raw and typed rows with the origin of every cell."""

from collections.abc import Callable, Mapping
from pathlib import Path

from triage.contract import Contract
from triage.contract.programme import Programme
from triage.errors import TriageError, raise_all
from triage.intake.assemble import assemble
from triage.intake.field_rules import new_context
from triage.intake.files import FileReading, read_file
from triage.intake.limits import DEFAULT_LIMITS, Limits
from triage.intake.result import Intake


def read_sources(
    programme: Programme,
    contract: Contract,
    measures: Mapping[str, str],
    progress: Callable[[str], None] | None = None,
    limits: Limits = DEFAULT_LIMITS,
) -> Intake:
    """Read and type all files of a programme.

    Parameters
    ----------
    programme
        Its sources, as-of date, country and programme id.
    contract
        Fields and code lists.
    measures
        Folded text (`triage.contract.normalise`) -> measure code of the policy.
    progress
        Called with the name of each file before it is read.
    limits
        Upper bounds for one file.

    Returns
    -------
    Intake
        Rows read = accepted + rejected + superseded.

    Raises
    ------
    FileError, HeadingError, ProfileError, ManyErrors
        Everything wrong with any file, after all of them were looked at: to leave a file out
        could make a home look safer than it is.
    """
    readings: list[FileReading] = []
    errors: list[TriageError] = []
    for source in programme.sources:
        context = new_context(contract, source.profile, measures, programme.as_of)
        for path in source.files:
            shown = _shown(path, programme.folder)
            if progress is not None:
                progress(shown)
            readings.append(read_file(path, shown, context, limits))
            errors += readings[-1].errors
    raise_all(errors)
    return assemble(readings, contract, programme.country_code, programme.programme_id)


def _shown(path: Path, folder: Path) -> str:
    """A file as provenance names it: relative to the programme, the same on every system."""
    inside = path.is_relative_to(folder)
    return path.relative_to(folder).as_posix() if inside else path.as_posix()
