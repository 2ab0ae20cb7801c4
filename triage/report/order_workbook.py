"""The workbook of work orders: a row a task, the measures that wait, and the records to return."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from io import BytesIO
from pathlib import Path
from typing import Any

import polars as pl

from triage.contract import Contract
from triage.report.block_sheet import SHEET_ROWS, Block, BlockSheet
from triage.report.cells import inert, inert_text, joined
from triage.report.labels import FIX, LOOK, REVIEW
from triage.report.queue_columns import Column
from triage.report.template import new_book, save_new, write_grid
from triage.report.template_pages import Notes, write_codes, write_pages

_HEADING_ROW = 2  # zero-based
_FIRST_RECORD = 3  # zero-based row below the field names of a template
_BASE: dict[str, Any] = {"font_name": "Calibri", "font_size": 10, "valign": "top", "align": "left"}
_RECORD_LAST = "`triage record FILE` takes this workbook in once the record sheet is filled."


@dataclass(frozen=True, slots=True)
class OrderBook:
    """What one workbook holds: whose it is, which queue, its tasks and its measures."""

    title: str
    stamp: str
    queue: str
    tasks: pl.DataFrame
    measures: pl.DataFrame
    cautions: tuple[str, ...]


def write_order_book(
    path: Path, book: OrderBook, contract: Contract, measures: Mapping[str, str]
) -> None:
    """Write one workbook; the same orders give the same bytes.

    Raises
    ------
    FileError
        If the file exists or cannot be written.
    """
    stream = BytesIO()
    with new_book(stream, inert_text(book.title)) as made:
        looks = _looks(made)
        _sheets(made, "Tasks", book, book.tasks, task_columns(book.queue), looks)
        _sheets(made, "Measures", book, book.measures, _measure_columns(), looks)
        kind, rows = _records(book)
        if kind is not None:
            fields = list(contract.tables[kind].columns.values())
            sheet = made.add_worksheet("Repairs" if kind == "repair" else "Inspections")
            write_pages(made, _notes(book), _RECORD_LAST)
            blocks = write_codes(made, contract, measures, fields)
            write_grid(made, sheet, [fields], blocks)
            _prefill(sheet, rows, [field.name for field in fields])
        else:
            write_pages(made, _notes(book), "Fill in nothing but the columns that are blank.")
    save_new(path, stream.getvalue())


def _notes(book: OrderBook) -> Notes:
    back = (
        "The sheet Repairs holds a row for each task. Complete it as the work goes on: type of "
        "repair, contractor, days, photographs, test, readings. A row that nobody took up may stay "
        "as it is: with no day, contractor or anything else filled in, it is left out.",
        "Somebody other than the installer sets repair_verified to yes, with the day, photographs "
        "from after the repair and a test by rain or water.",
        "Do not edit repair_id: it ties the record to this order.",
    )
    look_back = (
        "The sheet Inspections holds a row for each part that has to be opened up. Complete the "
        "rows that were done; a row that stays as it is is left out.",
        "Do not edit inspection_id: it ties the record to this order.",
    )
    parts: list[tuple[str, tuple[str, ...]]] = [
        (
            LOOK[book.queue].title,
            (LOOK[book.queue].meaning, f"Leaves it when {LOOK[book.queue].leaves}."),
        )
    ]
    if book.queue in (FIX, REVIEW):
        parts.append(("Records to return", back if book.queue == FIX else look_back))
    parts.append(("Cautions", book.cautions))
    return tuple(parts)


def _records(book: OrderBook) -> tuple[str | None, pl.DataFrame]:
    """The table of records to return and its rows as far as the order knows them."""
    if book.queue == FIX:
        return "repair", book.tasks.select(
            pl.col("task").alias("repair_id"),
            "property_id",
            "building_part",
            pl.col("rule").alias("trigger_rule_ids"),
            pl.col("told_place").alias("defect_location"),
            "repair_type",
            pl.lit("no").alias("repair_verified"),
            pl.col("repaired").fill_null(0).cast(pl.String).alias("reopened_count"),
        )
    if book.queue != REVIEW:
        return None, book.tasks.clear()
    opened = book.tasks.filter(pl.col("lane") == "inspection")
    parts = opened.unique(["property_id", "building_part"], keep="first", maintain_order=True)
    return "inspection", parts.select(
        pl.format("IN-{}", pl.col("task")).alias("inspection_id"), "property_id", "building_part"
    )


def _prefill(sheet: Any, rows: pl.DataFrame, names: Sequence[str]) -> None:  # noqa: ANN401
    """What an order knows already. Few columns; the rows of one area."""
    for name in rows.columns:
        texts = rows.select(inert(pl.col(name).cast(pl.String)).alias("text"))["text"].to_list()
        if name == "reopened_count":
            for place, text in enumerate(texts):
                sheet.write_number(_FIRST_RECORD + place, names.index(name), int(text))
            continue
        for place, text in enumerate(texts):
            if text is not None:
                sheet.write_string(_FIRST_RECORD + place, names.index(name), text)


def _sheets(
    made: Any,  # noqa: ANN401
    name: str,
    book: OrderBook,
    frame: pl.DataFrame,
    columns: list[Column],
    looks: dict[str, Any],
) -> None:
    shown = frame.select(column.value.alias(column.heading) for column in columns)
    if shown.height > SHEET_ROWS - _HEADING_ROW - 1:
        raise ValueError(f"{shown.height} tasks do not fit on one sheet: make areas smaller")
    page = made.add_worksheet(name, worksheet_class=BlockSheet)
    page.write_string(0, 0, inert_text(book.title), looks["title"])
    page.write_string(1, 0, inert_text(book.stamp), looks["stamp"])
    for place, column in enumerate(columns):
        page.write_string(_HEADING_ROW, place, column.heading, looks["heading"])
        page.set_column(place, place, column.width)
    formats = tuple(looks["day" if t == pl.Date else "text"] for t in shown.dtypes)
    widths = tuple(column.width for column in columns)
    page.set_block(Block(_HEADING_ROW + 1, shown, formats, widths))
    page.freeze_panes(_HEADING_ROW + 1, 2)
    page.autofilter(_HEADING_ROW, 0, _HEADING_ROW + shown.height, len(columns) - 1)
    page.set_landscape()
    page.set_paper(9)
    page.repeat_rows(_HEADING_ROW)
    page.fit_to_pages(1, 0)


def _looks(made: Any) -> dict[str, Any]:  # noqa: ANN401
    line = _BASE | {"bottom": 4, "bottom_color": "#9AA0A6"}
    dark = {"bg_color": "#3A3F44", "font_color": "#FFFFFF", "bold": True, "text_wrap": True}
    return {
        "title": made.add_format(_BASE | {"bold": True, "font_size": 14}),
        "stamp": made.add_format(_BASE),
        "heading": made.add_format(_BASE | dark),
        "text": made.add_format(line | {"text_wrap": True}),
        "day": made.add_format(line | {"num_format": "yyyy-mm-dd"}),
    }


def task_columns(queue: str) -> list[Column]:
    """Columns of the sheet Tasks of one queue."""
    who = [
        Column("Task", pl.col("task"), 22),
        Column("Home", pl.col("property_id"), 15),
        Column("Part", pl.col("building_part"), 10),
        Column("Area", pl.col("area"), 12),
        Column("Could not be reached", pl.col("access"), 16),
    ]
    flags = Column("Stop-work flags", joined("stop_work"), 26)
    cautions = Column("Cautions", joined("cautions"), 44)
    order = [Column("Order", pl.col("order"), 17), Column("Building", pl.col("building_id"), 14)]
    order.append(Column("Photographs on file", joined("photographs"), 20))
    survey = Column("Survey date", pl.col("survey_on"), 12)
    if queue == FIX:
        return [
            *who,
            Column("Defect and why it matters", pl.col("what"), 46),
            Column("What surveys say", pl.col("where"), 30),
            Column("Elevation, element (on record)", pl.col("told_place"), 20),
            Column("Repair wanted", pl.col("wanted"), 44),
            Column("Must not be done", joined("must_not"), 40),
            flags,
            Column("Measures waiting", joined("measures"), 30),
            Column("Drying interval in days", pl.col("drying_days"), 11),
            Column(
                "Earliest verification if completed on the date of evidence",
                pl.col("earliest_check"),
                16,
            ),
            Column("Hazard first recorded", pl.col("hazard_first_on"), 12),
            Column("Severity (1 to 5)", pl.col("severity"), 9),
            Column("Rule", pl.col("rule"), 8),
            cautions,
            Column("Notes", joined("notes"), 40),
            survey,
            *order,
        ]
    middle = (
        [
            Column("Who acts", pl.col("who"), 24),
            Column("Measure", pl.col("measure"), 24),
            Column("Question", pl.col("what"), 46),
            Column("What fired", joined("fired_words"), 40),
            Column("Cannot be decided yet", joined("open_words"), 40),
            Column("Evidence wanted", joined("evidence_words"), 30),
            Column("Computed figures", joined("figures"), 44),
            Column("Conflicting records", joined("conflict_notes"), 44),
            Column("Next action", pl.col("next_action"), 44),
        ]
        if queue == REVIEW
        else [
            Column("Measure", pl.col("measure"), 24),
            Column("Judged for (material, thickness)", pl.col("judged_for"), 26),
            Column(
                "Standing",
                pl.when("released")
                .then(pl.lit("released"))
                .otherwise(pl.lit("checks outstanding")),
                16,
            ),
            Column("What this says", pl.col("what"), 36),
            Column("Checks before start", joined("checks"), 44),
            Column("Enabling work first", joined("enabling"), 40),
            Column("Evidence good until", pl.col("expires_on"), 12),
        ]
    )
    end = [
        Column("Climate zone", pl.col("zone"), 9),
        Column("Rain exposure", pl.col("exposure"), 12),
    ]
    return [
        *who,
        *middle,
        flags,
        cautions,
        Column("Notes", joined("notes"), 40),
        *end,
        survey,
        *order,
    ]


def _measure_columns() -> list[Column]:
    """Columns of the sheet Measures: the row of the queue that each order answers."""
    return [
        Column("Order", pl.col("order"), 17),
        Column("Home", pl.col("property_id"), 15),
        Column("Part", pl.col("building_part"), 10),
        Column("Measure", pl.col("measure"), 26),
        Column("Measure code", pl.col("measure_code"), 16),
        Column("Main reason", pl.col("reason"), 46),
        Column("All that fired (rules)", joined("fired", ", "), 24),
        Column("Not decidable yet (rules)", joined("undecidable", ", "), 24),
        Column("Checks before start", joined("checks"), 40),
        Column("Enabling work", joined("enabling"), 40),
    ]
