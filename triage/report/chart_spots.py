"""Areas of a document's map: a circle of shares for each, none upon another."""

import math

import numpy as np
from numpy.typing import NDArray
from reportlab.graphics.shapes import Circle, Drawing, Line, Rect, String, Wedge
from reportlab.lib.colors import HexColor, white
from reportlab.pdfbase.pdfmetrics import stringWidth

from triage.report.chart_parts import INK, PALE, RULE, TEXT, draw_legend, legend_height, word
from triage.report.document import Figure, Spot
from triage.report.fonts import BOLD

_BESIDE, _PUSHES = 1.5, 300  # points between two circles; rounds of pushing them apart
_LEAST = 0.05  # degrees; a map of one spot is a map of its surroundings
_Box = tuple[float, float, float, float]  # left, bottom, right, top
Points = NDArray[np.float64]


def draw_spots(figure: Figure, width: float) -> Drawing:
    """Draw the map of a figure, `width` points wide."""
    spots = [mark for mark in figure.marks if isinstance(mark, Spot)]
    turned = math.cos(math.radians(sum(s.lat for s in spots) / len(spots)))
    xs = [s.lon * turned for s in spots]
    ys = [s.lat for s in spots]
    edge, most = 26.0, max(s.homes for s in spots)
    wide = max(max(xs) - min(xs), _LEAST)
    tall = max(max(ys) - min(ys), _LEAST)
    scale = min((width - 2 * edge) / wide, 105.0 / tall)
    height = tall * scale + 2 * edge
    drawing = Drawing(width, height + legend_height(figure.legend, width))
    drawing.add(Rect(0, 0, width, height, fillColor=HexColor("#F6F6F3"), strokeColor=PALE))
    shift = (width - wide * scale) / 2
    order = sorted(range(len(spots)), key=lambda n: -spots[n].homes)
    middles = np.array(
        [(shift + (xs[n] - min(xs)) * scale, edge + (ys[n] - min(ys)) * scale) for n in order]
    )
    radii = np.array([5 + 8 * math.sqrt(spots[n].homes / most) for n in order])
    ats = apart(middles, radii, (width, height))
    taken: list[_Box] = []
    for middle, at, radius in zip(middles, ats, radii, strict=True):
        if np.hypot(*(at - middle)) > radius:
            drawing.add(Line(*middle, *at, strokeColor=RULE, strokeWidth=0.6))
        taken.append((at[0] - radius, at[1] - radius, at[0] + radius, at[1] + radius))
    for n, at, radius in zip(order, ats, radii, strict=True):
        _pie(drawing, figure, spots[n], (float(at[0]), float(at[1])), float(radius))
    for n, at, radius in zip(order, ats, radii, strict=True):
        drawing.add(_label(spots[n].label, (float(at[0]), float(at[1])), float(radius), taken))
    _scale_bar(drawing, scale, width)
    draw_legend(drawing, figure.legend, height, width)
    return drawing


def apart(middles: Points, radii: Points, page: tuple[float, float]) -> Points:
    """Circles moved so that they overlap no more, or as little as their number allows.

    Parameters
    ----------
    middles
        (n, 2) where the circles should be. [points]
    radii
        (n,) of the circles.
    page
        Width and height that they stay within.

    Returns
    -------
    ndarray
        (n, 2) their middles; the same circles in the same order give the same places.
    """
    at = middles.astype(float)
    # Circles of one place leave it in different directions.
    turn = np.arange(len(at)) * math.pi * (3 - math.sqrt(5))
    at = at + 1e-3 * np.column_stack([np.cos(turn), np.sin(turn)])
    need = radii[:, None] + radii[None, :] + _BESIDE
    np.fill_diagonal(need, 0.0)
    low, high = radii[:, None] + 1, np.array(page)[None, :] - radii[:, None] - 1
    for _ in range(_PUSHES):
        gaps = at[:, None, :] - at[None, :, :]
        away = np.hypot(gaps[..., 0], gaps[..., 1])
        short = np.clip(need - away, 0.0, None)
        if short.max() < 0.05:
            break
        push = gaps / np.maximum(away, 1e-9)[..., None] * (0.5 * short)[..., None]
        at = np.clip(at + push.sum(axis=1), low, high)
    return at


def _pie(
    drawing: Drawing, figure: Figure, spot: Spot, at: tuple[float, float], radius: float
) -> None:
    begin = 90.0
    for value, (_, colour, _) in zip(spot.parts, figure.legend, strict=False):
        if value >= 1.0:
            drawing.add(Circle(*at, radius, fillColor=HexColor(colour), strokeColor=white))
        elif value > 0:
            end = begin - 360.0 * value
            drawing.add(
                Wedge(*at, radius, end, begin, fillColor=HexColor(colour), strokeColor=white)
            )
            begin = end
    drawing.add(Circle(*at, radius, fillColor=None, strokeColor=RULE, strokeWidth=0.7))


def _label(text: str, at: tuple[float, float], radius: float, taken: list[_Box]) -> String:
    """The name of a spot beside it, where nothing else is, and the place marked as taken."""
    long, away = stringWidth(text, BOLD, TEXT), radius + 3
    x, y = at
    places = [
        (x + away, y - 2.5),
        (x - away - long, y - 2.5),
        (x - long / 2, y - away - 5),
        (x - long / 2, y + away),
    ]

    def clashes(place: tuple[float, float]) -> int:
        box = (place[0], place[1] - 1, place[0] + long, place[1] + 6)
        return sum(
            box[0] < b[2] and b[0] < box[2] and box[1] < b[3] and b[1] < box[3] for b in taken
        )

    best = min(places, key=clashes)
    taken.append((best[0], best[1] - 1, best[0] + long, best[1] + 6))
    return word(*best, text, BOLD)


def _scale_bar(drawing: Drawing, scale: float, width: float) -> None:
    """One of 1, 2, 5 … km that takes up to a fifth of the width, and which way is north."""
    per_km = scale / 111.2  # points; a degree of latitude is 111.2 km
    room = width / 5 / per_km
    power = 10.0 ** math.floor(math.log10(room))
    km = max(step * power for step in (1, 2, 5) if step * power <= room)
    y, end = 8.0, 10 + km * per_km
    drawing.add(Line(10, y, end, y, strokeColor=INK, strokeWidth=1.2))
    drawing.add(word(end + 4, y - 2.5, f"{km:g} km"))
    drawing.add(word(width - 8, 6, "north is up", anchor="end"))
