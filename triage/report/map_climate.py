"""Map of the homes by rain exposure, over climate zones or regions."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import polars as pl
from matplotlib import rc_context

from triage.report.context import RunContext
from triage.report.map_compose import Composed, compose, finish
from triage.report.map_frame import INK, LOOKS, Floats, View, free_side, in_view
from triage.report.map_marks import MarkClass
from triage.report.map_panel import Panel

if TYPE_CHECKING:
    from geopandas import GeoDataFrame

    from triage.report.maps import Drawn

# Lightness falls in even steps (92, 72, 49, 20), so that the order survives in grey.
_EXPOSURES = (
    MarkClass("very_severe", "Very severe", "#14304F", "D", ""),
    MarkClass("severe", "Severe", "#4C7796", "s", "////"),
    MarkClass("moderate", "Moderate", "#A3B8C4", "^", ""),
    MarkClass("sheltered", "Sheltered", "#E9EBE4", "o", ""),
    MarkClass("unknown", "Not known", "#FFFFFF", "X", "...."),
)
_MOST_LINES = 7


@rc_context(LOOKS)
def draw_climate_map(
    path: Path,
    homes: pl.DataFrame,
    outlines: GeoDataFrame | None,
    context: RunContext,
    stations: pl.DataFrame | None,
) -> Drawn:
    """See `triage.report.maps.write_climate_map`."""
    known = [look.key for look in _EXPOSURES]
    graded = homes.with_columns(
        pl.when(pl.col("exposure").is_in(known))
        .then("exposure")
        .otherwise(pl.lit("unknown"))
        .alias("exposure")
    )
    near = pl.col("near_cold_line") if "near_cold_line" in homes.columns else pl.lit(False)
    graded = graded.with_columns(flag=near.fill_null(False))
    near_line = int(graded["flag"].sum())
    drawn = compose(graded, "exposure", _EXPOSURES, outlines, context.country_code)
    panel = Panel(drawn.view)
    _write_panel(panel, drawn, homes, near_line)
    if stations is not None:
        _write_stations(panel, drawn, stations)
    title = climate_title(drawn.counts, homes.height, near_line)
    return finish(path, panel, drawn, title, context)


def climate_title(counts: dict[str, int], homes: int, near_line: int) -> str:
    """Say the finding: how many homes take much rain, how many are near the cold line."""
    if not homes:
        return "No home was assessed"
    noun = "home" if homes == 1 else "homes"
    much = counts["severe"] + counts["very_severe"]
    verb = "stands" if homes == 1 else "stand"
    title = f"{much:,} of {homes:,} {noun} {verb} in severe or very severe rain exposure"
    return f"{title}; {near_line:,} near the cold line" if near_line else title


def _write_panel(panel: Panel, drawn: Composed, homes: pl.DataFrame, near_line: int) -> None:
    panel.heading("Rain exposure of the homes")
    for look in _EXPOSURES:
        if look.key != "unknown" or drawn.counts[look.key]:
            panel.row(look, drawn.counts[look.key], homes.height)
    panel.total("All homes", homes.height)
    panel.total("of these not placed", homes.height - drawn.placed)
    panel.gap(0.08)
    dashed = f"Some near the cold line ({near_line:,})" if near_line else ""
    if len(drawn.marks.centres) or dashed:
        shown = tuple(look for look in _EXPOSURES if drawn.counts[look.key]) or _EXPOSURES
        panel.ring(shown, "Where marks would touch: homes in the ring, parts by class.", dashed)
    _write_counts(panel, homes)


def _write_counts(panel: Panel, homes: pl.DataFrame) -> None:
    """Homes by zone, and by region where regions are named."""
    for column, heading in (("zone", "Climate zone"), ("region_name", "Climate region")):
        if column not in homes.columns or not homes[column].drop_nulls().len():
            continue
        counts = homes.select(pl.col(column).fill_null("none")).group_by(column).len()
        lines = counts.sort("len", column, descending=[True, False]).rows()
        panel.heading(heading)
        for name, count in lines[:_MOST_LINES]:
            panel.pair(name, f"{count:,}")
        if len(lines) > _MOST_LINES:
            rest = sum(count for _, count in lines[_MOST_LINES:])
            panel.pair(f"{len(lines) - _MOST_LINES} more", f"{rest:,}")
        panel.gap(0.06)
        return


def _write_stations(panel: Panel, drawn: Composed, stations: pl.DataFrame) -> None:
    """Mark the climate records that were used with a number, and list them."""
    view = drawn.view
    ranked = stations.sort("homes", "name", descending=[True, False])
    x, y = view.to_map.transform(ranked["lon"].to_numpy(), ranked["lat"].to_numpy())
    inside = in_view(view, x, y)
    panel.heading("Climate records used")
    for place, (name, homes) in enumerate(ranked.select("name", "homes").iter_rows()):
        if place < _MOST_LINES - 1:
            number = f"{place + 1}  " if inside[place] else "–  "
            panel.pair(number + (name if len(name) < 29 else name[:28] + "…"), f"{homes:,}")
        if inside[place]:
            _mark_station(view, str(place + 1), (float(x[place]), float(y[place])), drawn.obstacles)
    if ranked.height >= _MOST_LINES:
        rest = ranked["homes"][_MOST_LINES - 1 :].sum()
        panel.pair(f"{ranked.height - _MOST_LINES + 1} more", f"{rest:,}")
    panel.words("Numbered on the map; – is outside it. Count: homes that use the record.")


def _mark_station(view: View, number: str, spot: tuple[float, float], obstacles: Floats) -> None:
    """Dot at the station, and its number beside what is drawn already."""
    inch = view.metres_per_inch
    label, _ = free_side(spot, (0.45 * inch, 0.72 * inch), obstacles, 0.40 * inch)
    view.axes.plot(*zip(spot, label, strict=True), color=INK, lw=1.0, zorder=10)
    view.axes.plot(*spot, marker="o", color=INK, markersize=4, zorder=10)
    view.axes.annotate(
        number,
        label,
        ha="center",
        va="center",
        fontsize=8.5,
        fontweight="bold",
        color=INK,
        bbox={"boxstyle": "square,pad=0.25", "fc": "#FFF3C4", "ec": INK, "lw": 1.0},
        zorder=11,
    )
