"""Mould without hourly steps: times in a steady state in closed form, and the 30-day screen."""

import numpy as np
from numpy.typing import ArrayLike, NDArray

from triage.physics.mould import (
    checked_air,
    largest_index,
    sensitivity_of,
    weeks_to_first_growth,
)

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]

SCREEN_RH_PCT = 80.0
SCREEN_T_C = (5.0, 40.0)
_STEEPNESS = 2.3


def days_to_index(
    index: float,
    temperature_c: ArrayLike,
    rh_pct: ArrayLike,
    sensitivity: str,
    *,
    wood_factor: float = 0.0,
) -> Floats:
    """Days of a steady state until the mould index reaches a value, by integration.

    Parameters
    ----------
    index
        Value to reach, from 0 to 6.
    temperature_c, rh_pct
        State at the surface; shapes that broadcast. [°C, %]
    sensitivity
        Class of the material, see `mould.SENSITIVITIES`.
    wood_factor
        As in `mould.mould_index`.

    Returns
    -------
    Floats
        Days; infinite where this state never leads there. [d]

    Raises
    ------
    ValueError
        If the index lies outside 0 to 6, the class is not known, or the air is not possible.

    References
    ----------
    Exact integral of the growth equation of `mould.mould_index`, which takes hourly steps.
    """
    if not 0.0 <= index <= 6.0:
        raise ValueError(f"a mould index lies between 0 and 6, got {index:g}")
    t, rh = checked_air(temperature_c, rh_pct)
    kind = sensitivity_of(sensitivity)
    top = largest_index(t, rh, sensitivity)
    reached = index < top
    safe_top = np.where(reached, top, 7.0)
    first = _integral(min(index, 1.0), safe_top) - _integral(0.0, safe_top)
    later = _integral(max(index, 1.0), safe_top) - _integral(1.0, np.maximum(safe_top, 1.5))
    units = first / kind.k1_start + (later / kind.k1_later if index > 1.0 else 0.0)
    weeks = weeks_to_first_growth(
        np.where(reached, t, 20.0), np.where(reached, rh, 100.0), wood_factor=wood_factor
    )
    return np.asarray(np.where(reached, 7.0 * weeks * units, np.inf))


def _integral(index: float, top: Floats) -> Floats:
    """Antiderivative of 1 / (1 - exp(2.3 (M - top))), for an index below the top."""
    return np.asarray(index - np.log(-np.expm1(_STEEPNESS * (index - top))) / _STEEPNESS)


def original_later_factor(
    temperature_c: ArrayLike, rh_pct: ArrayLike, *, wood_factor: float = 0.0, surface: float = 0.0
) -> Floats:
    """Growth factor from index 1 on of the original model for wood, [°C, %].

    2 / (t_v / t_m - 1) with the response times to index 3 and 1; the class model has constants
    instead, 2 for pine.

    References
    ----------
    Hukka and Viitanen 1999 (MEMORY; a copy with wrong brackets circulates).
    """
    first = weeks_to_first_growth(temperature_c, rh_pct, wood_factor=wood_factor, surface=surface)
    visible = weeks_to_visible_growth(temperature_c, rh_pct, wood_factor=wood_factor)
    return np.asarray(2.0 / (visible / first - 1.0))


def weeks_to_visible_growth(
    temperature_c: ArrayLike, rh_pct: ArrayLike, *, wood_factor: float = 0.0
) -> Floats:
    """Weeks to index 3 on wood in a steady state in which mould grows, [°C, %] → [weeks].

    Parameters
    ----------
    temperature_c, rh_pct
        Temperature above 0 °C and humidity in percent, above 0.
    wood_factor
        0 pine, 1 spruce.

    References
    ----------
    Hukka and Viitanen 1999, in public documentation (SEEN).
    """
    t, rh = np.asarray(temperature_c, np.float64), np.asarray(rh_pct, np.float64)
    if not ((t > 0) & (rh > 0)).all():
        raise ValueError("response times exist above 0 °C and above 0 % humidity only")
    power = -0.74 * np.log(t) - 12.72 * np.log(rh) + 0.06 * wood_factor + 61.50
    return np.asarray(np.exp(power))


def thirty_day_screen(
    temperature_c: ArrayLike,
    rh_pct: ArrayLike,
    values_in_30_days: int,
    *,
    is_periodic: bool = False,
) -> Flags:
    """Whether the older, strict criterion for surfaces is met: cheap, and errs to refusal.

    Parameters
    ----------
    temperature_c, rh_pct
        State at the surface at equal steps, shape (..., steps). [°C, %]
    values_in_30_days
        Length of the running mean: 720 for hours, 30 for days, 1 for monthly means.
    is_periodic
        Whether the record is a year that repeats itself, so that means run across its end.

    Returns
    -------
    Flags
        Shape (...): true where every running mean of humidity lies below 80 % or belongs to a
        mean temperature outside 5 to 40 °C.

    Raises
    ------
    ValueError
        If the record is shorter than 30 days, or a value is NaN or no possible humidity.

    References
    ----------
    ASHRAE 160-2009 (SEEN in an abstract of its revision, which found it over-strict).
    """
    t, rh = checked_air(temperature_c, rh_pct)
    if values_in_30_days < 1 or t.ndim == 0 or t.shape[-1] < values_in_30_days:
        raise ValueError(
            f"the screen needs at least 30 days: {values_in_30_days} values, got shape {t.shape}"
        )
    mean_t = _running_mean(t, values_in_30_days, is_periodic)
    mean_rh = _running_mean(rh, values_in_30_days, is_periodic)
    counts = (mean_t >= SCREEN_T_C[0]) & (mean_t <= SCREEN_T_C[1])
    return np.asarray(~(counts & (mean_rh >= SCREEN_RH_PCT)).any(axis=-1))


def _running_mean(values: Floats, width: int, is_periodic: bool) -> Floats:
    if is_periodic:
        values = np.concatenate((values, values[..., : width - 1]), axis=-1)
    sums = np.cumsum(values, axis=-1)
    sums = np.concatenate((np.zeros_like(sums[..., :1]), sums), axis=-1)
    return np.asarray((sums[..., width:] - sums[..., :-width]) / width)
