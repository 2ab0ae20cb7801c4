"""The first sheet of the workbook: what this is, the counts, the limits."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import polars as pl

from triage.report.cells import inert_text
from triage.report.context import RunContext
from triage.report.labels import (
    LANES,
    LIMITS,
    LOOK,
    MEASURE_GROUPS,
    PRE_START,
    QUEUES,
    REVIEW,
    SAFE,
    SAFE_MAY_CLAIM,
    SAFE_MAY_NOT_CLAIM,
    SURVEY_QUALITIES,
)
from triage.report.summary import PERCENT_FROM, Summary, share

if TYPE_CHECKING:
    from xlsxwriter import Workbook
    from xlsxwriter.format import Format
    from xlsxwriter.worksheet import Worksheet

_COLUMNS = 13
_LAST = _COLUMNS - 1
_LINE_CHARACTERS = 150  # of the merged width at 10 points
_MIX_HEADINGS = {
    "key": "",
    "total": "All",
    "released": "Safe, released",
    "checks": "Safe, checks outstanding",
    "fix": "Fix water first",
    **{lane: f"Review: {words}" for lane, (words, _) in LANES.items()},
    "no_lane": "Review: no lane",
}
_FONT: dict[str, Any] = {"font_name": "Calibri", "font_size": 10, "valign": "top"}


class _Pen:
    """Writes downwards and remembers the row."""

    def __init__(self, book: Workbook, sheet: Worksheet) -> None:
        self.sheet, self.row = sheet, 0
        make = book.add_format
        line = {"bottom": 4, "bottom_color": "#9AA0A6"}
        self.title = make(_FONT | {"bold": True, "font_size": 16})
        self.section = make(_FONT | {"bold": True, "font_size": 12, "bottom": 2})
        self.text = make(_FONT | {"text_wrap": True})
        self.note = make(_FONT | {"text_wrap": True, "italic": True, "font_color": "#444444"})
        self.head = make(
            _FONT
            | {"bold": True, "text_wrap": True, "bg_color": "#3A3F44", "font_color": "#FFFFFF"}
        )
        self.head_right = make(
            _FONT
            | {"bold": True, "text_wrap": True, "bg_color": "#3A3F44", "font_color": "#FFFFFF"}
            | {"align": "right"}
        )
        self.label = make(_FONT | {"bold": True, "text_wrap": True} | line)
        self.cell = make(_FONT | {"text_wrap": True, "align": "left", "indent": 1} | line)
        self.count = make(_FONT | {"num_format": "#,##0"} | line)
        self.share = make(_FONT | {"num_format": "0.0%"} | line)
        self.dash = make(_FONT | {"align": "right"} | line)
        self.looks = {
            look.queue: make(
                _FONT | {"bold": True, "bg_color": look.fill, "font_color": look.ink} | line
            )
            for look in QUEUES
        }

    def heading(self, text: str) -> None:
        self.row += 1
        self.sheet.merge_range(self.row, 0, self.row, _LAST, text, self.section)
        self.row += 1

    def paragraph(self, text: str, style: Format | None = None) -> None:
        chosen = self.text if style is None else style
        shown = inert_text(text)
        self.sheet.merge_range(self.row, 0, self.row, _LAST, "", chosen)
        self.sheet.write_string(self.row, 0, shown, chosen)
        self.sheet.set_row(self.row, 14 * (1 + len(shown) // _LINE_CHARACTERS))
        self.row += 1

    def heads(self, texts: list[str], numbers: int = _LAST) -> None:
        """Write a heading row; the first is text, then `numbers` columns stand to the right."""
        for place, text in enumerate(texts):
            style = self.head_right if 0 < place <= numbers else self.head
            self.sheet.write_string(self.row, place, text, style)
        lines = 1 + max(len(text) for text in texts) // 13
        self.sheet.set_row(self.row, 3 + 13 * lines)
        self.row += 1

    def line(self, first: str, values: list[int | float | str | None], first_style: Format) -> None:
        self.sheet.write_string(self.row, 0, inert_text(first), first_style)
        for place, value in enumerate(values, start=1):
            if value is None:
                self.sheet.write_string(self.row, place, "–", self.dash)
            elif isinstance(value, str):
                self.sheet.write_string(self.row, place, inert_text(value), self.cell)
            else:
                style = self.count if isinstance(value, int) else self.share
                self.sheet.write_number(self.row, place, value, style)
        self.row += 1


def write_summary(book: Workbook, summary: Summary, context: RunContext) -> None:
    """Add the sheet `Summary` to an open workbook."""
    sheet = book.add_worksheet("Summary")
    sheet.set_column(0, 0, 30)
    sheet.set_column(1, _LAST, 12)
    sheet.hide_gridlines(2)
    pen = _Pen(book, sheet)
    _identity(pen, summary, context)
    _queues(pen, summary)
    _lanes(pen, summary)
    _mix(pen, "By measure", summary.by_measure, MEASURE_GROUPS)
    _mix(pen, "By quality of the survey", summary.by_survey, SURVEY_QUALITIES)
    _stop_work(pen, summary)
    _not_evaluated(pen, context)
    _limits(pen, context)
    sheet.set_landscape()
    sheet.set_paper(9 if context.country_code != "US" else 1)
    sheet.fit_to_pages(1, 0)
    sheet.set_footer("&R&8&A, page &P of &N")


def _identity(pen: _Pen, summary: Summary, context: RunContext) -> None:
    pen.sheet.write_string(0, 0, inert_text(f"Moisture triage: {context.name}"), pen.title)
    pen.sheet.set_row(0, 24)
    pen.row = 1
    pen.paragraph(
        "Every home, building part and proposed measure in one of three queues, with reasons, "
        "what is missing and the next action. A screening result from survey records."
    )
    facts = {
        "As of": f"{context.as_of:%d %B %Y}",
        "Policy": context.policy,
        "Run": context.run_id + (f", {context.software}" if context.software else ""),
        "Homes": context.homes_line(summary.homes),
        "Assessed": f"{summary.rows:,} home-part-measures",
        "Survey rows": (
            f"{context.rows_read:,} read = {context.rows_accepted:,} accepted + "
            f"{context.rows_rejected:,} rejected + {context.rows_superseded:,} superseded"
        ),
    }
    if context.not_assessed:
        facts["Not assessed"] = (
            f"{context.not_assessed:,} proposals name a measure that the policy does not know"
        )
    for label, text in facts.items():
        pen.sheet.write_string(pen.row, 0, label, pen.label)
        pen.sheet.merge_range(pen.row, 1, pen.row, _LAST, "", pen.cell)
        pen.sheet.write_string(pen.row, 1, inert_text(text), pen.cell)
        pen.row += 1


def _queues(pen: _Pen, summary: Summary) -> None:
    pen.heading("The three queues")
    pen.heads(
        [
            "Queue",
            "Rows",
            "Share of all rows",
            "Homes with such a row",
            "Homes, worst queue",
            "Share of homes, worst queue",
        ]
    )
    for queue, rows, homes, worst in summary.queues.iter_rows():
        numbers = [rows, share(rows, summary.rows), homes, worst, share(worst, summary.homes)]
        pen.line(LOOK[queue].title, numbers, pen.looks[queue])
        if queue == SAFE:
            _release(pen, summary)
    pen.line("All", [summary.rows, share(summary.rows, summary.rows), summary.homes], pen.label)
    safe = summary.count(SAFE)
    pen.line(
        "Every required rule answered",
        [summary.decidable, share(summary.decidable, summary.rows)],
        pen.label,
    )
    pen.line("Safe / every rule answered", [safe, share(safe, summary.decidable)], pen.label)
    pen.paragraph(
        "A row is one home, part and measure. A home's worst queue is fix water first before "
        "specialist review before safe to insulate. A home with several rows counts in each "
        f"queue where it has one. Shares are left out where there are under {PERCENT_FROM}.",
        pen.note,
    )


def _release(pen: _Pen, summary: Summary) -> None:
    safe = summary.count(SAFE)
    for label, rows in (
        ("   of these released", summary.released),
        ("   of these with checks outstanding", summary.checks_outstanding),
    ):
        pen.line(label, [rows, share(rows, safe), "of safe rows"], pen.label)
    if summary.accepted:
        shown = [summary.accepted, share(summary.accepted, summary.rows), "of all rows"]
        pen.line("   a specialist accepted a rule that fired", shown, pen.label)


def _lanes(pen: _Pen, summary: Summary) -> None:
    pen.heading("Lanes of specialist review")
    pen.heads(["Lane", "Rows", "Share of review", "  Who acts"], numbers=2)
    review = summary.count(REVIEW)
    for lane, rows in summary.lanes.iter_rows():
        words, who = LANES.get(lane, (lane, ""))
        pen.sheet.merge_range(pen.row, 3, pen.row, _LAST, "", pen.cell)
        pen.line(words.capitalize(), [rows, share(rows, review), who], pen.label)
    if not summary.lanes.height:
        pen.paragraph("No row is in specialist review.")


def _mix(pen: _Pen, title: str, table: pl.DataFrame, names: dict[str, str]) -> None:
    pen.heading(f"{title} (rows)")
    columns = ["key", "total", *(c for c in table.columns if c not in {"key", "total"})]
    pen.heads([_MIX_HEADINGS[column] for column in columns])
    for key, *counts in table.select(columns).iter_rows():
        pen.line(names.get(key, key), list(counts), pen.label)


def _stop_work(pen: _Pen, summary: Summary) -> None:
    pen.heading("Stop-work flags (they hold work that would disturb the item, in any queue)")
    pen.heads(["Flag", "Rows", "Homes"])
    for flag, rows, homes in summary.stop_work.iter_rows():
        pen.line(flag, [rows, homes], pen.label)
    if not summary.stop_work.height:
        pen.paragraph("None raised.")


def _not_evaluated(pen: _Pen, context: RunContext) -> None:
    pen.heading("Rules not evaluated in this version")
    if not context.not_evaluated:
        pen.paragraph("None: every rule of the policy was evaluated.")
        return
    pen.paragraph(
        "These rules were not looked at. Nothing here says that a home passes them: a specialist "
        "has to cover them before any work."
    )
    for rule in context.not_evaluated:
        pen.paragraph(f"{rule}   {context.rule_titles.get(rule, '')}".rstrip())


def _limits(pen: _Pen, context: RunContext) -> None:
    pen.heading("What “safe to insulate” says, and what it does not")
    for text in (SAFE_MAY_CLAIM, SAFE_MAY_NOT_CLAIM, PRE_START):
        pen.paragraph(text)
    pen.heading("Limits and cautions")
    for text in (LIMITS, *context.cautions):
        pen.paragraph(text)
    pen.heading("The queues")
    for look in QUEUES:
        pen.paragraph(f"{look.title}: {look.meaning} A row leaves when {look.leaves}.")
    if context.sources:
        pen.heading("Sources of climate, zones and maps")
        for text in context.sources:
            pen.paragraph(text)
