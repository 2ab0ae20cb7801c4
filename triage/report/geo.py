"""The homes of a run for mapping programs: a GeoPackage and a GeoParquet file."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import polars as pl

if TYPE_CHECKING:
    from geopandas import GeoDataFrame

LAYER = "homes"
# A GeoPackage carries the time it was written; a fixed one keeps two runs the same.
_FIXED_TIME = "2000-01-01T00:00:00.000Z"


def write_homes(gpkg: Path, parquet: Path, homes: pl.DataFrame) -> None:
    """Write one point a home, in WGS 84 (EPSG:4326), with all columns.

    Parameters
    ----------
    gpkg, parquet
        Files to write; an older file of that name is replaced.
    homes
        One row a home with property_id and lat, lon [degrees; null: not placed]. List columns
        become text, one entry after the other with "; " between.

    A home without a location stays in both files, with a null geometry. Rows are in the order
    of property_id, and the same homes give the same GeoParquet bytes.
    """
    import pyogrio  # noqa: PLC0415  only a finished run needs it

    points = home_points(homes)
    points.to_parquet(parquet, index=False, compression="zstd", schema_version="1.1.0")
    gpkg.unlink(missing_ok=True)
    before = pyogrio.get_gdal_config_option("OGR_CURRENT_DATE")
    pyogrio.set_gdal_config_options({"OGR_CURRENT_DATE": _FIXED_TIME})
    try:
        points.to_file(gpkg, layer=LAYER, driver="GPKG", engine="pyogrio", geometry_type="Point")
    finally:
        pyogrio.set_gdal_config_options({"OGR_CURRENT_DATE": before})


def home_points(homes: pl.DataFrame) -> GeoDataFrame:
    """Homes as a GeoDataFrame in EPSG:4326, sorted by property_id, with plain columns."""
    import geopandas as gpd  # noqa: PLC0415
    import numpy as np  # noqa: PLC0415
    import shapely  # noqa: PLC0415

    ordered = plain_columns(homes).sort("property_id", maintain_order=True)
    lat = ordered["lat"].cast(pl.Float64).fill_null(np.nan).to_numpy()
    lon = ordered["lon"].cast(pl.Float64).fill_null(np.nan).to_numpy()
    placed = np.isfinite(lat) & np.isfinite(lon)
    geometry = np.full(ordered.height, None, dtype=object)
    geometry[placed] = shapely.points(lon[placed], lat[placed])
    table = ordered.to_pandas(use_pyarrow_extension_array=False)
    return gpd.GeoDataFrame(table, geometry=gpd.GeoSeries(geometry, crs=4326))


def plain_columns(frame: pl.DataFrame) -> pl.DataFrame:
    """Lists to text, small and unsigned integers to Int64: what every mapping program reads."""
    changes = []
    for name, dtype in frame.schema.items():
        if isinstance(dtype, pl.List):
            changes.append(pl.col(name).cast(pl.List(pl.String)).list.join("; "))
        elif dtype.is_integer():
            changes.append(pl.col(name).cast(pl.Int64))
    return frame.with_columns(changes)
