"""What a spot on the map has: its region, zone, climate record and exposure.

A spot is a distinct place with its post code. Homes share spots; each is worked out once.
"""

import numpy as np
import polars as pl

from triage.contract.programme import ClimateFiles, ExposureFile
from triage.place.climate import (
    REGION_EDITION,
    PlaceLimits,
    exposure_columns,
    nearest_records,
    station_records,
    zone_columns,
    zone_parts,
)
from triage.place.layers import NOWHERE, Layer, join_layer, own_exposure, own_zones
from triage.place.records import own_stations, uk_regions
from triage.place.sphere import NearestPoint
from triage.reference import reference_table

EXPOSURE_ORDER = ("very_severe", "severe", "moderate", "sheltered")  # worst first
EXPOSURE_SPELLINGS = {
    spelling: name
    for number, name in enumerate(reversed(EXPOSURE_ORDER), start=1)
    for spelling in {str(number), f"zone {number}", name, name.replace("_", " ")}
}


def programme_files(
    climate: ClimateFiles | None, exposure: ExposureFile | None
) -> tuple[Layer | None, pl.DataFrame | None, Layer | None]:
    """The programme's own zones, stations and exposure map, None where it has none."""
    layer = own = mapped = None
    if climate is not None and climate.zones is not None:
        layer = own_zones(climate.zones, climate.zone_column or "zone")
    if climate is not None and climate.stations is not None:
        own = own_stations(climate.stations)
    if exposure is not None:
        mapped = own_exposure(exposure.zones, exposure.column, EXPOSURE_SPELLINGS, EXPOSURE_ORDER)
    return layer, own, mapped


def with_region(spots: pl.DataFrame, limits: PlaceLimits) -> pl.DataFrame:
    """UK region of each British spot: of its postcode, else of the nearest area's middle."""
    lost = (spots["country_code"] == "GB").fill_null(value=False) & spots["region_code"].is_null()
    areas = reference_table("uk_postcodes").drop_nulls(["lat", "lon"])
    finder = NearestPoint(areas["lat"].to_numpy(), areas["lon"].to_numpy())
    searched = spots.filter(lost)
    index, km = finder.find(searched["lat"].to_numpy(), searched["lon"].to_numpy())
    found = areas[index].select(
        near_region="region_code",
        near_prefix="postcode_prefix",
        near_rain="rain_mm_year_cru6190",
        near_dri="dri_m2_s_year",
    )
    near = pl.concat([found, pl.DataFrame({"area_km": km})], how="horizontal")
    near = near.select(pl.when(pl.col("area_km") <= limits.region_limit_km).then(pl.all()))
    rows = pl.DataFrame({"spot": lost.arg_true()}).with_columns(near)
    joined = spots.with_row_index("spot").join(rows, on="spot", how="left", maintain_order="left")
    return joined.drop("spot").with_columns(
        home_region=pl.coalesce("region_code", "near_region"),
        prefix=pl.coalesce("postcode_prefix", "near_prefix"),
        home_rain=pl.coalesce("area_rain_mm", "near_rain"),
        home_dri=pl.coalesce("area_dri", "near_dri"),
        home_figures_of=pl.coalesce("figures_of", "near_prefix"),
    )


def with_zone(spots: pl.DataFrame, layer: Layer | None, limits: PlaceLimits) -> pl.DataFrame:
    """Zone of each spot: own zones, else the UK region's estimate, else the US classes."""
    lat, lon = spots["lat"].to_numpy(), spots["lon"].to_numpy()
    zones = zone_columns(layer, lat, lon, limits.coast_fallback_deg)
    if layer is not None:
        return pl.concat([spots, zones], how="horizontal")
    regions = uk_regions().select(home_region="region_code", estimate="ashrae_zone_est")
    estimate = spots.select("home_region", "country_code").join(
        regions, on="home_region", how="left", maintain_order="left"
    )
    by_region = estimate.select(
        *zone_parts("estimate"),
        pl.when(pl.col("estimate").is_not_null()).then(pl.lit(REGION_EDITION)).alias("edition"),
        is_british=pl.col("country_code").eq_missing("GB"),
    )
    is_british, known = by_region["is_british"], by_region["edition"].is_not_null()
    by_region = by_region.select(
        "zone_num",
        "moist_letter",
        zone_edition="edition",
        zone_join=pl.when(known).then(pl.lit("region")).otherwise(pl.lit("none")),
        zone_also=pl.lit(None, dtype=pl.String),
    )
    chosen = [
        by_region[name].zip_with(is_british, zones[name]).alias(name) for name in zones.columns
    ]
    return spots.with_columns(chosen)


def with_climate(
    spots: pl.DataFrame, own: pl.DataFrame | None, limits: PlaceLimits
) -> pl.DataFrame:
    """Climate record of each spot: own station, else the UK region, else the US station."""
    records = station_records(own)
    lat, lon = spots["lat"].to_numpy(), spots["lon"].to_numpy()
    nearest = nearest_records(records, lat, lon, limits.station_limit_km)
    regions = uk_regions()
    by_region = spots.join(
        regions.select("climate_id", home_region="region_code"),
        on="home_region",
        how="left",
        maintain_order="left",
    )
    has_region = by_region["climate_id"].is_not_null()
    # Ours are American: a home elsewhere has no record on file, however near the border.
    is_served = spots["country_code"].is_in(["US"]) | spots["country_code"].is_null()
    use_station = pl.lit(value=True) if own is not None else pl.Series(is_served.fill_null(True))
    use_region = pl.lit(value=False) if own is not None else pl.Series(has_region)
    joined = spots.with_columns(
        climate_id=pl.when(use_region)
        .then(by_region["climate_id"])
        .when(use_station)
        .then(nearest["climate_id"]),
        distance_km=pl.when(use_region)
        .then(spots["area_km"])
        .when(use_station)
        .then(nearest["distance_km"]),
    )
    names = regions.select(home_region="region_code", uk_region="climate_name")
    table = pl.concat([records, regions.select(records.columns)])
    return joined.join(names, on="home_region", how="left", maintain_order="left").join(
        table.drop("lat", "lon").rename({"elevation_m": "record_elevation_m"}),
        on="climate_id",
        how="left",
        maintain_order="left",
    )


def with_exposure(spots: pl.DataFrame, mapped: Layer | None) -> pl.DataFrame:
    """Rain, driving-rain index and exposure of each spot; see `exposure_columns`."""
    nothing = pl.lit(None, dtype=pl.String)
    spots = spots.with_columns(map_class=nothing, map_edition=nothing)
    if mapped is not None:
        found = join_layer(mapped, spots["lat"].to_numpy(), spots["lon"].to_numpy(), 0.0).first
        labels = pl.Series(np.array([*mapped.labels, ""])[found])
        inside = pl.Series(found != NOWHERE)
        spots = spots.with_columns(
            map_class=pl.when(inside).then(labels),
            map_edition=pl.when(inside).then(pl.lit(mapped.edition)),
        )
    answers = exposure_columns(
        spots.select(
            *("map_class", "map_edition", "climate_name"),
            climate_kind="kind",
            figures_of="home_figures_of",
            record_rain="rain_mm_year",
            record_dri="dri_m2_s_year",
            area_rain_mm="home_rain",
            area_dri="home_dri",
        )
    )
    return spots.drop("rain_mm_year", "dri_m2_s_year").with_columns(answers)
