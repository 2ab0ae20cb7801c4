"""Outlines of the British regions: the shipped table against places known from elsewhere."""

import json
from pathlib import Path

import geopandas as gpd
import numpy as np
import polars as pl
import pytest
import shapely
from pyproj import Geod

import triage.place
from triage.errors import FileError
from triage.reference import reference_path, reference_table
from triage.reference.outlines import countries, uk_outlines

GEOD = Geod(ellps="WGS84")
# Met Office, historic station data: the 37 stations, longitude and latitude as listed there. The
# region is the one for which the compiled climate tables use the station; none uses Southampton.
STATIONS = {
    "Aberporth": (-4.57, 52.139, 13),
    "Armagh": (-6.649, 54.352, 21),
    "Ballypatrick Forest": (-6.153, 55.181, 21),
    "Bradford": (-1.772, 53.813, 11),
    "Braemar": (-3.396, 57.011, 16),
    "Camborne": (-5.327, 50.218, 4),
    "Cambridge": (0.102, 52.245, 12),
    "Cardiff": (-3.187, 51.488, 5),
    "Chivenor": (-4.147, 51.089, 4),
    "Cwmystwyth": (-3.802, 52.358, 13),
    "Dunstaffnage": (-5.439, 56.451, 14),
    "Durham": (-1.585, 54.768, 10),
    "Eastbourne": (0.285, 50.759, 2),
    "Eskdalemuir": (-3.205, 55.312, 8),
    "Heathrow": (-0.449, 51.479, 1),
    "Hurn": (-1.835, 50.779, 3),
    "Lerwick": (-1.183, 60.139, 20),
    "Leuchars": (-2.861, 56.377, 15),
    "Lowestoft": (1.727, 52.483, 12),
    "Manston": (1.337, 51.346, 2),
    "Nairn": (-3.821, 57.593, 17),
    "Newton Rigg": (-2.786, 54.67, 8),
    "Oxford": (-1.262, 51.761, 1),
    "Paisley": (-4.43, 55.846, 14),
    "Ringway": (-2.279, 53.356, 7),
    "Ross-on-Wye": (-2.584, 51.911, 6),
    "Shawbury": (-2.663, 52.794, 6),
    "Sheffield": (-1.49, 53.381, 11),
    "Southampton": (-1.408, 50.898, 3),
    "Stornoway": (-6.318, 58.214, 18),
    "Sutton Bonington": (-1.25, 52.836, 6),
    "Tiree": (-6.88, 56.5, 14),
    "Valley": (-4.535, 53.252, 13),
    "Waddington": (-0.522, 53.175, 11),
    "Whitby": (-0.624, 54.481, 10),
    "Wick": (-3.088, 58.454, 17),
    "Yeovilton": (-2.641, 51.006, 5),
}
ON_THE_SHORE = {"Aberporth", "Dunstaffnage", "Eastbourne"}
# A middle of the next region lies nearer.
NEXT_REGION = {"Braemar", "Eskdalemuir", "Nairn", "Tiree"}
# Britain, an official handbook, table 1 (Annual Abstract of Statistics): total area. [km2]
GREAT_BRITAIN_KM2, NORTHERN_IRELAND_KM2 = 229_915, 14_120
NORTHERN_IRELAND = 21


@pytest.fixture(scope="module")
def outlines() -> gpd.GeoDataFrame:
    return gpd.read_parquet(reference_path("uk_outlines"))


def _metres_from(shape: shapely.Geometry, point: shapely.Point) -> float:
    """Distance on the ground; 0 inside."""
    if shape.contains(point):
        return 0.0
    return float(GEOD.geometry_length(shapely.shortest_line(shape, point)))


def test_the_table_is_small_and_holds_every_region_once(outlines: gpd.GeoDataFrame) -> None:
    assert reference_path("uk_outlines").stat().st_size < 300_000
    regions = reference_table("uk_regions").filter(pl.col("region_code") > 0)
    british = outlines[outlines["country_code"] == "GB"]
    assert british["region_code"].tolist() == regions["region_code"].to_list()
    assert british["name"].tolist() == regions["region_name"].to_list()
    assert outlines["country_code"].tolist()[-2:] == ["IE", "IM"]
    assert outlines["region_code"].isna().tolist() == [*[False] * 21, True, True]
    assert outlines.crs == "OGC:CRS84"
    assert outlines.geometry.is_valid.all()


def test_regions_do_not_overlap(outlines: gpd.GeoDataFrame) -> None:
    apart = sum(shapely.area(outlines.geometry.array))
    assert shapely.union_all(outlines.geometry.array).area == pytest.approx(apart, rel=1e-6)


@pytest.mark.parametrize("name", STATIONS)
def test_a_station_stands_on_land_and_in_its_region(name: str, outlines: gpd.GeoDataFrame) -> None:
    lon, lat, region = STATIONS[name]
    point = shapely.Point(lon, lat)
    off = outlines.geometry.map(lambda shape: _metres_from(shape, point))
    # Listed to 0.001 degree, and the outline is one for maps of 1:10 million.
    assert off.min() <= (600 if name in ON_THE_SHORE else 0)
    assert (outlines["region_code"][off.idxmin()] == region) == (name not in NEXT_REGION)


def test_the_middle_of_a_postcode_area_lies_in_its_region(outlines: gpd.GeoDataFrame) -> None:
    shapes = dict(zip(outlines["region_code"], outlines.geometry, strict=True))
    places = reference_table("uk_postcodes").drop_nulls("lat")
    off = {
        prefix: _metres_from(shapes[region], shapely.Point(lon, lat))
        for prefix, lon, lat, region in places.select(
            "postcode_prefix", "lon", "lat", "region_code"
        ).iter_rows()
    }
    at_sea = {prefix for prefix, metres in off.items() if metres > 0}
    # Lochs, straits, and Eigg and Muck (PH42), which are too small for the outline.
    assert len(off) == 360
    assert at_sea <= {*("HS", "KW16", "KW17", "LL42", "LL59", "LL65", "PH38", "PH41", "PH42", "PO")}
    assert max(metres for prefix, metres in off.items() if prefix != "PH42") < 5_000


def test_areas_are_those_of_the_handbook(outlines: gpd.GeoDataFrame) -> None:
    square_km = outlines.geometry.map(
        lambda shape: abs(GEOD.geometry_area_perimeter(shape)[0]) / 1e6
    )
    british = outlines["country_code"] == "GB"
    northern = outlines["region_code"] == NORTHERN_IRELAND
    assert square_km[british & ~northern].sum() == pytest.approx(GREAT_BRITAIN_KM2, rel=0.01)
    assert square_km[northern].sum() == pytest.approx(NORTHERN_IRELAND_KM2, rel=0.015)


def test_ground_belongs_to_the_nearest_middle(outlines: gpd.GeoDataFrame) -> None:
    british = outlines[outlines["country_code"] == "GB"]
    rng = np.random.default_rng(20)
    lon, lat = rng.uniform(-8, 2, 3_000), rng.uniform(50, 61, 3_000)
    places = reference_table("uk_postcodes").drop_nulls("lat")
    # The haversine formula, here written anew.
    a, b = np.radians(lat)[:, None], np.radians(places["lat"].to_numpy())
    turn = np.radians(lon[:, None] - places["lon"].to_numpy())
    half = np.sin((a - b) / 2) ** 2 + np.cos(a) * np.cos(b) * np.sin(turn / 2) ** 2
    regions, far = places["region_code"].to_numpy(), np.arcsin(np.sqrt(half))
    looked = 0
    for code, shape in zip(british["region_code"], british.geometry, strict=True):
        inside = shapely.contains_xy(shape, lon, lat)
        own = far[:, regions == code].min(axis=1)[inside]
        assert (own <= 1.005 * far.min(axis=1)[inside]).all()
        looked += int(inside.sum())
    assert looked > 500


def test_no_home_is_located_by_the_outlines() -> None:
    modules = list(Path(triage.place.__file__).parent.glob("*.py"))
    assert len(modules) > 5
    assert not [path for path in modules if "outlines" in path.read_text(encoding="utf-8")]


def _topology(path: Path, boxes: dict[str, tuple[float, float, float, float]]) -> Path:
    """Countries as boxes, in the form of the source file."""
    arcs = [shapely.get_coordinates(shapely.box(*box)).tolist() for box in boxes.values()]
    shapes = [
        {"type": "Polygon", "arcs": [[n]], "id": key, "properties": {"name": f"Land {key}"}}
        for n, key in enumerate(boxes)
    ]
    layer = {"type": "GeometryCollection", "geometries": shapes}
    path.write_text(json.dumps({"type": "Topology", "arcs": arcs, "objects": {"countries": layer}}))
    return path


BOXES = {"372": (-9, 50, -6, 52), "826": (-5, 50, -1, 52), "833": (-5.5, 50, -5.2, 51)}


def test_two_middles_share_the_land_between_them(tmp_path: Path) -> None:
    lands = countries(_topology(tmp_path / "world.json", {"999": (0, 0, 1, 1)} | BOXES))
    # Equally far from 3 degrees west, which is the middle of the metric system: a straight border.
    columns = {"region_code": [7, 4, 4], "lat": [51.0, 51.0, None], "lon": [-4.0, -2.0, None]}
    names = pl.DataFrame({"region_code": [4, 7], "region_name": ["East", "West"]})
    made = uk_outlines(lands, pl.DataFrame(columns), names)
    assert made["name"].tolist() == ["East", "West", "Land 372", "Land 833"]
    assert made["country_code"].tolist() == ["GB", "GB", "IE", "IM"]
    bounds = made.geometry.bounds.to_numpy()
    assert bounds[0] == pytest.approx([-3, 50, -1, 52], abs=1e-6)
    assert bounds[1] == pytest.approx([-5, 50, -3, 52], abs=1e-6)
    assert shapely.area(made.geometry.array) == pytest.approx([4, 4, 6, 0.3], abs=1e-5)


def test_a_file_without_the_countries_is_refused(tmp_path: Path) -> None:
    with pytest.raises(FileError, match="missing: 372, 833"):
        countries(_topology(tmp_path / "world.json", {"826": BOXES["826"]}))
    (tmp_path / "none.json").write_text("{}", encoding="utf-8")
    with pytest.raises(FileError, match="no outlines of countries"):
        countries(tmp_path / "none.json")
