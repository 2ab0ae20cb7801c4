"""D3, D4 and the spot answers: our zone join against the open data set's own answers.

Expected counts and spots were worked out from the data set with plain SQL and point-in-polygon
tests, without this code. `us_zip` holds the data set's own zone and regime columns."""

import numpy as np
import polars as pl
import pytest

from triage.place.climate import zone_columns
from triage.reference import reference_table

CLASSES = ["1A", "2A", "2B", "3A", "3B", "3C", "4A", "4B", "4C", "5A", "5B", "6A", "6B", "7", "8"]


@pytest.fixture(scope="module")
def joined() -> pl.DataFrame:
    areas = reference_table("us_zip")
    zones = zone_columns(None, areas["lat"].to_numpy(), areas["lon"].to_numpy(), 0.02)
    return pl.concat([areas, zones], how="horizontal")


def test_d4_fifteen_classes_remain() -> None:
    zones = reference_table("us_zones")
    assert zones["label"].to_list() == CLASSES
    assert zones["edition"].unique().to_list() == ["IECC 2006-2018 county assignment"]
    assert zones.filter(pl.col("moisture_regime").is_null())["zone"].to_list() == [7, 8]


def test_d3_every_zip_area_lands_in_its_zone(joined: pl.DataFrame) -> None:
    assert joined.height == 33_144
    ambiguous = joined.filter(pl.col("zone_join") == "ambiguous")
    assert sorted(ambiguous["zip"]) == ["04451", "18446"]
    sure = joined.filter(pl.col("zone_join") != "ambiguous")
    with_zone = sure.filter(pl.col("zone").is_not_null())
    without = sure.filter(pl.col("zone").is_null())
    exact = (with_zone["zone_num"] == with_zone["zone"]).sum()
    not_inside = (without["zone_join"] != "inside").sum()
    assert exact + not_inside == 33_142
    assert with_zone.height - exact == 0  # none wrong


def test_the_ambiguous_take_the_lowest_class_and_name_the_other(joined: pl.DataFrame) -> None:
    rows = joined.filter(pl.col("zone_join") == "ambiguous").sort("zip")
    assert rows.select("zone_num", "moist_letter", "zone_also").rows() == [
        (6, "A", "7"),
        (5, "A", "6A"),
    ]


def test_regimes_match(joined: pl.DataFrame) -> None:
    known = joined.filter(pl.col("zone_num").is_not_null(), pl.col("moisture_regime").is_not_null())
    wrong = known.filter(~pl.col("moist_letter").eq_missing(pl.col("moisture_regime")))
    # 04451 lies in 6A and 7 at once; its regime A is that of the class it gets.
    assert wrong.is_empty()


def test_the_coast_is_mended_within_two_hundredths_of_a_degree(joined: pl.DataFrame) -> None:
    lost = joined.filter(pl.col("zone").is_null())
    assert lost.height == 55
    assert lost["zone_join"].value_counts().sort("zone_join").rows() == [
        ("coast_fallback", 46),
        ("none", 9),
    ]
    assert lost.filter(pl.col("zone_join") == "none")["zone_num"].null_count() == 9


def test_counts_by_class(joined: pl.DataFrame) -> None:
    # SQL group-by of the data set, areas with both columns known.
    counts = {"1A": 385, "2A": 2291, "2B": 297, "3A": 4282, "3B": 1644, "3C": 385, "4A": 6901}
    counts |= {"4B": 415, "4C": 675, "5A": 8474, "5B": 1478, "6A": 3883, "6B": 834}
    inside = joined.filter(pl.col("zone_join") == "inside", pl.col("moist_letter").is_not_null())
    got = dict(inside.group_by(pl.format("{}{}", "zone_num", "moist_letter")).len().rows())
    difference = {name: counts[name] - got[name] for name in counts if counts[name] != got[name]}
    assert difference == {"6A": 1}  # 18446


SPOTS = [
    ("Chicago", 41.8781, -87.6298, "5A"),
    ("Miami", 25.7617, -80.1918, "1A"),
    ("Phoenix", 33.4484, -112.0740, "2B"),
    ("Seattle", 47.6062, -122.3321, "4C"),
    ("San Francisco", 37.7749, -122.4194, "3C"),
    ("Denver", 39.7392, -104.9903, "5B"),
    ("Minneapolis", 44.9778, -93.2650, "6A"),
    ("Duluth", 46.7867, -92.1005, "7"),
    ("Fairbanks", 64.8378, -147.7164, "8"),
    ("Honolulu", 21.3069, -157.8583, "1A"),
    ("Albuquerque", 35.0844, -106.6504, "4B"),
    ("Helena", 46.5891, -112.0391, "6B"),
    ("West Palm Beach", 26.7153, -80.0534, "2A"),
    ("San Juan", 18.4655, -66.1057, "1A"),
    ("at sea", 40.0, -70.0, ""),
    ("London", 51.5, -0.12, ""),
]


@pytest.mark.parametrize(("name", "lat", "lon", "label"), SPOTS)
def test_spot_answers(name: str, lat: float, lon: float, label: str) -> None:
    row = zone_columns(None, np.array([lat]), np.array([lon]), 0.02).row(0, named=True)
    number = "" if row["zone_num"] is None else str(row["zone_num"])
    assert number + (row["moist_letter"] or "") == label, name
    assert (row["zone_join"] == "none") == (label == "")
    assert (row["zone_edition"] is None) == (label == "")


ZIPS = {"60614": "5A", "98101": "4C", "33101": "1A", "94103": "3C", "80202": "5B", "55401": "6A"}
ZIPS |= {"99501": "7", "27401": "4A", "02108": "5A", "10001": "4A", "00601": "1A"}


@pytest.mark.parametrize(("code", "label"), ZIPS.items())
def test_zip_spot_answers(joined: pl.DataFrame, code: str, label: str) -> None:
    row = joined.row(by_predicate=pl.col("zip") == code, named=True)
    assert f"{row['zone_num']}{row['moist_letter'] or ''}" == label
