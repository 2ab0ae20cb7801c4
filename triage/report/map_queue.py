"""Map of the homes by their worst queue."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import polars as pl
from matplotlib import rc_context

from triage.report.context import RunContext
from triage.report.labels import FIX, LOOK, REVIEW, SAFE
from triage.report.map_compose import Composed, compose, finish
from triage.report.map_frame import LOOKS
from triage.report.map_marks import MarkClass
from triage.report.map_panel import Panel

if TYPE_CHECKING:
    from geopandas import GeoDataFrame

    from triage.report.maps import Drawn

_ORDER = (FIX, REVIEW, SAFE)


@rc_context(LOOKS)
def draw_queue_map(
    path: Path, homes: pl.DataFrame, outlines: GeoDataFrame | None, context: RunContext
) -> Drawn:
    """See `triage.report.maps.write_queue_map`."""
    classes = tuple(_mark(queue) for queue in _ORDER)
    unknown = set(homes["queue"].drop_nulls().unique()) - set(_ORDER)
    if unknown or homes["queue"].null_count():
        raise ValueError(f"homes without one of the three queues: {sorted(unknown) or 'null'}")
    plain = homes.with_columns(flag=pl.lit(False))
    drawn = compose(plain, "queue", classes, outlines, context.country_code)
    panel = Panel(drawn.view)
    _write_panel(panel, drawn, homes, classes)
    return finish(path, panel, drawn, queue_title(drawn.counts, homes.height), context)


def _mark(queue: str) -> MarkClass:
    look = LOOK[queue]
    return MarkClass(queue, look.title, look.fill, look.marker, look.hatch)


def queue_title(counts: dict[str, int], homes: int) -> str:
    """Say the finding: how many homes wait for water, how many were screened as safe."""
    if not homes:
        return "No home was assessed"
    noun = "home" if homes == 1 else "homes"
    return (
        f"Fix water first at {counts[FIX]:,} of {homes:,} {noun}; "
        f"{counts[SAFE]:,} screened as safe to insulate"
    )


def _write_panel(
    panel: Panel, drawn: Composed, homes: pl.DataFrame, classes: tuple[MarkClass, ...]
) -> None:
    panel.heading("Homes by their worst queue")
    for look in classes:
        panel.row(look, drawn.counts[look.key], homes.height)
    panel.total("All homes", homes.height)
    panel.total("of these not placed", homes.height - drawn.placed)
    panel.gap()
    if len(drawn.marks.centres):
        panel.ring(classes, "Where marks would touch: homes in the ring, and their parts by queue.")
    panel.words(
        "A home shows the worst of its parts and measures: fix water first, then specialist "
        "review, then safe to insulate. Single marks are single homes."
    )
