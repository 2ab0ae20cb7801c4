"""British National Grid. G1 table: references with metres and WGS84 places worked out with PROJ
(Helmert, 2 to 5 m); the TG reference is the Ordnance Survey's own worked example."""

import numpy as np
import polars as pl
import pytest
from pyproj import Geod, Transformer

from triage.place.grid import metres_fault, parse_grid_references, to_degrees

G1 = [
    ("TG 51409 13177", 651409, 313177, 1),
    ("SV 00000 00000", 0, 0, 1),
    ("SW 342 253", 134200, 25300, 100),
    ("TQ 30 80", 530000, 180000, 1000),
    ("SU 387 148", 438700, 114800, 100),
    ("NN 166 712", 216600, 771200, 100),
    ("NT 25163 73489", 325163, 673489, 1),
    ("HU 396 753", 439600, 1175300, 100),
    ("HP 60 10", 460000, 1210000, 1000),
    ("TL 449 579", 544900, 257900, 100),
]
DEGREES = [
    (651409, 313177, 52.65798, 1.71604),
    (134200, 25300, 50.06827, -5.71577),
    (530000, 180000, 51.50399, -0.12835),
    (438700, 114800, 50.93136, -1.45068),
    (216600, 771200, 56.79609, -5.00471),
    (325163, 673489, 55.94859, -3.19991),
]


def read(text: str | None) -> dict[str, object]:
    return parse_grid_references(pl.Series([text], dtype=pl.String)).row(0, named=True)


@pytest.mark.parametrize(("text", "easting", "northing", "size"), G1)
def test_g1_references(text: str, easting: int, northing: int, size: int) -> None:
    for spelling in (text, text.lower(), text.replace(" ", ""), f"  {text.replace(' ', ', ')} "):
        row = read(spelling)
        assert (row["easting_m"], row["northing_m"], row["size_m"]) == (easting, northing, size)
        assert row["kind"] is None


@pytest.mark.parametrize(("easting", "northing", "lat", "lon"), DEGREES)
def test_g1_degrees(easting: int, northing: int, lat: float, lon: float) -> None:
    got = to_degrees(np.array([float(easting)]), np.array([float(northing)]))
    metres = Geod(ellps="WGS84").inv(lon, lat, got[1][0], got[0][0])[2]
    assert metres < 5


def test_g2_the_worked_example_of_the_ordnance_survey() -> None:
    lat, lon = 52 + 39 / 60 + 27.2531 / 3600, 1 + 43 / 60 + 4.5177 / 3600
    grid = Transformer.from_crs(4277, 27700, always_xy=True).transform(lon, lat)
    assert grid == pytest.approx((651409.903, 313177.270), abs=0.01)
    wgs84 = Transformer.from_crs(4277, 4326, always_xy=True).transform(lon, lat)
    got = to_degrees(np.array([651409.903]), np.array([313177.270]))
    assert Geod(ellps="WGS84").inv(*wgs84, got[1][0], got[0][0])[2] < 0.01


@pytest.mark.parametrize(
    ("text", "kind", "word"),
    [
        ("TI 10 10", "bad_grid_reference", "letter I"),
        ("TQ 123", "bad_grid_reference", "odd"),
        ("TQ", "bad_grid_reference", "letters and digits"),
        ("TQ 123456 123456", "bad_grid_reference", "ten digits"),
        ("ZZ 10 10", "bad_grid_reference", "outside"),
        ("ABC 10 10", "bad_grid_reference", "two letters"),
        ("530000 180000", "bad_grid_reference", "letters and digits"),
        ("J 3372 7400", "irish_grid", "Irish"),
        ("o159343", "irish_grid", "Irish"),
    ],
)
def test_g3_what_is_no_british_reference_is_refused(text: str, kind: str, word: str) -> None:
    row = read(text)
    assert row["kind"] == kind
    assert word in str(row["why"])
    assert row["easting_m"] is None


def test_nothing_written_is_no_fault() -> None:
    assert set(read(None).values()) == {None}


# Belfast City Hall about J 3372 7400: Irish Grid 333720, 374000; ITM 733650, 874010 or so.
@pytest.mark.parametrize(
    ("easting", "northing", "irish_home", "kind"),
    [
        (530000, 180000, False, ""),
        (333720, 374000, True, "irish_grid"),
        (333720, 374000, False, ""),  # also a British place: only the home can tell
        (733650, 874010, False, "irish_grid"),
        (900000, 100, False, "bad_grid_metres"),
        (-5, 100, False, "bad_grid_metres"),
        (146000, 530000, True, ""),  # a British reading that does lie in Northern Ireland
        (float("nan"), float("nan"), True, ""),
    ],
)
def test_metres(easting: float, northing: float, irish_home: bool, kind: str) -> None:
    got = metres_fault(
        np.array([easting], float), np.array([northing], float), np.array([irish_home])
    )
    assert [text or "" for text in got] == [kind]
