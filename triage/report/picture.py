"""A figure that stands alone: title, drawing, words and stamp as one SVG and one PNG."""

import math
from html import escape
from pathlib import Path
from warnings import catch_warnings, filterwarnings

from matplotlib import rc_context
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure as Canvas
from reportlab.graphics.shapes import Drawing, Group
from reportlab.lib.colors import Color

from triage.report.chart_parts import INK, SOFT, TEXT, lines_of, word
from triage.report.charts import draw
from triage.report.document import Figure
from triage.report.fonts import BODY, BOLD
from triage.report.labels import visible
from triage.report.shapes import paint
from triage.report.svg import svg_text

_WIDTH, _EDGE = 560.0, 16.0  # points
_TITLE = 11.0
_MOST = 14  # lines of one text
_DPI = 200


def write_picture(folder: Path, figure: Figure, stamp: str) -> tuple[str, str]:
    """Write `NAME.svg` and `NAME.png` of a figure; the same figure gives the same bytes.

    Parameters
    ----------
    folder
        Where to; it exists.
    figure
        What to draw. Its text alternative is told to who cannot see the picture, and printed
        unless the labels say all of it.
    stamp
        Last line: programme, run, cautions.

    Returns
    -------
    tuple
        Names of the two files.
    """
    page = _page(figure, stamp)
    names = f"{figure.name}.svg", f"{figure.name}.png"
    head = f"<title>{_told(figure.title)}</title><desc>{_told(figure.alt)}</desc>"
    svg = svg_text(page, figure.name)
    named = f'<svg role="img" aria-label="{_told(f"{figure.title}. {figure.alt}")}" '
    svg = svg.replace("<svg ", named, 1)
    end = svg.index(">") + 1
    (folder / names[0]).write_text(
        f'<?xml version="1.0" encoding="utf-8"?>\n{svg[:end]}{head}{svg[end:]}\n',
        encoding="utf-8",
        newline="\n",
    )
    canvas = Canvas(figsize=(page.width / 72, page.height / 72), dpi=_DPI)
    FigureCanvasAgg(canvas)
    paint(page, canvas)
    told = {"Software": None, "Title": visible(figure.title), "Description": visible(figure.alt)}
    # Without hints lines are as long as they were reckoned; a letter that no font has is a box.
    with rc_context({"text.hinting": "none"}), catch_warnings():
        filterwarnings("ignore", "Glyph .* missing", UserWarning)
        canvas.savefig(folder / names[1], dpi=_DPI, metadata=told)
    return names


def _told(text: str) -> str:
    return escape(visible(text), quote=True)


def _page(figure: Figure, stamp: str) -> Drawing:
    """Everything of a figure below each other."""
    inner = _WIDTH - 2 * _EDGE
    drawn = draw(figure, inner)
    head = [
        *_lines(figure.title, inner, _TITLE, BOLD, INK),
        *_lines(figure.unit, inner, TEXT, BODY, SOFT),
    ]
    texts = ("" if figure.says_all else figure.alt, figure.note, stamp)
    foot = [line for text in texts if text for line in _lines(text, inner, TEXT, BODY, SOFT)]
    tall = [sum(size + 3 for _, size, *_ in part) for part in (head, foot)]
    # Whole points: an SVG's view box has no others, and would cut what is over.
    page = Drawing(_WIDTH, math.ceil(tall[0] + drawn.height + tall[1] + 2 * _EDGE + 14))
    y = page.height - _EDGE
    y = _write(page, head, y) - 6 - drawn.height
    moved = Group(*drawn.contents, transform=(1, 0, 0, 1, _EDGE, y))
    page.add(moved)
    _write(page, foot, y - 6)
    return page


_Line = tuple[str, float, str, Color]


def _lines(text: str, width: float, size: float, font: str, colour: Color) -> list[_Line]:
    return [(line, size, font, colour) for line in lines_of(text, width, _MOST, size, font)]


def _write(page: Drawing, lines: list[_Line], top: float) -> float:
    for text, size, font, colour in lines:
        top -= size + 3
        page.add(word(_EDGE, top + 3, text, font, size=size, colour=colour))
    return top
