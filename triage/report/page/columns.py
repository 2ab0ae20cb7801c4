"""Frames as columns of small numbers and their dictionaries: what the page's script unpacks."""

from collections.abc import Sequence
from typing import Any

import polars as pl

Column = dict[str, Any]

_SPACES = r"[\t\n\x0b\x0c\r\u0085\u2028\u2029]"
# Control and format marks steer how text is shown (a right-to-left override turns a name round).
_STEERING = r"[\p{Cc}\p{Cf}\p{Co}\p{Cn}]"


def visible_text(text: pl.Expr) -> pl.Expr:
    """Text on one line, without characters that could steer how it is shown."""
    return text.str.replace_all(_SPACES, " ").str.replace_all(_STEERING, "\ufffd")


def _visible(values: pl.Series) -> pl.Series:
    return values.to_frame("x").select(visible_text(pl.col("x")))["x"]


def coded(values: pl.Series, order: Sequence[str] | None = None) -> Column:
    """Text as `words` and `codes`: the place of each value among them, -1 for null.

    Words are sorted, or stand in the given order, which must name all of them. Values that look
    alike are one word.
    """
    shown = _visible(values)
    words = found = shown.drop_nulls().unique().sort()
    if order is not None:
        named = _visible(pl.Series(order, dtype=pl.String)).unique(maintain_order=True)
        words = named.filter(named.is_in(found.implode()))
    places = pl.DataFrame({"word": words}).with_row_index("code").cast({"code": pl.Int32})
    codes = shown.to_frame("word").join(places, on="word", how="left", maintain_order="left")
    return {"words": words.to_list(), "codes": codes["code"].fill_null(-1).to_list()}


def coded_lists(values: pl.Series) -> Column:
    """Lists of text as `words`, `lists` of their places, and `codes`: the place of each list.

    A null is the empty list.
    """
    held = values.to_frame("items").with_columns(pl.col("items").fill_null([]))
    words = held["items"].explode().drop_nulls().unique().sort()
    different = held.unique().sort("items")
    column = coded(words)
    places = dict(zip(words, column["codes"], strict=True))
    lists = [[places[item] for item in items if item is not None] for items in different["items"]]
    numbered = different.with_row_index("code")
    codes = held.join(numbered, on="items", how="left", maintain_order="left")["code"]
    return {"words": column["words"], "lists": lists, "codes": codes.to_list()}


def texts(values: pl.Series) -> list[str]:
    """Text that hardly repeats, as it is shown."""
    return _visible(values).to_list()
