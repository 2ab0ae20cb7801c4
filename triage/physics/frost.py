"""Frost in outer walls: how often and how deep masonry freezes, and how full its pores are."""

import numpy as np
from numpy.typing import ArrayLike, NDArray

Floats = NDArray[np.float64]
Counts = NDArray[np.int64]

ICE_BOUND = 0.917
"""Saturation at which freezing water fills a closed pore, by its 9 % expansion. MEMORY"""
DAYS_IN_YEAR = 365.0


def freezing_days_after_wetting(
    t_hourly: ArrayLike, driving_rain_l_m2: ArrayLike, within_h: int = 48
) -> Floats:
    """Mean number of days a year on which air crosses 0 °C downward soon after driving rain.

    Parameters
    ----------
    t_hourly
        Air temperature of consecutive hours from midnight, shape (hours,), whole days. [°C]
        Stands for the face of the wall: sun and night sky are left out.
    driving_rain_l_m2
        Driving rain of the same hours, shape (..., hours), one series for each wall. [l/m²]
    within_h
        Hours from the last rain to the crossing, at most. [h] 0 asks for rain in the same hour.

    Returns
    -------
    Floats
        Days in a year of 365 days, one value for each wall, shape (...). [days/yr]

    Raises
    ------
    ValueError
        If the hours differ, are no whole days, or hold values that are not known.

    References
    ----------
    PRACTICE: a proxy for frost stress, no test of a material.
    """
    t = _hours(t_hourly, "temperature")
    rain = _hours(driving_rain_l_m2, "driving rain")
    if t.ndim != 1 or rain.shape[-1] != t.size:
        raise ValueError(f"temperature {t.shape} and rain {rain.shape} must be of the same hours")
    if t.size % 24:
        raise ValueError(f"whole days of hours are needed, got {t.size} hours")
    hour = np.arange(t.size)
    last_wet = np.maximum.accumulate(np.where(rain > 0, hour, -within_h - 1), axis=-1)
    crossing = np.concatenate(([False], (t[:-1] >= 0) & (t[1:] < 0)))
    counted = crossing & (hour - last_wet <= within_h)
    days = counted.reshape(*rain.shape[:-1], -1, 24).any(axis=-1)
    return np.asarray(days.sum(axis=-1) * (DAYS_IN_YEAR / days.shape[-1]))


def _hours(values: ArrayLike, what: str) -> Floats:
    array = np.asarray(values, dtype=np.float64)
    if array.ndim == 0 or array.shape[-1] == 0:
        raise ValueError(f"{what}: a series needs at least one value")
    if not np.isfinite(array).all():
        place = int(np.flatnonzero(~np.isfinite(array))[0])
        raise ValueError(f"{what} is not known at position {place}; fill or leave out the gap")
    return array


def freeze_thaw_cycles(
    t_hourly: ArrayLike, freezes_below_c: float = 0.0, thaws_above_c: float = 0.0
) -> Counts:
    """How often a thawed state turned into a frozen one.

    Parameters
    ----------
    t_hourly
        Temperatures of consecutive hours, shape (..., hours). [°C]
    freezes_below_c, thaws_above_c
        Limits of the two states; between them the last state lasts. [°C] Pore water freezes
        below 0 °C, so that a limit of -2 or so is usual for the masonry itself (MEMORY).

    Returns
    -------
    Counts
        Number in the whole record, one for each series, shape (...).

    Raises
    ------
    ValueError
        If a temperature is not known, or the thaw limit lies below the frost limit.
    """
    if thaws_above_c < freezes_below_c:
        raise ValueError("the limit of thawing must not lie below that of freezing")
    t = _hours(t_hourly, "temperature")
    state = np.where(t < freezes_below_c, -1, np.where(t > thaws_above_c, 1, 0))
    seen = np.maximum.accumulate(np.where(state != 0, np.arange(t.shape[-1]), 0), axis=-1)
    state = np.take_along_axis(state, seen, axis=-1)
    return np.asarray(((state[..., :-1] == 1) & (state[..., 1:] == -1)).sum(axis=-1))


def interface_temperatures_c(
    r_m2k_w: ArrayLike, r_se: ArrayLike, r_si: ArrayLike, t_out_c: ArrayLike, t_in_c: ArrayLike
) -> Floats:
    """Steady temperatures at the faces of the layers, from outside to inside.

    Parameters
    ----------
    r_m2k_w
        Resistances of the layers outside to inside, shape (n, layers); 0 for an absent one.
    r_se, r_si
        Surface resistances, shape (n,) or one number. [m²K/W] Their sum with the layers above 0.
    t_out_c, t_in_c
        Air temperatures, shape (n,) or one number. [°C]

    Returns
    -------
    Floats
        Shape (n, layers + 1): the outer face first, the inner face last. [°C]
    """
    r = _resistances(r_m2k_w)
    outside, inside, t_out, t_in = (
        np.broadcast_to(np.asarray(a, np.float64), r.shape[:1])
        for a in (r_se, r_si, t_out_c, t_in_c)
    )
    before = outside[:, None] + np.concatenate((np.zeros((len(r), 1)), r.cumsum(axis=1)), axis=1)
    total = before[:, -1] + inside
    if not (total > 0).all():
        raise ValueError("the total thermal resistance must be above 0 m²K/W")
    faces = t_out[:, None] + (t_in - t_out)[:, None] * before / total[:, None]
    if not np.isfinite(faces).all():
        raise ValueError("temperatures and surface resistances must be known for every case")
    return np.asarray(faces)


def _resistances(r_m2k_w: ArrayLike) -> Floats:
    r = np.asarray(r_m2k_w, dtype=np.float64)
    if r.ndim != 2:
        raise ValueError(f"layers must have shape (cases, layers), got {r.shape}")
    if not (np.isfinite(r) & (r >= 0)).all():
        raise ValueError("thermal resistances must be known and 0 m²K/W or more")
    return r


def frost_depth_mm(
    r_m2k_w: ArrayLike,
    thickness_mm: ArrayLike,
    r_se: ArrayLike,
    r_si: ArrayLike,
    t_out_c: ArrayLike,
    t_in_c: ArrayLike,
    *,
    counted: ArrayLike | None = None,
) -> Floats:
    """Thickness of material below 0 °C in a steady state.

    Parameters
    ----------
    r_m2k_w, thickness_mm
        Layers from outside to inside, shape (n, layers); 0 for an absent one. [m²K/W, mm]
    r_se, r_si
        Surface resistances, shape (n,) or one number. [m²K/W]
    t_out_c, t_in_c
        Air temperatures, shape (n,) or one number. [°C]
    counted
        Which layers can suffer from frost, bool of shape (n, layers); all where left out. With
        the masonry marked, insulation outside of it does not count as frozen.

    Returns
    -------
    Floats
        Frozen thickness, shape (n,). [mm] 0 where nothing freezes, all of it where all does.

    References
    ----------
    Linear course of temperature in each layer; pore water is taken to freeze at 0 °C.
    """
    faces = interface_temperatures_c(r_m2k_w, r_se, r_si, t_out_c, t_in_c)
    thickness = np.asarray(thickness_mm, dtype=np.float64)
    if thickness.shape != (faces.shape[0], faces.shape[1] - 1) or not (thickness >= 0).all():
        raise ValueError("thicknesses must match the resistances, be known and 0 mm or more")
    low, high = np.minimum(faces[:, :-1], faces[:, 1:]), np.maximum(faces[:, :-1], faces[:, 1:])
    span = np.where(high > low, high - low, 1.0)
    share = np.where(high > low, np.clip(-low / span, 0.0, 1.0), low < 0)
    which = np.ones(thickness.shape, bool) if counted is None else np.asarray(counted, bool)
    return np.asarray((share * thickness * which).sum(axis=1))


def saturation_degree(water_kg_m3: ArrayLike, porosity: ArrayLike) -> Floats:
    """Share of the open pores that water fills, from kg/m³ and m³/m³.

    Above 1 the water or the porosity is wrong, which raises ValueError, as does a porosity
    outside 0 to 1. Compare it with the critical degree of the same material, by frost
    dilatometry; typical values spread too widely to stand in for it.

    References
    ----------
    Fagerlund's critical degree of saturation (SEEN, concept). S = w / (1000 n).
    """
    n = np.asarray(porosity, dtype=np.float64)
    water = np.asarray(water_kg_m3, dtype=np.float64)
    if not ((n > 0) & (n <= 1)).all():
        raise ValueError("open porosity must lie above 0 and at most at 1 m³/m³")
    degree = np.asarray(water / (1000.0 * n))
    if not ((degree >= 0) & (degree <= 1)).all():
        raise ValueError("water content must be known and lie between 0 and what the pores hold")
    return degree


def is_above_critical(degree: ArrayLike, critical_degree: ArrayLike) -> NDArray[np.bool_]:
    """Whether a frost would find the pores fuller than the material bears."""
    return np.asarray(np.asarray(degree, np.float64) > np.asarray(critical_degree, np.float64))
