"""Indoor air of a month from outdoor air: humidity classes and two driven indoor climates.

Three models, never mixed in one calculation:

``"iso_13788"``
    Constant indoor temperature; vapour pressure = outdoor + excess of the humidity class.
``"en_15026"``
    Indoor temperature and relative humidity follow the outdoor temperature, two loads.
``"ashrae_160"``
    Simplified design humidity, which follows the outdoor temperature.

The numbers of all three are MEMORY except the 30 to 60 % line of EN 15026 (SEEN in public
excerpts). A public excerpt shows other end points for ASHRAE 160 (30 to 55 %): its line hangs on
the edition, here 2009/2016.
"""

from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray

from triage.physics.vapour import Floats, relative_humidity_pct, saturation_pressure_pa

IndoorModel = Literal["iso_13788", "en_15026", "ashrae_160"]

CLASS_EXCESS_PA = (270.0, 540.0, 810.0, 1080.0)
"""Upper limit of the vapour excess at 0 °C outside and below, classes 1 to 4. [Pa] MEMORY"""
NO_EXCESS_ABOVE_C = 20.0
"""Outdoor temperature at which the excess has fallen to nothing. [°C] MEMORY"""
_ASHRAE_HEATED_C, _ASHRAE_COOLED_C = 21.1, 23.9  # 70 and 75 °F


@dataclass(frozen=True, slots=True)
class IndoorClimate:
    """Monthly indoor air, shape (m, 12) each, January first.

    `is_capped` marks months whose vapour pressure the model put above saturation and that were
    set to saturation: outdoor air is then warmer than indoor air, and damp. A margin never
    raises the outdoor pressure itself.
    """

    t_in_c: Floats
    p_in_pa: Floats
    is_capped: NDArray[np.bool_]


def class_excess_pa(class_number: ArrayLike, t_out_c: ArrayLike) -> Floats:
    """Indoor minus outdoor vapour pressure at the upper limit of a humidity class.

    Parameters
    ----------
    class_number
        1 to 4; shapes broadcast with `t_out_c`.
    t_out_c
        Monthly mean outdoor temperature. [°C]

    Returns
    -------
    Floats
        Excess, constant up to 0 °C, falling to 0 at 20 °C. [Pa]

    Raises
    ------
    ValueError
        If a class is not 1 to 4. Class 5 (pools, laundries) has no upper limit: it needs its
        own humidity, case by case.

    References
    ----------
    ISO 13788:2012, annex A (MEMORY; 0.002 kg/m³ per class × 461.5 × 293 K checks the values).
    """
    number = np.asarray(class_number, dtype=np.float64)
    if not np.isin(number, (1.0, 2.0, 3.0, 4.0)).all():
        raise ValueError(
            "humidity class must be 1, 2, 3 or 4; class 5 has no limit and needs measured humidity"
        )
    at_freezing = np.asarray(CLASS_EXCESS_PA)[number.astype(np.intp) - 1]
    t = np.asarray(t_out_c, dtype=np.float64)
    share = np.clip((NO_EXCESS_ABOVE_C - t) / NO_EXCESS_ABOVE_C, 0.0, 1.0)
    return np.asarray(at_freezing * share)


def en_15026_indoor(t_out_c: ArrayLike, high_load: ArrayLike = False) -> tuple[Floats, Floats]:
    """Indoor temperature and relative humidity of EN 15026 annex C. [°C] → [°C, %].

    20 °C up to 10 °C outside, 25 °C from 20 °C; 30 % up to -10 °C, 60 % from 20 °C, with the high
    load 10 points more. Made for daily means; on monthly means it stands for the mean month.
    """
    t = np.asarray(t_out_c, dtype=np.float64)
    t_in = 20.0 + 5.0 * np.clip((t - 10.0) / 10.0, 0.0, 1.0)
    rh = 30.0 + np.clip(t + 10.0, 0.0, 30.0) + np.where(high_load, 10.0, 0.0)
    return np.asarray(t_in), np.asarray(rh)


def ashrae_160_indoor(t_out_c: ArrayLike, has_cooling: ArrayLike = False) -> tuple[Floats, Floats]:
    """Indoor temperature and humidity of ASHRAE 160's simplified method. [°C] → [°C, %].

    21.1 °C; with cooling 2.8 K above the outside from there, up to 23.9 °C (the course
    between both is MEMORY). 40 % up to -10 °C outside, one point per kelvin to 70 % from 20 °C.
    """
    t = np.asarray(t_out_c, dtype=np.float64)
    rise = _ASHRAE_COOLED_C - _ASHRAE_HEATED_C
    cooled = np.clip(t + rise, _ASHRAE_HEATED_C, _ASHRAE_COOLED_C)
    t_in = np.where(has_cooling, cooled, _ASHRAE_HEATED_C)
    return np.asarray(t_in), np.asarray(40.0 + np.clip(t + 10.0, 0.0, 30.0))


def indoor_climate(
    model: IndoorModel,
    t_out_c: ArrayLike,
    p_out_pa: ArrayLike,
    *,
    humidity_class: ArrayLike,
    margin: float = 1.0,
    indoor_c: ArrayLike = 20.0,
    high_load: ArrayLike = False,
    has_cooling: ArrayLike = False,
) -> IndoorClimate:
    """Monthly indoor air of m climates, one model for all.

    Parameters
    ----------
    model
        See the module's text.
    t_out_c, p_out_pa
        Monthly mean outdoor temperature and vapour pressure, shape (m, 12). [°C, Pa]
        The mean of hourly vapour pressures, not that of mean humidity (up to 8 % apart).
    humidity_class
        Class 1 to 4, shape (m,); only "iso_13788" uses it.
    margin
        Factor on the class excess, 1.0 or more; the 2001 edition wanted 1.10. "iso_13788" only.
    indoor_c
        Indoor temperature, one or shape (m,) or (m, 12); "iso_13788" only. [°C]
    high_load
        One or shape (m,); "en_15026" only.
    has_cooling
        One or shape (m,); "ashrae_160" only.

    Raises
    ------
    ValueError
        If the model is unknown, a shape does not fit, an input is not finite, outdoor vapour is
        negative, a class is not 1 to 4, or the margin is below 1.
    """
    t_out, p_out = _months(t_out_c, p_out_pa)
    if model == "iso_13788":
        if not 1.0 <= margin < np.inf:
            raise ValueError(f"humidity margin must be 1.0 or more, got {margin:g}")
        t_in = np.broadcast_to(_column(indoor_c, t_out), t_out.shape).copy()
        p_in = p_out + margin * class_excess_pa(_column(humidity_class, t_out), t_out)
    elif model == "en_15026":
        t_in, rh_pct = en_15026_indoor(t_out, _column(high_load, t_out))
        p_in = saturation_pressure_pa(t_in) * rh_pct / 100.0
    elif model == "ashrae_160":
        t_in, rh_pct = ashrae_160_indoor(t_out, _column(has_cooling, t_out))
        p_in = saturation_pressure_pa(t_in) * rh_pct / 100.0
    else:
        raise ValueError(f"indoor model {model!r} is not one of iso_13788, en_15026, ashrae_160")
    capped = relative_humidity_pct(t_in, p_in) > 100.0
    return IndoorClimate(t_in, np.where(capped, saturation_pressure_pa(t_in), p_in), capped)


def _months(t_out_c: ArrayLike, p_out_pa: ArrayLike) -> tuple[Floats, Floats]:
    t, p = np.asarray(t_out_c, dtype=np.float64), np.asarray(p_out_pa, dtype=np.float64)
    if t.ndim != 2 or t.shape[1] != 12 or p.shape != t.shape:
        raise ValueError(f"outdoor months must have shape (m, 12), got {t.shape} and {p.shape}")
    if not (np.isfinite(t).all() and np.isfinite(p).all() and (p >= 0.0).all()):
        raise ValueError(
            "outdoor temperature and vapour pressure must be numbers, vapour from 0 Pa"
        )
    return t, p


def _column(per_climate: ArrayLike, months: Floats) -> NDArray[np.float64]:
    """One value, one a climate, or one a month, against rows of months."""
    values = np.asarray(per_climate, dtype=np.float64)
    if values.shape not in ((), (months.shape[0],), months.shape):
        raise ValueError(f"expected one value or {months.shape[0]}, got shape {values.shape}")
    if not np.isfinite(values).all():
        raise ValueError("indoor temperature, class or load must be numbers")
    return values[:, np.newaxis] if values.ndim == 1 else values
