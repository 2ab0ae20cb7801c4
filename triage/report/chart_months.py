"""Draws a year month by month: bars beside each other, and the limit that a rule uses."""

import math

from reportlab.graphics.shapes import Drawing, Line, Rect
from reportlab.lib.colors import HexColor, white
from reportlab.pdfbase.pdfmetrics import stringWidth

from triage.report.chart_parts import (
    INK,
    PALE,
    RULE,
    TEXT,
    block,
    draw_legend,
    legend_height,
    word,
)
from triage.report.document import Figure, Year
from triage.report.fonts import BODY

_BODY = 84.0  # points of height for the largest value
_LIMIT = HexColor("#8C3A00")
_FAR = 5.0  # a limit so many times above every value is named, not drawn


def draw_year(figure: Figure, width: float) -> Drawing:
    """Draw the one mark of a figure of a year."""
    year = next(mark for mark in figure.marks if isinstance(mark, Year))
    most = max(max(values) for _, values in year.states)
    limit = year.limit[0] if year.limit else 0.0
    is_far = limit > _FAR * most
    step = _step(most if is_far else max(most, limit))
    top_value = step * math.ceil(max(most if is_far else max(most, limit), step) / step)
    bottom, head = 14.0, 18.0
    ticks = [step * n for n in range(round(top_value / step) + 1)]
    left = max(stringWidth(f"{tick:,.6g}", BODY, TEXT) for tick in ticks) + 8
    drawing = Drawing(width, bottom + _BODY + head + legend_height(figure.legend, width))
    per_unit = _BODY / top_value
    for tick in ticks:
        y = bottom + tick * per_unit
        drawing.add(Line(left, y, width, y, strokeColor=PALE if tick else RULE, strokeWidth=0.6))
        drawing.add(word(left - 5, y - 2.5, f"{tick:,.6g}", anchor="end"))
    drawing.add(word(0, bottom + _BODY + 9, year.unit))
    _bars(drawing, figure, year, (left, bottom, per_unit))
    if year.limit:
        _limit(drawing, year.limit, (left, bottom, per_unit), is_far)
    draw_legend(drawing, figure.legend, bottom + _BODY + head, width)
    return drawing


def _step(most: float) -> float:
    """A round step that gives three to six ticks."""
    power = 10.0 ** math.floor(math.log10(most / 3)) if most > 0 else 1.0
    return next(k * power for k in (1, 2, 5, 10) if k * power * 6 >= most)


def _bars(drawing: Drawing, figure: Figure, year: Year, at: tuple[float, float, float]) -> None:
    left, bottom, per_unit = at
    slot = (drawing.width - left) / len(year.months)
    thick = slot * 0.76 / len(year.states)
    for n, month in enumerate(year.months):
        start = left + slot * n + slot * 0.12
        drawing.add(word(left + slot * (n + 0.5), 3, month, anchor="middle"))
        for k, (_, values) in enumerate(year.states):
            x, tall = start + k * thick, values[n] * per_unit
            if tall <= 0:
                continue
            block(drawing, x, bottom, thick, tall, *figure.legend[k][1:])
            edge = Rect(x, bottom, thick, tall, fillColor=None, strokeColor=INK, strokeWidth=0.4)
            drawing.add(edge)


def _limit(
    drawing: Drawing, limit: tuple[float, str], at: tuple[float, float, float], is_far: bool
) -> None:
    left, bottom, per_unit = at
    value, text = limit
    right = drawing.width
    if is_far:
        text = f"{text}: above this scale"
        drawing.add(word(right, bottom + _BODY + 9, text, anchor="end", colour=_LIMIT))
        return
    y = bottom + value * per_unit
    line = Line(left, y, right, y, strokeColor=_LIMIT, strokeWidth=1.2, strokeDashArray=(4, 2))
    drawing.add(line)
    long = stringWidth(text, BODY, TEXT)
    drawing.add(Rect(right - long - 4, y + 2, long + 4, 9, fillColor=white, strokeColor=None))
    drawing.add(word(right - 2, y + 4, text, anchor="end", colour=_LIMIT))
