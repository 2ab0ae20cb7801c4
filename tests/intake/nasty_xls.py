"""Nasty xls fixtures."""

from collections.abc import Callable
from datetime import date
from pathlib import Path
from typing import Any

import xlwt

HEAD = ["property_id", "building_part"]
FILES: dict[str, Callable[[Path], None]] = {}


def _xls(name: str) -> Callable[[Callable[[Any], Any]], Any]:
    def register(make: Callable[[Any], Any]) -> Any:
        def write(path: Path) -> None:
            book = xlwt.Workbook()
            make(book)
            book.save(str(path))

        FILES[name] = write
        return make

    return register


def _fill(book: Any, rows: list[list[Any]], sheet: str = "Roofs") -> Any:
    page = book.add_sheet(sheet, cell_overwrite_ok=True)
    for number, row in enumerate(rows):
        for column, value in enumerate(row):
            if isinstance(value, date):
                page.write(number, column, value, xlwt.easyxf(num_format_str="DD/MM/YYYY"))
            elif value is not None:
                page.write(number, column, value)
    return page


@_xls("old_title_and_total.xls")
def _title_and_total(book: Any) -> None:
    rows = [["Old form 7"], [], [*HEAD, "survey_date"], ["H1", "main", date(2026, 3, 2)]]
    _fill(book, [*rows, ["Block C"], ["H2", "main", date(2026, 3, 3)], ["Total", 2]])


@_xls("old_from_1904.xls")
def _from_1904(book: Any) -> None:
    book.dates_1904 = True
    page = _fill(book, [[*HEAD, "survey_date"], ["H1", "main", 44_621], ["H2", "main"]])
    page.write(2, 2, 44_622, xlwt.easyxf(num_format_str="DD/MM/YYYY"))  # 3 March 2026


@_xls("old_hidden.xls")
def _hidden(book: Any) -> None:
    page = _fill(book, [[*HEAD, "storeys"], ["H1", "main", 1], ["H2", "main", 2]])
    page.row(2).hidden = True
    page.col(2).hidden = True
    other = _fill(book, [HEAD, ["H3", "main"]], "Week 2")
    other.visibility = 1


@_xls("old_formats.xls")
def _formats(book: Any) -> None:
    page = _fill(book, [[*HEAD, "timber_mc_pct", "ceiling_insulation_mm"], [None, "main"]])
    page.write(1, 0, 42, xlwt.easyxf(num_format_str="00000"))
    page.write(1, 2, 0.18, xlwt.easyxf(num_format_str="0%"))
    page.write(1, 3, 4, xlwt.easyxf(num_format_str='0" in"'))


@_xls("old_looks.xls")
def _looks(book: Any) -> None:
    page = _fill(book, [[*HEAD, "storeys"], *([[f"H{k}", "main", k] for k in range(1, 6)])])
    page.write(2, 2, 2, xlwt.easyxf("pattern: pattern solid, fore_colour red"))
    page.write(4, 0, "H4", xlwt.easyxf("font: struck_out on"))
    page.write_merge(1, 2, 1, 1, "main")


@_xls("old_errors.xls")
def _errors(book: Any) -> None:
    page = _fill(book, [[*HEAD, "storeys"], ["H1", "main"], [None, "main", 2]])
    page.row(1).set_cell_error(2, "#DIV/0!")
    page.row(2).set_cell_error(0, 0x2A)  # #N/A
