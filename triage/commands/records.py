"""The command that takes records in."""

import sys
from pathlib import Path
from typing import Annotated

import typer

from triage.commands.words import AsJson, print_json, say


def record(
    files: Annotated[
        list[Path] | None, typer.Argument(help="Workbooks or texts of records.")
    ] = None,
    programme: Annotated[
        Path, typer.Option(help="The programme file; the records are kept beside it.")
    ] = Path("programme.toml"),
    run_folder: Annotated[
        Path | None,
        typer.Option("--run", help="The run whose visit list is answered; none: any run beside."),
    ] = None,
    list_held: Annotated[
        bool, typer.Option("--list", help="Say what is held; take nothing in.")
    ] = False,
    as_json: AsJson = False,
) -> None:
    """Take records in: readings, openings, inspections, repairs, events, decisions, answers.

    Every version is kept. Exit 0: all rows kept or held already. 1: some refused. 2: none read.
    """
    from triage.records import record_files
    from triage.records.holdings import holdings
    from triage.records.words import holding_lines, problem_lines, record_dict, record_lines

    if list_held == bool(files):
        raise typer.BadParameter("name files to take in, or --list to see what is held")
    if list_held:
        held = holdings(programme)
        if as_json:
            print_json(held.to_dict())
        for line in () if as_json else holding_lines(held):
            print(line)
        return
    done = record_files(programme, files or [], say, run=run_folder)
    for line in problem_lines(done):
        print(line, file=sys.stderr)
    if as_json:
        print_json(record_dict(done))
    for line in () if as_json else record_lines(done):
        print(line)
    raise typer.Exit(done.exit_code)
