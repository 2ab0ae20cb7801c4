"""The two maps of a run. The drawing libraries load only when a map is drawn."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, TypedDict

import polars as pl

from triage.report.context import RunContext

if TYPE_CHECKING:
    from geopandas import GeoDataFrame


class Drawn(TypedDict):
    """What a map shows, so that it can be checked and quoted without looking at it."""

    title: str
    caption: str
    crs: str
    homes: int
    placed: int
    not_placed: int
    outside_view: int
    classes: dict[str, int]  # homes of each class, placed or not
    points: int  # homes drawn one by one
    clusters: int
    clustered_homes: int
    width_px: int
    height_px: int


def write_queue_map(
    path: Path, homes: pl.DataFrame, outlines: GeoDataFrame | None, context: RunContext
) -> Drawn:
    """Draw where the homes of each queue are.

    Parameters
    ----------
    path
        PNG file to write, 150 dots an inch.
    homes
        One row a home: lat, lon [degrees, WGS 84; null: not placed], queue (its worst).
    outlines
        Areas to draw below the homes, with a coordinate system; a column `label` names them.
        None: climate zones in the US; regions and postcode codes in the UK.
    context
        Identity of the run.
    """
    from triage.report.map_queue import draw_queue_map  # noqa: PLC0415  heavy libraries

    return draw_queue_map(path, homes, outlines, context)


def write_climate_map(
    path: Path,
    homes: pl.DataFrame,
    outlines: GeoDataFrame | None,
    context: RunContext,
    stations: pl.DataFrame | None = None,
) -> Drawn:
    """Draw the rain exposure of the homes over their climate zones or regions.

    Parameters
    ----------
    path, outlines, context
        As for `write_queue_map`.
    homes
        One row a home: lat, lon, exposure (sheltered, moderate, severe, very_severe or null),
        zone or region_name, and near_cold_line (true where both sides of the line were
        evaluated) if it was worked out.
    stations
        name, lat, lon, homes: the climate records that were used. None: none is drawn.
    """
    from triage.report.map_climate import draw_climate_map  # noqa: PLC0415  heavy libraries

    return draw_climate_map(path, homes, outlines, context, stations)
