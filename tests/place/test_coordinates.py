"""Coordinates as surveyors write them. Real places serve as points only."""

import numpy as np
import pytest

from triage.place.coordinates import Pairs, coordinate_fault, decimal_size_m

NAN = float("nan")
SHEFFIELD, LEEDS_CODE = (53.38, -1.47), (53.8, -1.55)


def fault(lat: float, lon: float, country: str, code: tuple[float, float] = (NAN, NAN)) -> str:
    one = [np.array([value], float) for value in (lat, lon, *code)]
    got = coordinate_fault(Pairs(one[0], one[1], np.array([country]), one[2], one[3]))
    return got[0] or ""


@pytest.mark.parametrize(
    ("lat", "lon", "country", "kind"),
    [
        (51.5, -0.12, "GB", ""),
        (52.6, 1.3, "GB", ""),  # Norwich is east of Greenwich
        (60.15, -1.15, "GB", ""),
        (54.6, -5.9, "GB", ""),
        (53.3, -6.2, "IE", ""),
        (41.88, -87.63, "US", ""),
        (52.9, 173.2, "US", ""),  # the Aleutians cross the date line
        (13.45, 144.75, "US", ""),
        (-33.9, 151.2, "AU", ""),  # no box for that country: only the range is checked
        (48.9, 2.3, "", ""),
        (NAN, NAN, "GB", ""),
        (51.5, NAN, "GB", "incomplete_coordinates"),
        (NAN, -0.1, "GB", "incomplete_coordinates"),
        (0.0, 0.0, "GB", "zero_coordinates"),
        (0.0, 0.0, "", "zero_coordinates"),
        (-0.12, 51.5, "GB", "swapped_coordinates"),
        (-87.63, 41.88, "US", "swapped_coordinates"),
        (-122.33, 47.6, "US", "swapped_coordinates"),  # out of range as it stands
        (87.63, 41.88, "US", "swapped_coordinates"),  # sign lost too
        (53.5, 3.0, "GB", "signless_longitude"),
        (51.6, 3.9, "GB", "signless_longitude"),
        (54.6, 5.9, "GB", "signless_longitude"),
        (41.88, 87.63, "US", "signless_longitude"),
        (53.3, 6.2, "IE", "signless_longitude"),
        (530000.0, 180000.0, "GB", "bad_coordinates"),
        (91.0, 10.0, "", "bad_coordinates"),
        (10.0, 181.0, "AU", "bad_coordinates"),
        (48.9, 2.3, "GB", "outside_country"),
        (51.5, -0.12, "US", "outside_country"),
    ],
)
def test_faults(lat: float, lon: float, country: str, kind: str) -> None:
    assert fault(lat, lon, country) == kind


def test_a_lost_sign_that_stays_in_the_british_box_is_seen_by_the_sea() -> None:
    # 53.38 north, 1.47 east is in the North Sea; its mirror image is Sheffield.
    assert fault(SHEFFIELD[0], 1.47, "GB") == "signless_longitude"


def test_a_lost_sign_near_the_meridian_is_seen_by_the_postcode() -> None:
    # 51.45, 0.97 lies in the Thames estuary, near homes; its mirror image is Reading (RG).
    reading = (51.43, -1.0)
    assert fault(51.45, 0.97, "GB") == ""
    assert fault(51.45, 0.97, "GB", reading) == "signless_longitude"
    # A home east of Greenwich with a postcode whose middle lies west of it is left alone.
    assert fault(51.45, 0.10, "GB", (51.45, -0.05)) == ""


def test_a_place_at_sea_with_its_mirror_image_at_sea_lost_no_sign() -> None:
    assert fault(49.9, 0.6, "GB") == ""


@pytest.mark.parametrize(
    ("lat", "lon", "size"),
    [
        (51.50399, -0.12835, 1.11),
        (51.5039, -0.1283, 11.1),
        (51.5, -0.12, 1110.0),
        (51.5, -0.1, 11100.0),
        (51.0, 0.0, 111000.0),
    ],
)
def test_decimals_say_how_coarse_a_place_is(lat: float, lon: float, size: float) -> None:
    # A degree of latitude is 111 km.
    assert decimal_size_m(np.array([lat]), np.array([lon]))[0] == pytest.approx(size)
