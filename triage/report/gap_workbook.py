"""The visit list as a workbook: only the cells to be filled, read back by `triage record`."""

from collections.abc import Mapping
from io import BytesIO
from pathlib import Path
from typing import Any

import polars as pl

from triage.contract import Contract, Field
from triage.report.cells import inert, inert_text
from triage.report.template import cell_validation, check_name, label_text, new_book, save_new
from triage.report.template_pages import CodeBlocks, Notes, write_codes, write_pages

_KEYS = ("answer_id", "property_id", "building_part", "field")
_FILL = ("value", "observed_on", "surveyor_id", "survey_method", "photo_refs")
_COLUMNS: tuple[tuple[str, int], ...] = (
    ("(area)", 12),
    ("(last surveyor)", 14),
    ("property_id", 14),
    ("building_part", 13),
    ("(question)", 30),
    ("(what it is)", 48),
    ("(see it from)", 26),
    ("value", 24),
    ("observed_on", 13),
    ("surveyor_id", 13),
    ("survey_method", 17),
    ("photo_refs", 20),
    ("(measures that wait)", 30),
    ("field", 24),
    ("answer_id", 26),
)
_LINE_HEIGHT = 14.5  # points
_A3 = 8
_TITLE_ROW, _HINT_ROW, _HEAD_ROW, _FIRST_ROW = 0, 1, 2, 3
_HINT = (
    "Fill in the white cells. Grey cells say what is asked; leave them as they are. "
    "A question that you could not answer stays blank."
)


def write_gap_workbook(
    path: Path,
    cells: pl.DataFrame,
    waiting: pl.DataFrame,
    contract: Contract,
    measures: Mapping[str, str],
    title: str,
) -> None:
    """Write the questions of a run as a workbook to be filled in.

    Parameters
    ----------
    path
        Where to write it; must end in .xlsx and must not exist.
    cells
        answer_id, key, field, area, surveyor_id, survey_method. The answers that a count assumes
        stay out of the list: nobody who looks should know which one is hoped for.
    waiting
        Key and `measures`, a list of the measure codes that wait.
    contract, measures
        Fields and code lists; measure code -> plain name.
    title
        Programme, date and run.

    Raises
    ------
    FileError
        If a file stands there already, the folder is missing, or it cannot be written.
    """
    check_name(path)
    stream = BytesIO()
    with new_book(stream, "Visit list") as book:
        sheet = book.add_worksheet("Visit list")
        write_pages(book, _notes(title), "`triage record FILE` takes the workbook in.")
        asked = [contract.fields[name] for name in cells["field"].unique().sort()]
        columns = contract.tables["answer"].columns
        blocks = write_codes(book, contract, measures, [*asked, columns["survey_method"]])
        _set_up(book, sheet, title, cells.height)
        _write_rows(book, sheet, _rows(cells, waiting, contract, measures))
        _validate(sheet, cells, contract, blocks)
    save_new(path, stream.getvalue())


def _notes(title: str) -> Notes:
    return (
        ("Visit list", (title,)),
        (
            "How to fill in",
            (
                "One row is one question about one part of one home. Answer in the white cells.",
                "value: pick from the list, or write a number in the unit that the question names. "
                "Where several answers are allowed, put a semicolon between them.",
                "observed_on: the day you looked, as 2026-03-31. surveyor_id: your code.",
                "survey_method: from where you looked. (see it from) says what is enough: from "
                "less than that, an answer is kept but settles nothing.",
                "A question that you could not answer stays blank. Blank never counts as no.",
                "Take a photograph of what you found and name the file in photo_refs.",
                "The grey cells, field and answer_id belong to the question: a row in which they "
                "were changed is refused.",
                "Rows may be sorted, filtered and deleted, and the file may be split.",
            ),
        ),
        (
            "What is asked, and what is not",
            (
                "Each home is asked only for the smallest set of answers that would decide it if "
                "they were good. A bad answer decides too: it sends the home to repair. Write what "
                "you see.",
            ),
        ),
        (
            "Cautions",
            (
                "Do not disturb anything that may hold asbestos. Do not enter a void that is "
                "unsafe, unlit or not boarded, or that has open wiring.",
                "Do not disturb bats, birds or their nests; the law protects them in many places.",
                "Foam, gas, flues, wiring and structure are for people licensed to judge them.",
                "Answers sort homes by moisture risk. They certify nothing, and local codes and "
                "licensed practice stand above them.",
                "Keep names, health and other personal matters out of the workbook.",
            ),
        ),
    )


def _set_up(book: Any, sheet: Any, title: str, rows: int) -> None:  # noqa: ANN401
    bold = book.add_format({"bold": True, "font_size": 12})
    head = book.add_format({"bg_color": "#262626", "font_color": "#FFFFFF", "text_wrap": True})
    sheet.write_string(_TITLE_ROW, 0, inert_text(title), bold)
    sheet.write_string(_HINT_ROW, 0, _HINT)
    for column, (name, width) in enumerate(_COLUMNS):
        sheet.write_string(_HEAD_ROW, column, name, head)
        sheet.set_column(column, column, width)
    sheet.freeze_panes(_FIRST_ROW, _place("building_part") + 1)
    sheet.autofilter(_HEAD_ROW, 0, _HEAD_ROW + max(rows, 1), len(_COLUMNS) - 1)
    sheet.set_landscape()
    sheet.set_paper(_A3)
    sheet.fit_to_pages(1, 0)
    sheet.repeat_rows(_HEAD_ROW)
    allowed = ("sort", "autofilter", "delete_rows", "format_columns", "format_rows")
    sheet.protect("", dict.fromkeys(allowed, True))


def _place(name: str) -> int:
    return [column for column, _ in _COLUMNS].index(name)


def _rows(
    cells: pl.DataFrame, waiting: pl.DataFrame, contract: Contract, measures: Mapping[str, str]
) -> pl.DataFrame:
    """What stands in the columns, as text that no office program runs."""
    asked = [contract.fields[name] for name in cells["field"].unique().sort()]
    labels = {field.name: _question(field) for field in asked}
    meanings = {field.name: field.help or field.meaning for field in asked}
    methods = {c.code: c.definition for c in contract.definitions(contract.fields["survey_method"])}
    joined = cells.join(waiting, on=["property_id", "building_part"], how="left")
    named = pl.col("measures").list.eval(
        pl.element().replace(list(measures), list(measures.values()))
    )
    text = pl.String()
    shown = {
        "(area)": pl.col("area"),
        "(last surveyor)": pl.col("surveyor_id"),
        "(question)": pl.col("field").replace_strict(labels, return_dtype=text),
        "(what it is)": pl.col("field").replace_strict(meanings, return_dtype=text),
        "(see it from)": pl.format(
            "{}: {}",
            "survey_method",
            pl.col("survey_method").replace_strict(methods, default="", return_dtype=text),
        ),
        "(measures that wait)": named.list.join("; "),
        **{name: pl.col(name) for name in _KEYS},
    }
    order = ["area", "surveyor_id", "property_id", "building_part", "field"]
    return joined.sort(order, nulls_last=True).select(
        inert(expr).alias(name) for name, expr in shown.items()
    )


def _question(field: Field) -> str:
    unit = "" if field.unit in ("", "-") else f" [{field.unit}]"
    return label_text(field) + unit


def _write_rows(book: Any, sheet: Any, rows: pl.DataFrame) -> None:  # noqa: ANN401
    grey = book.add_format(
        {"bg_color": "#ECECEC", "valign": "top", "text_wrap": True, "num_format": "@"}
    )
    edge = {"locked": False, "valign": "top", "border": 1, "border_color": "#7F7F7F"}
    kinds = {"observed_on": "yyyy-mm-dd"}
    fill = {
        name: book.add_format({**edge, "num_format": kinds.get(name, "@")})
        for name in _FILL
        if name != "value"
    }
    fill["value"] = book.add_format(edge)  # a number is a number, a code is text
    for row, height in enumerate(_heights(rows)):
        sheet.set_row(_FIRST_ROW + row, height)
    for column, (name, _) in enumerate(_COLUMNS):
        if name in _FILL:
            for row in range(rows.height):
                sheet.write_blank(_FIRST_ROW + row, column, None, fill[name])
        else:
            for row, text in enumerate(rows[name]):
                sheet.write(_FIRST_ROW + row, column, text or "", grey)


def _heights(rows: pl.DataFrame) -> pl.Series:
    """Height of each row by its longest wrapped text, in points."""
    lines = [
        (pl.col(name).str.len_chars().fill_null(0) / (width - 4)).ceil()
        for name, width in _COLUMNS
        if name in rows.columns
    ]
    return rows.select(pl.max_horizontal(1, *lines).alias("lines") * _LINE_HEIGHT).to_series()


def _validate(sheet: Any, cells: pl.DataFrame, contract: Contract, blocks: CodeBlocks) -> None:  # noqa: ANN401
    """Lists and limits of each question's own field, and of who looked, when and from where."""
    order = ["area", "surveyor_id", "property_id", "building_part", "field"]
    numbered = cells.sort(order, nulls_last=True).with_row_index("_row", offset=_FIRST_ROW)
    value = _place("value")
    for (name,), part in numbered.group_by("field", maintain_order=True):
        rule = cell_validation(contract.fields[str(name)], blocks)
        spans = _spans(part["_row"])
        first, last = spans[0]
        rule["other_cells"] = [(a, value, b, value) for a, b in spans[1:]]
        sheet.data_validation(first, value, last, value, rule)
    columns = contract.tables["answer"].columns
    if cells.height:
        last = _FIRST_ROW + cells.height - 1
        for name in ("observed_on", "survey_method"):
            rule = cell_validation(columns[name], blocks)
            sheet.data_validation(_FIRST_ROW, _place(name), last, _place(name), rule)


def _spans(rows: pl.Series) -> list[tuple[int, int]]:
    """Runs of neighbouring rows, first and last of each."""
    ordered = rows.sort().to_frame("row")
    run = pl.col("row").cast(pl.Int64) - pl.int_range(pl.len())
    spans = ordered.group_by(run.alias("_run"), maintain_order=True).agg(
        pl.min("row").alias("first"), pl.max("row").alias("last")
    )
    return [(int(a), int(b)) for a, b in spans.select("first", "last").iter_rows()]
