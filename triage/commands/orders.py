"""The command that writes work orders."""

from pathlib import Path
from typing import Annotated

import typer

from triage.commands.words import AsJson, print_json, say

_LONGEST = 200  # characters that fit a letter; it is printed whole
_QUEUES = ("safe-to-insulate", "fix-water-first", "specialist-review")


def orders(
    run_folder: Annotated[Path, typer.Argument(metavar="RUN", help="A finished run.")],
    out: Annotated[Path, typer.Option(help="Folder to make; it must not exist.")],
    queue: Annotated[
        list[str] | None, typer.Option(help="Only this queue; may be given several times.")
    ] = None,
    by: Annotated[str, typer.Option(help="Files by area, or by contractor.")] = "area",
    contractors: Annotated[
        Path | None, typer.Option(help="Who has which area: CSV with area, contractor.")
    ] = None,
    home: Annotated[
        list[str] | None,
        typer.Option(help="Only this home, with HTML as well; may be given several times."),
    ] = None,
    contact: Annotated[
        str | None, typer.Option(help="Who residents and trades call; none: room to write it.")
    ] = None,
    as_json: AsJson = False,
) -> None:
    """Write work orders: a workbook and printable sheets for each area, letters for residents.

    Sheets and letters name single homes: they are for use inside the programme.
    Exit 0: written. 2: not.
    """
    from triage.orders.run import Wanted, make_orders

    if wrong := sorted(set(queue or ()) - set(_QUEUES)):
        raise typer.BadParameter(f"no queue {wrong[0]!r}; it is one of {', '.join(_QUEUES)}")
    if by not in ("area", "contractor"):
        raise typer.BadParameter(f"--by is area or contractor, not {by!r}")
    if (by == "contractor") != (contractors is not None):
        raise typer.BadParameter("--by contractor and --contractors FILE belong together")
    if contact is not None and len(contact) > _LONGEST:
        raise typer.BadParameter(
            f"--contact has {len(contact)} characters; give at most {_LONGEST}"
        )
    wanted = Wanted(tuple(queue or _QUEUES), tuple(home or ()), contractors, contact)
    done = make_orders(run_folder, out, wanted, say)
    if as_json:
        print_json(done)
    else:
        for name, rows in done["rows"].items():
            print(f"{name}: {rows} rows in {done['tasks'].get(name, 0)} tasks")
        print(f"{done['homes']} homes in {done['groups']} groups, {len(done['files'])} files")
    say(f"wrote {out}")
