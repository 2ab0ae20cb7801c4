"""What a spot on the map has: its region, zone, climate record and exposure.

A spot is a distinct place with its post code. Homes share spots; each is worked out once.
"""

import polars as pl

from triage.contract.programme import ClimateFiles, ExposureFile
from triage.place.climate import (
    REGION_EDITION,
    PlaceLimits,
    exposure_columns,
    nearest_records,
    zone_columns,
    zone_parts,
)
from triage.place.layers import NOWHERE, Layer, join_layer, own_exposure, own_zones
from triage.place.records import (
    FIGURES,
    TEXTS,
    climate_records,
    own_stations,
    uk_regions,
    us_stations,
)
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
    rows = spots.with_row_index("row")
    is_british = pl.col("country_code").eq_missing("GB") & pl.lit(layer is None)
    mapped, british = rows.filter(~is_british), rows.filter(is_british)
    lat, lon = mapped["lat"].to_numpy(), mapped["lon"].to_numpy()
    zones = zone_columns(layer, lat, lon, limits.coast_fallback_deg)
    by_map = pl.concat([mapped.select("row"), zones], how="horizontal")
    both = pl.concat([by_map, _region_zones(british).select(by_map.columns)])
    return pl.concat([spots, both.sort("row").drop("row")], how="horizontal")


def _region_zones(british: pl.DataFrame) -> pl.DataFrame:
    regions = uk_regions().select(home_region="region_code", estimate="ashrae_zone_est")
    known = pl.col("estimate").is_not_null()
    return british.join(regions, on="home_region", how="left", maintain_order="left").select(
        "row",
        *zone_parts("estimate"),
        zone_edition=pl.when(known).then(pl.lit(REGION_EDITION)),
        zone_join=pl.when(known).then(pl.lit("region")).otherwise(pl.lit("none")),
        zone_also=pl.lit(None, dtype=pl.String),
    )


def with_climate(
    spots: pl.DataFrame, own: pl.DataFrame | None, limits: PlaceLimits
) -> pl.DataFrame:
    """Climate record of each spot: own station, else the UK region, else the US station."""
    stations = us_stations() if own is None else own
    # Stations that ship are American: they say nothing about a home across a border.
    country = pl.col("country_code")
    rows = spots.with_row_index("row")
    served = rows if own is not None else rows.filter(country.is_null() | (country == "US"))
    lat, lon = served["lat"].to_numpy(), served["lon"].to_numpy()
    nearest = nearest_records(stations, lat, lon, limits.station_limit_km)
    nearest = pl.concat([served.select("row"), nearest], how="horizontal")
    regions = uk_regions().select(
        home_region="region_code", region_record="climate_id", uk_region="climate_name"
    )
    joined = rows.join(nearest, on="row", how="left", maintain_order="left").join(
        regions, on="home_region", how="left", maintain_order="left"
    )
    by_region = pl.col("region_record").is_not_null() & pl.lit(own is None)
    chosen = joined.drop("row").with_columns(
        pl.when(by_region).then(of_region).otherwise(of_station).alias(of_station)
        for of_station, of_region in (("climate_id", "region_record"), ("distance_km", "area_km"))
    )
    records = climate_records(own).select(*TEXTS, *FIGURES)
    records = records.rename({"elevation_m": "record_elevation_m"})
    return chosen.join(records, on="climate_id", how="left", maintain_order="left")


def with_exposure(spots: pl.DataFrame, mapped: Layer | None) -> pl.DataFrame:
    """Rain, driving-rain index and exposure of each spot; see `exposure_columns`."""
    nothing = pl.lit(None, dtype=pl.String)
    spots = spots.with_columns(map_class=nothing, map_edition=nothing)
    if mapped is not None:
        found = join_layer(mapped, spots["lat"].to_numpy(), spots["lon"].to_numpy(), 0.0).first
        labels = pl.Series([*mapped.labels, None]).gather(found % (len(mapped.labels) + 1))
        inside = pl.Series(found != NOWHERE)
        spots = spots.with_columns(
            map_class=labels,
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
