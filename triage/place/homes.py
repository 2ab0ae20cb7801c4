"""Place every home of a programme: location, zone, climate record, exposure."""

from dataclasses import dataclass

import polars as pl

from triage.contract.programme import ClimateFiles, ExposureFile
from triage.place.climate import PlaceLimits
from triage.place.layers import Layer
from triage.place.locate import CODE_COLUMNS, PROBLEMS, locate
from triage.place.records import climate_records
from triage.place.spots import (
    programme_files,
    with_climate,
    with_exposure,
    with_region,
    with_zone,
)

INPUTS = pl.Schema(
    {
        "property_id": pl.String,
        "latitude": pl.Float64,
        "longitude": pl.Float64,
        "grid_reference": pl.String,
        "easting_m": pl.Float64,
        "northing_m": pl.Float64,
        "postal_code": pl.String,
        "country_code": pl.String,
        "elevation_m": pl.Float64,
    }
)
# What tells spots apart; the other columns of a post code follow from its prefix.
_SPOT = ("lat", "lon", "country_code", "postcode_prefix", "state")


@dataclass(frozen=True, slots=True)
class Placed:
    """Homes with their place and climate, and what was wrong on the way.

    `homes` has one row a property in the order given; `problems` is sorted by property and kind;
    `climate` holds the climate records that the homes use, with their monthly means.
    """

    homes: pl.DataFrame
    problems: pl.DataFrame
    climate: pl.DataFrame


def place_homes(
    homes: pl.DataFrame,
    programme_climate: ClimateFiles | None,
    country: str | None,
    *,
    exposure: ExposureFile | None = None,
    limits: PlaceLimits | None = None,
) -> Placed:
    """Give each home a place, a climate zone, a climate record and an exposure.

    Parameters
    ----------
    homes
        One row a property: `property_id`, and of `INPUTS` what is known; other columns may be
        left out. [degrees, metres] `elevation_m` only serves the height difference.
    programme_climate
        The programme's own stations and zones; each replaces what ships, for every home.
    country
        Country of homes that give none, ISO 3166-1 alpha-2.
    exposure
        The programme's own map of wind-driven rain.
    limits
        Distances of the joins; the default policy's where None.

    Returns
    -------
    Placed
        Nothing is guessed: a home without a usable place is ``unplaced``, one outside every zone
        has no zone, and both have a problem that says so.

    Raises
    ------
    PlaceError
        If a file of the programme cannot be used.
    ValueError
        If a property is there twice.
    """
    limits = limits or PlaceLimits()
    layer, own, mapped = programme_files(programme_climate, exposure)
    given = _complete(homes, country)
    located = locate(given)
    spots = located.homes.select(*_SPOT, *(n for n in CODE_COLUMNS if n not in _SPOT))
    spots = spots.drop_nulls(["lat", "lon"]).unique(_SPOT, maintain_order=True)
    spots = with_region(spots, limits)
    spots = with_zone(spots, layer, limits)
    spots = with_climate(spots, own, limits)
    spots = with_exposure(spots, mapped)
    placed = (
        located.homes.drop(set(CODE_COLUMNS) - set(_SPOT))
        .join(spots, on=list(_SPOT), how="left", nulls_equal=True, maintain_order="left")
        .with_columns(given["elevation_m"])
    )
    result = placed.select(_result(limits))
    problems = pl.concat([located.problems, _zoneless(result, layer)])
    used = result["climate_id"].unique().drop_nulls()
    climate = climate_records(own).filter(pl.col("climate_id").is_in(used.implode()))
    order = ("property_id", "kind", "raw")
    return Placed(result, problems.sort(order, nulls_last=True), climate.sort("climate_id"))


def _complete(homes: pl.DataFrame, country: str | None) -> pl.DataFrame:
    absent = {name: kind for name, kind in INPUTS.items() if name not in homes.columns}
    full = homes.with_columns(pl.lit(None, dtype=kind).alias(n) for n, kind in absent.items())
    full = full.select(INPUTS.names()).cast(INPUTS)
    if full["property_id"].has_nulls() or full["property_id"].is_duplicated().any():
        raise ValueError("property_id must be known and there once: one row a property")
    return full.with_columns(
        pl.col("country_code").fill_null(pl.lit(country, dtype=pl.String)),
        pl.col(pl.Float64).fill_nan(None),
    )


def _result(limits: PlaceLimits) -> list[pl.Expr]:
    height = pl.col("elevation_m") - pl.col("record_elevation_m")
    far = pl.col("distance_km") > limits.good_distance_km
    high = height.abs() > limits.good_height_m
    is_low = far.fill_null(value=False) | high.fill_null(value=False)
    by_postcode = pl.col("region_code").is_not_null()
    basis = (
        pl.when(pl.col("kind") != "region")
        .then(pl.lit("nearest station"))
        .when(by_postcode)
        .then(pl.format("UK region of postcode {}", "prefix"))
        .otherwise(pl.format("UK region of the nearest postcode area's middle ({})", "prefix"))
    )
    has_record = pl.col("climate_id").is_not_null()
    return [
        *map(pl.col, ("property_id", "lat", "lon", "location_precision", "location_source")),
        pl.col("location_precision_m"),
        *map(pl.col, ("zone_num", "moist_letter", "zone_edition")),
        pl.col("zone_join").fill_null("none"),
        *map(pl.col, ("zone_also", "climate_id", "climate_name")),
        pl.when(has_record).then(basis).alias("climate_basis"),
        pl.col("distance_km"),
        height.alias("elevation_diff_m"),
        pl.when(has_record)
        .then(pl.when(is_low).then(pl.lit("low")).otherwise(pl.lit("good")))
        .alias("join_quality"),
        *map(pl.col, ("hdd_18_3", "cdd_10", "rain_mm_year", "dri_m2_s_year")),
        pl.col("freeze_thaw_cycles_year").alias("freeze_thaw_cycles"),
        # Only a programme's own hourly stations have one: see FREEZE_THAW_INDEX_MISSING.
        pl.col("freeze_thaw_index"),
        pl.col("freeze_thaw_basis"),
        pl.col("frost_days_year").alias("frost_days"),
        *map(pl.col, ("exposure_computed", "exposure_basis")),
        pl.coalesce("uk_region", "state").alias("region_name"),
        (pl.col("lat") >= 0).alias("latitude_north"),
    ]


def _zoneless(result: pl.DataFrame, layer: Layer | None) -> pl.DataFrame:
    zones = "the zones that ship" if layer is None else layer.edition
    rows = result.filter((pl.col("zone_join") == "none") & (pl.col("location_source") != "none"))
    place = pl.format("{}, {}", pl.col("lat").round(5), pl.col("lon").round(5))
    return rows.select(
        "property_id",
        kind=pl.lit("outside_every_zone"),
        raw=place,
        message=pl.format(f"home at {{}} is outside every zone of {zones}: it has none", place),
    ).cast(PROBLEMS)
