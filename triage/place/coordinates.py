"""Checks on latitudes and longitudes as surveyors write them.

A pair that is doubtful is refused with words, never mended: a home moved to where it looks
plausible would get a climate that nobody chose.
"""

from dataclasses import dataclass

import numpy as np
import polars as pl
from numpy.typing import NDArray

from triage.place.sphere import Floats, NearestPoint, great_circle_km
from triage.reference import reference_table

Flags = NDArray[np.bool_]

# South, north, west, east; islands and territories included.
COUNTRY_BOXES: dict[str, tuple[tuple[float, float, float, float], ...]] = {
    "GB": ((49.8, 61.0, -8.7, 1.8),),
    "IE": ((51.3, 55.5, -10.8, -5.3),),
    "US": (
        (17.5, 71.6, -180.0, -64.0),
        (51.0, 53.5, 172.0, 180.0),  # the Aleutians cross the date line
        (13.0, 20.6, 144.0, 146.2),  # Guam and the Marianas
        (-14.8, -11.0, -171.2, -168.0),  # Samoa
    ),
}
# A British home lies within some 45 km of the middle of a postcode area; one at sea off Norfolk
# whose mirror image is in the Pennines lost its minus sign (PRACTICE).
AT_SEA_KM = 60.0
# How much nearer to the postcode's middle the mirror image must be to give it away (PRACTICE).
MIRROR_GAIN_KM = 40.0

WORDS = {
    "incomplete_coordinates": "only one of latitude and longitude is given",
    "zero_coordinates": "0, 0 is a filler, not a place",
    "swapped_coordinates": "latitude and longitude look swapped; write latitude {lon}, longitude"
    " {lat} if so",
    "signless_longitude": "longitude {lon} looks as if it lost its minus sign; write it with its"
    " sign",
    "bad_coordinates": "latitude must be -90 to 90 and longitude -180 to 180; grid metres belong"
    " in easting_m and northing_m",
    "outside_country": "the place is not in the home's country",
}


@dataclass(frozen=True, slots=True)
class Pairs:
    """Coordinates to check: degrees, NaN where not given, country code ("" if not known).

    `code_lat` and `code_lon` are the middle of the home's postcode or ZIP area, NaN if unknown.
    """

    lat: Floats
    lon: Floats
    country: NDArray[np.str_]
    code_lat: Floats
    code_lon: Floats


def coordinate_fault(pairs: Pairs) -> pl.Series:
    """Why each pair cannot be used: a key of `WORDS`, or null if it can or none is given."""
    lat, lon, country = pairs.lat, pairs.lon, pairs.country
    missing = np.isnan(lat).astype(int) + np.isnan(lon)
    at_home = in_country(lat, lon, country)
    has_box = np.isin(country, list(COUNTRY_BOXES))
    away = has_box & ~at_home
    swapped = away & (in_country(lon, lat, country) | in_country(lon, -lat, country))
    signless = away & in_country(lat, -lon, country) | at_home & _mirrored_in_britain(pairs)
    in_range = (np.abs(lat) <= 90) & (np.abs(lon) <= 180)
    nothing, one = missing == 2, missing == 1
    zero = (lat == 0) & (lon == 0)
    tests = [one, zero, swapped, signless, ~in_range, away]  # in the order of `WORDS`
    kinds = np.select([nothing, *tests], [len(WORDS), *range(len(WORDS))], len(WORDS))
    return pl.Series([*WORDS, None]).gather(kinds)


def in_country(lat: Floats, lon: Floats, country: NDArray[np.str_]) -> Flags:
    """Whether a place is in one of the boxes of its country; False for a country without."""
    inside = np.zeros(lat.shape, dtype=bool)
    for code, boxes in COUNTRY_BOXES.items():
        for south, north, west, east in boxes:
            in_box = (lat >= south) & (lat <= north) & (lon >= west) & (lon <= east)
            inside |= (country == code) & in_box
    return inside


def decimal_size_m(lat: Floats, lon: Floats) -> Floats:
    """Side of the place that a pair's decimals can mean: 1.1 m for five, 111 km for none.

    Degrees that happen to end in zeros are taken for coarser than they are, never for finer.
    """
    size = np.full(lat.shape, 1.11)
    for places in (4, 3, 2, 1, 0):
        coarse = (np.round(lat, places) == lat) & (np.round(lon, places) == lon)
        size = np.where(coarse, 111_000.0 / 10**places, size)
    return size


def _mirrored_in_britain(pairs: Pairs) -> Flags:
    """British places east of Greenwich whose mirror image in the west is the likelier home."""
    doubtful = (pairs.country == "GB") & (pairs.lon > 0)
    doubtful &= in_country(pairs.lat, -pairs.lon, pairs.country)
    result = np.zeros(pairs.lat.shape, dtype=bool)
    if not doubtful.any():
        return result
    lat, lon = pairs.lat[doubtful], pairs.lon[doubtful]
    code_lat, code_lon = pairs.code_lat[doubtful], pairs.code_lon[doubtful]
    areas = reference_table("uk_postcodes").drop_nulls(["lat", "lon"])
    nearest = NearestPoint(areas["lat"].to_numpy(), areas["lon"].to_numpy())
    at_sea = nearest.find(lat, lon)[1] > AT_SEA_KM
    at_sea &= nearest.find(lat, -lon)[1] <= AT_SEA_KM
    gain = great_circle_km(lat, lon, code_lat, code_lon)
    gain = gain - great_circle_km(lat, -lon, code_lat, code_lon)
    result[doubtful] = np.where(np.isnan(gain), at_sea, gain > MIRROR_GAIN_KM)
    return result
