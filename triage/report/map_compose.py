"""Steps that both maps share: place, arrange, draw, write the page."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
import polars as pl

from triage.report.context import RunContext
from triage.report.labels import plain
from triage.report.map_frame import DPI, HEIGHT_IN, WIDTH_IN, Floats, View, in_view, open_view
from triage.report.map_ground import draw_ground
from triage.report.map_marks import (
    Ints,
    MarkClass,
    Marks,
    Spots,
    arrange,
    draw_rings,
    draw_single,
)
from triage.report.map_panel import Panel, draw_locator, draw_scale, write_titles

if TYPE_CHECKING:
    from geopandas import GeoDataFrame

    from triage.report.maps import Drawn


@dataclass(frozen=True, slots=True)
class Composed:
    """A map with its homes drawn, and what was counted on the way."""

    view: View
    marks: Marks
    obstacles: Floats  # middles of all marks, (n, 2) [m]
    counts: dict[str, int]
    homes: int
    placed: int
    outside: int
    ground: str
    alone: Ints  # row of the table of each mark that stands alone, as the first of `obstacles`


def compose(
    homes: pl.DataFrame,
    column: str,
    classes: tuple[MarkClass, ...],
    outlines: GeoDataFrame | None,
    country_code: str,
    noun: str = "homes",
) -> Composed:
    """Draw the ground and the homes, classed by a column that holds keys of `classes`.

    `homes` has lat, lon, that column and `flag`, true for a home with a dashed ring; `noun` is
    what a row is called.
    """
    keys = [look.key for look in classes]
    table = homes.select(
        pl.col("lat", "lon").cast(pl.Float64).fill_null(np.nan),
        pl.col("flag"),
        kind=pl.col(column).replace_strict(keys, range(len(keys)), return_dtype=pl.Int64),
    )
    lat, lon, flag, kind = (column.to_numpy() for column in table)
    placed = (np.abs(lat) <= 90) & (np.abs(lon) <= 180)  # false for NaN
    view, x, y = open_view(country_code, lat[placed], lon[placed])
    seen = in_view(view, x, y)
    spots = Spots(x[seen], y[seen], kind[placed][seen], flag[placed][seen])
    marks = arrange(view, spots, len(classes))
    alone = np.column_stack([spots.x, spots.y])[marks.single]
    obstacles = np.concatenate([alone, marks.centres])
    if placed.any():
        ground = draw_ground(view, country_code, outlines, obstacles)
    else:
        ground = _say_empty(view, homes.height, noun)
    draw_rings(view, marks, classes)
    draw_single(view, spots, marks.single, classes)
    counts = dict(zip(keys, np.bincount(kind, minlength=len(keys)).tolist(), strict=True))
    outside = int((~seen).sum())
    placed_homes = int(placed.sum())
    rows = np.flatnonzero(placed)[seen][marks.single]
    return Composed(
        view, marks, obstacles, counts, homes.height, placed_homes, outside, ground, rows
    )


def _say_empty(view: View, homes: int, noun: str) -> str:
    text = f"None of the {noun} has a usable location" if homes else f"There are no {noun} to draw"
    view.axes.text(0.5, 0.5, text, transform=view.axes.transAxes, ha="center", fontsize=14)
    return ""


def finish(path: Path, panel: Panel, drawn: Composed, title: str, context: RunContext) -> Drawn:
    """Write the words around the map, save it, and say what was drawn."""
    if drawn.placed:
        draw_locator(panel, context.country_code)
        draw_scale(panel, with_miles=context.country_code == "US")
    caption = _caption(drawn, context)
    write_titles(drawn.view, title, context.stamp, caption)
    drawn.view.figure.savefig(path, format="png", dpi=DPI, metadata={"Software": None})
    in_rings = int(drawn.marks.counts.sum())
    return {
        "title": title,
        "caption": caption,
        "crs": drawn.view.crs_name,
        "homes": drawn.homes,
        "placed": drawn.placed,
        "not_placed": drawn.homes - drawn.placed,
        "outside_view": drawn.outside,
        "classes": drawn.counts,
        "points": len(drawn.marks.single),
        "clusters": len(drawn.marks.centres),
        "clustered_homes": in_rings,
        "width_px": round(WIDTH_IN * DPI),
        "height_px": round(HEIGHT_IN * DPI),
    }


def _caption(drawn: Composed, context: RunContext) -> str:
    """Counts that the picture leaves out, and where it comes from."""
    parts = []
    missing = drawn.homes - drawn.placed
    if missing:
        parts.append(f"{missing:,} of {drawn.homes:,} homes have no usable location; not drawn.")
    if drawn.outside:
        who = "1 home lies" if drawn.outside == 1 else f"{drawn.outside:,} homes lie"
        parts.append(f"{who} far from the others, outside this view.")
    if context.not_evaluated:
        rules = ", ".join(plain(rule) for rule in context.not_evaluated)
        parts.append(f"Rules not evaluated in this version: {rules}.")
    if drawn.ground:
        parts.append(drawn.ground)
    parts.append(f"Projection: {drawn.view.crs_name}.")
    parts.extend(context.sources)
    parts.append("A screening result from survey records, not a survey, valuation or warranty.")
    return " ".join(parts)
