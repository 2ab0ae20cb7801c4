"""W3, and the limits of the driving-rain index."""

import polars as pl
import pytest

from triage.physics.wind_rain import (
    driving_rain_index,
    exposure_from_index,
    exposure_from_spell,
)

ZONES = ["sheltered", "moderate", "severe", "very_severe"]


# W3: Approved Document C / BR 262 as transcribed in public; litres per square metre and spell.
@pytest.mark.parametrize(
    ("spell", "zone"), [(32.9, 1), (33.0, 2), (56.4, 2), (56.5, 3), (99.9, 3), (100.0, 4)]
)
def test_w3_the_lower_limit_belongs_to_the_higher_zone(spell: float, zone: int) -> None:
    assert pl.select(exposure_from_spell(pl.lit(spell))).item() == ZONES[zone - 1]


# From memory: Lacy, BRE Digest 127.
@pytest.mark.parametrize(
    ("index", "name"),
    [
        (0.0, "sheltered"),
        (2.99, "sheltered"),
        (3.0, "moderate"),
        (6.99, "moderate"),
        (7.0, "severe"),
        (40.0, "severe"),
    ],
)
def test_bands_of_the_driving_rain_index(index: float, name: str) -> None:
    assert pl.select(exposure_from_index(pl.lit(index))).item() == name


@pytest.mark.parametrize("nothing", [None, float("nan"), -1.0])
def test_what_is_not_known_has_no_class(nothing: float | None) -> None:
    value = pl.lit(nothing, dtype=pl.Float64)
    assert pl.select(exposure_from_index(value)).item() is None
    assert pl.select(exposure_from_spell(value)).item() is None


def test_the_index_is_rain_times_wind_over_a_thousand() -> None:
    # Heathrow-like figures worked by hand: 649 mm at 3.63 m/s.
    got = pl.select(driving_rain_index(pl.lit(649.0), pl.lit(3.63))).item()
    assert got == pytest.approx(2.356, abs=0.001)
