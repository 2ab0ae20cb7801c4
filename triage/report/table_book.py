"""A workbook of plain tables, one sheet each, with a title and a line of identity."""

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import polars as pl
import xlsxwriter

from triage.report.block_sheet import SHEET_ROWS, Block, BlockSheet
from triage.report.cells import inert

_HEADING_ROW = 2  # zero-based
_BASE: dict[str, Any] = {"font_name": "Calibri", "font_size": 10, "valign": "top", "align": "left"}
_WIDEST, _NARROWEST = 60, 9


@dataclass(frozen=True, slots=True)
class TableSheet:
    """One sheet: its name, the title above it, and its table; lists become lines of a cell."""

    name: str
    title: str
    frame: pl.DataFrame


def csv_text(frame: pl.DataFrame) -> pl.DataFrame:
    """A table as text for CSV: lists joined, cells that an office program would run made inert."""
    joined = frame.with_columns(pl.col(pl.List(pl.String)).list.join("; "))
    texts = [name for name, dtype in joined.schema.items() if dtype == pl.String]
    return joined.with_columns(inert(pl.col(name)).alias(name) for name in texts)


def write_tables(path: Path, sheets: Sequence[TableSheet], stamp: str) -> None:
    """Write a workbook; a table longer than a sheet goes on in `name (2)` and so on."""
    options = {"strings_to_formulas": False, "strings_to_urls": False}
    longest = SHEET_ROWS - _HEADING_ROW - 1
    with xlsxwriter.Workbook(str(path), options) as book:
        line = _BASE | {"bottom": 4, "bottom_color": "#9AA0A6"}
        looks = {
            "title": book.add_format(_BASE | {"bold": True, "font_size": 14}),
            "heading": book.add_format(
                _BASE
                | {"bold": True, "text_wrap": True, "bottom": 2}
                | {"bg_color": "#3A3F44", "font_color": "#FFFFFF"}
            ),
            "text": book.add_format(line | {"text_wrap": True}),
            "day": book.add_format(line | {"num_format": "yyyy-mm-dd"}),
        }
        for sheet in sheets:
            frame = sheet.frame.with_columns(pl.col(pl.List(pl.String)).list.join("\n"))
            for part, start in enumerate(range(0, max(frame.height, 1), longest), start=1):
                name = sheet.name if part == 1 else f"{sheet.name} ({part})"
                page = book.add_worksheet(name, worksheet_class=BlockSheet)
                page.write_string(0, 0, sheet.title, looks["title"])
                page.write_string(1, 0, stamp, looks["text"])
                _fill(page, frame.slice(start, longest), looks)


def _fill(page: BlockSheet, frame: pl.DataFrame, looks: dict[str, Any]) -> None:
    widths = []
    for place, (name, dtype) in enumerate(frame.schema.items()):
        heading = name.replace("_", " ").capitalize()
        page.write_string(_HEADING_ROW, place, heading, looks["heading"])
        longest = frame[name].str.len_chars().max() if dtype == pl.String else None
        need = max(len(heading), longest if isinstance(longest, int) else 0)
        widths.append(float(min(max(need + 2, _NARROWEST), _WIDEST)))
        page.set_column(place, place, widths[-1])
    formats = tuple(looks["day" if dtype == pl.Date else "text"] for dtype in frame.dtypes)
    page.set_block(Block(_HEADING_ROW + 1, frame, formats, tuple(widths)))
    page.freeze_panes(_HEADING_ROW + 1, 1)
    page.autofilter(_HEADING_ROW, 0, _HEADING_ROW + frame.height, max(frame.width - 1, 0))
    page.set_landscape()
    page.fit_to_pages(1, 0)
