"""Lists of words from many Boolean columns."""

from collections.abc import Sequence

import numpy as np
import polars as pl
import pyarrow as pa


def word_lists(flags: pl.DataFrame, words: Sequence[str]) -> pl.Series:
    """For each row the words whose flag is true, in the order given.

    Parameters
    ----------
    flags
        One Boolean column a word, in the order of `words`; a null counts as false.
    words
        What to write; a word given twice is written once, at its first place.

    Returns
    -------
    pl.Series
        List(String), one list a row, empty where no flag is true.
    """
    columns: dict[str, list[str]] = {}
    for name, word in zip(flags.columns, words, strict=True):
        columns.setdefault(word, []).append(name)
    if not columns or not flags.height:
        return pl.Series([[] for _ in range(flags.height)], dtype=pl.List(pl.String))
    # The positions of the true flags, row by row, are the lists end to end: no text is built
    # for what is false, and no list is built one by one.
    true = np.column_stack([_any_of(flags, names) for names in columns.values()])
    ends = np.concatenate([[0], np.cumsum(true.sum(axis=1))]).astype(np.int64)
    values = pa.array(list(columns), pa.large_string()).take(pa.array(np.nonzero(true)[1]))
    lists = pl.from_arrow(pa.LargeListArray.from_arrays(pa.array(ends), values))
    assert isinstance(lists, pl.Series)
    return lists


def _any_of(flags: pl.DataFrame, names: list[str]) -> np.ndarray:
    column = flags[names[0]]
    for name in names[1:]:
        column = column | flags[name]
    return column.fill_null(value=False).to_numpy()
