"""Small tables that ship with the product. SOURCES.md beside them says where each is from.

| table | grain |
|---|---|
| us_zones | one climate class (zone number and moisture regime), with its polygons |
| us_zip | one ZIP area |
| us_stations | one weather station with a typical year |
| uk_regions | one region of the UK home-energy standard, 0 is the UK average |
| uk_postcodes | one postcode area, or one district that belongs to another region |
| uk_outlines | one UK region with its polygons, then Ireland and the Isle of Man; ground of maps |
"""

from functools import cache
from pathlib import Path
from typing import Literal

import polars as pl

Name = Literal["us_zones", "us_zip", "us_stations", "uk_regions", "uk_postcodes", "uk_outlines"]


def reference_path(name: Name) -> Path:
    """File of one reference table."""
    return Path(__file__).parent / f"{name}.parquet"


@cache
def reference_table(name: Name) -> pl.DataFrame:
    """One reference table, in the order of its key. Geometry comes as well-known binary.

    Raises
    ------
    FileNotFoundError
        If the table is not part of this installation.
    """
    path = reference_path(name)
    if not path.is_file():
        raise FileNotFoundError(f"the reference table {path} is missing; install again")
    return pl.read_parquet(path)
