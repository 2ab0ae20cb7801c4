"""Finds what is wrong with the lines of a delimited text: swallowed by a quote, short, cut off."""

import csv
import io
from collections import Counter
from collections.abc import Iterator, Sequence

import polars as pl

from triage.errors import FileError, Place
from triage.intake.sheets import Note

_LEAST_DELIMITERS = 3  # in a line inside of a cell, before it is taken for a row of its own
_MOST_TOLD = 100  # short lines named one by one
_MOST_CELLS = 10_000  # cells of several lines that are looked into
_QUOTES = "check the quotation marks around there; one is opened and not closed"


def refuse_swallowed_lines(text: str, cells: pl.DataFrame, delimiter: str, shown: str) -> None:
    """Refuse a text in which a quotation mark that is not closed took rows into one cell.

    Raises
    ------
    FileError
        With the row at which the quotation mark stands.
    """
    if text.count('"') % 2:  # else the end of the text cannot lie inside of quotes
        reader = csv.reader(io.StringIO(text, newline=""), delimiter=delimiter, strict=True)
        count = 0
        try:
            for _ in reader:
                count += 1
        except csv.Error as error:
            if "unexpected end" in str(error):
                what = "a quotation mark is opened and never closed; rows below it would be lost"
                raise FileError(what, Place(shown, row=count + 1), _QUOTES) from error
    least = max(_LEAST_DELIMITERS, cells.width - 1)
    for name in cells.columns:
        column = cells.get_column(name)
        lines = column.str.contains("[\r\n]").fill_null(False).arg_true()
        for row in lines.head(_MOST_CELLS):
            inner = str(column[row]).splitlines()[1:]
            if any(line.count(delimiter) >= least for line in inner):
                what = "one cell holds whole rows of the survey"
                raise FileError(what, Place(shown, row=row + 1, column=name), _QUOTES)


def short_lines(widths: Sequence[int], *, is_cut: bool) -> Iterator[Note]:
    """Lines with fewer cells than most, where that is the exception.

    Parameters
    ----------
    widths
        Number of cells of each line.
    is_cut
        Whether the text ends without a line end.
    """
    usual, count = (
        Counter(width for width in widths if width > 1).most_common(1)[0]
        if any(width > 1 for width in widths)
        else (0, 0)
    )
    first = next((k for k, width in enumerate(widths) if width == usual), 0)
    short = [k for k in range(first, len(widths)) if 1 < widths[k] < usual]
    if is_cut and len(widths) > first + 1 and 0 < widths[-1] < usual:
        message = f"the last line has {widths[-1]} of {usual} cells: is the file cut off?"
        yield Note("cut_off", message, len(widths))
        short = [k for k in short if k != len(widths) - 1]
    if len(short) * 2 > count:
        return  # a program that leaves empty cells at the end out
    for k in short[:_MOST_TOLD]:
        message = (
            f"the line has {widths[k]} of {usual} cells; if one in the middle is missing, the "
            "others stand in the wrong columns"
        )
        yield Note("short_line", message, k + 1)
    if len(short) > _MOST_TOLD:
        yield Note("short_line", f"{len(short) - _MOST_TOLD} more lines are short", None)
