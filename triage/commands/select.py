"""The command that selects foamed roofs to inspect."""

from pathlib import Path
from typing import Annotated

import typer

from triage.commands.words import AsJson, print_json, say


def select(
    run_folder: Annotated[Path, typer.Argument(metavar="RUN", help="A finished run.")],
    out: Annotated[Path, typer.Option(help="Folder to make for the list and the plan.")],
    seed: Annotated[int, typer.Option(min=0, help="Of the random draw; recorded.")],
    visits: Annotated[
        int | None, typer.Option(min=1, help="In all; none: as many as detection needs.")
    ] = None,
    detect_share: Annotated[
        float | None, typer.Option(help="Failing share to detect, such as 0.05.")
    ] = None,
    thorough: Annotated[
        bool, typer.Option("--thorough", help="Five openings or more in every roof.")
    ] = False,
    cluster_roofs: Annotated[
        float, typer.Option(min=1.0, help="Roofs of one terrace or installer in the sample.")
    ] = 1.0,
    as_json: AsJson = False,
) -> None:
    """Select foamed roofs to inspect: a random draw by stratum, the riskiest others, a reserve.

    The same run and seed give the same list.
    """
    from triage.waves.run import Asked, select_wave

    if detect_share is not None and not 0 < detect_share < 1:
        raise typer.BadParameter("a share lies between 0 and 1", param_hint="--detect-share")
    asked = Asked(seed, visits, detect_share, thorough, cluster_roofs)
    told = select_wave(run_folder, out, asked, say)
    if as_json:
        print_json(told)
    else:
        print(
            f"{told['random']:,} roofs by chance and {told['targeted']:,} targeted of "
            f"{told['roofs']:,}; {told['reserve']:,} in reserve; seed {told['seed']}"
        )
    say(f"wrote {out}")
