"""Sheets and letters as PDF: A4, each home on pages of its own, tables that repeat their head."""

from collections.abc import Sequence
from functools import cache
from pathlib import Path
from typing import Any
from xml.sax.saxutils import escape

import matplotlib
from reportlab.lib.colors import HexColor
from reportlab.lib.pagesizes import A4
from reportlab.lib.styles import ParagraphStyle
from reportlab.lib.units import mm
from reportlab.pdfbase.pdfmetrics import registerFont
from reportlab.pdfbase.ttfonts import TTFont
from reportlab.platypus import (
    BaseDocTemplate,
    CondPageBreak,
    Flowable,
    Frame,
    PageBreak,
    PageTemplate,
    Paragraph,
    Spacer,
    Table,
    TableStyle,
)

from triage.report.home_sheet import Block, Grid, Page, Points, Words
from triage.report.sheet_text import shown

_BODY, _BOLD = "TriageSans", "TriageSans-Bold"
_INK, _ACCENT, _RULE, _BAND = (HexColor(c) for c in ("#1A1A1A", "#182F5C", "#9A9A95", "#F3F3EF"))
_MARGIN = 16 * mm
_WIDTH = A4[0] - 2 * _MARGIN
_FOOT = 17 * mm
_TEXT = ParagraphStyle(
    "text",
    fontName=_BODY,
    bulletFontName=_BODY,
    fontSize=8.6,
    leading=11.4,
    textColor=_INK,
    splitLongWords=1,
)
_STRONG = ParagraphStyle("strong", _TEXT, fontName=_BOLD)
_LARGE = ParagraphStyle("large", _TEXT, fontSize=11, leading=16, spaceAfter=7)
_CELL = ParagraphStyle("cell", _TEXT, fontSize=8, leading=10.1)
_HEAD = ParagraphStyle("head", _CELL, fontName=_BOLD)
_SMALL = ParagraphStyle("small", _TEXT, fontSize=7.2, leading=9, textColor=HexColor("#4A4A46"))
_H1 = ParagraphStyle("h1", _TEXT, fontName=_BOLD, fontSize=15, leading=19, textColor=_ACCENT)
_H2 = ParagraphStyle(
    "h2", _TEXT, fontName=_BOLD, fontSize=9.6, leading=12, spaceBefore=7, spaceAfter=2.5
)
_H2.keepWithNext = 1
_H2_ALONE = ParagraphStyle("h2 alone", _H2, keepWithNext=0)
_KEPT = 90 * mm  # a higher table may be split between pages


@cache
def _register() -> None:
    folder = Path(matplotlib.get_data_path()) / "fonts" / "ttf"
    registerFont(TTFont(_BODY, str(folder / "DejaVuSans.ttf")))
    registerFont(TTFont(_BOLD, str(folder / "DejaVuSans-Bold.ttf")))


class _Home(Flowable):  # type: ignore[misc,unused-ignore]
    """Takes no room; tells the foot of the page whose page it is."""

    def __init__(self, page: Page) -> None:
        super().__init__()
        self.page = page

    def wrap(self, *_: float) -> tuple[float, float]:
        return 0, 0

    def draw(self) -> None:
        self.canv.triage_home = self.page
        self.canv.bookmarkPage(f"home-{self.canv.getPageNumber()}")
        key = f"home-{self.canv.getPageNumber()}"
        self.canv.addOutlineEntry(shown(self.page.home)[:80], key, 0, 0)


def write_pages(path: Path, title: str, pages: Sequence[Page], *, large: bool = False) -> None:
    """Write documents of several homes into one file; the same pages give the same bytes.

    Parameters
    ----------
    path
        File to write.
    title
        Title of the file.
    pages
        Documents, each of which starts on a new page. All are held at once: give a few hundred.
    large
        Large type, for letters.
    """
    _register()
    flow: list[Flowable] = []
    for page in pages:
        flow += [PageBreak()] if flow else []
        flow += [_Home(page), *_page(page, large=large)]
    frame = Frame(
        _MARGIN,
        _FOOT,
        _WIDTH,
        A4[1] - _FOOT - 14 * mm,
        leftPadding=0,
        rightPadding=0,
        topPadding=0,
        bottomPadding=0,
    )
    book = BaseDocTemplate(
        str(path),
        pagesize=A4,
        title=shown(title)[:200],
        lang="en",
        invariant=1,
        initialFontName=_BODY,  # else the file would name a font that it does not hold
    )
    book.addPageTemplates([PageTemplate("home", [frame], onPageEnd=_foot)])
    book.build(flow)


def _foot(canvas: Any, book: Any) -> None:  # noqa: ANN401
    page: Page = canvas.triage_home
    canvas.saveState()
    canvas.setStrokeColor(_RULE)
    canvas.line(_MARGIN, 13 * mm, A4[0] - _MARGIN, 13 * mm)
    line = Paragraph(f"{_safe(page.home[:80])}  ·  {_safe(page.foot[:300])}", _SMALL)
    first = line.split(_WIDTH - 45, 2 * _SMALL.leading)[
        0
    ]  # two lines: the rest would leave the page
    _, height = first.wrap(_WIDTH - 45, 2 * _SMALL.leading)
    first.drawOn(canvas, _MARGIN, 13 * mm - 3 - height)
    canvas.setFont(_BODY, 7.2)
    canvas.drawRightString(A4[0] - _MARGIN, 13 * mm - 10, f"page {book.page}")
    canvas.restoreState()


def _safe(text: str) -> str:
    return escape(shown(text)).replace("\n", "<br/>")


def _page(page: Page, *, large: bool) -> list[Flowable]:
    flow: list[Flowable] = [Paragraph(_safe(page.title), _H1)]
    flow += [Paragraph(_safe(line), _SMALL) for line in page.lines]
    flow.append(Spacer(0, 10 if large else 4))
    for block in page.blocks:
        flow += _block(block, large=large)
    return flow


def _block(block: Block, *, large: bool) -> list[Flowable]:
    text = _LARGE if large else _TEXT
    if isinstance(block, Words):
        said = Paragraph(_safe(block.text), _STRONG if block.strong else text)
        return [Spacer(0, 4), said] if block.strong else [said]
    if isinstance(block, Grid):
        return _titled(block)
    lines: list[Flowable] = [
        Paragraph(
            "• " + _safe(line),
            ParagraphStyle("point", text, bulletFontName=_BODY, leftIndent=9, firstLineIndent=-9),
        )
        for line in block.lines
    ]
    if block.strong:
        return [Spacer(0, 5), *_boxed(block)]
    head = ParagraphStyle("h2 large", _H2, fontSize=11.5, leading=15) if large else _H2
    head.keepWithNext = 1
    return [CondPageBreak(16 * mm), Paragraph(_safe(block.title), head), *lines]


def _titled(grid: Grid) -> list[Flowable]:
    """A table below its title: whole where it fits on a page with ease, else from where it is.

    A title that is kept with a table longer than a page would leave the page before it empty.
    """
    made = _table(grid)
    _, height = made.wrap(_WIDTH, A4[1])
    long = height > _KEPT
    title = Paragraph(_safe(grid.title), _H2_ALONE if long else _H2)
    return [CondPageBreak(38 * mm), title, made]


def _boxed(block: Points) -> list[Flowable]:
    rows = [[Paragraph(_safe(block.title), _STRONG)]]
    rows += [[Paragraph("• " + _safe(line), _TEXT)] for line in block.lines]
    made = Table(rows, colWidths=[_WIDTH], repeatRows=1)
    made.setStyle(TableStyle([("BOX", (0, 0), (-1, -1), 1.4, _INK), *_PADDING]))
    return [made]


_PADDING = (
    ("FONTNAME", (0, 0), (-1, -1), _BODY),
    ("VALIGN", (0, 0), (-1, -1), "TOP"),
    ("TOPPADDING", (0, 0), (-1, -1), 2),
    ("BOTTOMPADDING", (0, 0), (-1, -1), 2.6),
    ("LEFTPADDING", (0, 0), (-1, -1), 4),
    ("RIGHTPADDING", (0, 0), (-1, -1), 4),
)


def _cell(text: str) -> str:
    """A cell's text; room to write in by hand where it is blank, a line more for each line end."""
    return _safe(text) if text.strip() else "<br/>".join(["&nbsp;"] * (text.count("\n") + 1))


def _table(grid: Grid) -> Table:
    named = not any(grid.columns)
    rows = [] if named else [[Paragraph(_safe(name), _HEAD) for name in grid.columns]]
    rows += [
        [Paragraph(_cell(text), _HEAD if named and n == 0 else _CELL) for n, text in enumerate(row)]
        for row in grid.rows
    ]
    total = sum(grid.shares)
    made = Table(
        rows,
        colWidths=[_WIDTH * share / total for share in grid.shares],
        repeatRows=0 if named else 1,
        splitInRow=1,
    )
    band = ("BACKGROUND", (0, 0), (0, -1) if named else (-1, 0), _BAND)
    made.setStyle(TableStyle([("GRID", (0, 0), (-1, -1), 0.4, _RULE), band, *_PADDING]))
    return made
