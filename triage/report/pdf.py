"""Printed documents: A4 pages with a foot line, tables that repeat their header, no surprise."""

from collections.abc import Sequence
from pathlib import Path
from xml.sax.saxutils import escape

from reportlab.lib.colors import HexColor
from reportlab.lib.pagesizes import A4
from reportlab.lib.styles import ParagraphStyle
from reportlab.lib.units import mm
from reportlab.pdfgen.canvas import Canvas
from reportlab.platypus import (
    CondPageBreak,
    Flowable,
    KeepTogether,
    Paragraph,
    SimpleDocTemplate,
    Spacer,
    Table,
    TableStyle,
)

from triage.report.charts import draw
from triage.report.document import Document, Figure, Grid, Section, Words
from triage.report.fonts import BODY, BOLD, register_fonts
from triage.report.labels import visible

INK, ACCENT, RULE, BAND = (HexColor(c) for c in ("#1A1A1A", "#182F5C", "#B9B9B4", "#F3F3EF"))
MARGIN = 15 * mm
PADDING = 6  # points; the frame of a page keeps them on each side
WIDTH = A4[0] - 2 * MARGIN - 2 * PADDING
_SHORT = 210  # points; a table shorter than this stays on one page
LONGEST = 600  # characters of one text of a survey or a programme file that a page shows
_TEXT = ParagraphStyle("text", fontName=BODY, fontSize=8, leading=10.8, textColor=INK)
_STRONG = ParagraphStyle("strong", _TEXT, fontName=BOLD)
_SMALL = ParagraphStyle("small", _TEXT, fontSize=6.6, leading=8.2, textColor=HexColor("#4A4A46"))
_CELL = ParagraphStyle("cell", _TEXT, fontSize=7.1, leading=8.7)
_NUMBER = ParagraphStyle("number", _CELL, alignment=2)
_HEAD = ParagraphStyle("head", _CELL, fontName=BOLD)
_HEAD_NUMBER = ParagraphStyle("head number", _HEAD, alignment=2)
_CAPTION = ParagraphStyle("caption", _TEXT, fontName=BOLD, fontSize=8, leading=10.5)
_H1 = ParagraphStyle(
    "h1", _TEXT, fontName=BOLD, fontSize=17, leading=21, textColor=ACCENT, splitLongWords=1
)
_H2 = ParagraphStyle(
    "h2",
    _TEXT,
    fontName=BOLD,
    fontSize=10.5,
    leading=13,
    textColor=ACCENT,
    spaceBefore=7,
    spaceAfter=2,
)


def marked(text: str, most: int = LONGEST) -> str:
    """Text as reportlab takes it: no mark-up, no steering characters, no endless words."""
    shown = visible(text)
    shown = shown if len(shown) <= most else shown[:most].rstrip() + " … (cut)"
    return escape(shown)


def paragraph(text: str, style: ParagraphStyle = _TEXT) -> Paragraph:
    """One paragraph of plain text; cut where no page would hold it."""
    most = {_HEAD.name: 60, _HEAD_NUMBER.name: 60, _CELL.name: 240, _NUMBER.name: 60}
    return Paragraph(marked(text, most.get(style.name, LONGEST)), style)


def table(grid: Grid, width: float = WIDTH) -> Table:
    """A table whose header is repeated on every page."""
    heads = [
        paragraph(text, _HEAD if n < grid.texts else _HEAD_NUMBER)
        for n, text in enumerate(grid.columns)
    ]
    rows = [
        [paragraph(t, _CELL if n < grid.texts else _NUMBER) for n, t in enumerate(row)]
        for row in grid.shown()[0]
    ]
    every = [heads, *rows] if grid.has_head else rows
    made = Table(every, colWidths=_widths(grid, width), repeatRows=int(grid.has_head))
    made.setStyle(
        TableStyle(
            [
                ("VALIGN", (0, 0), (-1, -1), "TOP"),
                ("LINEBELOW", (0, 0), (-1, 0), *((0.9, ACCENT) if grid.has_head else (0.25, RULE))),
                ("LINEBELOW", (0, 1), (-1, -1), 0.25, RULE),
                ("TOPPADDING", (0, 0), (-1, -1), 1.1),
                ("BOTTOMPADDING", (0, 0), (-1, -1), 1.5),
                ("LEFTPADDING", (0, 0), (-1, -1), 2.5),
                ("RIGHTPADDING", (0, 0), (-1, -1), 2.5),
            ]
        )
    )
    return made


def _widths(grid: Grid, width: float) -> list[float]:
    if grid.widths:
        return [width * share / sum(grid.widths) for share in grid.widths]
    numbers = len(grid.columns) - grid.texts
    each = min(62.0, 0.68 * width / max(numbers, 1))
    words = (width - numbers * each) / grid.texts
    return [words] * grid.texts + [each] * numbers


def _grid(grid: Grid) -> list[Flowable]:
    """Title, table, notes; the title goes as the first row would, never alone."""
    title = [paragraph(grid.title, _CAPTION)] if grid.has_head else []
    notes = [paragraph(note, _SMALL) for note in grid.shown()[1]]
    body = table(grid)
    tall = body.wrap(WIDTH, A4[1] * 100)[1]
    room = tall + 34 if tall < _SHORT else 110
    return [CondPageBreak(room), *title, body, *notes, Spacer(0, 4)]


def _figure(figure: Figure) -> list[Flowable]:
    told = (figure.note,) if figure.says_all else (figure.alt, figure.note)
    parts = [
        paragraph(figure.title, _CAPTION),
        paragraph(figure.unit, _SMALL),
        Spacer(0, 3),
        draw(figure, WIDTH),
        *(paragraph(text, _SMALL) for text in told if text),
    ]
    return [KeepTogether(parts), Spacer(0, 4)]


def _blocks(section: Section) -> list[Flowable]:
    flow: list[Flowable] = []
    for block in section.blocks:
        if isinstance(block, Grid) and not block.on_paper:
            continue
        if isinstance(block, Words):
            flow += [paragraph(block.text, _STRONG if block.strong else _TEXT), Spacer(0, 2.5)]
        elif isinstance(block, Grid):
            flow += _grid(block)
        else:
            flow += _figure(block)
    # A heading stays with the start of what it heads.
    first = next((b for b in section.blocks if not isinstance(b, Grid) or b.on_paper), None)
    room = 90.0 + (draw(first, WIDTH).height if isinstance(first, Figure) else 0.0)
    return [CondPageBreak(room), paragraph(section.title, _H2), *flow]


def sign_off(lines: Sequence[tuple[str, str]]) -> Table:
    """A box for the name, the role, the date and the hand of whoever answers for it."""
    cells = [(paragraph(what, _HEAD), paragraph(said, _CELL)) for what, said in lines]
    cells += [("", "")] * (len(cells) % 2)
    rows = [[*one, *other] for one, other in zip(cells[::2], cells[1::2], strict=True)]
    made = Table(rows, colWidths=[WIDTH * share for share in (0.11, 0.39, 0.11, 0.39)])
    made.setStyle(
        TableStyle(
            [
                ("BOX", (0, 0), (-1, -1), 0.8, ACCENT),
                ("INNERGRID", (0, 0), (-1, -1), 0.25, RULE),
                ("VALIGN", (0, 0), (-1, -1), "MIDDLE"),
                ("TOPPADDING", (0, 0), (-1, -1), 6),
                ("BOTTOMPADDING", (0, 0), (-1, -1), 8),
            ]
        )
    )
    return made


def write_pdf(path: Path, document: Document) -> None:
    """Write a document; the same document gives the same bytes."""
    register_fonts()
    flow: list[Flowable] = [paragraph(document.title, _H1), paragraph(document.subtitle, _STRONG)]
    for section in document.sections:
        flow += _blocks(section)
    if document.sign_off:
        flow.append(KeepTogether([paragraph("Sign-off", _H2), sign_off(document.sign_off)]))
    made = SimpleDocTemplate(
        str(path),
        pagesize=A4,
        leftMargin=MARGIN,
        rightMargin=MARGIN,
        topMargin=11 * mm,
        bottomMargin=14 * mm,
        title=visible(document.title)[:LONGEST],
        subject=visible(document.subtitle)[:LONGEST],
        lang="en",
        invariant=1,
    )

    def foot(canvas: Canvas, page: SimpleDocTemplate) -> None:
        left = MARGIN + PADDING
        canvas.saveState()
        canvas.setStrokeColor(RULE)
        canvas.line(left, 13 * mm, left + WIDTH, 13 * mm)
        line = paragraph(document.stamp, _SMALL)
        line.wrap(WIDTH - 50, 20)
        line.drawOn(canvas, left, 13 * mm - 2 - min(line.height, 18))
        canvas.setFont(BODY, 6.9)
        canvas.drawRightString(left + WIDTH, 13 * mm - 9, f"page {page.page}")
        canvas.restoreState()

    made.build(flow, onFirstPage=foot, onLaterPages=foot)
