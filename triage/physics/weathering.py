"""Climate indices of frost weathering: freezing days, and the rain that came before them."""

from typing import Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]
Region = Literal["negligible", "moderate", "severe"]

MODERATE_FROM = 50.0
"""An earlier edition has 100 (MEMORY-low)."""
SEVERE_ABOVE = 500.0
MM_IN_INCH = 25.4
RAIN_DAYS_BEFORE = 4


def weathering_index(freezing_cycle_days: ArrayLike, winter_rain_mm: ArrayLike) -> Floats:
    """Freezing-cycle days a year times winter rain in inches.

    Parameters
    ----------
    freezing_cycle_days
        Mean number of days in a year on which air passes 0 °C. [d/yr] Not negative.
    winter_rain_mm
        Mean rain between the first killing frost in autumn and the last in spring. [mm]

    Returns
    -------
    Floats
        Index. [day inches]

    Raises
    ------
    ValueError
        If an input is negative or NaN.

    References
    ----------
    Appendix of ASTM C62 and C216 (MEMORY).
    """
    days = np.asarray(freezing_cycle_days, dtype=np.float64)
    rain = np.asarray(winter_rain_mm, dtype=np.float64)
    if not ((days >= 0).all() and (rain >= 0).all()):
        raise ValueError("freezing days and winter rain must be known and not negative")
    return np.asarray(days * rain / MM_IN_INCH)


def weathering_region(index: float) -> Region:
    """Region of a weathering index: below 50 negligible, to 500 moderate, above it severe.

    References
    ----------
    Appendix of ASTM C62 and C216 (MEMORY).
    """
    if not index >= 0:
        raise ValueError(f"a weathering index must be known and not negative, got {index:g}")
    if index < MODERATE_FROM:
        return "negligible"
    return "moderate" if index <= SEVERE_ABOVE else "severe"


def freezing_cycle_days(t_min_c: ArrayLike, t_max_c: ArrayLike) -> Flags:
    """Which days pass 0 °C: minimum below it and maximum above it, [°C].

    Raises
    ------
    ValueError
        If a maximum lies below its minimum, or a value is NaN.

    References
    ----------
    As the weathering index counts them (MEMORY).
    """
    low, high = np.asarray(t_min_c, np.float64), np.asarray(t_max_c, np.float64)
    if not (high >= low).all():
        raise ValueError("daily minima and maxima must be known, the maximum not the lower one")
    return np.asarray((low < 0.0) & (high > 0.0))


def rain_before_freezing_mm(rain_mm: ArrayLike, t_min_c: ArrayLike, t_max_c: ArrayLike) -> Floats:
    """Rain of the four days before each freezing-cycle day; 0 on other days.

    Parameters
    ----------
    rain_mm
        Rain of consecutive days, shape (..., days). [mm] Not negative.
    t_min_c, t_max_c
        Lowest and highest air temperature of the same days. [°C]

    Returns
    -------
    Floats
        Shape (..., days); the sum over a mean year is the frost decay exposure index. [mm] The
        rain of the freezing day itself does not count, nor what fell before the record.

    Raises
    ------
    ValueError
        If a value is NaN, rain negative, or the days do not match.

    References
    ----------
    Liso et al. 2007, Building and Environment 42:3547 (SEEN, definition in the abstract).
    """
    rain = np.asarray(rain_mm, dtype=np.float64)
    frost = freezing_cycle_days(t_min_c, t_max_c)
    if rain.ndim == 0 or rain.shape != frost.shape:
        raise ValueError(f"rain {rain.shape} and temperatures {frost.shape} must be of equal days")
    if not (np.isfinite(rain) & (rain >= 0)).all():
        raise ValueError("rain must be known and not negative")
    before = np.zeros_like(rain)
    for lag in range(1, min(RAIN_DAYS_BEFORE, rain.shape[-1] - 1) + 1):
        before[..., lag:] += rain[..., :-lag]
    return np.asarray(np.where(frost, before, 0.0))
