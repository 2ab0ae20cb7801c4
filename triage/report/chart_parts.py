"""What every figure of a document is put together from: words, blocks of colour, a legend."""

import math

from reportlab.graphics.shapes import Circle, Drawing, Line, Rect, String
from reportlab.lib.colors import Color, HexColor, white
from reportlab.pdfbase.pdfmetrics import stringWidth

from triage.report.document import Look
from triage.report.fonts import BODY
from triage.report.labels import QUEUES, visible

INK, PALE, RULE = HexColor("#1A1A1A"), HexColor("#E8E8E4"), HexColor("#8A8A86")
SOFT = HexColor("#4A4A46")
ROW, TEXT, SMALL = 11.0, 7.0, 6.3
LEADING = 8.4  # points from line to line of one label
PLAIN = "#182F5C"
DOTS = "...."  # a hatch for what is not known
_INK_ON = {look.fill: look.ink for look in QUEUES}
_LONGEST = 200  # characters of a label that could ever fit
_EDGED = 2.5  # points; what is thinner would be nothing but its edge
_KEY, _GAP = 13.0, 14.0  # a block of the legend with the space after it, and after its word


def fit(text: str, width: float, size: float = TEXT, font: str = BODY) -> str:
    """Text on one line cut to a width, with an ellipsis where something is lost."""
    text = _short(text)
    if stringWidth(text, font, size) <= width:
        return text
    while text and stringWidth(text + "…", font, size) > width:
        text = text[:-1]
    return text.rstrip() + "…"


def lines_of(
    text: str, width: float, most: int = 2, size: float = TEXT, font: str = BODY
) -> list[str]:
    """Text on at most so many lines of a width; the last is cut if it must be."""
    words, lines = _short(text, most * _LONGEST).split(), [""]
    while words:
        longer = f"{lines[-1]} {words[0]}".strip()
        fits = stringWidth(longer, font, size) <= width
        if not fits and lines[-1] and len(lines) < most:
            lines.append("")
            continue
        if not fits:  # the last line, or a word longer than a line
            rest = " ".join(words) if len(lines) == most else words[0]
            lines[-1] = fit(f"{lines[-1]} {rest}".strip(), width, size, font)
            if len(lines) == most:
                return lines
        else:
            lines[-1] = longer
        del words[0]
    return lines


def _short(text: str, most: int = _LONGEST) -> str:
    text = visible(text)
    return text if len(text) <= most else text[:most] + "…"


def word(
    x: float,
    y: float,
    text: str,
    font: str = BODY,
    anchor: str = "start",
    size: float = TEXT,
    colour: Color = INK,
) -> String:
    """One line of text; `y` is its base line."""
    return String(x, y, text, fontName=font, fontSize=size, fillColor=colour, textAnchor=anchor)


def ink_on(colour: str) -> Color:
    """What is read on the colour of a queue; on any other, dark."""
    return HexColor(_INK_ON[colour]) if colour in _INK_ON else INK


def block(
    drawing: Drawing, x: float, y: float, w: float, h: float, colour: str, hatch: str
) -> None:
    """A filled rectangle; a hatch is drawn on it in white, dots in grey."""
    edge = RULE if hatch == DOTS else white
    edge = edge if min(w, h) > _EDGED else None
    drawing.add(Rect(x, y, w, h, fillColor=HexColor(colour), strokeColor=edge, strokeWidth=0.6))
    if hatch == DOTS:
        _dots(drawing, x, y, w, h)
    elif hatch:
        _stripes(drawing, x, y, w, h)


def _stripes(drawing: Drawing, x: float, y: float, w: float, h: float) -> None:
    """Lines up to the right, 5 points apart, cut at the edges."""
    at = 3.0 - 5.0 * math.floor((h + 3.0) / 5.0)
    while at < w:
        start, end = max(at, 0.0), min(w, at + h)
        if end > start:
            ends = (x + start, y + start - at, x + end, y + end - at)
            drawing.add(Line(*ends, strokeColor=white, strokeWidth=0.5))
        at += 5.0


def _dots(drawing: Drawing, x: float, y: float, w: float, h: float) -> None:
    across, up = max(1, round(w / 4)), max(1, round(h / 4))
    if h < 2 or w < 2:
        return
    for n in range(across):
        for m in range(up):
            at = x + (n + 0.5) * w / across, y + (m + 0.5) * h / up
            drawing.add(Circle(*at, 0.55, fillColor=SOFT, strokeColor=None))


def legend_rows(looks: tuple[Look, ...], width: float) -> list[list[Look]]:
    """The legend on as many lines as it needs."""
    rows: list[list[Look]] = []
    left = 0.0
    for look in looks:
        long = _KEY + stringWidth(look[0], BODY, TEXT) + _GAP
        if not rows or left < long - _GAP:
            rows.append([])
            left = width
        rows[-1].append(look)
        left -= long
    return rows


def legend_height(looks: tuple[Look, ...], width: float) -> float:
    """Room that the legend takes above a figure."""
    return 3.0 + 13.0 * len(legend_rows(looks, width))


def draw_legend(drawing: Drawing, looks: tuple[Look, ...], bottom: float, width: float) -> None:
    """Draw the legend above `bottom`, where the figure ends."""
    rows = legend_rows(looks, width)
    for n, row in enumerate(rows):
        x, y = 0.0, bottom + 4 + 13.0 * (len(rows) - 1 - n)
        for text, colour, hatch in row:
            block(drawing, x, y, 9, 9, colour, hatch)
            drawing.add(word(x + _KEY, y + 2, text))
            x += _KEY + stringWidth(text, BODY, TEXT) + _GAP


def label(drawing: Drawing, x: float, middle: float, lines: list[str], anchor: str) -> None:
    """Lines of one label, centred on a height."""
    top = middle + (len(lines) - 1) * LEADING / 2 - 2.5
    for n, text in enumerate(lines):
        drawing.add(word(x, top - n * LEADING, text, anchor=anchor))
