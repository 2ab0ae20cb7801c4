"""The column of words beside a map, its scale, its north arrow, title and foot."""

from __future__ import annotations

import textwrap
from collections.abc import Sequence

import numpy as np
import polars as pl
from matplotlib.axes import Axes
from matplotlib.patches import Circle, Polygon, Rectangle
from pyproj import Transformer

from triage.reference import reference_table
from triage.report.labels import visible
from triage.report.map_frame import (
    HEIGHT_IN,
    INK,
    MAP_BOX,
    PANEL_LEFT,
    PANEL_RIGHT,
    SOFT_INK,
    WIDTH_IN,
    View,
    hatch_colour,
    round_down,
)
from triage.report.map_marks import MARK_IN, MarkClass, dash_ring, draw_ring

KM_M, MILE_M = 1_000.0, 1_609.344  # the international mile, exact by definition
_LINE_IN = 0.215
_FOOT = (178, 4)  # characters of a line, lines
_HEADING = 33  # characters of a heading that fit in the column
_FOOT_IN = 0.95  # height of the scale and the arrow
_LOCATOR_IN = {"GB": 2.3, "US": 1.6}


class Panel:
    """Writes the column beside a map from the top down. Units are inches on the page."""

    def __init__(self, view: View) -> None:
        self.view = view
        self.width = (PANEL_RIGHT - PANEL_LEFT) * WIDTH_IN
        bottom, height = MAP_BOX[1] * HEIGHT_IN, MAP_BOX[3] * HEIGHT_IN
        self.axes: Axes = view.figure.add_axes(
            (PANEL_LEFT, MAP_BOX[1], PANEL_RIGHT - PANEL_LEFT, MAP_BOX[3])
        )
        self.axes.set(xlim=(0, self.width), ylim=(0, height))
        self.axes.axis("off")
        self.bottom, self.y = bottom, height - 0.05

    def heading(self, text: str) -> None:
        """Write a small heading, smaller where it is long."""
        self._write(0, text, min(10.5, 10.5 * _HEADING / max(len(text), 1)), weight="bold")
        self.y -= 0.05

    def words(self, text: str, size: float = 8.5) -> None:
        """Write a paragraph, wrapped to the column."""
        for line in textwrap.wrap(text, int(self.width * 130 / size)):
            self._write(0, line, size, colour=SOFT_INK, step=size / 72 * 1.35)
        self.y -= 0.06

    def row(self, look: MarkClass, count: int, whole: int) -> None:
        """Write one class: its mark and its part of a ring, title, homes and share."""
        middle = self.y - 0.06
        self.axes.scatter(
            0.09,
            middle,
            s=(MARK_IN * 72 * 1.15) ** 2,
            marker=look.marker,
            facecolor=look.fill,
            edgecolor=INK,
            lw=0.7,
        )
        share = f"{count / whole:.0%}" if whole >= 10 else ""
        self.block(look.fill, look.hatch, look.title, f"{count:,}", share)

    def block(self, fill: str, hatch: str, title: str, count: str, share: str) -> None:
        """Write one class: its part of a ring or a bar, title, homes and share."""
        box = (0.22, self.y - 0.135), 0.26, 0.15
        # Hatches take the colour of the edge, so that the outline is a second box.
        colour = hatch_colour(fill)
        self.axes.add_patch(Rectangle(*box, fc=fill, ec=colour, hatch=hatch or None, lw=0))
        self.axes.add_patch(Rectangle(*box, fc="none", ec=INK, lw=0.7))
        self._write(self.width - 0.47, count, 9, align="right", step=0)
        self._write(self.width, share, 9, align="right", step=0)
        for line in textwrap.wrap(title, 23):
            self._write(0.57, line, 9, step=0.155)
        self.y -= _LINE_IN - 0.155

    def stated(self, title: str, count: str) -> None:
        """Write a line with a count in words and no mark."""
        self._write(0.57, title, 9, colour=SOFT_INK, step=0)
        self._write(self.width - 0.47, count, 9, colour=SOFT_INK, align="right")

    def total(self, title: str, count: int) -> None:
        """Write a line with a number and no mark."""
        self.stated(title, f"{count:,}")

    def pair(self, left: str, right: str) -> None:
        """Write a name and a number."""
        self._write(0, left, 9, step=0)
        self._write(self.width, right, 9, align="right")

    def ring(self, classes: Sequence[MarkClass], text: str, dashed: str = "") -> None:
        """Explain a ring, and the dashed circle around it if there is one."""
        centre = np.array([0.3, self.y - 0.22])
        draw_ring(self.axes, centre, 0.24, np.full(len(classes), 6), classes, text="24")
        top = self.y + 0.0
        for line in textwrap.wrap(text, 32):
            self._write(0.68, line, 8.5, colour=SOFT_INK, step=0.16)
        self.y = min(self.y, top - 0.56)
        if dashed:
            self.axes.add_patch(Circle((0.3, self.y - 0.07), 0.07, fc="white", ec=INK, lw=0.6))
            dash_ring(self.axes, np.array([0.3, self.y - 0.07]), 0.115)
            self._write(0.68, dashed, 8.5, colour=SOFT_INK)
        self.y -= 0.1

    def gap(self, inches: float = 0.12) -> None:
        """Leave room."""
        self.y -= inches

    def _write(
        self,
        x: float,
        text: str,
        size: float,
        *,
        colour: str = INK,
        align: str = "left",
        weight: str = "normal",
        step: float = _LINE_IN,
    ) -> None:
        shown = visible(text)
        self.axes.text(
            x, self.y, shown, fontsize=size, color=colour, ha=align, va="top", fontweight=weight
        )
        self.y -= step


def draw_scale(panel: Panel, with_miles: bool) -> None:
    """Draw the scale bar and the north arrow at the foot of the column."""
    base, left = 0.34, 0.05
    units = [(KM_M, "km")] + ([(MILE_M, "miles")] if with_miles else [])
    for place, (metres, name) in enumerate(units):
        length = round_down(1.7 * panel.view.metres_per_inch / metres)
        inches = length * metres / panel.view.metres_per_inch
        y = base - 0.30 * place
        half = Rectangle((left, y), inches / 2, 0.06, fc=INK, ec=INK, lw=0.7)
        panel.axes.add_patch(half)
        rest = Rectangle((left + inches / 2, y), inches / 2, 0.06, fc="white", ec=INK, lw=0.7)
        panel.axes.add_patch(rest)
        panel.axes.text(left, y + 0.08, "0", fontsize=8, ha="center", va="bottom")
        end = f"{length:g} {name}"
        panel.axes.text(left + inches, y + 0.08, end, fontsize=8, ha="center", va="bottom")
    _draw_north(panel, panel.width - 0.3, base - 0.1)


def _draw_north(panel: Panel, x: float, y: float) -> None:
    """Arrow to true north at the middle of the map: grids lean away from their own meridian."""
    west, south, east, north = panel.view.bounds
    middle = (west + east) / 2, (south + north) / 2
    lon, lat = Transformer.from_crs(panel.view.crs, 4326, always_xy=True).transform(*middle)
    up_x, up_y = panel.view.to_map.transform(lon, lat + 1e-3)
    lean = np.arctan2(up_x - middle[0], up_y - middle[1])
    shape = np.array([[0, 0.42], [0.11, 0], [0, 0.09], [-0.11, 0]])
    turn = np.array([[np.cos(lean), -np.sin(lean)], [np.sin(lean), np.cos(lean)]])
    panel.axes.add_patch(Polygon(shape @ turn + (x, y), fc=INK, ec=INK))
    tip = np.array([0, 0.54]) @ turn + (x, y)
    panel.axes.text(
        float(tip[0]), float(tip[1]), "N", fontsize=10, ha="center", va="center", fontweight="bold"
    )


def draw_locator(panel: Panel, country_code: str) -> None:
    """Show where in the country the map is, if it shows a small part and there is room.

    The dots are the middles of UK postcode areas, or US weather stations.
    """
    if country_code not in {"GB", "US"}:
        return
    dots = reference_table("uk_postcodes" if country_code == "GB" else "us_stations")
    if country_code == "US":
        dots = dots.filter(pl.col("lat").is_between(24, 50) & pl.col("lon").is_between(-125, -66))
    dots = dots.drop_nulls(["lat", "lon"])
    x, y = panel.view.to_map.transform(dots["lon"].to_numpy(), dots["lat"].to_numpy())
    west, south, east, north = panel.view.bounds
    height = min(panel.y - _FOOT_IN - 0.15, _LOCATOR_IN[country_code])
    local = panel.view.crs_name.startswith("azimuthal")
    if local or height < 0.8 or (north - south) > 0.6 * float(np.ptp(y)):
        return
    low = MAP_BOX[1] + _FOOT_IN / HEIGHT_IN
    inset = panel.view.figure.add_axes(
        (PANEL_LEFT, low, PANEL_RIGHT - PANEL_LEFT, height / HEIGHT_IN)
    )
    inset.scatter(x, y, s=3.5, color="#A9B0B6", lw=0)
    least = 0.045 * float(np.ptp(y))  # a box that can be seen
    wide, tall = max(east - west, least), max(north - south, least)
    corner = (west + east - wide) / 2, (south + north - tall) / 2
    frame = Rectangle(corner, wide, tall, fc="none", ec=INK, lw=1.5)
    inset.add_patch(frame)
    inset.set_aspect("equal", anchor="SW")
    inset.margins(0.03)
    inset.axis("off")


def write_titles(view: View, title: str, subtitle: str, caption: str) -> None:
    """Write the finding above the map, and date, policy and source below it."""
    left = MAP_BOX[0]
    size = 17 if len(title) <= 76 else 14
    lines = textwrap.wrap(visible(title), 92)[:2]
    figure, head = view.figure, "\n".join(lines)
    figure.text(left, 0.972, head, fontsize=size, fontweight="bold", va="top", color=INK)
    below = 0.922 if len(lines) == 1 else 0.905
    figure.text(left, below, _cut(visible(subtitle), 140), fontsize=10, va="top", color=SOFT_INK)
    small = 8.0
    foot_lines = textwrap.wrap(visible(caption), _FOOT[0])
    if len(foot_lines) > _FOOT[1]:
        small = 7.0
        wide = int(_FOOT[0] * 8.0 / small)
        foot_lines = textwrap.wrap(visible(caption), wide, max_lines=_FOOT[1], placeholder=" …")
    foot = "\n".join(foot_lines)
    figure.text(left, 0.074, foot, fontsize=small, va="top", color=SOFT_INK, linespacing=1.35)


def _cut(text: str, longest: int) -> str:
    return text if len(text) <= longest else text[: longest - 1] + "…"
