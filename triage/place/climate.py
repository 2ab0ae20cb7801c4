"""Zone, climate record and exposure of homes whose place is known."""

from dataclasses import dataclass

import numpy as np
import polars as pl

from triage.physics.wind_rain import exposure_from_index
from triage.place.layers import NOWHERE, Layer, join_layer, shipped_zones
from triage.place.sphere import Floats, NearestPoint

REGION_EDITION = "computed from regional monthly means (estimate)"
ZONE_JOINS = ("none", "coast_fallback", "ambiguous", "inside")


@dataclass(frozen=True, slots=True)
class PlaceLimits:
    """Where a join stops being good, or being made at all. Defaults are policy."""

    good_distance_km: float = 30.0
    good_height_m: float = 150.0
    station_limit_km: float = 300.0  # beyond it a station says nothing about a home
    region_limit_km: float = 80.0  # a UK place further from every area's middle is at sea
    coast_fallback_deg: float = 0.02  # about 2 km; what the shapes lost when simplified


def zone_columns(layer: Layer | None, lat: Floats, lon: Floats, coast_deg: float) -> pl.DataFrame:
    """`zone_num`, `moist_letter`, `zone_edition`, `zone_join`, `zone_also` of each place.

    Parameters
    ----------
    layer
        The programme's own zones; None for those that ship, which alone have a coast to mend.
    lat, lon
        Places. [degrees] No NaN.
    coast_deg
        Reach of the coastal fallback. [degrees]
    """
    zones = shipped_zones() if layer is None else layer
    found = join_layer(zones, lat, lon, coast_deg if layer is None else 0.0)
    labels = pl.Series([*zones.labels, None])
    how = np.select(
        [found.first == NOWHERE, found.by_fallback, found.second != NOWHERE], [0, 1, 2], 3
    )
    frame = pl.DataFrame(
        {
            "zone": labels.gather(found.first % len(labels)),  # NOWHERE, -1, is the last
            "also": labels.gather(found.second % len(labels)),
            "zone_join": pl.Series(ZONE_JOINS).gather(how),
        }
    )
    edition = pl.when(pl.col("zone_join") != "none").then(pl.lit(zones.edition))
    return frame.select(
        *zone_parts("zone"),
        edition.alias("zone_edition"),
        "zone_join",
        pl.col("also").alias("zone_also"),
    )


def zone_parts(column: str) -> tuple[pl.Expr, pl.Expr]:
    """Number and letter of zones written like ``5A`` or ``7``."""
    text = pl.col(column)
    return (
        text.str.extract(r"^(\d)").cast(pl.Int8).alias("zone_num"),
        text.str.extract(r"^\d([A-C])$").alias("moist_letter"),
    )


def nearest_records(
    records: pl.DataFrame, lat: Floats, lon: Floats, limit_km: float
) -> pl.DataFrame:
    """`climate_id` and `distance_km` of the nearest record, null beyond the limit.

    `records` must be in order of `climate_id`: of two equally near, the first is taken.
    """
    finder = NearestPoint(records["lat"].to_numpy(), records["lon"].to_numpy())
    index, km = finder.find(lat, lon)
    frame = pl.DataFrame({"climate_id": records["climate_id"][index], "distance_km": km})
    return frame.select(pl.when(pl.col("distance_km") <= limit_km).then(pl.all()))


def exposure_columns(homes: pl.DataFrame) -> pl.DataFrame:
    """`dri_m2_s_year`, `rain_mm_year`, `exposure_computed` and `exposure_basis`.

    Parameters
    ----------
    homes
        `climate_kind`, `region_code`, `record_rain`, `record_dri` (of the climate record),
        `area_rain_mm`, `area_dri`, `figures_of` (of the UK postcode), `map_class`, `map_edition`.

    Notes
    -----
    A map of the programme's own comes first. A UK postcode area's index is finer than its
    region's. The step up within 8 km of the sea is not taken: no coast is on file.
    """
    from_area = (pl.col("climate_kind") == "region") & pl.col("area_dri").is_not_null()
    index = pl.when(from_area).then("area_dri").otherwise("record_dri")
    rain = pl.when(from_area).then("area_rain_mm").otherwise("record_rain")
    origin = (
        pl.when(from_area)
        .then(pl.format("postcode area {}", "figures_of"))
        .otherwise(pl.format("climate record {}", "climate_name"))
    )
    basis = pl.format(
        "driving-rain index {} m2/s of {}: limits 3 and 7 from memory; no wall direction, "
        "spells, terrain, shelter or nearness to the sea",
        index.round(2),
        origin,
    )
    mapped = pl.col("map_class").is_not_null()
    return homes.select(
        rain.alias("rain_mm_year"),
        index.alias("dri_m2_s_year"),
        exposure_computed=pl.when(mapped).then("map_class").otherwise(exposure_from_index(index)),
        exposure_basis=pl.when(mapped)
        .then("map_edition")
        .when(index.is_not_null())
        .then(basis)
        .otherwise(pl.lit("none: no rain and wind on file")),
    )
