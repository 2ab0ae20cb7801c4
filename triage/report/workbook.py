"""The workbook of a run: a summary, a sheet a queue, what is missing, what could not be read."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any, NamedTuple

import polars as pl
import xlsxwriter

from triage.report.block_sheet import SHEET_ROWS, Block, BlockSheet
from triage.report.cells import inert_text
from triage.report.context import RunContext
from triage.report.labels import LOOK, QUEUES, QueueLook
from triage.report.queue_columns import Column, queue_columns, worded_queue
from triage.report.summary import Summary, summarise
from triage.report.workbook_summary import write_summary

if TYPE_CHECKING:
    from xlsxwriter import Workbook
    from xlsxwriter.format import Format

_HEADING_ROW = 2  # zero-based: a title and a line of identity stand above
_BASE: dict[str, Any] = {
    "font_name": "Calibri",
    "font_size": 10,
    "valign": "top",
    "align": "left",
}
_GREY_HEADING = QueueLook("", "", "", "", "#3A3F44", "#FFFFFF", "", "")


@dataclass(frozen=True, slots=True)
class _Sheet:
    """A table that becomes one sheet, or several if it is too long for one."""

    name: str
    title: str
    look: QueueLook
    columns: list[Column]
    frame: pl.DataFrame
    freeze: int  # columns that stay in sight


class PlainSheet(NamedTuple):
    """A table that becomes a grey sheet; `headings` gives words and widths to its columns."""

    name: str
    title: str
    frame: pl.DataFrame
    headings: Mapping[str, tuple[str, float]]


def write_queue_workbook(
    path: Path,
    queue: pl.DataFrame,
    gaps: pl.DataFrame,
    problems: pl.DataFrame,
    context: RunContext,
    *,
    summary: Summary | None = None,
    visits: pl.DataFrame | None = None,
    more: Sequence[PlainSheet] = (),
    rows_per_sheet: int = SHEET_ROWS - _HEADING_ROW - 1,
) -> None:
    """Write the workbook of a run.

    Parameters
    ----------
    path
        File to write, ending in .xlsx. Its folder must exist.
    queue
        One row per home, part and measure, as in `queue.parquet`.
    gaps
        field, label, homes_blocked, alone, measure_group and any further plain columns, in the
        order wanted. `label` also words the missing fields on the queue sheets.
    problems
        kind, field, raw, file, sheet, row, column, message and any further plain columns.
    context
        Identity and limits of the run.
    summary
        Counts of `queue`, if already made.
    visits
        Sets of missing fields that together settle a home: fields, fields_n, measure_group,
        homes; None leaves the sheet out.
    more
        Sheets between the queues and the gaps.
    rows_per_sheet
        Longest sheet; a longer table goes on in `name (2)` and so on.
    """
    counts = summarise(queue) if summary is None else summary
    options = {"strings_to_formulas": False, "strings_to_urls": False}
    with xlsxwriter.Workbook(str(path), options) as book:
        book.set_properties({"title": f"Queues of {context.name}", "comments": context.stamp})
        write_summary(book, counts, context)
        queues, rest = _sheets(queue, gaps, visits, problems, context)
        between = [_plain_sheet(*sheet) for sheet in more]
        for sheet in (*queues, *between, *rest):
            _write_table(book, sheet, context, rows_per_sheet)


def _sheets(
    queue: pl.DataFrame,
    gaps: pl.DataFrame,
    visits: pl.DataFrame | None,
    problems: pl.DataFrame,
    context: RunContext,
) -> tuple[list[_Sheet], list[_Sheet]]:
    """The sheets of the queues, and the plain ones after them."""
    labels = _field_labels(gaps)
    worded = worded_queue(queue, context.rule_titles, labels)
    sheets = []
    for look in QUEUES:
        columns = queue_columns(look.queue)
        rows = worded.filter(pl.col("queue") == look.queue)
        table = rows.select(column.value.alias(column.heading) for column in columns)
        title = f"{look.title}: {rows.height:,} of {queue.height:,} home-part-measures"
        sheets.append(_Sheet(look.queue, title, look, columns, table, freeze=3))
    gap_title = "Missing evidence, and how many homes wait for it"
    problem_title = "What could not be read or used, and where it stands in your files"
    visit_title = "Visits: answers that, if good, together settle homes; most homes first"
    rest = [] if visits is None else [PlainSheet("Visits", visit_title, visits, VISIT_HEADINGS)]
    rest += [
        PlainSheet("Gaps", gap_title, gaps, GAP_HEADINGS),
        PlainSheet("Problems", problem_title, problems, PROBLEM_HEADINGS),
    ]
    return sheets, [_plain_sheet(*sheet) for sheet in rest]


def _field_labels(gaps: pl.DataFrame) -> dict[str, str]:
    known = gaps.select("field", "label").drop_nulls().unique("field", keep="first")
    return dict(known.iter_rows())


GAP_HEADINGS: Mapping[str, tuple[str, float]] = {
    "field": ("Field", 30),
    "label": ("Name", 26),
    "meaning": ("What it is", 46),
    "look": ("From where it counts", 34),
    "measure_group": ("Measure", 18),
    "homes_blocked": ("Homes waiting for it", 14),
    "alone": ("Homes waiting for it alone", 14),
}
VISIT_HEADINGS: Mapping[str, tuple[str, float]] = {
    "fields": ("Record on one visit", 90),
    "fields_n": ("Answers", 10),
    "measure_group": ("Measure", 18),
    "homes": ("Homes waiting for these", 14),
}
PROBLEM_HEADINGS: Mapping[str, tuple[str, float]] = {
    "kind": ("Kind", 18),
    "field": ("Field", 26),
    "raw": ("As written", 26),
    "file": ("File", 30),
    "sheet": ("Sheet", 16),
    "row": ("Row", 8),
    "column": ("Column", 20),
    "message": ("What is wrong, and what to do", 70),
}


def _plain_sheet(
    name: str, title: str, frame: pl.DataFrame, headings: Mapping[str, tuple[str, float]]
) -> _Sheet:
    columns = []
    for column, dtype in frame.schema.items():
        heading, width = headings.get(column, (column.replace("_", " ").capitalize(), 18))
        value = pl.col(column).list.join("\n") if isinstance(dtype, pl.List) else pl.col(column)
        columns.append(Column(heading, value, width))
    table = frame.select(column.value.alias(column.heading) for column in columns)
    return _Sheet(name, title, _GREY_HEADING, columns, table, freeze=1)


def _write_table(book: Workbook, sheet: _Sheet, context: RunContext, rows_per_sheet: int) -> None:
    height = sheet.frame.height
    starts = range(0, max(height, 1), rows_per_sheet)
    for part, start in enumerate(starts, start=1):
        name = sheet.name if part == 1 else f"{sheet.name} ({part})"
        more = f" (sheet {part} of {len(starts)})" if len(starts) > 1 else ""
        page = book.add_worksheet(name, worksheet_class=BlockSheet)
        frame = sheet.frame.slice(start, rows_per_sheet)
        _write_head(book, page, sheet, sheet.title + more, context)
        _write_body(book, page, sheet, frame)
        _set_up(page, sheet, frame.height, context)


def _write_head(
    book: Workbook, page: BlockSheet, sheet: _Sheet, title: str, context: RunContext
) -> None:
    page.write_string(0, 0, title, book.add_format(_BASE | {"bold": True, "font_size": 14}))
    grey = book.add_format(_BASE | {"font_color": "#444444"})
    page.write_string(1, 0, inert_text(context.stamp), grey)
    look = sheet.look
    heading = book.add_format(
        _BASE
        | {"bold": True, "text_wrap": True, "bg_color": look.fill, "font_color": look.ink}
        | {"bottom": 2, "valign": "vcenter"}
    )
    page.set_row(_HEADING_ROW, 32)
    for place, column in enumerate(sheet.columns):
        page.write_string(_HEADING_ROW, place, column.heading, heading)


def _write_body(book: Workbook, page: BlockSheet, sheet: _Sheet, frame: pl.DataFrame) -> None:
    line = _BASE | {"bottom": 4, "bottom_color": "#9AA0A6"}
    text = book.add_format(line | {"text_wrap": True})
    bold = book.add_format(line | {"text_wrap": True, "bold": True})
    day = book.add_format(line | {"num_format": "yyyy-mm-dd", "align": "left"})
    formats: list[Format] = [
        day if dtype == pl.Date else bold if place == 0 else text
        for place, dtype in enumerate(frame.dtypes)
    ]
    widths = tuple(column.width for column in sheet.columns)
    for place, width in enumerate(widths):
        page.set_column(place, place, width)
    page.set_block(Block(_HEADING_ROW + 1, frame, tuple(formats), widths))


def _set_up(page: BlockSheet, sheet: _Sheet, rows: int, context: RunContext) -> None:
    page.freeze_panes(_HEADING_ROW + 1, sheet.freeze)
    page.autofilter(_HEADING_ROW, 0, _HEADING_ROW + rows, len(sheet.columns) - 1)
    page.set_landscape()
    page.set_paper(3 if context.country_code == "US" else 8)  # tabloid, or A3
    page.repeat_rows(_HEADING_ROW)
    page.repeat_columns(0, sheet.freeze - 1)
    page.set_margins(left=0.4, right=0.4, top=0.5, bottom=0.6)
    page.fit_to_pages(3 if sheet.freeze > 1 else 1, 0)
    page.set_footer(f"&L&8{_footer(context.stamp)}&R&8&A, page &P of &N")
    if sheet.look in LOOK.values():
        page.set_tab_color(sheet.look.fill)


def _footer(text: str) -> str:
    return text.replace("&", "&&")[:200]  # a footer holds 255 characters, and & is its escape
