"""Finds lines between the rows of a survey that are no homes: headings again, totals, sections."""

import polars as pl

from triage.intake.headings import KEY, SheetMap
from triage.intake.sheets import Sheet, column_index

LINE_SCHEMA: dict[str, pl.DataType] = {
    "row": pl.UInt32(),
    "kind": pl.String(),
    "message": pl.String(),
}
LINE_KINDS = ("heading_row", "totals_row", "section_row")
_HEADING = "the headings stand here once more; the line is no home"
_TOTALS = "a totals line; it is no home"
_SECTION = (
    "one cell alone, unlike the references of the other rows: taken for a section title or a "
    "remark, and not carried to the rows below; if it is a home, fill in another of its cells"
)
_TOTAL_WORDS = r"(?i)^(?:(?:grand|overall|sub)[ -]?)?totals?(?:[\s:].*)?$"
_SUM_WORDS = r"(?i)^(?:sum|average|avg|mean|count|min|max|minimum|maximum)\.?:?$"
_SECTION_WORDS = (
    r"(?i)\b(?:block|section|phase|estate|street|road|avenue|lane|close|area|ward|zone|site|group|"
    r"district|floor|core|week|team|surveyor|batch|tower|court|house type|archetype|page|"
    r"continued|notes?|end of|key|legend)\b"
)
_REMARK_WORDS = 4  # no reference of a home is met that has as many words
_SHARE_WITH_DIGIT = 0.9  # of the references, before one without any digit is unlike them


def lines_between(
    cells: pl.DataFrame, filled: pl.Series, sheet: Sheet, told: SheetMap
) -> pl.DataFrame:
    """Lines among the rows of a table that are no survey rows.

    Parameters
    ----------
    cells
        Texts of the rows by column letters, blank lines left out.
    filled
        Number of cells with a text, one per row.
    sheet, told
        The sheet, and what its columns are.

    Returns
    -------
    pl.DataFrame
        One row for each (`LINE_SCHEMA`); `row` counts the rows of `cells` from 0.
    """
    key = next((c.letters for c in told.columns if c.field == KEY), None)
    if key is None or cells.height == 0:
        return pl.DataFrame(schema=LINE_SCHEMA)
    found = [
        _as_lines(_heading_rows(cells, key, sheet, told), "heading_row", _HEADING),
        _as_lines(_totals_rows(cells, key, told), "totals_row", _TOTALS),
        _as_lines(_section_rows(cells, filled, key), "section_row", _SECTION),
    ]
    return pl.concat(found).unique("row", keep="first", maintain_order=True).sort("row")


def _as_lines(rows: pl.Series, kind: str, message: str) -> pl.DataFrame:
    frame = pl.DataFrame({"row": rows.cast(pl.UInt32)})
    return frame.with_columns(pl.lit(kind).alias("kind"), pl.lit(message).alias("message"))


def _heading_rows(rows: pl.DataFrame, key: str, sheet: Sheet, told: SheetMap) -> pl.Series:
    """Lines of the header repeated below it, as a print-out repeats them on each page."""
    lines = sheet.cells.slice(told.header, told.start - told.header)
    words = lines.get_column(key).str.strip_chars().drop_nulls()
    hits = rows.get_column(key).str.strip_chars().is_in(words.implode()).arg_true()
    if hits.is_empty() or sheet.first_row == 0:
        return hits.clear()
    around = pl.concat(
        [hits.cast(pl.Int64) + shift for shift in range(-lines.height, lines.height + 1)]
    )
    near = around.filter(around.is_between(0, rows.height - 1)).unique().sort()
    looked = rows[near]
    same = pl.any_horizontal(
        pl.all_horizontal(
            pl.col(name).str.strip_chars().eq_missing(pl.lit(text, dtype=pl.String))
            for name, text in zip(lines.columns, _stripped(line), strict=True)
        )
        for line in lines.rows()
    )
    repeated = near.filter(looked.select(same.alias("same")).get_column("same"))
    return pl.concat([hits.cast(pl.Int64), repeated]).unique().sort()


def _stripped(line: tuple[str | None, ...]) -> list[str | None]:
    return [text.strip() if text else text for text in line]


def _totals_rows(rows: pl.DataFrame, key: str, told: SheetMap) -> pl.Series:
    """A word for a total as the reference, as the part, or in a column before the reference."""
    before = column_index(key)
    looked = [
        c.letters
        for c in told.columns
        if c.letters != key and (c.field == "building_part" or column_index(c.letters) < before)
    ]
    words = [pl.col(name).str.strip_chars().str.contains(_TOTAL_WORDS) for name in (key, *looked)]
    words.append(pl.col(key).str.strip_chars().str.contains(_SUM_WORDS))
    return rows.select(pl.any_horizontal(words).alias("is_total")).get_column("is_total").arg_true()


def _section_rows(rows: pl.DataFrame, filled: pl.Series, key: str) -> pl.Series:
    alone = (filled == 1).arg_true()
    if alone.is_empty() or rows.width < 2:
        return alone.clear()
    sole = rows[alone]
    blank_to_null = pl.all().str.strip_chars().replace("", None)
    text = sole.select(pl.coalesce(blank_to_null).alias("text")).get_column("text")
    in_key = sole.get_column(key).str.strip_chars().fill_null("") != ""
    references = rows.get_column(key).filter(filled > 1).drop_nulls()
    beside = ~in_key & text.str.contains(r"\p{Alphabetic}")
    if not in_key.any() or references.is_empty():
        return alone.filter(beside)
    share = references.str.contains(r"\d").mean()
    has_digits = isinstance(share, float) and share >= _SHARE_WITH_DIGIT and references.len() > 1
    words = text.str.split(" ").list.len()
    is_title = text.str.contains(_SECTION_WORDS) | (words >= _REMARK_WORDS)
    if has_digits:
        is_title |= ~text.str.contains(r"\d")
    unlike = ~_shape(text).is_in(_shape(references).unique().implode())
    return alone.filter(beside | (in_key & unlike & is_title))


def _shape(texts: pl.Series) -> pl.Series:
    """What a reference looks like: letters as A, digits as 9."""
    letters = texts.str.strip_chars().str.replace_all(r"\p{Alphabetic}+", "A")
    return letters.str.replace_all(r"\d+", "9")
