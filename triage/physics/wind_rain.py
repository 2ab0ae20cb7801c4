"""Wind-driven rain: how exposed a place is."""

import polars as pl

# Lacy, BRE Digest 127: below 3 sheltered, 3 to 7 moderate, 7 and over severe (MEMORY).
INDEX_MODERATE_M2_S = 3.0
INDEX_SEVERE_M2_S = 7.0
# Approved Document C / BR 262, litres per square metre and SPELL, never per year (SEEN).
SPELL_MODERATE_L_M2 = 33.0
SPELL_SEVERE_L_M2 = 56.5
SPELL_VERY_SEVERE_L_M2 = 100.0


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
