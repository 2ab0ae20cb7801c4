"""A worksheet that takes whole columns at a time.

`Worksheet.write` costs about 5 microseconds a cell, which is most of a run for a large stock.
Here the cells of a frame are put together as text by Polars, and the library writes the rest
(header, styles, filters, panes, print set-up) as usual.
"""

from collections.abc import Iterator
from dataclasses import dataclass

import polars as pl
from xlsxwriter.format import Format
from xlsxwriter.utility import xl_col_to_name
from xlsxwriter.worksheet import Worksheet

from triage.report.cells import inert

SHEET_ROWS = 1_048_576  # rows of a sheet (published limit of the xlsx format)
_BATCH = 20_000
_EPOCH_DAYS = 25_569  # 1970-01-01 as a spreadsheet day number
_LINE_POINTS = 13
_MOST_LINES = 12  # taller rows push the neighbours off a laptop screen; the cell still holds all


@dataclass(frozen=True, slots=True)
class Block:
    """A frame to be written below a heading row; widths in characters, one format a column."""

    first_row: int  # zero-based
    frame: pl.DataFrame
    formats: tuple[Format, ...]
    widths: tuple[float, ...]


class BlockSheet(Worksheet):  # type: ignore[misc,unused-ignore]
    """Worksheet whose body is one frame."""

    block: Block | None = None

    def set_block(self, block: Block) -> None:
        """Take the body: text, number, date or boolean columns; null is an empty cell.

        Raises
        ------
        ValueError
            If the rows do not fit on one sheet; split the frame first.
        """
        last_row = block.first_row + block.frame.height - 1
        if last_row >= SHEET_ROWS:
            raise ValueError(f"{block.frame.height} rows do not fit on one sheet")
        self.block = block
        if block.frame.height:
            self._check_dimensions(last_row, block.frame.width - 1)

    def _write_rows(self) -> None:
        super()._write_rows()
        if self.block is not None:
            for text in _row_xml(self.block):
                self.fh.write(text)


def _row_xml(block: Block) -> Iterator[str]:
    for start in range(0, block.frame.height, _BATCH):
        batch = block.frame.slice(start, _BATCH).with_row_index(
            "__row", block.first_row + start + 1
        )
        cells = [
            _cell_xml(batch.schema[name], name, xl_col_to_name(place), style._get_xf_index())
            for place, (name, style) in enumerate(
                zip(block.frame.columns, block.formats, strict=True)
            )
        ]
        row = pl.concat_str(
            pl.lit('<row r="'), pl.col("__row"), _height(block), *cells, pl.lit("</row>")
        )
        yield batch.select(row.str.join("")).item()


def _height(block: Block) -> pl.Expr:
    """Height of a row from its longest text: not every office program finds it on its own."""
    widths = dict(zip(block.frame.columns, block.widths, strict=True))
    lines = [
        1 + pl.col(name).str.count_matches("\n") + pl.col(name).str.len_chars() // widths[name]
        for name, dtype in block.frame.schema.items()
        if dtype == pl.String
    ]
    tallest = pl.max_horizontal(lines).fill_null(1).clip(1, _MOST_LINES) if lines else pl.lit(1)
    points = (tallest * _LINE_POINTS + 2).cast(pl.Int64)
    return pl.concat_str(pl.lit('" ht="'), points, pl.lit('" customHeight="1">'))


def _cell_xml(dtype: pl.DataType, name: str, letters: str, style: int) -> pl.Expr:
    value = pl.col(name)
    start = f'<c r="{letters}'
    if dtype == pl.String:
        opening, closing = (
            f'" s="{style}" t="inlineStr"><is><t xml:space="preserve">',
            "</t></is></c>",
        )
        body = _escaped(inert(value))
    elif dtype == pl.Boolean:
        opening, closing = f'" s="{style}" t="inlineStr"><is><t>', "</t></is></c>"
        body = pl.when(value).then(pl.lit("yes")).when(~value).then(pl.lit("no"))
    elif dtype == pl.Date:
        opening, closing = f'" s="{style}"><v>', "</v></c>"
        body = (value.cast(pl.Int32) + _EPOCH_DAYS).cast(pl.String)
    elif dtype.is_numeric():
        opening, closing = f'" s="{style}"><v>', "</v></c>"
        body = _finite(value, dtype).cast(pl.String)
    else:
        raise TypeError(f"column {name!r} of type {dtype} cannot be a cell; join lists first")
    full = pl.concat_str(pl.lit(start), pl.col("__row"), pl.lit(opening), body, pl.lit(closing))
    blank = pl.concat_str(pl.lit(start), pl.col("__row"), pl.lit(f'" s="{style}"/>'))
    return pl.when(body.is_not_null()).then(full).otherwise(blank)


def _finite(value: pl.Expr, dtype: pl.DataType) -> pl.Expr:
    return pl.when(value.is_finite()).then(value) if dtype.is_float() else value


def _escaped(text: pl.Expr) -> pl.Expr:
    # _x0041_ in a cell is read back as "A" by office programs unless its underscore is escaped.
    return (
        text.str.replace_all("&", "&amp;", literal=True)
        .str.replace_all("<", "&lt;", literal=True)
        .str.replace_all(">", "&gt;", literal=True)
        .str.replace_all(r"_(x[0-9A-Fa-f]{4}_)", "_x005F_${1}")
    )
