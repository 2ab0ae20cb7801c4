"""Plain figures of a document: drawn once for PDF and HTML."""

import math
from collections.abc import Callable

from reportlab.graphics.shapes import Circle, Drawing, Line, Rect
from reportlab.lib.colors import HexColor, white
from reportlab.pdfbase.pdfmetrics import stringWidth

from triage.report.chart_flows import draw_flows
from triage.report.chart_months import draw_year
from triage.report.chart_parts import (
    LEADING,
    PALE,
    PLAIN,
    ROW,
    SMALL,
    TEXT,
    block,
    draw_legend,
    ink_on,
    label,
    legend_height,
    lines_of,
    word,
)
from triage.report.chart_spots import draw_spots
from triage.report.document import Bar, Figure, Flows, Look, Span, Spot, Year
from triage.report.fonts import BODY, register_fonts

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
        Spot: draw_spots,
        Flows: draw_flows,
        Year: draw_year,
    }
    made = drawers[kind](figure, width)
    made.height = math.ceil(made.height)  # an SVG's view box is whole points, and cuts the rest
    return made


def _bars(figure: Figure, width: float) -> Drawing:
    bars = [mark for mark in figure.marks if isinstance(mark, Bar)]
    left, right = width * 0.4, max(stringWidth(bar.shown, BODY, TEXT) for bar in bars) + 8
    labels = [lines_of(bar.label, left - 8, figure.label_lines) for bar in bars]
    rows = [_row(lines, bool(bar.under)) for lines, bar in zip(labels, bars, strict=True)]
    top = sum(rows)
    drawing = Drawing(width, top + legend_height(figure.legend, width))
    longest = max((max(sum(bar.parts), sum(bar.under)) for bar in bars), default=0.0) or 1.0
    scale = (width - left - right) / longest
    looks = figure.legend or (("", PLAIN, ""),)
    y = top
    for bar, lines, tall in zip(bars, labels, rows, strict=True):
        y -= tall
        label(drawing, left - 6, y + tall / 2, lines, "end")
        thick = ROW - 3
        base = y + tall / 2 - (1.0 if bar.under else thick / 2)
        strip = (left, base, scale, thick)
        end = left + _strip(drawing, bar.parts, looks, strip)
        _numbers(drawing, bar, looks, strip)
        if bar.under:
            strip = (left, base - 5.5, scale, 5.0)
            end = max(end, left + _strip(drawing, bar.under, looks, strip))
        drawing.add(word(end + 4, y + tall / 2 - 2.5, bar.shown))
    draw_legend(drawing, figure.legend, top, width)
    return drawing


def _row(lines: list[str], is_double: bool) -> float:
    """Height of the row of one bar."""
    return max(ROW + (7.0 if is_double else 0.0), ROW + (len(lines) - 1) * LEADING)


def _strip(
    drawing: Drawing,
    parts: tuple[float, ...],
    looks: tuple[Look, ...],
    at: tuple[float, float, float, float],
) -> float:
    """Parts of one bar beside each other from left, bottom, points a unit, height; its length."""
    left, bottom, scale, thick = at
    x = left
    for value, (_, colour, hatch) in zip(parts, looks, strict=False):
        if value > 0:
            block(drawing, x, bottom, value * scale, thick, colour, hatch)
        x += value * scale
    return x - left


def _numbers(
    drawing: Drawing, bar: Bar, looks: tuple[Look, ...], at: tuple[float, float, float, float]
) -> None:
    """What each part says, on a patch of its colour so that no hatch runs through it."""
    x, bottom, scale, thick = at
    for value, text, (_, colour, _) in zip(bar.parts, bar.numbers, looks, strict=False):
        long = stringWidth(text, BODY, SMALL) + 3
        middle = x + value * scale / 2
        if text and long + 2 <= value * scale:
            patch = (middle - long / 2, bottom + 0.8, long, thick - 1.6)
            drawing.add(Rect(*patch, fillColor=HexColor(colour), strokeColor=None))
            ink = ink_on(colour)
            drawing.add(word(middle, bottom + 2, text, BODY, "middle", SMALL, ink))
        x += value * scale


def _spans(figure: Figure, width: float) -> Drawing:
    spans = [mark for mark in figure.marks if isinstance(mark, Span)]
    left, right = width * 0.42, max(stringWidth(s.shown, BODY, TEXT) for s in spans) + 10
    labels = [lines_of(span.label, left - 10, 3) for span in spans]
    rows = [ROW + 2 + (len(lines) - 1) * LEADING for lines in labels]
    top = sum(rows) + ROW
    drawing = Drawing(width, top + 4)
    room = width - left - right
    for tick in (0, 25, 50, 75, 100):
        x = left + room * tick / 100
        drawing.add(Line(x, ROW, x, top, strokeColor=PALE, strokeWidth=0.6))
        drawing.add(word(x, 4, f"{tick}%", anchor="middle"))
    y = top
    for span, lines, tall in zip(spans, labels, rows, strict=True):
        y -= tall
        middle = y + tall / 2
        label(drawing, left - 8, middle, lines, "end")
        low, high = left + room * span.low, left + room * span.high
        colour = HexColor(PLAIN)
        drawing.add(Line(low, middle, high, middle, strokeColor=colour, strokeWidth=2.2))
        for end in (low, high):
            drawing.add(Line(end, middle - 3, end, middle + 3, strokeColor=colour, strokeWidth=1.2))
        if span.middle is not None:
            at = left + room * span.middle
            drawing.add(Circle(at, middle, 3.2, fillColor=HexColor(PLAIN), strokeColor=white))
        drawing.add(word(left + room + 10, middle - 2.5, span.shown))
    return drawing
