"""The command that writes a run as one page."""

from pathlib import Path
from typing import Annotated

import typer

from triage.commands.words import say


def page(
    run_folder: Annotated[Path, typer.Argument(metavar="RUN", help="Folder of a finished run.")],
    out: Annotated[Path, typer.Option(help="Page to write (.html); it must not exist.")] = Path(
        "report.html"
    ),
    movement: Annotated[
        Path | None, typer.Option(help="movement.parquet of a comparison with an earlier run.")
    ] = None,
) -> None:
    """Write a run as one page: map, queues, reasons, gaps, homes; it needs no network.

    The page shows single homes: it is for use inside the programme. Exit 0: written. 2: not.
    """
    from triage.programme_page import write_page

    size = write_page(run_folder, out, movement=movement)
    say(f"wrote {out} ({size / 1e6:.1f} MB)")
    print(out)
