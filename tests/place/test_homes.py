"""Homes placed from what surveys say; places are real, homes are invented."""

import polars as pl
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from triage.place import Placed, PlaceLimits, place_homes
from triage.reference import reference_table

Row = dict[str, object]


def place(*rows: Row, country: str | None = "GB", limits: PlaceLimits | None = None) -> Placed:
    homes = pl.DataFrame(
        [{"property_id": f"h{number}", **row} for number, row in enumerate(rows)],
        infer_schema_length=None,
    )
    return place_homes(homes, None, country, limits=limits)


def one(row: Row, **settings: object) -> tuple[dict[str, object], list[str]]:
    placed = place(row, **settings)  # type: ignore[arg-type]
    return placed.homes.row(0, named=True), placed.problems["kind"].to_list()


def test_a_british_postcode_gives_region_zone_and_rain() -> None:
    home, problems = one({"postal_code": "bt7 1nn"})
    # SAP region 21; figures of the compiled tables for BT and for Northern Ireland.
    assert home["region_name"] == "Northern Ireland"
    assert (home["zone_num"], home["moist_letter"]) == (5, "A")
    assert home["zone_edition"] == "computed from regional monthly means (estimate)"
    assert (home["zone_join"], home["climate_id"]) == ("region", "uk_region_21")
    assert (home["hdd_18_3"], home["cdd_10"], home["frost_days"]) == (3220.0, 647.0, 27.7)
    assert (home["rain_mm_year"], home["dri_m2_s_year"]) == (1030.0, 4.75)
    assert home["exposure_computed"] == "moderate"
    assert "postcode area BT" in str(home["exposure_basis"])
    assert (home["location_precision"], home["location_source"]) == ("admin_area", "postcode")
    assert home["climate_basis"] == "UK region of postcode BT"
    assert (home["distance_km"], home["elevation_diff_m"]) == (None, None)
    assert home["latitude_north"] is True
    # 0.43 cycles a day of air frost; no index without hourly rain.
    assert home["freeze_thaw_cycles"] == pytest.approx(0.43 * 27.7, abs=0.05)
    assert "estimated" in str(home["freeze_thaw_basis"])
    assert home["freeze_thaw_index"] is None
    assert problems == []


def test_a_british_place_without_postcode_says_that_its_region_is_the_nearest() -> None:
    home, problems = one({"latitude": 51.50399, "longitude": -0.12835})
    assert home["region_name"] == "Thames"
    assert "nearest postcode area" in str(home["climate_basis"])
    assert home["location_precision"] == "address"
    assert float(str(home["distance_km"])) < 5
    assert problems == []


def test_a_us_home_gets_zone_and_station() -> None:
    home, problems = one({"latitude": 41.8781, "longitude": -87.6298, "country_code": "US"})
    assert (home["zone_num"], home["moist_letter"], home["zone_join"]) == (5, "A", "inside")
    assert home["zone_edition"] == "IECC 2006-2018 county assignment"
    assert home["climate_name"] == "Chicago Midway Ap, IL"
    assert home["climate_basis"] == "nearest station"
    assert home["join_quality"] == "good"
    assert "typical year" in str(home["freeze_thaw_basis"])
    assert problems == []


def test_limits_of_a_good_join_are_parameters() -> None:
    row = {"latitude": 41.8781, "longitude": -87.6298, "country_code": "US", "elevation_m": 400.0}
    station_height = 187.0  # Chicago Midway
    home, _ = one(row)
    assert home["elevation_diff_m"] == pytest.approx(400 - station_height, abs=2)
    assert home["join_quality"] == "low"
    assert one(row, limits=PlaceLimits(good_height_m=300))[0]["join_quality"] == "good"
    assert one(row, limits=PlaceLimits(10, 300))[0]["join_quality"] == "low"


def test_a_grid_reference_names_the_middle_of_its_square_and_keeps_its_precision() -> None:
    home, _ = one({"grid_reference": "TQ 30 80"})
    assert (home["lat"], home["lon"]) == pytest.approx((51.5084, -0.1210), abs=2e-4)
    assert (home["location_source"], home["location_precision"]) == (
        "grid_reference",
        "post_sector",
    )
    assert home["location_precision_m"] == 1000.0
    metres, _ = one({"easting_m": 530500.0, "northing_m": 180500.0})
    assert (metres["lat"], metres["lon"]) == (home["lat"], home["lon"])
    assert (metres["location_source"], metres["location_precision"]) == ("grid_metres", "address")


REFUSED = [
    ({"latitude": 53.5, "longitude": 3.0}, "signless_longitude"),
    ({"latitude": -1.47, "longitude": 53.38}, "swapped_coordinates"),
    ({"latitude": 0.0, "longitude": 0.0}, "zero_coordinates"),
    ({"latitude": 53.4}, "incomplete_coordinates"),
    ({"latitude": 530000.0, "longitude": 180000.0}, "bad_coordinates"),
    ({"latitude": 48.9, "longitude": 2.3}, "outside_country"),
    ({"grid_reference": "J 3372 7400"}, "irish_grid"),
    ({"grid_reference": "TQ 123"}, "bad_grid_reference"),
    ({"easting_m": 733650.0, "northing_m": 874010.0}, "irish_grid"),
    ({"easting_m": 530000.0}, "incomplete_grid_metres"),
    ({"easting_m": 9e6, "northing_m": 1.0}, "bad_grid_metres"),
]


@pytest.mark.parametrize(("row", "kind"), REFUSED)
def test_a_refused_place_falls_back_to_the_postcode_and_is_told(row: Row, kind: str) -> None:
    home, problems = one({**row, "postal_code": "S1 2AA"})
    assert problems == [kind]
    assert (home["location_source"], home["region_name"]) == ("postcode", "East Pennines")


@pytest.mark.parametrize(
    ("row", "kind"), [*REFUSED, ({"postal_code": "various"}, "unknown_postcode")]
)
def test_a_refused_place_with_nothing_else_leaves_the_home_unplaced(row: Row, kind: str) -> None:
    home, problems = one(row)
    assert problems == sorted([kind, "no_location"])
    assert home["location_precision"] == "unplaced"
    assert home["location_source"] == "none"
    empty = (
        "lat",
        "lon",
        "zone_num",
        "climate_id",
        "exposure_computed",
        "hdd_18_3",
        "join_quality",
    )
    assert [home[name] for name in empty] == [None] * 7
    assert home["zone_join"] == "none"


def test_irish_metres_of_a_northern_irish_home_are_not_read_as_cheshire() -> None:
    row = {"easting_m": 333720.0, "northing_m": 374000.0}
    home, problems = one({**row, "postal_code": "BT1 5GS"})
    assert problems == ["irish_grid"]
    assert home["region_name"] == "Northern Ireland"


def test_a_zip_that_lost_its_zero_is_used_and_noted() -> None:
    home, problems = one({"postal_code": "2108", "country_code": "US"})
    assert problems == ["zip_zero_restored"]
    assert (home["zone_num"], home["moist_letter"], home["region_name"]) == (5, "A", "MA")
    assert home["location_precision"] == "post_sector"


def test_a_place_far_from_its_postcode_is_told_and_keeps_the_climate_of_the_place() -> None:
    home, problems = one({"latitude": 51.5, "longitude": -0.12, "postal_code": "G1 1AA"})
    assert problems == ["location_conflict"]
    assert home["region_name"] == "Thames"


@pytest.mark.parametrize(
    ("lat", "lon", "country"),
    [(40.0, -70.0, "US"), (53.35, -6.26, "IE"), (53.35, -6.26, "GB"), (-33.9, 151.2, "AU")],
)
def test_outside_every_zone_is_no_zone(lat: float, lon: float, country: str) -> None:
    home, problems = one({"latitude": lat, "longitude": lon, "country_code": country})
    assert problems == ["outside_every_zone"]
    assert (home["zone_num"], home["zone_edition"], home["zone_join"]) == (None, None, "none")
    assert home["latitude_north"] is (lat >= 0)


def test_the_coast_fallback_is_recorded() -> None:
    # ZIP 33606 has a middle in the bay: no zone on file, 2A within 0.0024 degree.
    home, problems = one({"postal_code": "33606", "country_code": "US"})
    assert (home["zone_num"], home["zone_join"]) == (2, "coast_fallback")
    assert problems == []
    strict, problems = one(
        {"postal_code": "33606", "country_code": "US"}, limits=PlaceLimits(coast_fallback_deg=0)
    )
    assert (strict["zone_num"], problems) == (None, ["outside_every_zone"])


def test_a_british_place_at_sea_has_no_region() -> None:
    home, problems = one({"latitude": 58.5, "longitude": -0.5})
    assert problems == ["outside_every_zone"]
    assert home["region_name"] is None


def test_no_homes_and_only_unplaced_homes_work() -> None:
    empty = place_homes(pl.DataFrame(schema={"property_id": pl.String}), None, "GB")
    assert (empty.homes.height, empty.problems.height, empty.climate.height) == (0, 0, 0)
    assert place({"postal_code": None}).homes.schema == empty.homes.schema


def test_a_property_that_is_there_twice_is_a_bug_of_the_caller() -> None:
    with pytest.raises(ValueError, match="one row a property"):
        place({"property_id": "x"}, {"property_id": "x"})


CODES = reference_table("uk_postcodes")["postcode_prefix"].head(40).to_list()
ROWS = st.fixed_dictionaries(
    {
        "latitude": st.none() | st.sampled_from([51.5, 53.38, 0.0, -1.4, 99.0, 41.88]),
        "longitude": st.none() | st.sampled_from([-0.12, 1.47, 0.0, 53.0, 3.0, -87.63]),
        "grid_reference": st.none() | st.sampled_from(["TQ 30 80", "J 33 74", "TI 1 1", ""]),
        "easting_m": st.none() | st.sampled_from([530000.0, 733650.0, -1.0]),
        "northing_m": st.none() | st.sampled_from([180000.0, 874010.0]),
        "postal_code": st.none() | st.sampled_from(["2108", "60614", "x", *CODES]),
        "country_code": st.none() | st.sampled_from(["GB", "US", "IE", "FR"]),
    }
)
KINDS = dict.fromkeys(("latitude", "longitude", "easting_m", "northing_m"), pl.Float64)
KINDS |= dict.fromkeys(("grid_reference", "postal_code", "country_code"), pl.String)


@settings(max_examples=40, deadline=None)
@given(rows=st.lists(ROWS, min_size=1, max_size=8), seed=st.integers(0, 100))
def test_order_and_company_of_homes_change_nothing(rows: list[Row], seed: int) -> None:
    homes = pl.DataFrame(rows, schema=KINDS).with_row_index("property_id")
    homes = homes.with_columns(pl.col("property_id").cast(pl.String))
    together = place_homes(homes, None, None)
    shuffled = place_homes(homes.sample(fraction=1, shuffle=True, seed=seed), None, None)
    assert shuffled.homes.sort("property_id").equals(together.homes.sort("property_id"))
    assert shuffled.problems.equals(together.problems)
    alone = [place_homes(homes[row], None, None).homes for row in range(homes.height)]
    assert pl.concat(alone).equals(together.homes)
    # No place without a source, no zone without a place, and unplaced is always told.
    unplaced = together.homes.filter(pl.col("lat").is_null())
    assert unplaced["location_source"].eq("none").all()
    assert unplaced["zone_num"].is_null().all()
    told = together.problems.filter(pl.col("kind") == "no_location")["property_id"]
    assert sorted(told) == sorted(unplaced["property_id"])
