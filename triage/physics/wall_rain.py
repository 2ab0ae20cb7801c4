"""Driving rain on a real wall: from the open airfield to terrain, shelter and shape of a house."""

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import TypeVar

import numpy as np
from numpy.typing import ArrayLike, NDArray

Floats = NDArray[np.float64]
T = TypeVar("T")


@dataclass(frozen=True, slots=True)
class Terrain:
    """Roughness of the ground upwind: factor, roughness length, lowest height to reckon with."""

    factor: float
    length_m: float
    least_height_m: float


# ISO 15927-3:2009 (SEEN in public research scripts): I open water and smooth flat country, II
# farmland, III suburbs, industry, forest, IV at least 15 % built over, above 15 m on average.
TERRAINS: Mapping[str, Terrain] = MappingProxyType(
    {
        "I": Terrain(0.17, 0.01, 2.0),
        "II": Terrain(0.19, 0.05, 4.0),
        "III": Terrain(0.22, 0.3, 8.0),
        "IV": Terrain(0.24, 1.0, 16.0),
    }
)

# ISO 15927-3:2009 (MEMORY): distance to the obstacle up to which each factor holds. [m]
_OBSTACLE_LIMITS_M = (8.0, 15.0, 25.0, 40.0, 60.0, 80.0, 100.0, 120.0)
_OBSTACLE_FACTORS = (0.2, 0.3, 0.4, 0.5, 0.6, 0.7, 0.8, 0.9, 1.0)
NEAREST_OBSTACLE_M = 4.0

# ISO 15927-3:2009 (MEMORY, roughly; research takes 0.4 to 0.5 throughout, SEEN).
WALL_FACTORS: Mapping[str, float] = MappingProxyType(
    {
        "gable_two_storey": 0.4,
        "gable_three_storey": 0.3,
        "eaves_two_storey": 0.3,
        "flat_roof_two_storey": 0.4,
        "multi_storey": 0.2,
        "multi_storey_top": 0.5,  # the uppermost 2.5 m
    }
)


def roughness_factor(terrain: str, height_m: ArrayLike) -> Floats:
    """Wind at a height above this terrain, against that at 10 m above an airfield.

    Parameters
    ----------
    terrain
        Category of `TERRAINS`: I, II, III or IV.
    height_m
        Height above ground, any shape, above 0. [m] Below the least height of the terrain the
        factor stays that of the least height.

    Raises
    ------
    ValueError
        If the terrain is none of these, or a height is not above 0.

    References
    ----------
    ISO 15927-3:2009 (SEEN in public research scripts).
    """
    kind = _look_up(TERRAINS, terrain, "terrain category")
    height = np.asarray(height_m, dtype=np.float64)
    if not (height > 0).all():
        raise ValueError("height above ground must be known and above 0 m")
    return np.asarray(kind.factor * np.log(np.maximum(height, kind.least_height_m) / kind.length_m))


def _look_up(table: Mapping[str, T], name: str, what: str) -> T:
    if name not in table:
        raise ValueError(f"no {what} {name!r}; take one of {', '.join(table)}")
    return table[name]


def obstruction_factor(distance_m: ArrayLike) -> Floats:
    """Shelter by the nearest obstacle of at least the wall's height, in front of the wall.

    Parameters
    ----------
    distance_m
        Distance, any shape; infinite where nothing stands there. [m] Nearer than 4 m the factor
        of 4 m is kept: the standard's table begins there. A limit belongs to the nearer class.

    Raises
    ------
    ValueError
        If a distance is negative or NaN.

    References
    ----------
    ISO 15927-3:2009 (MEMORY).
    """
    distance = np.asarray(distance_m, dtype=np.float64)
    if not (distance >= 0).all():
        raise ValueError("distance to the obstacle must be known and not negative")
    return np.asarray(np.array(_OBSTACLE_FACTORS)[np.searchsorted(_OBSTACLE_LIMITS_M, distance)])


def wall_factor(wall: str) -> float:
    """Share of the free driving rain that meets a wall of this kind, one of `WALL_FACTORS`.

    References
    ----------
    ISO 15927-3:2009 (MEMORY, roughly).
    """
    return _look_up(WALL_FACTORS, wall, "kind of wall")


def wall_index_l_m2(
    airfield_l_m2: ArrayLike,
    *,
    roughness: ArrayLike,
    obstruction: ArrayLike,
    wall: ArrayLike,
    topography: ArrayLike = 1.0,
) -> Floats:
    """Driving rain on a wall, for a year or a spell as the airfield index is.

    Parameters
    ----------
    airfield_l_m2
        Airfield index towards the wall. [l/m²]
    roughness, obstruction, wall
        Factors as from `roughness_factor`, `obstruction_factor` and `wall_factor`.
    topography
        1 where the ground upwind slopes by less than 5 %; more on hills and cliffs, which want
        a person to look.

    Returns
    -------
    Floats
        Product of all. [l/m²]

    Raises
    ------
    ValueError
        If one of them is negative or NaN.

    References
    ----------
    ISO 15927-3:2009 (SEEN as a product; topography MEMORY).
    """
    parts = [
        np.asarray(part, np.float64)
        for part in (airfield_l_m2, roughness, topography, obstruction, wall)
    ]
    if not all((part >= 0).all() for part in parts):
        raise ValueError("the airfield index and its factors must be known and not negative")
    index, rough, hill, shelter, shape = parts
    return np.asarray(index * rough * hill * shelter * shape)


def monthly_driving_rain_index_m2_s(rain_mm: ArrayLike, wind_ms: ArrayLike) -> Floats:
    """Rain times wind speed of each month, over 1000; its sum over the months is the year's index.

    Parameters
    ----------
    rain_mm, wind_ms
        Rain and mean wind speed at 10 m of each month, shape (..., 12). [mm, m/s]

    Returns
    -------
    Floats
        Shape (..., 12). [m²/s] Unlike the index from yearly means it heeds whether the windy
        months are the wet ones. It knows no direction and counts snow as rain.

    Raises
    ------
    ValueError
        If there are not twelve months, or a value is negative or NaN.

    References
    ----------
    Lacy's index, BRE Digest 127 (SEEN in abstracts), taken month by month (PRACTICE).
    """
    rain, wind = np.asarray(rain_mm, np.float64), np.asarray(wind_ms, np.float64)
    if rain.shape[-1:] != (12,) or wind.shape[-1:] != (12,):
        raise ValueError(f"twelve months are needed, got {rain.shape} and {wind.shape}")
    if not ((rain >= 0).all() and (wind >= 0).all()):
        raise ValueError("rain and wind must be known and not negative")
    return np.asarray(rain * wind / 1000.0)
