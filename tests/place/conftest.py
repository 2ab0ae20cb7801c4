"""Small maps and station tables, invented."""

from pathlib import Path

import geopandas as gpd
import pytest
import shapely

# Two squares side by side in degrees; the western one is cold.
SQUARES = {"5A": (-100.0, 40.0, -99.0, 41.0), "4A": (-99.0, 40.0, -98.0, 41.0)}
STATIONS = """station_id,name,lat,lon,elevation_m,hdd_18_3,cdd_10,rain_mm_year,wind_ms_year
B2,West mast,40.5,-99.9,500,3300,1500,600,5
A1,East mast,40.5,-98.1,300,2700,2000,900,
"""


@pytest.fixture
def zone_map(tmp_path: Path) -> Path:
    """Own zones in metres of another coordinate system, as a GeoPackage."""
    path = tmp_path / "own.gpkg"
    shapes = [shapely.box(*box) for box in SQUARES.values()]
    frame = gpd.GeoDataFrame({"zone": list(SQUARES)}, geometry=shapes, crs="OGC:CRS84")
    frame.to_crs(5070).to_file(path, driver="GPKG")
    return path


@pytest.fixture
def station_file(tmp_path: Path) -> Path:
    """Own stations, out of order."""
    path = tmp_path / "stations.csv"
    path.write_text(STATIONS, encoding="utf-8")
    return path
