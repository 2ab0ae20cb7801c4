"""Rebuild the reference tables: ``python -m triage.reference.build --help``.

Input are the open zone data set (SQLite file ``metadata.db`` of the Apache-2.0 package that
SOURCES.md names), the folder of compiled climate tables (CSV) and the outlines of countries
(TopoJSON). Same input, same libraries: same bytes.
"""

import argparse
import sqlite3
import sys
from contextlib import closing
from pathlib import Path

import geopandas as gpd
import polars as pl
import shapely

from triage.errors import FileError, TriageError
from triage.reference.outlines import countries, uk_outlines

EDITION = "IECC 2006-2018 county assignment"
SOURCE = "eeweather 0.3.30 metadata.db (Apache-2.0), county shapes simplified to 0.01 degree"
SLIVER_SHARE = 1e-4  # of the zone's area; real classes are above 0.03, slivers below 5e-5
NO_LETTER_ZONES = ("7", "8")
CLIMATE_FILES = ("uk_regions.csv", "uk_postcode_areas.csv", "us_stations.csv")
MONTHS = tuple(f"{month:02d}" for month in range(1, 13))
# Ours on the right; the same quantity has one name in every table.
RENAMED = {
    "station_id_usaf": "station_id",
    "elev_m": "elevation_m",
    "hdd18_3": "hdd_18_3",
    "hdd18_3_est": "hdd_18_3",
    "cdd10": "cdd_10",
    "cdd10_est": "cdd_10",
    "air_frost_days_year": "frost_days_year",
    "freeze_thaw_cycles_m2_0_year": "freeze_thaw_cycles_year",
    "precip_mm_year": "rain_mm_year",
    "precip_source": "rain_source",
}
MONTHLY = ("t_mean_c", "rh_mean_pct", "vp_mean_pa", "wind_ms", "t_min_daily_mean_c")
STATION_COLUMNS = (
    *("station_id", "name", "state", "lat", "lon", "elevation_m", "tmy3_class"),
    *("iecc_zone", "iecc_zone_source", "hdd_18_3", "cdd_10", "rain_mm_year", "rain_source"),
    *("dri_m2_s_year", "frost_days_year", "freeze_thaw_days_year", "freeze_thaw_cycles_year"),
    *("t_mean_c_year", "rh_mean_pct_year", "vp_mean_pa_year", "wind_ms_year"),
)
REGION_COLUMNS = (
    *("region_code", "region_name", "lat", "lon", "hdd_18_3", "cdd_10", "ashrae_zone_est"),
    *("rain_mm_year", "rain_source", "dri_m2_s_year", "dri_m2_s_year_p90", "frost_days_year"),
    *("t_mean_c_year", "rh_mean_pct_year", "vp_mean_pa_year", "wind_ms_year"),
)
POSTCODE_COLUMNS = (
    *("postcode_prefix", "match_level", "postcode_area", "area_name", "region_code", "lat"),
    *("lon", "n_outcodes", "rain_mm_year_cru6190", "dri_m2_s_year", "km_to_nearest_cru_point"),
)


def zones(db: sqlite3.Connection) -> gpd.GeoDataFrame:
    """Climate classes: each zone cut by each moisture regime, slivers left out.

    Neighbours were simplified apart, so zones overlap in slivers; a piece below `SLIVER_SHARE`
    of its zone is no class. Zones 7 and 8 have no regime and stay whole, their letter null.
    Coordinates are NAD83 written as CRS84: they differ by less than two metres.
    """
    thermal = _shapes(db, "iecc_climate_zone")
    regimes = _shapes(db, "iecc_moisture_regime")
    rows: list[tuple[int, str | None, shapely.MultiPolygon]] = []
    for number, zone in thermal.items():
        if number in NO_LETTER_ZONES:
            rows.append((int(number), None, _polygons(zone)))
            continue
        for letter, regime in regimes.items():
            part = _polygons(shapely.intersection(zone, regime))
            if part.area >= SLIVER_SHARE * zone.area:
                rows.append((int(number), letter, part))
    columns = {
        "label": [f"{number}{letter or ''}" for number, letter, _ in rows],
        "zone": [number for number, _, _ in rows],
        "moisture_regime": [letter for _, letter, _ in rows],
        "edition": EDITION,
        "source": SOURCE,
    }
    shapes = [shapely.normalize(shape) for _, _, shape in rows]
    frame = gpd.GeoDataFrame(columns, geometry=shapes, crs="OGC:CRS84")
    frame["zone"] = frame["zone"].astype("int8")
    return frame


def zip_areas(db: sqlite3.Connection) -> pl.DataFrame:
    """Centroids of the ZIP areas with the data set's own zone and regime, null where none."""
    query = """
        SELECT zcta_id, CAST(latitude AS REAL), CAST(longitude AS REAL), state,
               CAST(iecc_climate_zone AS INTEGER), iecc_moisture_regime
        FROM zcta_metadata ORDER BY zcta_id"""
    schema = {"zip": pl.String, "lat": pl.Float64, "lon": pl.Float64, "state": pl.String}
    schema |= {"zone": pl.Int8, "moisture_regime": pl.String}
    return pl.DataFrame(db.execute(query).fetchall(), schema=schema, orient="row")


def stations(csv: Path) -> pl.DataFrame:
    """US typical-year stations; identifiers are text of six digits."""
    table = pl.read_csv(csv, infer_schema_length=None, schema_overrides={"iecc_zone": pl.String})
    table = _renamed(table).with_columns(
        station_id=pl.col("station_id").cast(pl.String).str.zfill(6)
    )
    return _shaped(table, STATION_COLUMNS).sort("station_id")


def regions(csv: Path) -> pl.DataFrame:
    """UK regions; rain is the station mean of 1991-2020, else the grid mean of 1961-1990."""
    table = _renamed(pl.read_csv(csv, infer_schema_length=None))
    table = table.with_columns(
        rain_mm_year=pl.coalesce("rain_mm_year_metoffice9120", "rain_mm_year_cru6190"),
        rain_source="dri_rain_source",
    )
    return _shaped(table, REGION_COLUMNS).sort("region_code")


def postcodes(csv: Path) -> pl.DataFrame:
    """UK postcode areas, and the districts that the standard gives to another region."""
    table = pl.read_csv(csv, infer_schema_length=None)
    return _shaped(table, POSTCODE_COLUMNS).sort("postcode_prefix")


def build(zone_db: Path, climate: Path, coast: Path, out: Path) -> dict[str, int]:
    """Write all tables into `out`; gives the number of rows of each.

    Raises
    ------
    FileError
        If an input file is missing, or `coast` holds no outlines of countries.
    """
    for path in (zone_db, coast, *(climate / name for name in CLIMATE_FILES)):
        if not path.is_file():
            raise FileError("an input of the reference tables is missing", str(path), "give it")
    out.mkdir(parents=True, exist_ok=True)
    with closing(sqlite3.connect(f"{zone_db.resolve().as_uri()}?mode=ro", uri=True)) as db:
        shapes, areas = zones(db), zip_areas(db)
    tables = {
        "us_zip": areas,
        "us_stations": stations(climate / "us_stations.csv"),
        "uk_regions": regions(climate / "uk_regions.csv"),
        "uk_postcodes": postcodes(climate / "uk_postcode_areas.csv"),
    }
    for name, table in tables.items():
        table.write_parquet(out / f"{name}.parquet", compression="zstd", statistics=False)
    outlines = uk_outlines(countries(coast), tables["uk_postcodes"], tables["uk_regions"])
    maps = {"us_zones": shapes, "uk_outlines": outlines}
    for name, frame in maps.items():
        frame.to_parquet(out / f"{name}.parquet", index=False, compression="zstd")
    return {name: len(rows) for name, rows in (maps | tables).items()}


def _shapes(db: sqlite3.Connection, name: str) -> dict[str, shapely.Geometry]:
    rows = db.execute(f"SELECT {name}, geometry FROM {name}_metadata ORDER BY {name}").fetchall()
    return {key: shapely.from_geojson(text) for key, text in rows}


def _polygons(shape: shapely.Geometry) -> shapely.MultiPolygon:
    """Its surfaces alone: an intersection also yields shared edges and corner points."""
    parts = shapely.get_parts(shapely.get_parts([shape]))
    return shapely.MultiPolygon([part for part in parts if part.geom_type == "Polygon"])


def _renamed(table: pl.DataFrame) -> pl.DataFrame:
    return table.rename({old: new for old, new in RENAMED.items() if old in table.columns})


def _shaped(table: pl.DataFrame, columns: tuple[str, ...]) -> pl.DataFrame:
    """Chosen columns, then the monthly ones; every measured quantity is Float64."""
    monthly = [f"{name}_{month}" for name in MONTHLY for month in MONTHS]
    chosen = table.select(*columns, *(name for name in monthly if name in table.columns))
    counts = {"region_code", "n_outcodes"}
    numbers = [n for n, kind in chosen.schema.items() if kind.is_numeric() and n not in counts]
    return chosen.with_columns(pl.col(numbers).cast(pl.Float64)).with_columns(
        pl.col(sorted(counts & set(chosen.columns))).cast(pl.Int16)
    )


def main(arguments: list[str] | None = None) -> int:
    """Command line: writes the tables, prints the rows of each."""
    parser = argparse.ArgumentParser(description="Rebuild the reference tables.")
    parser.add_argument("--zone-db", type=Path, required=True, help="metadata.db of the data set")
    parser.add_argument("--climate", type=Path, required=True, help="folder of climate CSV files")
    parser.add_argument("--coast", type=Path, required=True, help="countries-10m.json")
    parser.add_argument("--out", type=Path, required=True, help="folder to write into")
    options = parser.parse_args(arguments)
    try:
        counts = build(options.zone_db, options.climate, options.coast, options.out)
    except TriageError as error:
        sys.stderr.write(f"{error}\n")
        return error.exit_code
    for name, rows in counts.items():
        sys.stdout.write(f"{name} {rows}\n")
    return 0


if __name__ == "__main__":
    sys.exit(main())
