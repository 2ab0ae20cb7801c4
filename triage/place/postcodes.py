"""UK postcodes and US ZIP codes to a place on file."""

import polars as pl

from triage.reference import reference_table

_UK_FULL = r"^([A-Z]{1,2}\d[A-Z\d]?)\d[A-Z]{2}$"
_UK_FIGURES = ("region_code", "lat", "lon", "area_rain_mm", "area_dri")
_UK_OUTWARD = r"^([A-Z]{1,2}\d[A-Z\d]?)$"
# Spreadsheets turn 02108 into 2108 or 2108.0: up to two leading zeros may be lost.
_ZIP = r"^(\d{3,5})(?:-\d{4})?(?:\.0)?$"
_ZIP_JOINED = r"^(\d{4,5})\d{4}(?:\.0)?$"  # ZIP+4 written without a hyphen


def uk_postcodes(text: pl.Series) -> pl.DataFrame:
    """Look up UK postcodes: a district that is an exception, else the area.

    Parameters
    ----------
    text
        Postcodes, whole or outward half, any case and spacing.

    Returns
    -------
    pl.DataFrame
        Row by row: `postcode_prefix`, `region_code`, `lat`, `lon` of that prefix, `area_rain_mm`,
        `area_dri` and `figures_of`, the prefix these two belong to; null where refused. `kind`
        is then ``unknown_postcode``, `why` in words.
        LL50 and PH37 have a region and no figures of their own: they take those of their area.
    """
    found = _with_prefixes(pl.DataFrame({"text": text.cast(pl.String)}))
    given, known = pl.col("text").is_not_null(), pl.col("region_code_area").is_not_null()
    of_district = [pl.col(name).is_not_null() for name in ("region_code", "area_dri")]
    prefix, figures_of = (
        pl.when(exact).then("district").when(known).then("area") for exact in of_district
    )
    why = (
        pl.when(pl.col("outward").is_null())
        .then(pl.lit("is not written like a UK postcode"))
        .when(~known)
        .then(pl.lit("is of no postcode area on file (the Crown dependencies are not)"))
    )
    return found.select(
        prefix.alias("postcode_prefix"),
        *(pl.coalesce(name, f"{name}_area").alias(name) for name in _UK_FIGURES),
        figures_of.alias("figures_of"),
        pl.when(given & why.is_not_null()).then(pl.lit("unknown_postcode")).alias("kind"),
        pl.when(given).then(why).alias("why"),
    )


def _with_prefixes(frame: pl.DataFrame) -> pl.DataFrame:
    """`outward`, `district`, `area`, and the figures of the last two, if on file."""
    tight = pl.col("text").str.to_uppercase().str.replace_all(r"[\s.\-]+", "")
    outward = pl.coalesce(tight.str.extract(_UK_FULL), tight.str.extract(_UK_OUTWARD))
    found = frame.with_columns(
        outward=outward,
        district=outward.str.extract(r"^([A-Z]{1,2}\d+)"),  # EC1A is a part of district EC1
        area=outward.str.extract(r"^([A-Z]{1,2})"),
    )
    table = reference_table("uk_postcodes").rename(
        {"rain_mm_year_cru6190": "area_rain_mm", "dri_m2_s_year": "area_dri"}
    )
    for level, suffix in (("district", ""), ("area", "_area")):
        figures = table.select(
            pl.col("postcode_prefix").alias(level),
            *(pl.col(name).alias(f"{name}{suffix}") for name in _UK_FIGURES),
        )
        found = found.join(figures, on=level, how="left", maintain_order="left")
    return found


def zip_codes(text: pl.Series) -> pl.DataFrame:
    """Look up US ZIP codes, five digits or ZIP+4, with leading zeros put back.

    Returns
    -------
    pl.DataFrame
        Row by row: `zip` (five digits), `lat`, `lon`, `state`; null where refused. `kind` is
        ``unknown_zip`` if refused, ``zip_zero_restored`` if used after zeros were put back,
        else null; `why` says it in words.
    """
    tight = pl.col("text").str.replace_all(r"\s+", "")
    digits = pl.coalesce(tight.str.extract(_ZIP_JOINED), tight.str.extract(_ZIP))
    frame = pl.DataFrame({"text": text.cast(pl.String)}).with_columns(digits=digits)
    frame = frame.with_columns(zip=pl.col("digits").str.zfill(5))
    table = reference_table("us_zip").select("zip", "lat", "lon", "state")
    found = frame.join(table, on="zip", how="left", maintain_order="left")
    given, known = pl.col("text").is_not_null(), pl.col("lat").is_not_null()
    kind = (
        pl.when(given & ~known)
        .then(pl.lit("unknown_zip"))
        .when(known & (pl.col("digits").str.len_chars() < 5))
        .then(pl.lit("zip_zero_restored"))
    )
    why = (
        pl.when(pl.col("digits").is_null())
        .then(pl.lit("is not written like a ZIP code"))
        .when(~known)
        .then(pl.lit("is no ZIP area on file (a box or a new code)"))
        .when(pl.col("digits").str.len_chars() < 5)
        .then(pl.format("has lost its leading zeros; read as {}", "zip"))
    )
    return found.select(
        pl.when(known).then("zip").alias("zip"),
        *("lat", "lon", "state"),
        kind.alias("kind"),
        pl.when(given).then(why).alias("why"),
    )
