"""Outlines of the British regions: cells of the nearest postcode area, cut at the coast."""

from pathlib import Path

import geopandas as gpd
import polars as pl
import shapely

from triage.errors import FileError

SOURCE = "Natural Earth 4.1.0, 1:10m countries (world-atlas 2.0.2); cells DERIVED"
LAYER = "countries"
UNITED_KINGDOM = "826"
NEIGHBOURS = {"372": "IE", "833": "IM"}  # drawn, since the sea does not begin at the border
_METRES = "EPSG:32630"  # distances within 0.2 % from Kerry to Norfolk, and no change of datum
_CELLS_REACH_DEG = (-12.0, 48.0, 5.0, 63.0)


def countries(path: Path) -> gpd.GeoDataFrame:
    """Outlines of the United Kingdom and its neighbours; index `id` is ISO 3166-1 numeric.

    Raises
    ------
    FileError
        If the file is no TopoJSON of countries, or lacks one of them.
    """
    hint = "give countries-10m.json of world-atlas"
    try:
        world = gpd.read_file(path, layer=LAYER)
        held = world.set_index("id")[["name", "geometry"]]
    except (ValueError, RuntimeError, KeyError) as problem:
        raise FileError("this holds no outlines of countries", str(path), hint) from problem
    wanted = [UNITED_KINGDOM, *NEIGHBOURS]
    lacking = [name for name in wanted if name not in held.index]
    if lacking:
        raise FileError(f"these countries are missing: {', '.join(lacking)}", str(path), hint)
    # The file names no system; its degrees are those of WGS84.
    return held.loc[wanted].set_crs("OGC:CRS84", allow_override=True)


def uk_outlines(
    lands: gpd.GeoDataFrame, postcodes: pl.DataFrame, regions: pl.DataFrame
) -> gpd.GeoDataFrame:
    """One outline a region, then one for each neighbour.

    A region is the land that lies nearest to the middle of one of its postcode areas or
    districts: where the product puts a home of which it knows the coordinates alone. Borders of
    regions are therefore straight lines between middles, and approximate.

    Parameters
    ----------
    lands
        As `countries` gives them.
    postcodes
        Columns region_code, lat, lon [degrees]; places without coordinates are left out.
    regions
        Columns region_code, region_name.
    """
    coast = lands.geometry.loc[UNITED_KINGDOM]
    cells = _nearest_cells(postcodes.drop_nulls(["lat", "lon"]))
    cut = [shapely.normalize(shapely.intersection(cell, coast)) for cell in cells.geometry]
    names = dict(regions.select("region_code", "region_name").rows())
    near = lands.loc[list(NEIGHBOURS)]
    columns = {
        "region_code": [*cells.index, *(None for _ in NEIGHBOURS)],
        "name": [*(names[code] for code in cells.index), *near["name"]],
        "country_code": [*("GB" for _ in cells.index), *NEIGHBOURS.values()],
        "source": SOURCE,
    }
    shapes = [*cut, *map(shapely.normalize, near.geometry)]
    frame = gpd.GeoDataFrame(columns, geometry=shapes, crs="OGC:CRS84")
    return frame.astype({"region_code": "Int16"})


def _nearest_cells(places: pl.DataFrame) -> gpd.GeoDataFrame:
    """The ground nearest to the places of each region; index region_code."""
    points = gpd.GeoSeries(
        gpd.points_from_xy(places["lon"], places["lat"]), crs="OGC:CRS84"
    ).to_crs(_METRES)
    sheet = gpd.GeoSeries([shapely.box(*_CELLS_REACH_DEG)], crs="OGC:CRS84").to_crs(_METRES)
    cells = shapely.voronoi_polygons(
        shapely.MultiPoint(list(points)), extend_to=sheet.iloc[0], ordered=True
    )
    frame = gpd.GeoDataFrame(
        {"region_code": places["region_code"].to_list()},
        geometry=list(shapely.get_parts(cells)),
        crs=_METRES,
    )
    return frame.to_crs("OGC:CRS84").dissolve("region_code")
