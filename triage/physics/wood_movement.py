"""How far wood swells and shrinks with its moisture."""

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType

import numpy as np
from numpy.typing import ArrayLike, NDArray

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]

SERVICE_RANGE_PCT = (6.0, 14.0)
"""Moisture for which the coefficients of dimensional change hold. SEEN"""
LUMBER_RANGE_PCT = (8.0, 19.0)
"""Moisture for which the shrinkage of lumber was fitted. SEEN"""


@dataclass(frozen=True, slots=True)
class Movement:
    """Change of size for each percent of moisture, radial and tangential, [1/%]."""

    radial: float
    tangential: float


# Wood Handbook, table 13-5 (SEEN in a public reproduction).
MOVEMENT: Mapping[str, Movement] = MappingProxyType(
    {
        "douglas_fir_coast": Movement(0.00165, 0.00267),
        "douglas_fir_interior_north": Movement(0.00130, 0.00241),
        "douglas_fir_interior_west": Movement(0.00165, 0.00263),
        "western_redcedar": Movement(0.00111, 0.00234),
        "balsam_fir": Movement(0.00099, 0.00241),
        "white_fir": Movement(0.00112, 0.00245),
        "grand_fir": Movement(0.00112, 0.00245),
        "white_oak": Movement(0.00180, 0.00365),
        "american_beech": Movement(0.00190, 0.00431),
        "white_ash": Movement(0.00169, 0.00274),
        "american_chestnut": Movement(0.00116, 0.00234),
        "yellow_poplar": Movement(0.00158, 0.00289),
        "paper_birch": Movement(0.00219, 0.00304),
        "loblolly_pine": Movement(0.00165, 0.00259),
        "longleaf_pine": Movement(0.00176, 0.00263),
        "ponderosa_pine": Movement(0.00133, 0.00216),
        "eastern_white_pine": Movement(0.00071, 0.00212),
        "sitka_spruce": Movement(0.00148, 0.00263),
        "red_white_spruce": Movement(0.00130, 0.00274),
        "western_hemlock": Movement(0.00144, 0.00274),
    }
)


@dataclass(frozen=True, slots=True)
class Change:
    """Changes of size [mm], and whether each lies in the range that the coefficients hold for."""

    change_mm: Floats
    is_in_range: Flags


def dimensional_change(
    initial_mm: ArrayLike, coefficient: ArrayLike, from_pct: ArrayLike, to_pct: ArrayLike
) -> Change:
    """Change of size across the grain between two moisture contents.

    Parameters
    ----------
    initial_mm
        Size at the first moisture content, above 0. [mm]
    coefficient
        Radial or tangential coefficient of the species, as in `MOVEMENT`. [1/%]
    from_pct, to_pct
        Moisture contents. [% of dry mass] The coefficients hold from 6 to 14 %.

    Returns
    -------
    Change
        Positive where the wood swells; shapes broadcast.

    Raises
    ------
    ValueError
        If a size is not above 0, or a moisture content is negative or NaN.

    References
    ----------
    Wood Handbook eq. 13-2 (SEEN).
    """
    size = np.asarray(initial_mm, dtype=np.float64)
    first, last = np.asarray(from_pct, np.float64), np.asarray(to_pct, np.float64)
    if not (size > 0).all() or not (first >= 0).all() or not (last >= 0).all():
        raise ValueError("sizes must be above 0 mm, moisture contents known and 0 % or more")
    change = size * np.asarray(coefficient, np.float64) * (last - first)
    return Change(
        np.asarray(change), _within(first, SERVICE_RANGE_PCT) & _within(last, SERVICE_RANGE_PCT)
    )


def _within(moisture_pct: Floats, limits: tuple[float, float]) -> Flags:
    return np.asarray((moisture_pct >= limits[0]) & (moisture_pct <= limits[1]))


@dataclass(frozen=True, slots=True)
class LumberShrinkage:
    """Shrinkage from green in percent of the green size, and whether the fit covers it."""

    width_pct: Floats
    thickness_pct: Floats
    is_in_range: Flags


def lumber_shrinkage(moisture_pct: ArrayLike) -> LumberShrinkage:
    """Shrinkage of softwood lumber from green, taken as 28 %, to this moisture content.

    Parameters
    ----------
    moisture_pct
        Moisture content, any shape. [% of dry mass] Fitted from 8 to 19 %.

    References
    ----------
    Green 1989, FPL-RP-489 (SEEN), US species as sold.
    """
    moisture = np.asarray(moisture_pct, dtype=np.float64)
    if not (moisture >= 0).all():
        raise ValueError("moisture content must be known and 0 % or more")
    return LumberShrinkage(
        np.asarray(6.031 - 0.215 * moisture),
        np.asarray(5.062 - 0.181 * moisture),
        _within(moisture, LUMBER_RANGE_PCT),
    )
