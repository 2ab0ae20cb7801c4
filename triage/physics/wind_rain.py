"""Wind-driven rain: how exposed a place is."""

import numpy as np
import polars as pl
from numpy.typing import ArrayLike, NDArray

Floats = NDArray[np.float64]

# Lacy, BRE Digest 127: below 3 sheltered, 3 to 7 moderate, 7 and over severe (MEMORY).
INDEX_MODERATE_M2_S = 3.0
INDEX_SEVERE_M2_S = 7.0
# Approved Document C / BR 262, litres per square metre and SPELL, never per year (SEEN).
SPELL_MODERATE_L_M2 = 33.0
SPELL_SEVERE_L_M2 = 56.5
SPELL_VERY_SEVERE_L_M2 = 100.0
# ISO 15927-3: dry hours on a wall that end a spell (MEMORY).
SPELL_GAP_H = 96
HOURS_IN_YEAR = 8760


def driving_rain_index(rain_mm_year: pl.Expr, wind_ms_year: pl.Expr) -> pl.Expr:
    """Annual rain times mean wind speed, over 1000, in m²/s.

    Parameters
    ----------
    rain_mm_year
        Mean annual rainfall. [mm]
    wind_ms_year
        Mean wind speed at 10 m in open country. [m/s]

    References
    ----------
    Lacy's index as in BRE Digest 127 (SEEN in abstracts). It knows no wall direction, spell,
    terrain or shelter, and counts snow as rain.
    """
    return rain_mm_year * wind_ms_year / 1000.0


def exposure_from_index(index_m2_s: pl.Expr) -> pl.Expr:
    """Exposure class from the yearly driving-rain index: sheltered, moderate or severe.

    Null where the index is null, NaN or negative. The index has no class very_severe.
    """
    classes = (
        pl.when(index_m2_s < INDEX_MODERATE_M2_S)
        .then(pl.lit("sheltered"))
        .when(index_m2_s < INDEX_SEVERE_M2_S)
        .then(pl.lit("moderate"))
        .otherwise(pl.lit("severe"))
    )
    return pl.when((index_m2_s >= 0) & index_m2_s.is_not_nan()).then(classes)


def exposure_from_spell(spell_l_m2: pl.Expr) -> pl.Expr:
    """Exposure class (zones 1 to 4 of the four-zone map) from the worst spell in l/m².

    Null where the quantity is null, NaN or negative. Lower limits belong to the higher class.
    """
    classes = (
        pl.when(spell_l_m2 < SPELL_MODERATE_L_M2)
        .then(pl.lit("sheltered"))
        .when(spell_l_m2 < SPELL_SEVERE_L_M2)
        .then(pl.lit("moderate"))
        .when(spell_l_m2 < SPELL_VERY_SEVERE_L_M2)
        .then(pl.lit("severe"))
        .otherwise(pl.lit("very_severe"))
    )
    return pl.when((spell_l_m2 >= 0) & spell_l_m2.is_not_nan()).then(classes)


def driving_rain_hourly_l_m2(
    wind_ms: ArrayLike, rain_mm_h: ArrayLike, wind_from_deg: ArrayLike, wall_normal_deg: ArrayLike
) -> Floats:
    """Rain that the wind would drive onto a vertical wall in an open airfield, hour by hour.

    Parameters
    ----------
    wind_ms
        Hourly mean wind speed at 10 m in open country. [m/s] Not negative.
    rain_mm_h
        Rain of the hour. [mm/h] Not negative.
    wind_from_deg
        Where the wind comes from, clockwise from north. [°] Calm hours may hold any number.
    wall_normal_deg
        Where the wall faces, clockwise from north. [°] The shapes broadcast: walls of shape
        (n, 1) and hours of shape (hours,) give (n, hours).

    Returns
    -------
    Floats
        Airfield contribution of each hour, 0 where the wind blows along or away from the wall.
        [l/m²]

    Raises
    ------
    ValueError
        If a speed or an amount of rain is negative, or any input is NaN or infinite: an hour
        without rain is not an hour without reading.

    References
    ----------
    ISO 15927-3:2009 (SEEN in public research scripts). Not for sheer mountainous terrain, nor
    where over a quarter of the rain is convective or much of it is snow (SEEN, its scope).
    """
    wind = _not_negative(wind_ms, "wind speed")
    rain = _not_negative(rain_mm_h, "rain")
    angle = np.radians(np.asarray(wind_from_deg, np.float64) - np.asarray(wall_normal_deg))
    if not np.isfinite(angle).all():
        raise ValueError("wind direction and wall direction must be known for every hour")
    toward = np.maximum(np.cos(angle), 0.0)
    return np.asarray(2.0 / 9.0 * wind * rain ** (8.0 / 9.0) * toward)


def _not_negative(values: ArrayLike, what: str) -> Floats:
    array = np.asarray(values, dtype=np.float64)
    bad = ~(np.isfinite(array) & (array >= 0))  # so written, NaN is bad too
    if bad.any():
        place = int(np.flatnonzero(bad)[0])
        raise ValueError(
            f"{what} must be known and not negative: {np.ravel(array)[place]:g} at position "
            f"{place}; fill or leave out what was not measured"
        )
    return array


def airfield_annual_index_l_m2(hourly_l_m2: ArrayLike) -> Floats:
    """Driving rain of a mean year of 8760 hours.

    Parameters
    ----------
    hourly_l_m2
        Contributions of consecutive hours, shape (..., hours), hours at least 1. [l/m²]

    Returns
    -------
    Floats
        One value for each series. [l/m² and year]

    References
    ----------
    ISO 15927-3:2009, airfield annual index (MEMORY).
    """
    hourly = _not_negative(hourly_l_m2, "driving rain")
    if hourly.ndim == 0 or hourly.shape[-1] == 0:
        raise ValueError("a yearly index needs at least one hour of record")
    return np.asarray(hourly.sum(axis=-1) * (HOURS_IN_YEAR / hourly.shape[-1]))


def spell_amounts_l_m2(hourly_l_m2: ArrayLike, gap_h: int = SPELL_GAP_H) -> Floats:
    """Driving rain of each spell on one wall, in order of time.

    Parameters
    ----------
    hourly_l_m2
        Contributions of consecutive hours, shape (hours,). [l/m²]
    gap_h
        Hours without any contribution on this wall that end a spell. [h]

    Returns
    -------
    Floats
        Shape (spells,), empty where no rain reached the wall. [l/m²]

    References
    ----------
    ISO 15927-3:2009: a spell ends with 96 h without contribution (MEMORY).
    """
    hourly = _not_negative(hourly_l_m2, "driving rain")
    if hourly.ndim != 1:
        raise ValueError(f"spells are of one wall: shape (hours,), got {hourly.shape}")
    wet = np.flatnonzero(hourly > 0)
    if wet.size == 0:
        return np.empty(0)
    # Wet hours i and j have j - i - 1 dry hours between them.
    starts = np.concatenate(([0], np.flatnonzero(np.diff(wet) - 1 >= gap_h) + 1))
    return np.asarray(np.add.reduceat(hourly[wet], starts))


def airfield_spell_index_l_m2(years: list[ArrayLike], gap_h: int = SPELL_GAP_H) -> float:
    """Worst spell of a year that is exceeded once in three years on average.

    Parameters
    ----------
    years
        One series of hourly contributions on one wall for each year, at least one. [l/m²]
        The standard asks for ten years, twenty if it can be had; a spell across New Year is cut.
    gap_h
        Hours without contribution that end a spell. [h]

    Returns
    -------
    float
        The 67 % point of the yearly maxima, interpolated linearly. [l/m² and spell]

    References
    ----------
    ISO 15927-3:2009, airfield spell index (MEMORY).
    """
    if not years:
        raise ValueError("a spell index needs at least one year of hours")
    worst = [spell_amounts_l_m2(year, gap_h).max(initial=0.0) for year in years]
    return float(np.quantile(np.array(worst), 2.0 / 3.0))
