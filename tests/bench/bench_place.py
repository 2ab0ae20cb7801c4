"""How fast homes are placed: ``python tests/bench/bench_place.py [homes]``.

Cases run interleaved in one process; printed is the median over rounds, and for the zone join the
median of the per-round ratios to `geopandas.sjoin`. Nothing is asserted about time.
"""

import sys
from collections.abc import Callable
from statistics import median
from time import perf_counter

import geopandas as gpd
import numpy as np
import polars as pl

from triage.place import place_homes
from triage.place.climate import nearest_records, zone_columns
from triage.place.records import us_stations
from triage.reference import reference_path, reference_table

ROUNDS = 5


def homes(count: int) -> pl.DataFrame:
    """Homes scattered about ZIP middles, each in its own place."""
    rng = np.random.default_rng(42)
    areas = reference_table("us_zip")[rng.integers(0, 33_144, count)]
    return pl.DataFrame(
        {
            "property_id": [f"H{number:07d}" for number in range(count)],
            "latitude": areas["lat"].to_numpy() + rng.normal(0, 0.02, count),
            "longitude": areas["lon"].to_numpy() + rng.normal(0, 0.02, count),
            "postal_code": areas["zip"],
            "country_code": ["US"] * count,
        }
    )


def sjoin(polygons: gpd.GeoDataFrame, lat: np.ndarray, lon: np.ndarray) -> gpd.GeoDataFrame:
    """The usual way, points left."""
    points = gpd.GeoDataFrame(geometry=gpd.points_from_xy(lon, lat), crs="OGC:CRS84")
    return gpd.sjoin(points, polygons, how="left", predicate="intersects")


def british(table: pl.DataFrame) -> pl.DataFrame:
    """The same count of homes by grid metres and postcode."""
    rng = np.random.default_rng(7)
    codes = rng.choice(["M1 1AA", "LS1 1AA", "S1 2AA", "B1 1AA", "NG1 1AA"], table.height)
    return table.select(
        "property_id",
        easting_m=pl.Series(rng.uniform(400_000, 470_000, table.height)),
        northing_m=pl.Series(rng.uniform(290_000, 440_000, table.height)),
        postal_code=pl.Series(codes),
        country_code=pl.lit("GB"),
    )


def main() -> None:
    """Run all cases and print them."""
    count = int(sys.argv[1]) if len(sys.argv) > 1 else 20_000
    table = homes(count)
    lat, lon = table["latitude"].to_numpy(), table["longitude"].to_numpy()
    polygons = gpd.read_parquet(reference_path("us_zones"))
    by_zip, in_britain = table.drop("latitude", "longitude"), british(table)
    cases: dict[str, Callable[[], object]] = {
        "zone join, ours": lambda: zone_columns(None, lat, lon, 0.02),
        "zone join, geopandas.sjoin": lambda: sjoin(polygons, lat, lon),
        "nearest station": lambda: nearest_records(us_stations(), lat, lon, 300),
        "place_homes, coordinates": lambda: place_homes(table, None, "US"),
        "place_homes, ZIP only": lambda: place_homes(by_zip, None, "US"),
        "place_homes, grid metres": lambda: place_homes(in_britain, None, "GB"),
    }
    spent: dict[str, list[float]] = {name: [] for name in cases}
    for turn in range(ROUNDS + 1):
        for name, case in cases.items():
            start = perf_counter()
            case()
            if turn:  # the first round loads tables and prepares shapes
                spent[name].append(perf_counter() - start)
    sys.stdout.write(f"{count} homes, median of {ROUNDS} rounds\n")
    for name, seconds in spent.items():
        sys.stdout.write(f"{name:28} {median(seconds):8.3f} s\n")
    pairs = zip(spent["zone join, geopandas.sjoin"], spent["zone join, ours"], strict=True)
    ratio = median(theirs / ours for theirs, ours in pairs)
    sys.stdout.write(f"zone join: geopandas.sjoin takes {ratio:.1f} times ours\n")


if __name__ == "__main__":
    main()
