"""Pictures of what moved between two runs: homes, and home-part-measures."""

from collections.abc import Mapping
from pathlib import Path
from typing import Any

import polars as pl

from triage.outputs import CAUTIONS
from triage.report.document import Figure
from triage.report.flow_figure import Moves, MoveWords, flow_ends, flow_figure
from triage.report.labels import ENTERED, LEFT, NOT_JUDGED, WORST_ORDER
from triage.report.picture import write_picture

NOT_PROPOSED = "not proposed"


def home_ends(rows: pl.DataFrame) -> pl.DataFrame:
    """Worst queue of each home in both runs: `property_id`, `was`, `now`.

    Parameters
    ----------
    rows
        Home-part-measures of either run, see `side_by_side`.
    """
    rank = {
        at: pl.col(f"{at}_queue")
        .replace_strict(list(WORST_ORDER), list(range(len(WORST_ORDER))), default=None)
        .max()
        for at in ("from", "to")
    }
    worst = rows.group_by("property_id").agg(
        rank["from"].alias("was"), rank["to"].alias("now"), pl.col("home_change").first()
    )
    names = pl.lit(pl.Series(WORST_ORDER))
    ends = [names.gather(pl.col(at)).alias(at) for at in ("was", "now")]
    return _ended(worst.with_columns(ends), NOT_JUDGED).sort("property_id")


def row_ends(rows: pl.DataFrame) -> pl.DataFrame:
    """Queue of each home-part-measure in both runs: `was`, `now`."""
    named = rows.select("home_change", was="from_queue", now="to_queue")
    return _ended(named, NOT_PROPOSED)


def _ended(rows: pl.DataFrame, absent: str) -> pl.DataFrame:
    """What stands where there is no queue: the home is new or gone, or nothing was judged."""
    new, gone = (pl.col("home_change").eq_missing(pl.lit(word)) for word in ("new", "gone"))
    was = pl.when(new).then(pl.lit(ENTERED)).otherwise(pl.lit(absent))
    now = pl.when(gone).then(pl.lit(LEFT)).otherwise(pl.lit(absent))
    return rows.with_columns(pl.coalesce("was", was), pl.coalesce("now", now)).drop("home_change")


def moves_between(ends: pl.DataFrame, absent: str) -> Moves:
    """Counts of `was` and `now`, nothing withheld."""
    froms, tos = (
        tuple(absent if name == NOT_JUDGED else name for name in names) for names in flow_ends()
    )
    counted = {(was, now): n for was, now, n in ends.group_by("was", "now").len().iter_rows()}
    flows: dict[tuple[str, str], int | None] = {
        (was, now): counted.get((was, now), 0) for was in froms for now in tos
    }
    if sum(n or 0 for n in flows.values()) != ends.height:
        raise ValueError(f"rows that end in none of {froms} or {tos}")
    return Moves(
        flows,
        {was: sum(flows[was, now] or 0 for now in tos) for was in froms},
        {now: sum(flows[was, now] or 0 for was in froms) for now in tos},
        ends.height,
    )


def figures(
    rows: pl.DataFrame, before: Mapping[str, Any], after: Mapping[str, Any]
) -> list[Figure]:
    """By home, and by home-part-measure; none where no row is in either run."""
    heads = _named(before, "Before"), _named(after, "After")
    between = f"run {before['run_id']} at the left, run {after['run_id']} at the right"
    drawn = [
        flow_figure(
            moves_between(home_ends(rows), NOT_JUDGED),
            MoveWords("moves_of_homes", "homes", f"Homes by their worst queue, {between}", heads),
        ),
        flow_figure(
            moves_between(row_ends(rows), NOT_PROPOSED),
            MoveWords(
                "moves_of_measures",
                "home-part-measures",
                f"Home-part-measures by queue, {between}",
                heads,
            ),
        ),
    ]
    return [figure for figure in drawn if figure is not None]


def _named(record: Mapping[str, Any], word: str) -> str:
    policy = record["policy"]
    return f"{word}: {record['as_of']}, {policy['name']} {policy['version']}"


def write_pictures(folder: Path, made: list[Figure], stamp: str) -> list[str]:
    """Write every figure as SVG and PNG; names of the files."""
    return [
        name for figure in made for name in write_picture(folder, figure, f"{stamp}. {CAUTIONS[0]}")
    ]
