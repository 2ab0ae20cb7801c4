"""The summary that a run prints on the terminal."""

from __future__ import annotations

import os
import sys
from collections.abc import Mapping
from typing import TextIO

import polars as pl
from rich import box
from rich.console import Console
from rich.table import Table
from rich.text import Text

from triage.report.context import RunContext
from triage.report.labels import (
    LANES,
    LOOK,
    MEASURE_GROUPS,
    REVIEW,
    SAFE,
    visible,
)
from triage.report.summary import Summary, share

_PLAIN_WIDTH = 100  # of a file or a pipe, unless COLUMNS says otherwise
_WIDE = 100  # from here the lanes have columns of their own
_NARROW = 64  # below it only the three queues have columns
_NARROWEST = 40

_Group = tuple[str, tuple[str, ...]]  # heading, the mix classes it adds up
_RELEASED: _Group = ("Safe,\nreleased", ("released",))
_CHECKS: _Group = ("Safe,\nchecks", ("checks",))
_SAFE: _Group = ("Safe", ("released", "checks"))
_FIX: _Group = ("Fix\nwater", ("fix",))
_REVIEW: _Group = ("Review", (*LANES, "no_lane"))
_LANE_HEADINGS = {
    "technical": "Tech-\nnical",
    "safety": "Safety",
    "contradiction": "Contra-\ndiction",
    "expired": "Expired",
    "evidence_gap": "Evid.\ngap",
    "inspection": "Inspec-\ntion",
    "repeat_return": "Repeat\nreturn",
    "no_lane": "No\nlane",
}


def print_summary(
    summary: Summary,
    context: RunContext,
    problems: Mapping[str, int],
    outputs: Mapping[str, str],
    file: TextIO | None = None,
) -> None:
    """Print what a run found: queues, lanes, mix by measure and by survey, limits, files.

    Parameters
    ----------
    summary
        Counts of the queue table.
    context
        Identity and limits of the run.
    problems
        Number of problems by kind.
    outputs
        What it is -> where it is.
    file
        Standard output if None. Colours and line drawing only on a terminal; plain text else.
    """
    target = sys.stdout if file is None else file
    console = _console(target)
    _say(console, f"{context.name}, as of {context.as_of:%d %B %Y}", style="bold")
    _say(console, f"policy {context.policy}, run {context.run_id}")
    _say(console, _rows_line(summary, context))
    for table in (
        _queue_table(summary, console),
        _mix_table("By measure", summary.by_measure, MEASURE_GROUPS, console),
        _mix_table("By survey quality", summary.by_survey, {}, console),
    ):
        console.print()
        console.print(table)
    console.print()
    for line in _notes(summary, context, problems):
        _say(console, line)
    for what, where in outputs.items():
        _say(console, f"{what}: {where}", whole=True)


def _console(target: TextIO) -> Console:
    on_terminal = target.isatty()
    columns = os.environ.get("COLUMNS", "")
    width = None
    if not on_terminal:
        width = max(int(columns), _NARROWEST) if columns.isdigit() else _PLAIN_WIDTH
    return Console(
        file=target,
        width=width,
        force_terminal=on_terminal,
        color_system="auto" if on_terminal else None,
        markup=False,
        highlight=False,
        emoji=False,
    )


def _say(console: Console, text: str, style: str = "", *, whole: bool = False) -> None:
    """Print text that came from outside: no markup in it, no control characters of terminals.

    `whole` keeps a path on one line, so that it can be copied.
    """
    console.print(Text(visible(text), style=style), soft_wrap=whole)


def _rows_line(summary: Summary, context: RunContext) -> str:
    return (
        f"{context.rows_read:,} survey rows read = {context.rows_accepted:,} accepted + "
        f"{context.rows_rejected:,} rejected + {context.rows_superseded:,} superseded; "
        f"{context.homes_line(summary.homes)}: {summary.rows:,} home-part-measures"
    )


def _new_table(title: str, console: Console, headings: list[str]) -> Table:
    style = box.SIMPLE_HEAD if console.is_terminal else None
    table = Table(
        title=title,
        title_justify="left",
        title_style="bold",
        box=style,
        pad_edge=False,
        padding=(0, 2, 0, 0),
    )
    for place, heading in enumerate(headings):
        right = place > 0
        table.add_column(heading, justify="right" if right else "left", overflow="fold")
    return table


def _queue_table(summary: Summary, console: Console) -> Table:
    homes = ["Homes,\nworst"] if console.width >= _NARROW else []
    table = _new_table("Queues", console, ["Queue", "Rows", "Share", *homes])

    def add(words: str, rows: int, percent: str, worst: str = "") -> None:
        cells: list[Text | str] = [Text(visible(words)), f"{rows:,}", percent, worst]
        table.add_row(*cells[: len(table.columns)])

    for queue, rows, _, worst in summary.queues.iter_rows():
        add(LOOK[queue].queue, rows, _percent(rows, summary.rows), f"{worst:,}")
        for words, count in _inside(queue, summary):
            add(f"  {words}", count, _percent(count, summary.rows))
    add("all", summary.rows, "", f"{summary.homes:,}")
    return table


def _inside(queue: str, summary: Summary) -> list[tuple[str, int]]:
    """What a queue is made of: released or not, lanes."""
    if queue == SAFE:
        return [("released", summary.released), ("checks outstanding", summary.checks_outstanding)]
    if queue == REVIEW:
        rows = summary.lanes.iter_rows()
        return [(LANES[lane][0] if lane in LANES else lane, count) for lane, count in rows]
    return []


def _mix_table(title: str, mix: pl.DataFrame, names: Mapping[str, str], console: Console) -> Table:
    lanes = [(words, (lane,)) for lane, words in _LANE_HEADINGS.items() if lane in mix.columns]
    narrow = console.width < _NARROW
    groups: list[_Group] = [_SAFE] if narrow else [_RELEASED, _CHECKS]
    groups += [_FIX, *(lanes if console.width >= _WIDE else [_REVIEW])]
    headings = ["", "All", *(heading for heading, _ in groups)]
    table = _new_table(f"{title} (rows)", console, headings)
    for row in mix.iter_rows(named=True):
        counts = [sum(row.get(part) or 0 for part in parts) for _, parts in groups]
        label = row["key"] if narrow else names.get(row["key"], row["key"])
        table.add_row(
            Text(visible(label)), f"{row['total']:,}", *(f"{count:,}" for count in counts)
        )
    return table


def _percent(part: int, whole: int) -> str:
    value = share(part, whole)
    return "" if value is None else f"{value:.0%}"


def _notes(summary: Summary, context: RunContext, problems: Mapping[str, int]) -> list[str]:
    notes = []
    if problems:
        ranked = sorted(problems.items(), key=lambda item: (-item[1], item[0]))
        listed = ", ".join(f"{kind} {count:,}" for kind, count in ranked)
        notes.append(f"problems: {sum(problems.values()):,} ({listed})")
    if context.not_assessed:
        notes.append(f"not assessed: {context.not_assessed:,} proposals name an unknown measure")
    if summary.accepted:
        notes.append(f"accepted by a specialist: {summary.accepted:,} rows on which a rule fired")
    notes.extend(context.to_know)
    if context.not_evaluated:
        rules = ", ".join(context.not_evaluated)
        notes.append(f"not evaluated in this version: {rules}; no row is cleared of these")
    notes.extend(f"caution: {text}" for text in context.cautions)
    return notes
