"""The command that writes the summary for funders, lenders, the public or the programme."""

from enum import StrEnum
from pathlib import Path
from typing import Annotated

import typer

from triage.commands.words import AsJson, print_json, say


class Audience(StrEnum):
    """Who reads the report."""

    FUNDER = "funder"
    LENDER = "lender"
    PUBLIC = "public"
    INTERNAL = "internal"


def report(
    run_folder: Annotated[Path, typer.Argument(metavar="RUN", help="A finished run.")],
    audience: Annotated[Audience, typer.Option(help="Who reads it: decides what is withheld.")],
    out: Annotated[Path, typer.Option(help="Folder to make; it must not exist.")],
    before: Annotated[
        Path | None, typer.Option(help="The last report's folder, or an earlier run.")
    ] = None,
    wave: Annotated[
        list[Path] | None,
        typer.Option(help="Folder of `triage select` whose openings to count; can be repeated."),
    ] = None,
    signed_off_by: Annotated[str, typer.Option(help="Who answers for it.")] = "",
    as_json: AsJson = False,
) -> None:
    """Write the programme summary: PDF, HTML and the same tables as CSV.

    Send the folder `send`; `keep` is for the next report only and never leaves the programme.
    """
    from triage.summary.run import make_report

    waves = tuple(wave or ())
    made = make_report(run_folder, audience.value, out, before, signed_off_by, say, waves)
    files = sorted(str(p.relative_to(out)) for p in out.rglob("*") if p.is_file())
    tables = {name: int(t["is_withheld"].sum()) for name, t in made.release.tables.items()}
    if as_json:
        print_json({"folder": str(out), "files": files, "withheld": tables})
    else:
        print(f"{out / 'send'}: report.pdf, report.html and {len(made.document.grids())} tables")
        print(f"counts withheld: {sum(tables.values())} of {_cells(made.release.tables)}")
        print(f"{out / 'keep'}: for the next report only; do not send it")


def _cells(tables: object) -> int:
    return sum(t.height for t in tables.values())  # type: ignore[attr-defined]
