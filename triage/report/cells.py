"""Text that is safe to put in a spreadsheet cell."""

import polars as pl

CELL_LIMIT = 32_767  # characters a cell may hold (published limit of the xlsx format)
_CUT_NOTE = " … (cut)"

# A cell that begins like this becomes a formula when a sheet is saved as text and opened again.
# The full-width forms and the line feed do so in some office programs.
_ACTIVE = r"^[=+\-@\t\r\n＝＋－＠]"
# Characters that XML 1.0 cannot hold, and the two that no text should hold.
_ILLEGAL = r"[\x00-\x08\x0B\x0C\x0E-\x1F\x7F\uFFFE\uFFFF]"


def inert(text: pl.Expr) -> pl.Expr:
    """Make text inert: an apostrophe before anything that could start a formula.

    The apostrophe stays visible on purpose: a reader sees that the cell was made harmless, and
    the text survives being saved as csv. Control characters become U+FFFD, line ends become
    line feeds, and text past the limit of a cell is cut and says so. Null stays null.
    """
    guarded = pl.when(text.str.contains(_ACTIVE)).then(pl.lit("'") + text).otherwise(text)
    clean = guarded.str.replace_all("\r\n", "\n", literal=True).str.replace_all(
        "\r", "\n", literal=True
    )
    clean = clean.str.replace_all(_ILLEGAL, "\ufffd")
    keep = CELL_LIMIT - len(_CUT_NOTE)
    return (
        pl.when(clean.str.len_chars() > CELL_LIMIT)
        .then(clean.str.slice(0, keep) + pl.lit(_CUT_NOTE))
        .otherwise(clean)
    )


def inert_text(text: str) -> str:
    """`inert` for one text."""
    return str(pl.select(inert(pl.lit(text))).item())


def joined(column: str, separator: str = "\n") -> pl.Expr:
    """Join a list column to one text, one entry a line; an empty list becomes null."""
    text = pl.col(column).list.drop_nulls().list.join(separator)
    return pl.when(text != "").then(text)


def worded(column: str, words: dict[str, str]) -> pl.Expr:
    """Replace the codes of a list column by words; a code without words stays as it is."""
    known = list(words), list(words.values())
    return pl.col(column).list.eval(pl.element().replace(*known)) if words else pl.col(column)
