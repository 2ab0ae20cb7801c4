"""Commands about finished runs."""

from pathlib import Path
from typing import Annotated

import typer

from triage.commands.words import AsJson, print_json, say


def verify(
    run_folder: Annotated[Path, typer.Argument(metavar="RUN", help="A finished run's folder.")],
    as_json: AsJson = False,
) -> None:
    """Run again from the inputs that a run stored, and compare every table.

    Exit 0: the same. 1: something differs. 2: could not, as inputs or the tool have changed.
    """
    from triage.verify import verify_run

    found = verify_run(run_folder, say)
    if as_json:
        print_json(found.to_dict())
    for line in () if as_json else found.lines():
        print(line)
    raise typer.Exit(found.exit_code)


def compare(
    runs: Annotated[
        list[Path],
        typer.Argument(
            help="Two finished runs, earlier first; with --policy one run or programme."
        ),
    ],
    policy: Annotated[
        tuple[str, str] | None,
        typer.Option(help="Judge the same inputs with two policy packs: names or folders."),
    ] = None,
    out: Annotated[
        Path | None,
        typer.Option(help="Folder to make for tables, workbook, pictures; none: only say."),
    ] = None,
    as_json: AsJson = False,
) -> None:
    """Say which homes moved between two runs, and because of what.

    Exit 0: every move has a cause. 1: one has none, though no input of it changed. 2: could not.
    """
    from triage.compare import compare_policies, compare_runs

    if len(runs) != (1 if policy else 2):
        raise typer.BadParameter("name two runs; with --policy one run or programme")
    found = (
        compare_policies(runs[0], policy, out, say)
        if policy
        else compare_runs(runs[0], runs[1], out, say)
    )
    if as_json:
        print_json(found.to_dict())
    for line in () if as_json else found.lines():
        print(line)
    raise typer.Exit(found.exit_code)
