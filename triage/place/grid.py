"""British National Grid: letters and digits, or metres, to latitude and longitude.

The Irish Grid looks alike and means another place, so what looks Irish is refused, not read.
"""

from functools import cache

import numpy as np
import polars as pl
from numpy.typing import NDArray
from pyproj import Transformer

Floats = NDArray[np.float64]

EASTING_END_M, NORTHING_END_M = 700_000.0, 1_300_000.0
METRES_WORDS = {
    "incomplete_grid_metres": "are incomplete: give both easting_m and northing_m",
    "irish_grid": "look like Irish Grid metres, which are not read as British",
    "bad_grid_metres": "leave the British grid: 0 to 700000 east and 0 to 1300000 north",
}
_LETTERS = "ABCDEFGHJKLMNOPQRSTUVWXYZ"  # the grid skips I
_MOST_DIGITS = 10
_BRITISH, _IRISH, _ITM, _WGS84 = 27700, 29903, 2157, 4326
_IRELAND = (51.3, 55.5, -10.8, -5.3)  # south, north, west, east


def parse_grid_references(text: pl.Series) -> pl.DataFrame:
    """Read grid references such as ``TQ 30 80`` or ``nt2516373489``.

    Parameters
    ----------
    text
        One reference a row; case, spaces and commas do not matter; null stays null.

    Returns
    -------
    pl.DataFrame
        Row by row: `easting_m`, `northing_m` of the square's south-west corner and `size_m`, its
        side (1 m for ten digits, 10 km for two); null where refused. `kind` is then
        ``irish_grid`` or ``bad_grid_reference`` and `why` says it in words.

    References
    ----------
    Lettering of the National Grid (MEMORY, checked against published references with PROJ).
    """
    tight = pl.col("text").str.to_uppercase().str.replace_all(r"[\s,]+", "")
    frame = pl.DataFrame({"text": text.cast(pl.String)}).with_columns(
        letters=tight.str.extract(r"^([A-Z]+)\d+$"), digits=tight.str.extract(r"^[A-Z]+(\d+)$")
    )
    index = {letter: place for place, letter in enumerate(_LETTERS)}
    frame = frame.with_columns(
        pl.col("letters")
        .str.slice(place, 1)
        .replace_strict(index, default=None, return_dtype=pl.Int32)
        .alias(name)
        for place, name in enumerate(("a", "b"))
    )
    frame = frame.with_columns(
        half=pl.col("digits").str.len_chars().cast(pl.Int32) // 2,
        e100=(pl.col("a") + 3) % 5 * 5 + pl.col("b") % 5,  # + 3 is - 2 kept positive
        n100=19 - pl.col("a") // 5 * 5 - pl.col("b") // 5,
    )
    frame = frame.with_columns(why=_reference_fault())
    scale = pl.lit(10.0).pow(5 - pl.col("half"))
    good = pl.col("why").is_null() & pl.col("text").is_not_null()
    easting = pl.col("e100") * 1e5 + _digits(pl.lit(0)) * scale
    northing = pl.col("n100") * 1e5 + _digits(pl.col("half")) * scale
    return frame.select(
        pl.when(good).then(easting).alias("easting_m"),
        pl.when(good).then(northing).alias("northing_m"),
        pl.when(good).then(scale).alias("size_m"),
        pl.when(pl.col("why").str.contains("Irish"))
        .then(pl.lit("irish_grid"))
        .when(pl.col("why").is_not_null())
        .then(pl.lit("bad_grid_reference"))
        .alias("kind"),
        "why",
    )


def metres_fault(
    easting_m: Floats, northing_m: Floats, is_irish_home: NDArray[np.bool_]
) -> pl.Series:
    """Kind of fault of a pair of metres that cannot be a British place; null if it can.

    Irish metres fall inside the British ranges, so numbers alone cannot tell them apart. They
    are taken for Irish if the home is known to be on the island and the British reading is not,
    or if only the Irish national frame (ITM) has such numbers.
    """
    in_range = (easting_m >= 0) & (easting_m <= EASTING_END_M)
    in_range &= (northing_m >= 0) & (northing_m <= NORTHING_END_M)
    known = np.isfinite(easting_m) & np.isfinite(northing_m)
    one = np.isfinite(easting_m) != np.isfinite(northing_m)
    asked = known & is_irish_home
    british = _in_ireland(easting_m, northing_m, _BRITISH, asked & in_range)
    irish = _in_ireland(easting_m, northing_m, _IRISH, asked)
    itm = _in_ireland(easting_m, northing_m, _ITM, known & (is_irish_home | ~in_range))
    looks_irish = itm & ~in_range | asked & ~british & (irish | itm)
    tests = [one, ~known, looks_irish, ~in_range]
    return pl.Series([*METRES_WORDS, None]).gather(np.select(tests, [0, 3, 1, 2], 3))


def to_degrees(easting_m: Floats, northing_m: Floats) -> tuple[Floats, Floats]:
    """Latitude and longitude (WGS84) of British metres; within about 5 m without a shift grid."""
    lon, lat = _transformer(_BRITISH).transform(easting_m, northing_m)
    return np.asarray(lat, np.float64), np.asarray(lon, np.float64)


@cache
def _transformer(crs: int) -> Transformer:
    return Transformer.from_crs(crs, _WGS84, always_xy=True)


def _in_ireland(
    easting_m: Floats, northing_m: Floats, crs: int, ask: NDArray[np.bool_]
) -> NDArray[np.bool_]:
    inside = np.zeros(len(easting_m), dtype=bool)
    if ask.any():
        lon, lat = _transformer(crs).transform(easting_m[ask], northing_m[ask])
        south, north, west, east = _IRELAND
        inside[ask] = (lat >= south) & (lat <= north) & (lon >= west) & (lon <= east)
    return inside


def _digits(start: pl.Expr) -> pl.Expr:
    return pl.col("digits").str.slice(start, pl.col("half")).cast(pl.Float64, strict=False)


def _reference_fault() -> pl.Expr:
    letters, digits = pl.col("letters"), pl.col("digits").str.len_chars()
    outside = ~(pl.col("e100").is_between(0, 6) & pl.col("n100").is_between(0, 12))
    irish = "looks like the Irish Grid (one letter), which is not read as British"
    faults = [
        (letters.is_null(), "is not two letters and digits"),
        ((letters.str.len_chars() == 1) & (letters != "I"), irish),
        (letters.str.contains("I"), "has the letter I, which the grid does not use"),
        (letters.str.len_chars() != 2, "does not begin with two letters"),
        (digits % 2 == 1, "has an odd number of digits"),
        (digits > _MOST_DIGITS, "has more than ten digits"),
        (outside, "lies outside Great Britain"),
    ]
    why = pl.lit(None, dtype=pl.String)
    for fault, words in reversed(faults):
        why = pl.when(fault).then(pl.lit(words)).otherwise(why)
    return pl.when(pl.col("text").is_not_null()).then(why)
