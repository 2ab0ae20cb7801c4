"""Maps by area for reports: a hexagon for each area with its shares, as PNG and as SVG."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
from matplotlib import rc_context
from matplotlib.collections import LineCollection, PatchCollection, PolyCollection
from matplotlib.patches import Rectangle, RegularPolygon
from scipy.optimize import linear_sum_assignment
from scipy.spatial.distance import cdist

from triage.report.labels import visible
from triage.report.map_frame import (
    HEIGHT_IN,
    INK,
    LOOKS,
    MAP_BOX,
    SOFT_INK,
    WIDTH_IN,
    Floats,
    View,
    hatch_colour,
    open_view,
)
from triage.report.map_ground import draw_ground
from triage.report.map_panel import Panel, draw_locator, draw_scale, write_titles
from triage.report.map_save import save_both

if TYPE_CHECKING:
    from geopandas import GeoDataFrame

MOST = 300  # areas on a map: with more, hexagons would be too small to read
_LARGEST_IN = 0.5  # from the middle of a hexagon to its corner
_ROOM = 0.5  # share of the map that hexagons may take
_BAR = (1.36, 0.36)  # width and height of the bar in a hexagon, in radii
_LEADS_FROM = 0.8  # radii that a hexagon may be off before a line leads to its area
_SMALLEST_PT, _LARGEST_PT = 5.0, 9.0
_CHARACTER = 0.62  # mean width of a character, in font sizes


@dataclass(frozen=True, slots=True)
class Look:
    """A class of a bar: its words, colour and hatch."""

    title: str
    fill: str
    hatch: str


@dataclass(frozen=True, slots=True)
class Area:
    """One area: its place [degrees], the share of each class (0 to 1), and its count in words."""

    name: str
    lat: float
    lon: float
    shares: tuple[float, ...]
    shown: str


@dataclass(frozen=True, slots=True)
class AreaMap:
    """All that a map by area says; every number of it is words or shares already.

    `rows` stand beside the map: class, count, share. `looks` has a class for each share of an
    area. `alt` says the same as the picture in words.
    """

    title: str
    heading: str
    unit: str
    looks: tuple[Look, ...]
    rows: tuple[tuple[str, str, str], ...]
    areas: tuple[Area, ...]
    notes: tuple[str, ...]
    alt: str


@dataclass(frozen=True, slots=True)
class Ground:
    """Where the map is, what stands below its title and at its foot, and outlines if any."""

    country_code: str
    stamp: str
    sources: tuple[str, ...]
    outlines: GeoDataFrame | None = None


@rc_context(LOOKS)
def draw_area_map(folder: Path, name: str, shown: AreaMap, ground: Ground) -> tuple[str, str]:
    """Write `name`.png and `name`.svg into a folder, and say how the files are called.

    A hexagon stands at the middle of the homes of its area, or as near to it as it can be beside
    the others; where it had to leave it, a line leads there. The same map gives the same bytes.

    Raises
    ------
    ValueError
        If there is no area to draw, or an area has not a share for each look.
    """
    areas = shown.areas[:MOST]
    if not areas:
        raise ValueError(f"the map {name} has no area")
    if any(len(area.shares) != len(shown.looks) for area in areas):
        raise ValueError(f"the map {name} has an area without a share for each class")
    lat, lon = (np.array([getattr(a, side) for a in areas]) for side in ("lat", "lon"))
    around = _corners(ground.outlines, {area.name for area in areas})
    view, _, _ = open_view(
        ground.country_code, np.append(lat, around[0]), np.append(lon, around[1])
    )
    x, y = view.to_map.transform(lon, lat)
    radius = hexagon_radius(len(areas))
    spots = placed(view, np.column_stack([x, y]), radius)
    sentence = draw_ground(view, ground.country_code, ground.outlines, spots)
    moved = _draw_hexagons(view, areas, shown.looks, spots, np.column_stack([x, y]))
    panel = Panel(view)
    _write_panel(panel, shown, len(shown.areas) - len(areas), moved)
    draw_locator(panel, ground.country_code)
    draw_scale(panel, with_miles=ground.country_code == "US")
    caption = " ".join(
        [
            shown.unit,
            *shown.notes,
            "A screening result from survey records, not a survey, valuation or warranty.",
            *ground.sources,
            sentence,
            f"Projection: {view.crs_name}.",
        ]
    )
    write_titles(view, shown.title, ground.stamp, caption)
    return save_both(view.figure, folder / name, shown.title, f"{shown.unit} {shown.alt}")


def _corners(outlines: GeoDataFrame | None, names: set[str]) -> tuple[Floats, Floats]:
    """Latitudes and longitudes that hold the outlines of the areas of a map whole."""
    if outlines is None:
        return np.zeros(0), np.zeros(0)
    mine = outlines[outlines["label"].isin(names)].to_crs(4326)
    if mine.empty:
        return np.zeros(0), np.zeros(0)
    west, south, east, north = mine.total_bounds
    return np.array([south, south, north, north]), np.array([west, east, west, east])


def hexagon_radius(areas: int) -> float:
    """Distance from the middle of a hexagon to its corner, so that all have room, in inches."""
    room = MAP_BOX[2] * WIDTH_IN * MAP_BOX[3] * HEIGHT_IN * _ROOM
    return min(_LARGEST_IN, math.sqrt(room / (areas * 1.5 * math.sqrt(3))))


def placed(view: View, middles: Floats, radius_in: float) -> Floats:
    """Where the hexagons go: places of one honeycomb, all together as near as they can be.

    Parameters
    ----------
    view
        The empty map.
    middles
        (n, 2) middles of the areas [m], inside the view.
    radius_in
        From the middle to the corner of a hexagon. [inch]

    Returns
    -------
    ndarray
        (n, 2) middles of the hexagons [m]; no two overlap, and none leaves the map.
    """
    west, south, east, north = view.bounds
    radius = radius_in * view.metres_per_inch
    wide, step = math.sqrt(3) * radius, 1.5 * radius
    rows = np.arange(south + radius, north - radius, step)
    lines = [
        np.column_stack([line, np.full(line.size, y)])
        for n, y in enumerate(rows)
        for line in [np.arange(west + wide * (0.5 + 0.5 * (n % 2)), east - wide / 2, wide)]
    ]
    comb = np.vstack(lines)
    _, taken = linear_sum_assignment(cdist(middles, comb, "sqeuclidean"))
    return np.asarray(comb[taken], dtype=np.float64)


def _draw_hexagons(
    view: View, areas: Sequence[Area], looks: Sequence[Look], spots: Floats, middles: Floats
) -> int:
    """Draw all hexagons with their bars, names and counts, and say how many had to move.

    `middles` are where the areas lie; where no hexagon covers it, a line leads there.
    """
    axes, radius = view.axes, hexagon_radius(len(areas)) * view.metres_per_inch
    away = np.hypot(*(spots - middles).T) > _LEADS_FROM * radius
    leads = np.stack([spots[away], middles[away]], axis=1)
    axes.add_collection(LineCollection(list(leads), colors=SOFT_INK, linewidths=0.8, zorder=4))
    axes.plot(*middles[away].T, "o", color=SOFT_INK, markersize=2.5, zorder=4)
    corners = RegularPolygon((0, 0), 6, radius=radius * 0.985).get_verts()
    shapes = [spot + corners for spot in spots]
    axes.add_collection(PolyCollection(shapes, fc="white", ec=INK, lw=0.8, zorder=5))
    width, height = _BAR[0] * radius, _BAR[1] * radius
    left = spots - (width / 2, height / 2)
    shares = np.array([area.shares for area in areas])
    begin = left[:, :1] + width * (np.cumsum(shares, axis=1) - shares)
    for place, look in enumerate(looks):
        bars = [
            Rectangle((x, y), width * share, height)
            for x, y, share in zip(begin[:, place], left[:, 1], shares[:, place], strict=True)
            if share > 0
        ]
        lines = hatch_colour(look.fill)
        made = PatchCollection(bars, fc=look.fill, ec=lines, hatch=look.hatch or None, lw=0)
        made.set_zorder(6)
        axes.add_collection(made)
    frames = PatchCollection([Rectangle(tuple(at), width, height) for at in left])
    frames.set(facecolor="none", edgecolor=INK, linewidth=0.6, zorder=7)
    axes.add_collection(frames)
    inches = radius / view.metres_per_inch
    for area, (x, y) in zip(areas, spots, strict=True):
        _word(view, area.name, (x, y + 0.46 * radius), inches, "bold")
        _word(view, area.shown, (x, y - 0.46 * radius), inches * 0.92, "normal")
    return int(away.sum())


def _word(view: View, text: str, at: tuple[float, float], room_in: float, weight: str) -> None:
    """A word in a hexagon: smaller until it fits, then cut."""
    text = visible(text)
    points = 1.4 * room_in * 72
    size = min(_LARGEST_PT, room_in * 72 * 0.3, points / (_CHARACTER * max(len(text), 1)))
    if size < _SMALLEST_PT:
        size = min(_SMALLEST_PT, room_in * 72 * 0.3)
        fits = max(int(points / (_CHARACTER * size)), 1)
        text = text if len(text) <= fits else text[: max(fits - 1, 1)] + "…"
    middle: dict[str, Any] = {"ha": "center", "va": "center_baseline"}
    view.axes.text(*at, text, fontsize=size, color=INK, fontweight=weight, zorder=8, **middle)


def _write_panel(panel: Panel, shown: AreaMap, left_out: int, moved: int) -> None:
    panel.heading(shown.heading)
    looks = {look.title: look for look in shown.looks}
    for title, count, share in shown.rows:
        look = looks.get(title)
        if look is None:
            panel.stated(title, count)
        else:
            panel.block(look.fill, look.hatch, title, count, share)
    panel.gap()
    panel.words("A hexagon is an area: its name, the share of each class, and its count n.")
    if moved:
        stand = "1 stands" if moved == 1 else f"{moved:,} stand"
        panel.words(f"{stand} beside the area, so that none overlap.")
    if left_out:
        panel.words(f"{left_out:,} smaller areas are in the table alone.")
