"""Random numbers of roofs that a recorded seed brings back on any machine."""

import hashlib

import numpy as np
import polars as pl

METHOD = "Philox 4x64-10 keyed with the seed; one 64-bit number a roof in byte order of its id"
_LONGEST_SEED = 2**64


def draw_numbers(ids: pl.Series, seed: int) -> pl.Series:
    """One 64-bit number for each id, the same whatever the order of the ids.

    Parameters
    ----------
    ids
        Texts, each there once, none null.
    seed
        0 up to 2**64 - 1.

    Returns
    -------
    pl.Series
        UInt64 in the order of `ids`. The lowest n of a stratum are a simple random sample of it.

    Raises
    ------
    ValueError
        If an id is there twice or is null, or the seed is out of range.

    Notes
    -----
    Philox is a counter-based generator of fixed definition (Salmon and others 2011): its raw
    words, unlike NumPy's derived distributions, are the same in every version and on every
    platform.
    """
    if not 0 <= seed < _LONGEST_SEED:
        raise ValueError(f"a seed of {seed} is not from 0 to 2**64 - 1")
    if ids.null_count() or ids.is_duplicated().any():
        raise ValueError("every roof needs an id of its own")
    words = np.random.Philox(key=seed).random_raw(ids.len())
    place = ids.rank("ordinal").cast(pl.Int64) - 1  # texts rank in byte order
    return pl.Series("draw_number", np.asarray(words, np.uint64)[place.to_numpy()])


def frame_digest(ids: pl.Series, strata: pl.Series) -> str:
    """Hash of the roofs and strata that a draw was made from: another frame, another draw."""
    lines = pl.DataFrame({"id": ids, "stratum": strata}).sort("id")
    text = lines.select(pl.concat_str("id", "stratum", separator="\t")).to_series()
    return hashlib.sha256("\n".join(text).encode()).hexdigest()
