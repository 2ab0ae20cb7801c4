"""Draws homes that move between queues: two columns, joined by bands as thick as their homes."""

from collections.abc import Sequence

from reportlab.graphics.shapes import Drawing, Line, Path
from reportlab.lib.colors import Color, HexColor, white
from reportlab.pdfbase.pdfmetrics import stringWidth

from triage.report.chart_parts import (
    DOTS,
    INK,
    LEADING,
    RULE,
    SMALL,
    SOFT,
    TEXT,
    block,
    draw_legend,
    fit,
    ink_on,
    legend_height,
    lines_of,
    word,
)
from triage.report.document import Figure, Flow, Flows, Place
from triage.report.fonts import BODY, BOLD

STAYED = ("Stayed", "#DEDED8", "")
UNKNOWN = ("Withheld or rounding", "#F1F1ED", DOTS)
_BODY = 92.0  # points of height that all homes together take
_COLUMN, _SIDE = 10.0, 0.3  # width of a column; share of the width for its words
_GAP, _HEAD = 5.0, 13.0
_NUMBERED = 8.0  # points from which on a band has its number on it
_OUTLINED = 1.5  # points; a thinner band would be nothing but its outline
_LEAST = 1.4  # points; a place with any home is seen


def draw_flows(figure: Figure, width: float) -> Drawing:
    """Draw the one mark of a figure of flows."""
    flows = next(mark for mark in figure.marks if isinstance(mark, Flows))
    side = width * _SIDE
    homes = max(_all(flows.before), _all(flows.after), 1)
    per_home = _BODY / homes
    columns = (flows.before, flows.after)
    words = [[_words(place, side - 8) for place in places] for places in columns]
    tall = [
        [_slot(place, lines, per_home) for place, lines in zip(places, told, strict=True)]
        for places, told in zip(columns, words, strict=True)
    ]
    top = max(sum(slots) for slots in tall)
    drawing = Drawing(width, top + _HEAD + legend_height(figure.legend, width))
    lefts = (side, width - side - _COLUMN)
    middles = [_middles(slots, top) for slots in tall]
    _bands(drawing, flows, middles, (lefts[0] + _COLUMN, lefts[1]), per_home)
    for n, places in enumerate(columns):
        anchor = "end" if n == 0 else "start"
        x = side - 6 if n == 0 else width - side + 6
        drawing.add(word(x, top + 4, fit(flows.heads[n], side - 6, TEXT, BOLD), BOLD, anchor))
        for number, place in enumerate(places):
            at = middles[n][number]
            _place(drawing, flows, (n, number), (lefts[n], at), per_home)
            _label(drawing, place, words[n][number], (x, at), anchor)
    draw_legend(drawing, figure.legend, top + _HEAD, width)
    return drawing


def _all(places: Sequence[Place]) -> int:
    return sum(place.homes for place in places)


def _words(place: Place, width: float) -> list[str]:
    return lines_of(place.detail, width, 2, SMALL) if place.detail else []


def _slot(place: Place, details: list[str], per_home: float) -> float:
    """Height that a place and its words take."""
    return max(place.homes * per_home, LEADING * (1 + len(details)) + 1.5) + _GAP


def _middles(slots: list[float], top: float) -> list[float]:
    """Height of the middle of each place, from above, a shorter column in the middle."""
    at, found = top - (top - sum(slots)) / 2, []
    for slot in slots:
        found.append(at - slot / 2)
        at -= slot
    return found


def _place(
    drawing: Drawing,
    flows: Flows,
    which: tuple[int, int],
    at: tuple[float, float],
    per_home: float,
) -> None:
    """The bar of one place; what no band of it shows is dotted."""
    side, number = which
    place = (flows.before, flows.after)[side][number]
    shown = sum(f.homes for f in flows.flows if (f.was, f.now)[side] == number)
    tall, drawn = place.homes * per_home, shown * per_home
    x, top = at[0], at[1] + tall / 2
    if place.homes == 0:
        drawing.add(Line(x, at[1], x + _COLUMN, at[1], strokeColor=RULE, strokeWidth=0.8))
        return
    _, colour, hatch = place.look
    if shown:
        high = max(drawn, _LEAST)
        block(drawing, x, top - high, _COLUMN, high, colour, hatch)
    if place.homes > shown:
        block(drawing, x, top - tall, _COLUMN, tall - drawn, *UNKNOWN[1:])


def _label(
    drawing: Drawing,
    place: Place,
    details: list[str],
    at: tuple[float, float],
    anchor: str,
) -> None:
    x, middle = at
    y = middle + LEADING * len(details) / 2 - 2.5
    long = stringWidth(f"  {place.shown}", BODY, TEXT)
    room = drawing.width * _SIDE - 8 - long
    name = fit(place.name, room, TEXT, BOLD)
    if anchor == "end":
        drawing.add(word(x, y, place.shown, anchor="end"))
        drawing.add(word(x - long, y, name, BOLD, "end"))
    else:
        drawing.add(word(x, y, name, BOLD))
        after = stringWidth(f"{name}  ", BOLD, TEXT)
        drawing.add(word(x + after, y, place.shown))
    for n, text in enumerate(details, 1):
        drawing.add(word(x, y - n * LEADING, text, anchor=anchor, size=SMALL, colour=SOFT))


def _bands(
    drawing: Drawing,
    flows: Flows,
    middles: list[list[float]],
    edges: tuple[float, float],
    per_home: float,
) -> None:
    """Those who stayed first, the moves on them; each in the colour of where it ends."""
    starts, ends = _tops(flows, middles, per_home)
    numbers = []
    for n in sorted(range(len(flows.flows)), key=lambda n: (flows.flows[n].is_move, n)):
        flow = flows.flows[n]
        thick = flow.homes * per_home
        colour = flows.after[flow.now].look[1] if flow.is_move else STAYED[1]
        _band(drawing, edges, (starts[n], ends[n]), thick, (HexColor(colour), flow))
        if thick >= _NUMBERED:
            at = edges[0] + 5, starts[n] - thick / 2 - 2.5
            numbers.append(word(*at, f"{flow.homes:,}", colour=ink_on(colour)))
    for number in numbers:
        drawing.add(number)


def _tops(
    flows: Flows, middles: list[list[float]], per_home: float
) -> tuple[list[float], list[float]]:
    """Upper edge of each band at both of its ends; bands do not cross within a column."""
    tops = [
        [middle + place.homes * per_home / 2 for middle, place in zip(column, places, strict=True)]
        for column, places in zip(middles, (flows.before, flows.after), strict=True)
    ]
    starts, ends = [0.0] * len(flows.flows), [0.0] * len(flows.flows)
    order = range(len(flows.flows))
    for n in sorted(order, key=lambda n: (flows.flows[n].was, flows.flows[n].now)):
        flow = flows.flows[n]
        starts[n] = tops[0][flow.was]
        tops[0][flow.was] -= flow.homes * per_home
    for n in sorted(order, key=lambda n: (flows.flows[n].now, flows.flows[n].was)):
        flow = flows.flows[n]
        ends[n] = tops[1][flow.now]
        tops[1][flow.now] -= flow.homes * per_home
    return starts, ends


def _band(
    drawing: Drawing,
    edges: tuple[float, float],
    tops: tuple[float, float],
    thick: float,
    look: tuple[Color, Flow],
) -> None:
    (left, right), (start, end) = edges, tops
    colour, flow = look
    middle = (left + right) / 2
    line = (INK if thick >= _OUTLINED else colour) if flow.is_move else white
    path = Path(fillColor=colour, strokeColor=line, strokeWidth=0.4)
    path.moveTo(left, start)
    path.curveTo(middle, start, middle, end, right, end)
    path.lineTo(right, end - thick)
    path.curveTo(middle, end - thick, middle, start - thick, left, start - thick)
    path.closePath()
    drawing.add(path)
