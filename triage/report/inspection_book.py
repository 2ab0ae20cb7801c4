"""The inspection list of a wave: a row a roof, with the record to be filled in."""

from io import BytesIO
from pathlib import Path
from typing import Any

import polars as pl

from triage.contract import Contract
from triage.learn.selection import Selection
from triage.report.cells import inert, inert_text
from triage.report.record_template import SHEETS
from triage.report.template import check_name, new_book, save_new, write_grid
from triage.report.template_pages import Notes, write_codes, write_pages

_FIRST_RECORD = 3  # zero-based row below the field names
_KINDS = ("inspection", "opening")
_LAST = "`triage record FILE` takes the workbook in."
_NOTES: Notes = (
    (
        "How to use this list",
        (
            "The sheet Tasks holds the roofs to visit in the order of areas and scaffolds, with "
            "what each was chosen for, and the reserve. It is for reading.",
            "The sheet Inspections holds the record of each roof. Fill in the blank columns; leave "
            "inspection_id, property_id, building_part, selection_stream, stratum and "
            "selection_weight as they are.",
            "A roof that could not be opened is a record too: write no_access, refused or unsafe "
            "in outcome_status, and then visit the next roof of the reserve of its stratum.",
            "The sheet Openings takes a row for each opening, with the inspection_id it is of.",
            "Rows that nobody visited yet may stay as they are: they are left out.",
        ),
    ),
    (
        "Cautions",
        (
            "Do not open anything before the checks for asbestos, wiring, flues and protected "
            "species that the law and local codes ask for.",
            "One clean opening does not clear a roof. What targeted openings find is never a rate.",
            "People stand here by a code, not by name, unless the programme agreed otherwise.",
        ),
    ),
)
_TASKS = (
    ("Order", "visit_order", 8),
    ("Area", "visit_area", 20),
    ("Scaffold", "scaffold", 16),
    ("Home", "property_id", 14),
    ("Part", "building_part", 10),
    ("Stream", "stream", 11),
    ("Stratum", "stratum", 44),
    ("Priority", "priority", 10),
    ("Likelihood", "likelihood", 11),
    ("from", "start_from", 36),
    ("moved by", "moved_by", 36),
    ("Consequence", "consequence", 13),
    ("because of", "consequence_of", 36),
    ("Unknown", "unknown_fields", 36),
    ("Timing", "timing_of", 30),
)


def write_inspection_book(
    path: Path, selection: Selection, contract: Contract, stamp: str, run_id: str
) -> None:
    """Write the inspection list.

    Parameters
    ----------
    path
        Where to write it; must end in .xlsx and must not exist.
    selection
        What was drawn.
    contract
        Tables and code lists of records.
    stamp
        Where it comes from.
    run_id
        Of the run; part of the ids.

    Raises
    ------
    FileError
        If a file stands there already, or it cannot be written.
    """
    check_name(path)
    stream = BytesIO()
    tables = {kind: list(contract.tables[kind].columns.values()) for kind in _KINDS}
    with new_book(stream, "Inspection list") as book:
        tasks = book.add_worksheet("Tasks")
        sheets = {kind: book.add_worksheet(SHEETS[kind]) for kind in _KINDS}
        write_pages(book, _NOTES, _LAST)
        blocks = write_codes(book, contract, {}, [f for fields in tables.values() for f in fields])
        for kind, fields in tables.items():
            write_grid(book, sheets[kind], [fields], blocks)
        _write_tasks(book, tasks, selection, stamp)
        names = [field.name for field in tables["inspection"]]
        _prefill(sheets["inspection"], _records(selection, run_id), names)
    save_new(path, stream.getvalue())


def _records(selection: Selection, run_id: str) -> pl.DataFrame:
    return selection.chosen.sort("visit_order").select(
        pl.format("W-{}-{}", pl.lit(run_id[:6]), "roof_id").alias("inspection_id"),
        "property_id",
        "building_part",
        pl.col("stream").alias("selection_stream"),
        "stratum",
        "selection_weight",
    )


def _write_tasks(book: Any, sheet: Any, selection: Selection, stamp: str) -> None:  # noqa: ANN401
    bold = book.add_format({"bold": True, "font_size": 12})
    head = book.add_format({"bg_color": "#262626", "font_color": "#FFFFFF", "text_wrap": True})
    cell = book.add_format({"text_wrap": True, "valign": "top"})
    sheet.write_string(0, 0, "Foamed roofs to open", bold)
    sheet.write_string(1, 0, inert_text(stamp))
    reserve = selection.reserve.with_columns(
        pl.lit("reserve").alias("stream"),
        pl.lit(None, pl.UInt32).alias("visit_order"),
        pl.col("area").fill_null("area not known").alias("visit_area"),
        pl.coalesce("building_id", "property_id").alias("scaffold"),
    )
    both = pl.concat([selection.chosen.sort("visit_order"), reserve], how="diagonal_relaxed")
    for column, (title, name, width) in enumerate(_TASKS):
        sheet.set_column(column, column, width, cell)
        sheet.write_string(2, column, title, head)
        for row, value in enumerate(_shown(both, name), start=3):
            if isinstance(value, int | float):
                sheet.write_number(row, column, value, cell)
            elif value is not None:
                sheet.write_string(row, column, value, cell)
    sheet.freeze_panes(3, 5)
    sheet.autofilter(2, 0, 2 + both.height, len(_TASKS) - 1)
    sheet.set_landscape()
    sheet.set_paper(8)
    sheet.fit_to_pages(1, 0)
    sheet.repeat_rows(2)


def _shown(frame: pl.DataFrame, name: str) -> list[Any]:
    series = frame[name]
    if isinstance(series.dtype, pl.List):
        series = series.cast(pl.List(pl.String)).list.join("\n")
    if series.dtype.is_numeric():
        return [None if v is None else round(float(v), 4) for v in series]
    return pl.select(inert(pl.lit(series.cast(pl.String)))).to_series().to_list()


def _prefill(sheet: Any, rows: pl.DataFrame, names: list[str]) -> None:  # noqa: ANN401
    for name in rows.columns:
        column = names.index(name)
        for row, value in enumerate(_shown(rows, name), start=_FIRST_RECORD):
            if isinstance(value, float):
                sheet.write_number(row, column, value)
            elif value is not None:
                sheet.write_string(row, column, value)
