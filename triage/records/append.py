"""Takes files of records in: reads, checks, and adds what is new to the store, all or nothing."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import date
from pathlib import Path

import polars as pl

from triage.contract import load_contract, load_programme, normalise
from triage.contract.policy_load import load_policy, policy_dir
from triage.errors import TriageError
from triage.intake.record_sheets import RecordFile, read_record_file
from triage.records.asking_runs import asking_runs
from triage.records.findings import PROBLEM_SCHEMA
from triage.records.judging import Work, check_all
from triage.records.kept import RECORDS_STORE, open_records
from triage.records.known import survey_ground
from triage.records.writing import SheetTaken, write


@dataclass(frozen=True)
class Appended:
    """What one call did: sheets, problems (schema `findings.PROBLEM_SCHEMA`), and errors."""

    store: Path
    sheets: tuple[SheetTaken, ...]
    problems: pl.DataFrame
    skipped: tuple[tuple[str, str | None, str], ...] = ()
    errors: tuple[TriageError, ...] = ()

    def total(self, name: str) -> int:
        """Rows read, kept, repeated or refused, of all sheets."""
        return sum(int(getattr(sheet, name)) for sheet in self.sheets)

    @property
    def exit_code(self) -> int:
        """0 all kept or held already, 1 some refused, 2 nothing could be read."""
        if not self.sheets:
            return 2
        return int(self.total("refused") > 0 or bool(self.errors))


def record_files(
    programme_path: Path,
    files: Sequence[Path],
    say: Callable[[str], None],
    received_on: date | None = None,
    run: Path | None = None,
) -> Appended:
    """Take files of records into the store beside a programme file.

    Parameters
    ----------
    programme_path
        The programme file; its surveys say which homes and parts there are.
    files
        Workbooks or texts, each sheet one table of records.
    say
        Told what is about to happen.
    received_on
        The day that the batches bear; today if None.
    run
        The folder of the run whose visit list is answered; if None, the runs that lie below the
        programme's folder.

    Raises
    ------
    TriageError
        A programme, survey or run that cannot be read, a store that is locked. What is wrong
        with the files themselves is in the result.
    """
    contract = load_contract()
    programme = load_programme(programme_path, contract)
    policy = load_policy(policy_dir(programme.policy, programme.folder))
    measures = {normalise(word): code for word, code in policy.measure_words.items()}
    asking = asking_runs(programme, run)
    read = []
    for path in dict.fromkeys(files):
        shown = shown_name(path, programme.folder)
        say(f"reading {shown}")
        read.append(read_record_file(path, shown, contract, measures, programme.as_of))
    sheets = [sheet for file in read for sheet in file.sheets]
    where = programme.folder / RECORDS_STORE
    if not sheets:
        return _result(where, (), pl.DataFrame(schema=PROBLEM_SCHEMA), read)
    known = survey_ground(programme, policy, contract, say)
    known.runs, known.runs_told = asking
    say("checking")
    with open_records(where) as store:
        work = Work(store, contract, known, measures, sheets)
        check_all(work)
        taken, problems = write(work, received_on or date.today())
    return _result(where, taken, problems, read)


def shown_name(path: Path, folder: Path) -> str:
    """A file as provenance names it: from the programme's folder if it lies inside."""
    full = path.resolve()
    inside = full.is_relative_to(folder.resolve())
    return full.relative_to(folder.resolve()).as_posix() if inside else path.as_posix()


def _result(
    store: Path, taken: tuple[SheetTaken, ...], problems: pl.DataFrame, read: list[RecordFile]
) -> Appended:
    skipped = tuple((f.file, name, note.message) for f in read for name, note in f.skipped.items())
    errors = tuple(error for file in read for error in file.errors)
    return Appended(store, taken, problems, skipped, errors)
