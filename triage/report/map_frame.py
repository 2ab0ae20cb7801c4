"""Page, projection and view of a map."""

from dataclasses import dataclass
from typing import Any

import numpy as np
from matplotlib.axes import Axes
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.colors import rgb_to_hsv, to_rgb
from matplotlib.figure import Figure
from numpy.typing import NDArray
from pyproj import CRS, Transformer

Floats = NDArray[np.float64]

DPI = 150
WIDTH_IN, HEIGHT_IN = 11.7, 8.3  # a landscape page that prints without scaling
MAP_BOX = (0.028, 0.105, 0.682, 0.765)  # left, bottom, width, height, as shares of the page
PANEL_LEFT, PANEL_RIGHT = 0.735, 0.985
INK, SOFT_INK, FAINT = "#1C1F23", "#4A5057", "#C3C8CD"

# Settings of the user must not change the picture, and a $ in a name is no formula.
LOOKS: dict[Any, Any] = {
    "text.parse_math": False,
    "font.family": "DejaVu Sans",
    "hatch.linewidth": 1.1,
}

_MARGIN = 0.08
_LIGHT = 0.8  # value of a colour on which white lines are lost
_LEAST_SIDE_M = 3_000.0  # so that one home still has surroundings
_FAR = 4.0  # a full extent this many times the middle 98 % leaves the farthest homes out
_MANY = 50  # with fewer homes every one is shown


@dataclass(frozen=True, slots=True)
class View:
    """A page with an empty map, and how metres become inches on it."""

    figure: Figure
    axes: Axes
    to_map: Transformer  # from degrees, longitude first
    crs: CRS
    crs_name: str
    metres_per_inch: float

    @property
    def bounds(self) -> tuple[float, float, float, float]:
        """West, south, east, north of the map, in metres."""
        (west, east), (south, north) = self.axes.get_xlim(), self.axes.get_ylim()
        return west, south, east, north


def projection(country_code: str, lat: Floats, lon: Floats) -> tuple[CRS, str]:
    """Coordinate system for a map of these homes, and its name.

    British National Grid in Great Britain; Albers equal area (EPSG:5070) in the conterminous
    United States; elsewhere an equidistant projection around the middle of the homes.
    """
    if country_code == "GB":
        return CRS.from_epsg(27700), "British National Grid (EPSG:27700)"
    lower_48 = lat.size > 0 and bool(
        np.all((lat > 24) & (lat < 50)) and np.all((lon > -125) & (lon < -66))
    )
    if country_code == "US" and (lower_48 or not lat.size):
        return CRS.from_epsg(5070), "Albers equal area (EPSG:5070)"
    middle_lat = float(np.median(lat)) if lat.size else 0.0
    middle_lon = float(np.median(lon)) if lon.size else 0.0
    local = f"+proj=aeqd +lat_0={middle_lat:.4f} +lon_0={middle_lon:.4f} +datum=WGS84"
    return CRS.from_proj4(local), "azimuthal equidistant around the homes"


def open_view(country_code: str, lat: Floats, lon: Floats) -> tuple[View, Floats, Floats]:
    """Make the page and fit the map to the homes. Returns the view and the homes in metres."""
    crs, name = projection(country_code, lat, lon)
    to_map = Transformer.from_crs(4326, crs, always_xy=True)
    x, y = (np.asarray(values, dtype=np.float64) for values in to_map.transform(lon, lat))
    figure = Figure(figsize=(WIDTH_IN, HEIGHT_IN), dpi=DPI, facecolor="white")
    FigureCanvasAgg(figure)
    axes = figure.add_axes(MAP_BOX)
    axes.set(xticks=[], yticks=[], facecolor="#F7F8F8")
    for edge in axes.spines.values():
        edge.set(color=SOFT_INK, linewidth=0.8)
    west, south, east, north = _fitted(x, y)
    axes.set(xlim=(west, east), ylim=(south, north))
    scale = (east - west) / (MAP_BOX[2] * WIDTH_IN)
    return View(figure, axes, to_map, crs, name, scale), x, y


def _fitted(x: Floats, y: Floats) -> tuple[float, float, float, float]:
    """Bounds around the homes, with a margin, in the proportions of the map box."""
    (west, east), (south, north) = _span(x), _span(y)
    width = max((east - west) * (1 + 2 * _MARGIN), _LEAST_SIDE_M)
    height = max((north - south) * (1 + 2 * _MARGIN), _LEAST_SIDE_M)
    aspect = (MAP_BOX[2] * WIDTH_IN) / (MAP_BOX[3] * HEIGHT_IN)
    width, height = max(width, height * aspect), max(height, width / aspect)
    middle_x, middle_y = (west + east) / 2, (south + north) / 2
    return (
        middle_x - width / 2,
        middle_y - height / 2,
        middle_x + width / 2,
        middle_y + height / 2,
    )


def _span(values: Floats) -> tuple[float, float]:
    """Lowest and highest value, without a few that lie far from all others."""
    if not values.size:
        return 0.0, 0.0
    low, high = float(values.min()), float(values.max())
    if values.size < _MANY:
        return low, high
    near_low, near_high = (float(v) for v in np.quantile(values, [0.01, 0.99]))
    middle = max(near_high - near_low, _LEAST_SIDE_M)
    if high - low <= _FAR * middle:
        return low, high
    near = values[(values >= near_low - middle) & (values <= near_high + middle)]
    return float(near.min()), float(near.max())


def hatch_colour(fill: str) -> str:
    """White lines on a dark fill, dark ones on a light fill."""
    return "white" if rgb_to_hsv(to_rgb(fill))[2] < _LIGHT else SOFT_INK


def in_view(view: View, x: Floats, y: Floats) -> NDArray[np.bool_]:
    """Which homes lie inside the map."""
    west, south, east, north = view.bounds
    inside: NDArray[np.bool_] = (x >= west) & (x <= east) & (y >= south) & (y <= north)
    return inside


def round_down(value: float) -> float:
    """Largest of 1, 2, 5 times a power of ten that is not above the value."""
    power = 10.0 ** np.floor(np.log10(value))
    steps = [step * power for step in (1.0, 2.0, 5.0) if step * power <= value * (1 + 1e-9)]
    return float(steps[-1])


def free_side(
    spot: tuple[float, float], reaches: tuple[float, ...], obstacles: Floats, need: float
) -> tuple[tuple[float, float], bool]:
    """Place for a label: at the spot itself, else beside it, and whether it is free.

    `reaches` are the distances to try. `obstacles` are the middles of what is drawn, (n, 2), and
    `need` is the distance to keep from them. [m]
    If no place is free, the one with most room around it.
    """
    if not obstacles.size:
        return spot, True
    turns = np.arange(16) * np.pi / 8
    side = np.column_stack([np.cos(turns), np.sin(turns)])
    tries = np.asarray(spot) + np.vstack([[[0.0, 0.0]], *(side * reach for reach in reaches)])
    gaps = np.hypot(*(tries[:, None, :] - obstacles[None, :, :]).transpose(2, 0, 1)).min(axis=1)
    free = np.flatnonzero(gaps >= need)
    best = int(free[0]) if free.size else int(np.argmax(gaps))
    return (float(tries[best, 0]), float(tries[best, 1])), bool(free.size)
