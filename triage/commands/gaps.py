"""The command that says what to ask and what to repair next."""

from pathlib import Path
from typing import Annotated

import typer

from triage.commands.words import AsJson, print_json, say


def gaps(
    run_folder: Annotated[Path, typer.Argument(metavar="RUN", help="A finished run.")],
    out: Annotated[
        Path | None, typer.Option(help="Folder to make for tables, the visit list and a picture.")
    ] = None,
    repairs: Annotated[bool, typer.Option("--repairs", help="Repairs instead of answers.")] = False,
    rates: Annotated[
        Path | None, typer.Option(help="Rates of repairs: columns rule_id, rate, per.")
    ] = None,
    budget: Annotated[float | None, typer.Option(help="To spend on repairs, by the rates.")] = None,
    planned: Annotated[
        Path | None, typer.Option(help="Works planned anyway: property_id, rule_ids, year.")
    ] = None,
    as_json: AsJson = False,
) -> None:
    """Say which answers would release which homes, and write them as a visit list to fill in.

    With --repairs: which defects, put right, release which homes, and what a budget buys.
    """
    from triage.gaps.run import Money, find_gaps, find_repairs
    from triage.gaps.write import gap_lines, repair_lines, write_gaps, write_repairs

    if (rates is None) != (budget is None) or (planned is not None and rates is None):
        raise typer.BadParameter("--rates and --budget belong together; --planned goes with them")
    if rates is not None and not repairs:
        raise typer.BadParameter("--rates, --budget and --planned go with --repairs")
    if repairs:
        money = None if rates is None or budget is None else Money(rates, budget, planned)
        mended = find_repairs(run_folder, money, say)
        told, lines = mended.to_dict(), repair_lines(mended)
        if out is not None:
            write_repairs(mended, out)
    else:
        found = find_gaps(run_folder, say)
        told, lines = found.to_dict(), gap_lines(found)
        if out is not None:
            write_gaps(found, out)
    if as_json:
        print_json(told)
    else:
        for line in lines:
            print(line)
    if out is not None:
        say(f"wrote {out}")
