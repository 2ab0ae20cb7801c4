"""A programme's own zones, exposure map and stations."""

from pathlib import Path

import geopandas as gpd
import numpy as np
import polars as pl
import pytest
import shapely

from triage.contract.programme import ClimateFiles, ExposureFile
from triage.errors import ManyErrors, PlaceError
from triage.place import Placed, place_homes
from triage.place.layers import join_layer, own_zones
from triage.place.records import own_stations

HOMES = pl.DataFrame(
    {
        "property_id": ["west", "east", "far"],
        "latitude": [40.5123, 40.5123, 40.5123],
        "longitude": [-99.5123, -98.5123, -97.9],
        "elevation_m": [520.0, 460.0, None],
        "country_code": ["US", "US", "US"],
    }
)


def square(label: object, west: float = -100.0, **extra: object) -> gpd.GeoDataFrame:
    columns = {"zone": [label], **extra}
    shape = [shapely.box(west, 40, west + 1, 41)]
    return gpd.GeoDataFrame(columns, geometry=shape, crs="OGC:CRS84")


def column(placed: Placed, name: str) -> list[object]:
    return placed.homes[name].to_list()


def test_own_zones_in_another_coordinate_system_replace_ours(zone_map: Path) -> None:
    placed = place_homes(HOMES, ClimateFiles(None, zone_map, "zone"), "US")
    assert column(placed, "zone_num") == [5, 4, None]
    assert column(placed, "moist_letter") == ["A", "A", None]
    assert column(placed, "zone_join") == ["inside", "inside", "none"]
    assert column(placed, "zone_edition") == ["programme's own zones: own.gpkg"] * 2 + [None]
    # 0.1 degree outside: the coast fallback mends our shapes, not the programme's.
    assert placed.problems["kind"].to_list() == ["outside_every_zone"]


@pytest.mark.parametrize("name", ["own.geojson", "own.parquet", "own.shp"])
def test_other_formats_are_read(tmp_path: Path, name: str) -> None:
    path = tmp_path / name
    frame = square("zone 5a").set_crs("EPSG:4326", allow_override=True)
    if path.suffix == ".parquet":
        frame.to_parquet(path)
    else:
        frame.to_file(path)
    assert own_zones(path, "zone").labels == ("5A",)


def test_numbers_without_letters_are_zones_too(tmp_path: Path) -> None:
    path = tmp_path / "numbers.gpkg"
    square(7).to_file(path)
    assert own_zones(path, "zone").labels == ("7",)


def test_on_a_shared_edge_the_lowest_class_wins_and_both_are_named(zone_map: Path) -> None:
    layer = own_zones(zone_map, "zone")
    assert layer.labels == ("4A", "5A")
    # The edge came back from metres: step off it by far less than a metre either way.
    found = join_layer(layer, np.full(3, 40.0001), np.array([-99.00001, -98.99999, -120.0]), 0.0)
    assert found.first.tolist() == [1, 0, -1]
    exact = tuple(shapely.box(*box) for box in ((-1, 0, 0, 1), (0, 0, 1, 1)))
    shapes = np.array(exact, dtype=object)
    edge = join_layer(type(layer)(("4A", "5A"), shapes, ""), np.array([0.5]), np.array([0.0]), 0.0)
    assert (edge.first[0], edge.second[0]) == (0, 1)


@pytest.mark.parametrize(
    ("frame", "zone_column", "word"),
    [
        (square("9Z"), "zone", "'9Z'"),
        (square(None), "zone", "''"),
        (square("5A"), "climate", "no column 'climate'"),
        (square("5A").set_geometry([shapely.Point(0, 0)], crs=4326), "zone", "not an area"),
        (
            square("5A").set_geometry(
                [shapely.from_wkt("POLYGON((0 0,1 1,1 0,0 1,0 0))")], crs=4326
            ),
            "zone",
            "Self-intersection",
        ),
    ],
)
def test_maps_that_cannot_be_used_say_why(
    tmp_path: Path, frame: gpd.GeoDataFrame, zone_column: str, word: str
) -> None:
    path = tmp_path / "bad.gpkg"
    frame.to_file(path)
    with pytest.raises(PlaceError, match=word) as caught:
        own_zones(path, zone_column)
    assert "bad.gpkg" in str(caught.value)


def test_a_map_without_coordinate_system_is_refused(tmp_path: Path) -> None:
    path = tmp_path / "nowhere.parquet"
    gpd.GeoDataFrame({"zone": ["5A"]}, geometry=[shapely.box(0, 0, 1, 1)]).to_parquet(path)
    with pytest.raises(PlaceError, match="coordinate system"):
        own_zones(path, "zone")


@pytest.mark.parametrize("name", ["missing.gpkg", "text.gpkg", "text.parquet"])
def test_files_that_are_no_maps_are_refused(tmp_path: Path, name: str) -> None:
    path = tmp_path / name
    if not name.startswith("missing"):
        path.write_text("not a map", encoding="utf-8")
    with pytest.raises(PlaceError, match=r"missing|cannot be read"):
        own_zones(path, "zone")


def test_own_exposure_takes_the_worst_class_and_leaves_the_rest_to_the_index(
    tmp_path: Path,
) -> None:
    path = tmp_path / "exposure.gpkg"
    shapes = [shapely.box(-100, 40, -99, 41), shapely.box(-99.6, 40, -99, 41)]
    frame = gpd.GeoDataFrame({"band": ["Zone 2", "4"]}, geometry=shapes, crs="OGC:CRS84")
    frame.to_file(path)
    placed = place_homes(HOMES, None, "US", exposure=ExposureFile(path, "band"))
    assert column(placed, "exposure_computed")[0] == "very_severe"
    basis = [str(text) for text in column(placed, "exposure_basis")]
    assert basis[0] == "programme's own map: exposure.gpkg"
    assert basis[1].startswith("driving-rain index")


def test_own_stations_replace_ours(station_file: Path) -> None:
    placed = place_homes(HOMES, ClimateFiles(station_file, None, None), "US")
    assert column(placed, "climate_id") == ["B2", "A1", "A1"]
    assert column(placed, "hdd_18_3") == [3300.0, 2700.0, 2700.0]
    assert column(placed, "elevation_diff_m") == [20.0, 160.0, None]
    # 33 km, 35 km and 17 km away, by hand from 84.7 km a degree at this latitude.
    assert placed.homes["distance_km"].to_numpy() == pytest.approx([32.9, 34.9, 17.0], abs=0.2)
    assert column(placed, "join_quality") == ["low", "low", "good"]
    # 600 mm at 5 m/s; the eastern mast has no wind.
    assert column(placed, "dri_m2_s_year") == [3.0, None, None]
    assert column(placed, "exposure_computed") == ["moderate", None, None]
    assert placed.climate["climate_id"].to_list() == ["A1", "B2"]


def test_own_stations_serve_homes_of_every_country(station_file: Path) -> None:
    home = pl.DataFrame({"property_id": ["h"], "latitude": [40.5], "longitude": [-98.2]})
    placed = place_homes(home, ClimateFiles(station_file, None, None), "CA")
    assert column(placed, "climate_id") == ["A1"]


def test_a_station_table_names_every_missing_column(tmp_path: Path) -> None:
    path = tmp_path / "stations.csv"
    path.write_text("station_id,name,lat\nA,B,1\n", encoding="utf-8")
    with pytest.raises(PlaceError, match="lon, hdd_18_3, cdd_10"):
        own_stations(path)


def test_all_bad_cells_of_a_station_table_are_told_at_once(tmp_path: Path) -> None:
    path = tmp_path / "stations.csv"
    rows = "station_id,name,lat,lon,hdd_18_3,cdd_10\nA,a,95,0,100,1\nA,b,1,2,many,1\n,c,1,2,3,-4\n"
    path.write_text(rows, encoding="utf-8")
    with pytest.raises(ManyErrors) as caught:
        own_stations(path)
    text = str(caught.value)
    for word in ("lat is out of range", "hdd_18_3 is not a number", "twice", "station_id is empty"):
        assert word in text
    assert "row 3" in text  # the line of `many`, as the file shows it
    assert "cdd_10 is below zero" in text


def test_a_station_table_may_be_parquet(tmp_path: Path, station_file: Path) -> None:
    path = tmp_path / "stations.parquet"
    pl.read_csv(station_file).write_parquet(path)
    assert own_stations(path).equals(
        own_stations(station_file).with_columns(
            dataset=pl.lit("programme's own stations: stations.parquet")
        )
    )


def test_the_order_of_shapes_and_stations_changes_nothing(
    tmp_path: Path, zone_map: Path, station_file: Path
) -> None:
    frame = gpd.read_file(zone_map)
    (tmp_path / "turned").mkdir()
    turned = tmp_path / "turned" / zone_map.name
    frame.iloc[::-1].to_file(turned)
    heading, *rows = station_file.read_text(encoding="utf-8").splitlines()
    other = tmp_path / "turned" / station_file.name
    other.write_text("\n".join([heading, *reversed(rows)]), encoding="utf-8")
    one = place_homes(HOMES, ClimateFiles(station_file, zone_map, "zone"), "US")
    two = place_homes(HOMES, ClimateFiles(other, turned, "zone"), "US")
    assert two.homes.equals(one.homes)
    assert two.climate.equals(one.climate)
