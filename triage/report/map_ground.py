"""What lies below the homes: areas with labels, postcode codes, grid lines."""

from __future__ import annotations

import warnings
from typing import TYPE_CHECKING

import numpy as np
import polars as pl
import shapely
from pyproj import Transformer

from triage.reference import reference_path, reference_table
from triage.report.labels import visible
from triage.report.map_frame import FAINT, SOFT_INK, Floats, View, free_side, round_down

if TYPE_CHECKING:
    from geopandas import GeoDataFrame

_TINTS = ("#FCFCFA", "#ECEFEC", "#F6F1E6", "#E6ECEF")
_EDGE_POINTS = 40
_LONGEST = 18  # characters of a label
_MARK_ROOM_IN = 0.25  # about the radius of a ring


UK_OUTLINES = (
    "Tinted areas: climate regions, approximate, by the nearest postcode area. Coast simplified, "
    "up to about 1 km off, some islands left out: a home by the sea can seem to stand in it."
)


def us_zones() -> GeoDataFrame:
    """Climate zones of the United States; column `label` holds 4A and the like."""
    import geopandas as gpd  # noqa: PLC0415  only maps of the US need it

    return gpd.read_parquet(reference_path("us_zones"))


def uk_outlines() -> GeoDataFrame:
    """Regions of the United Kingdom, then Ireland and the Isle of Man, which have no region."""
    import geopandas as gpd  # noqa: PLC0415  only maps of the UK need it

    return gpd.read_parquet(reference_path("uk_outlines"))


def draw_ground(view: View, country_code: str, outlines: GeoDataFrame | None, homes: Floats) -> str:
    """Draw the ground and return a sentence that says what it shows.

    `homes` are the middles of all marks, (n, 2) [m]; labels keep away from them.
    """
    draw_grid(view, country_code)
    if outlines is not None:
        draw_areas(view, outlines, homes)
        return "Tinted areas: outlines of the programme."
    if country_code == "US":
        draw_areas(view, us_zones(), homes)
        return "Tinted areas: climate zones, simplified outlines."
    if country_code == "GB":
        draw_areas(view, uk_outlines(), homes)
        draw_postcode_codes(view, homes)
        return f"{UK_OUTLINES} Grey + and letters: middle of a postcode area."
    return ""


def draw_areas(view: View, areas: GeoDataFrame, homes: Floats) -> None:
    """Fill areas with quiet tints and write each label where there are fewest homes."""
    seen = _clipped(view, areas)
    labels = list(seen["label"].astype(str)) if "label" in seen.columns else []
    if len(seen):
        tints = [_TINTS[place % len(_TINTS)] for place in range(len(seen))]
        edge = {"edgecolor": "#8B939A", "linewidth": 0.7}
        seen.plot(ax=view.axes, color=tints, **edge, zorder=1, aspect=None)
    for label, shape in zip(labels, seen.geometry, strict=False):
        spot = _free_spot(view, shape, homes)
        if spot is not None:
            _area_label(view, label, spot, 15)
    view.axes.set(xlabel="", ylabel="")  # the plotting call names the axes


def _clipped(view: View, areas: GeoDataFrame) -> GeoDataFrame:
    """The parts of the areas that are in sight, in the system of the map."""
    west, south, east, north = view.bounds
    degrees = areas.to_crs(4326)
    with warnings.catch_warnings():
        # a polygon that crosses itself is cut all the same; the ground carries no result
        warnings.simplefilter("ignore", RuntimeWarning)
        cut = shapely.clip_by_rect(degrees.geometry.values, *_degree_bounds(view))
        near = degrees.set_geometry(cut, crs=4326)
        local = near[~near.geometry.is_empty].to_crs(view.crs)
        shapes = shapely.clip_by_rect(local.geometry.values, west, south, east, north)
    seen = local.set_geometry(shapes, crs=view.crs)
    return seen[~seen.geometry.is_empty]


def _degree_bounds(view: View) -> tuple[float, float, float, float]:
    """Bounds of the map in degrees, with a little room. West, south, east, north."""
    west, south, east, north = view.bounds
    back = Transformer.from_crs(view.crs, 4326, always_xy=True)
    lon_west, lat_south, lon_east, lat_north = back.transform_bounds(west, south, east, north)
    return lon_west - 0.1, lat_south - 0.1, lon_east + 0.1, lat_north + 0.1


def _free_spot(view: View, shape: object, homes: Floats) -> tuple[float, float] | None:
    """Point inside an area, away from its edge and from the homes; None if there is no room."""
    west, south, east, north = view.bounds
    columns = np.linspace(west, east, 42)[1:-1]
    rows = np.linspace(south, north, 30)[1:-1]
    x, y = (grid.ravel() for grid in np.meshgrid(columns, rows))
    spots = shapely.points(x, y)
    room = np.where(
        shapely.contains_xy(shape, x, y), shapely.distance(shapely.boundary(shape), spots), -1.0
    )
    if homes.size:
        room = np.minimum(room, _nearest(x, y, homes) - _MARK_ROOM_IN * view.metres_per_inch)
    best = int(np.argmax(room))
    return (float(x[best]), float(y[best])) if room[best] > 0.22 * view.metres_per_inch else None


def _nearest(x: Floats, y: Floats, homes: Floats) -> Floats:
    from scipy.spatial import cKDTree  # noqa: PLC0415

    distance, _ = cKDTree(homes).query(np.column_stack([x, y]))
    nearest: Floats = distance
    return nearest


def draw_postcode_codes(view: View, homes: Floats) -> None:
    """Mark the middles of the UK postcode areas, and write their codes where there is room."""
    table = reference_table("uk_postcodes").filter(pl.col("match_level") == "area")
    x, y = view.to_map.transform(table["lon"].to_numpy(), table["lat"].to_numpy())
    west, south, east, north = view.bounds
    inch = view.metres_per_inch
    view.axes.plot(
        x, y, ls="", marker="+", ms=5, color="#858D94", zorder=2, scalex=False, scaley=False
    )
    taken = homes
    for code, left, up in zip(table["postcode_prefix"], x, y, strict=True):
        spot, free = free_side(
            (float(left), float(up) + 0.14 * inch), (0.3 * inch,), taken, 0.38 * inch
        )
        if not free or not (
            west + 0.2 * inch < spot[0] < east - 0.2 * inch
            and south + 0.2 * inch < spot[1] < north - 0.2 * inch
        ):
            continue
        taken = np.vstack([taken, [spot]])
        _area_label(view, code, spot, 13)


def _area_label(view: View, name: str, spot: tuple[float, float], size: float) -> None:
    text = visible(name)
    view.axes.annotate(
        text if len(text) <= _LONGEST else text[: _LONGEST - 1] + "…",
        spot,
        ha="center",
        va="center",
        fontsize=size,
        color="#858D94",
        fontweight="bold",
        zorder=2,
    )


def draw_grid(view: View, country_code: str) -> None:
    """Draw grid lines with their values at the edge: km in Great Britain, else degrees."""
    if country_code == "GB":
        _draw_national_grid(view)
    else:
        _draw_degrees(view)


def _draw_national_grid(view: View) -> None:
    west, south, east, north = view.bounds
    step = round_down((east - west) / 4)
    for x in np.arange(np.ceil(west / step) * step, east, step):
        view.axes.axvline(x, color=FAINT, lw=0.6, zorder=1.5)
        _edge_label(view, x, south, f"{x / 1000 + 0.0:g} km E", "foot")
    for y in np.arange(np.ceil(south / step) * step, north, step):
        view.axes.axhline(y, color=FAINT, lw=0.6, zorder=1.5)
        _edge_label(view, west, y, f"{y / 1000 + 0.0:g} km N", "side")


def _draw_degrees(view: View) -> None:
    west, south, east, north = view.bounds
    lon_west, lat_south, lon_east, lat_north = _degree_bounds(view)
    step = round_down(max(lon_east - lon_west, 1e-3) / 4)
    for lon in np.arange(np.ceil(lon_west / step) * step, lon_east, step):
        x, y = view.to_map.transform(
            np.full(_EDGE_POINTS, lon), np.linspace(lat_south, lat_north, _EDGE_POINTS)
        )
        view.axes.plot(x, y, color=FAINT, lw=0.6, zorder=1.5, scalex=False, scaley=False)
        foot = float(np.interp(south, y, x))
        if west < foot < east:
            _edge_label(view, foot, south, f"{abs(lon):g}° {'W' if lon < 0 else 'E'}", "foot")
    for lat in np.arange(np.ceil(lat_south / step) * step, lat_north, step):
        x, y = view.to_map.transform(
            np.linspace(lon_west, lon_east, _EDGE_POINTS), np.full(_EDGE_POINTS, lat)
        )
        view.axes.plot(x, y, color=FAINT, lw=0.6, zorder=1.5, scalex=False, scaley=False)
        foot = float(np.interp(west, x, y))
        if south < foot < north:
            _edge_label(view, west, foot, f"{abs(lat):g}° {'S' if lat < 0 else 'N'}", "side")


def _edge_label(view: View, x: float, y: float, text: str, edge: str) -> None:
    """Write a grid value outside the frame: below it, or beside it."""
    below = edge == "foot"
    west, south, east, north = view.bounds
    room = 0.35 * view.metres_per_inch
    if not (west + room < x < east - room if below else south + room < y < north - room):
        return  # it would run past the corner
    view.axes.annotate(
        text,
        (x, y),
        xytext=(0, -3) if below else (-3, 0),
        textcoords="offset points",
        ha="center" if below else "right",
        va="top" if below else "center",
        rotation=0 if below else 90,
        fontsize=7.5,
        color=SOFT_INK,
        annotation_clip=False,
    )
