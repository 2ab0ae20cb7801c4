"""One sheet as read: all cells as text, with what the file says beside the cells."""

from collections.abc import Collection, Mapping
from dataclasses import dataclass, field

import polars as pl


@dataclass(frozen=True, slots=True)
class Note:
    """Something about one cell, row or column that the text of the cells does not show."""

    kind: str
    message: str
    row: int | None = None
    column: str | None = None
    raw: str | None = None


@dataclass(frozen=True, slots=True)
class Sheet:
    """All cells of one sheet.

    `cells` has one String column per sheet column, named by its letters; its row 0 is the row
    `first_row` of the file. Cells without text are null. An error cell holds its error text.
    `decimal` is the decimal sign of a delimited text (`is_text`), `is_1904` the day count of a
    workbook that says so. `looks` is how cells look -> rows of the file: colours, strokes.
    """

    name: str | None
    cells: pl.DataFrame
    notes: tuple[Note, ...] = ()
    first_row: int = 1
    is_hidden: bool = False
    decimal: str = "."
    is_text: bool = False
    is_1904: bool = False
    looks: Mapping[str, Collection[int]] = field(default_factory=dict)

    @property
    def is_empty(self) -> bool:
        """Whether no cell holds any text."""
        has_text = (pl.all().str.strip_chars() != "").any()
        is_bare = self.cells.width == 0 or self.cells.height == 0
        return is_bare or not any(self.cells.select(has_text).row(0))


def letters(index: int) -> str:
    """Letters of a sheet column; 0 is A, 26 is AA."""
    text = ""
    index += 1
    while index:
        index, digit = divmod(index - 1, 26)
        text = chr(65 + digit) + text
    return text


def column_index(text: str) -> int:
    """Number of the column with these letters; A is 0."""
    number = 0
    for letter in text:
        number = number * 26 + ord(letter) - 64
    return number - 1
