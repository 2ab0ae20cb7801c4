"""Nearest point and distance against PROJ's geodesic on a sphere."""

import numpy as np
import pytest
from pyproj import Geod

from triage.place.climate import nearest_records
from triage.place.records import us_stations
from triage.place.sphere import EARTH_RADIUS_KM, NearestPoint, great_circle_km

SPHERE = Geod(a=EARTH_RADIUS_KM * 1000, b=EARTH_RADIUS_KM * 1000)


def test_distances_equal_the_geodesic_on_a_sphere() -> None:
    rng = np.random.default_rng(7)
    lat, other_lat = rng.uniform(-90, 90, (2, 500))
    lon, other_lon = rng.uniform(-180, 180, (2, 500))
    expected = SPHERE.inv(lon, lat, other_lon, other_lat)[2] / 1000
    assert great_circle_km(lat, lon, other_lat, other_lon) == pytest.approx(expected, abs=1e-6)


def test_the_nearest_station_is_the_nearest_by_geodesic() -> None:
    rng = np.random.default_rng(11)
    lat, lon = rng.uniform(18, 70, 300), rng.uniform(-170, -66, 300)
    stations = us_stations()
    to_lat, to_lon = stations["lat"].to_numpy(), stations["lon"].to_numpy()
    grid = np.broadcast_arrays(lon[:, None], lat[:, None], to_lon[None], to_lat[None])
    expected = SPHERE.inv(*grid)[2] / 1000
    got = nearest_records(stations, lat, lon, limit_km=1e6)
    assert got["distance_km"].to_numpy() == pytest.approx(expected.min(axis=1), abs=1e-6)
    names = stations["climate_id"].to_numpy()[expected.argmin(axis=1)]
    assert got["climate_id"].to_list() == names.tolist()


def test_beyond_the_limit_there_is_no_station() -> None:
    got = nearest_records(us_stations(), np.array([51.5]), np.array([-0.12]), limit_km=300)
    assert got.row(0) == (None, None)


def test_of_equally_near_points_the_first_is_taken() -> None:
    # Two points share a place, two more are mirror images of each other.
    lat, lon = np.array([10.0, 10.0, 0.0, 0.0]), np.array([20.0, 20.0, 1.0, -1.0])
    index, _ = NearestPoint(lat, lon).find(np.array([10.1, 0.0]), np.array([20.0, 0.0]))
    assert index.tolist() == [0, 2]
    index, _ = NearestPoint(lat[::-1], lon[::-1]).find(np.array([10.1, 0.0]), np.array([20.0, 0.0]))
    assert index.tolist() == [2, 0]


def test_the_date_line_is_no_border() -> None:
    index, km = NearestPoint(np.array([0.0, 0.0]), np.array([-179.9, 170.0])).find(
        np.array([0.0]), np.array([179.9])
    )
    assert index.tolist() == [0]
    assert km[0] == pytest.approx(22.239, abs=0.001)  # 0.2 degree of the equator
