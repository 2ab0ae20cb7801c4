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
    places: dict[str, list[int]] = {}
    for at, (_, word) in enumerate(zip(flags.columns, words, strict=True)):
        places.setdefault(word, []).append(at)
    if not places or not flags.height:
        return pl.Series([[] for _ in range(flags.height)], dtype=pl.List(pl.String))
    each = flags.select(pl.all().fill_null(value=False)).to_numpy()
    if len(places) < each.shape[1]:
        each = np.column_stack([each[:, at].any(axis=1) for at in places.values()])
    # The positions of the true flags, row by row, are the lists end to end: no text is built
    # for what is false, and no list is built one by one.
    ends = np.concatenate([[0], np.cumsum(each.sum(axis=1))]).astype(np.int64)
    values = pa.array(list(places), pa.large_string()).take(pa.array(np.nonzero(each)[1]))
    lists = pl.from_arrow(pa.LargeListArray.from_arrays(pa.array(ends), values))
    assert isinstance(lists, pl.Series)
    return lists
