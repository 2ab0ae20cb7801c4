"""Plain figures of a document: bars, intervals and spots, drawn once for PDF and HTML."""

import math
from collections.abc import Callable

from reportlab.graphics.shapes import Circle, Drawing, Line, Rect, String, Wedge
from reportlab.lib.colors import HexColor, white
from reportlab.pdfbase.pdfmetrics import stringWidth

from triage.report.document import Bar, Figure, Span, Spot
from triage.report.fonts import BODY, BOLD, register_fonts
from triage.report.labels import visible

_INK, _PALE, _LINE = HexColor("#1A1A1A"), HexColor("#E8E8E4"), HexColor("#8A8A86")
_ROW, _TEXT = 12.5, 7.0
_PLAIN = "#182F5C"
_LONGEST = 200  # characters of a label that could ever fit
_LEAST = 0.05  # degrees; a map of one spot is a map of its surroundings
_Box = tuple[float, float, float, float]  # left, bottom, right, top


def draw(figure: Figure, width: float) -> Drawing:
    """Draw a figure without its title and text alternative, `width` points wide."""
    register_fonts()
    if not figure.marks:
        raise ValueError(f"the figure {figure.name} has nothing to show")
    kind = type(figure.marks[0])
    drawers: dict[type, Callable[[Figure, float], Drawing]] = {
        Bar: _bars,
        Span: _spans,
        Spot: _spots,
    }
    return drawers[kind](figure, width)


def fit(text: str, width: float, size: float = _TEXT, font: str = BODY) -> str:
    """Text on one line cut to a width, with an ellipsis where something is lost."""
    text = visible(text)
    text = text if len(text) <= _LONGEST else text[:_LONGEST] + "…"
    if stringWidth(text, font, size) <= width:
        return text
    while text and stringWidth(text + "…", font, size) > width:
        text = text[:-1]
    return text.rstrip() + "…"


def _canvas(width: float, rows: int, legend: bool) -> tuple[Drawing, float]:
    height = rows * _ROW + (18 if legend else 4)
    return Drawing(width, height), height - (18 if legend else 4)


def _legend(drawing: Drawing, figure: Figure, height: float) -> None:
    x = 0.0
    for word, colour, hatch in figure.legend:
        _block(drawing, x, height + 5, 9, 9, colour, hatch)
        drawing.add(_word(x + 13, height + 7, word))
        x += 13 + stringWidth(word, BODY, _TEXT) + 14


def _block(
    drawing: Drawing, x: float, y: float, w: float, h: float, colour: str, hatch: str
) -> None:
    drawing.add(Rect(x, y, w, h, fillColor=HexColor(colour), strokeColor=white, strokeWidth=0.6))
    if hatch:
        at = x + 3
        while at < x + w:
            over = min(h, x + w - at)
            drawing.add(Line(at, y, at + over, y + over, strokeColor=white, strokeWidth=0.5))
            at += 5


def _word(x: float, y: float, text: str, font: str = BODY, anchor: str = "start") -> String:
    return String(x, y, text, fontName=font, fontSize=_TEXT, fillColor=_INK, textAnchor=anchor)


def _bars(figure: Figure, width: float) -> Drawing:
    bars = [mark for mark in figure.marks if isinstance(mark, Bar)]
    drawing, top = _canvas(width, len(bars), bool(figure.legend))
    left, right = width * 0.4, max(stringWidth(bar.shown, BODY, _TEXT) for bar in bars) + 8
    longest = max((sum(bar.parts) for bar in bars), default=0.0) or 1.0
    scale = (width - left - right) / longest
    looks = figure.legend or (("", _PLAIN, ""),)
    for place, bar in enumerate(bars):
        y = top - (place + 1) * _ROW
        drawing.add(_word(left - 6, y + 4, fit(bar.label, left - 8), anchor="end"))
        x = left
        for value, (_, colour, hatch) in zip(bar.parts, looks, strict=False):
            if value > 0:
                _block(drawing, x, y + 1.5, value * scale, _ROW - 4, colour, hatch)
            x += value * scale
        drawing.add(_word(x + 4, y + 4, bar.shown))
    _legend(drawing, figure, top)
    return drawing


def _spans(figure: Figure, width: float) -> Drawing:
    spans = [mark for mark in figure.marks if isinstance(mark, Span)]
    drawing, top = _canvas(width, len(spans) + 1, legend=False)
    left, right = width * 0.42, max(stringWidth(s.shown, BODY, _TEXT) for s in spans) + 10
    room = width - left - right
    for tick in (0, 25, 50, 75, 100):
        x = left + room * tick / 100
        drawing.add(Line(x, _ROW, x, top, strokeColor=_PALE, strokeWidth=0.6))
        drawing.add(_word(x, 4, f"{tick}%", anchor="middle"))
    for place, span in enumerate(spans):
        y = top - (place + 0.5) * _ROW
        drawing.add(_word(left - 8, y - 2.5, fit(span.label, left - 10), anchor="end"))
        low, high = left + room * span.low, left + room * span.high
        drawing.add(Line(low, y, high, y, strokeColor=HexColor(_PLAIN), strokeWidth=2.2))
        if span.middle is not None:
            at = left + room * span.middle
            drawing.add(Circle(at, y, 3.2, fillColor=HexColor(_PLAIN), strokeColor=white))
        drawing.add(_word(left + room + 10, y - 2.5, span.shown))
    return drawing


def _spots(figure: Figure, width: float) -> Drawing:
    spots = [mark for mark in figure.marks if isinstance(mark, Spot)]
    middle = math.radians(sum(s.lat for s in spots) / len(spots))
    xs = [s.lon * math.cos(middle) for s in spots]
    ys = [s.lat for s in spots]
    edge, most = 26.0, max(s.homes for s in spots)
    wide = max(max(xs) - min(xs), _LEAST)
    tall = max(max(ys) - min(ys), _LEAST)
    scale = min((width - 2 * edge) / wide, 105.0 / tall)
    height = tall * scale + 2 * edge
    drawing = Drawing(width, height + 18)
    drawing.add(Rect(0, 0, width, height, fillColor=HexColor("#F6F6F3"), strokeColor=_PALE))
    shift = (width - wide * scale) / 2
    taken: list[_Box] = []
    placed = []
    for spot, x, y in sorted(zip(spots, xs, ys, strict=True), key=lambda s: -s[0].homes):
        at = shift + (x - min(xs)) * scale, edge + (y - min(ys)) * scale
        radius = 5 + 8 * math.sqrt(spot.homes / most)
        _pie(drawing, figure, spot, at, radius)
        taken.append((at[0] - radius, at[1] - radius, at[0] + radius, at[1] + radius))
        placed.append((spot.label, at, radius))
    for label, at, radius in placed:
        drawing.add(_label(label, at, radius, taken))
    _scale_bar(drawing, scale, width)
    _legend(drawing, figure, height)
    return drawing


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


def _label(text: str, at: tuple[float, float], radius: float, taken: list[_Box]) -> String:
    """The name of a spot beside it, where nothing else is, and the place marked as taken."""
    long, away = stringWidth(text, BOLD, _TEXT), radius + 3
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
    return _word(*best, text, BOLD)


def _scale_bar(drawing: Drawing, scale: float, width: float) -> None:
    """One of 1, 2, 5 … km that takes up to a fifth of the width, and which way is north."""
    per_km = scale / 111.2  # points; a degree of latitude is 111.2 km
    room = width / 5 / per_km
    power = 10.0 ** math.floor(math.log10(room))
    km = max(step * power for step in (1, 2, 5) if step * power <= room)
    y, end = 8.0, 10 + km * per_km
    drawing.add(Line(10, y, end, y, strokeColor=_INK, strokeWidth=1.2))
    drawing.add(_word(end + 4, y - 2.5, f"{km:g} km"))
    drawing.add(_word(width - 8, 6, "north is up", anchor="end"))
