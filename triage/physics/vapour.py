"""Water vapour: saturation, dew point, wet bulb, and the resistance of layers to its diffusion.

Saturation pressure is the pair of ISO 13788: one branch over water, one over ice below 0 °C.
It lies 0.1 to 0.3 % below the ASHRAE Handbook formulation from -10 °C up, and 0.7 % below the
table value at -20 °C; one formulation is used throughout.
"""

from typing import Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray

Floats = NDArray[np.float64]
RetarderClass = Literal["class_1", "class_2", "class_3", "open"]

DELTA0_KG_M_S_PA = 2e-10
"""Vapour permeability of still air by ISO 13788. [kg/(m·s·Pa)] MEMORY"""
PERM_KG_M2_S_PA = 5.72135e-11
"""One US perm. [kg/(m²·s·Pa)] MEMORY (standard factor)"""
SD_OF_ONE_PERM_M = 3.50
"""Equivalent air layer of one perm. [m] COMPUTED: `DELTA0_KG_M_S_PA` / perm = 3.496, rounded so
that the code's class limits fall on 35, 3.5 and 0.35 m"""
R_US_M2K_W = 0.1761101838
"""One h·ft²·°F/Btu. [m²K/W] SEEN"""
VAPOUR_GAS_CONSTANT = 461.5
"""Specific gas constant of water vapour. [J/(kg·K)] SEEN"""
MONTH_DAYS = np.array([31, 28, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31], dtype=np.float64)
MONTH_SECONDS = MONTH_DAYS * 86_400.0
"""Calendar months, February with 28 days; a 30.4-day month shifts a month by up to 9 %. [s]"""

_P0 = 610.5  # Pa at 0 °C, where the two branches meet
_WATER = (17.269, 237.3)
_ICE = (21.875, 265.5)
_CLASS_LIMITS_PERM = (0.1, 1.0, 10.0)


def saturation_pressure_pa(temperature_c: ArrayLike) -> Floats:
    """Highest vapour pressure that air can hold, over water from 0 °C, over ice below.

    Parameters
    ----------
    temperature_c
        Air temperature, any shape. [°C] Valid from -40 to 80, within 1 % of tables from -20 up;
        NaN stays NaN.

    Returns
    -------
    Floats
        Pressure of the same shape. [Pa]

    References
    ----------
    ISO 13788:2012, annex on saturation (SEEN in public reproductions).
    """
    t = np.asarray(temperature_c, dtype=np.float64)
    water = _WATER[0] * t / (_WATER[1] + t)
    ice = _ICE[0] * t / (_ICE[1] + t)
    return np.asarray(_P0 * np.exp(np.where(t >= 0.0, water, ice)))


def dew_point_c(pressure_pa: ArrayLike) -> Floats:
    """Temperature at which air of this vapour pressure is saturated; frost point below 0 °C.

    Parameters
    ----------
    pressure_pa
        Vapour pressure, any shape. [Pa] Above 0; NaN stays NaN.

    Raises
    ------
    ValueError
        If a pressure is zero or negative: dry air has no dew point.
    """
    p = np.asarray(pressure_pa, dtype=np.float64)
    if (p <= 0).any():
        raise ValueError("vapour pressure must be above 0 Pa to have a dew point")
    log = np.log(p / _P0)
    water = _WATER[1] * log / (_WATER[0] - log)
    ice = _ICE[1] * log / (_ICE[0] - log)
    return np.asarray(np.where(p >= _P0, water, ice))


def vapour_pressure_pa(temperature_c: ArrayLike, rh_pct: ArrayLike) -> Floats:
    """Vapour pressure of air of this temperature and relative humidity. [°C, %] → [Pa].

    Raises
    ------
    ValueError
        If a relative humidity lies outside 0 to 100 %, or is NaN.
    """
    rh = np.asarray(rh_pct, dtype=np.float64)
    bad = ~((rh >= 0) & (rh <= 100))  # so written, NaN is bad too
    if bad.any():
        found = f"{np.atleast_1d(rh)[np.atleast_1d(bad)][0]:g} at {_first(bad)}"
        raise ValueError(f"relative humidity must lie between 0 and 100 %, got {found}")
    return np.asarray(saturation_pressure_pa(temperature_c) * rh / 100.0)


def relative_humidity_pct(temperature_c: ArrayLike, pressure_pa: ArrayLike) -> Floats:
    """Relative humidity; above 100 where the pressure is above saturation. [°C, Pa] → [%]."""
    p = np.asarray(pressure_pa, dtype=np.float64)
    return np.asarray(100.0 * p / saturation_pressure_pa(temperature_c))


def is_above_saturation(
    temperature_c: ArrayLike, pressure_pa: ArrayLike, tolerance_pct: float = 1.0
) -> NDArray[np.bool_]:
    """Whether air is said to hold more vapour than it can, by more than the tolerance.

    The default of 1 % lets other formulations of saturation pass, which differ by up to 0.7 %
    down to -20 °C. NaN in either input counts as above: it must not pass for a possible state.
    """
    return np.asarray(~(relative_humidity_pct(temperature_c, pressure_pa) <= 100.0 + tolerance_pct))


def require_possible_air(
    temperature_c: ArrayLike, pressure_pa: ArrayLike, of_what: str = "air"
) -> None:
    """Refuse air that no thermometer and hygrometer could have met. [°C, Pa].

    Raises
    ------
    ValueError
        If a vapour pressure is negative, above saturation (`is_above_saturation`) or NaN.
    """
    t, p = np.broadcast_arrays(np.asarray(temperature_c, float), np.asarray(pressure_pa, float))
    bad = ~(p >= 0) | is_above_saturation(t, p)
    if bad.any():
        raise ValueError(
            f"{of_what}: vapour pressure {p[bad][0]:g} Pa at {t[bad][0]:g} °C "
            f"is negative, unknown or above saturation, at {_first(bad)}"
        )


def _first(bad: NDArray[np.bool_]) -> str:
    place = np.argwhere(np.atleast_1d(bad))[0]
    return f"position {', '.join(str(i) for i in place)}"


def vapour_density_kg_m3(temperature_c: ArrayLike, pressure_pa: ArrayLike) -> Floats:
    """Mass of vapour in a cubic metre of air, by the gas law. [°C, Pa] → [kg/m³]."""
    t = np.asarray(temperature_c, dtype=np.float64)
    p = np.asarray(pressure_pa, dtype=np.float64)
    return np.asarray(p / (VAPOUR_GAS_CONSTANT * (t + 273.15)))


def wet_bulb_c(
    temperature_c: ArrayLike, rh_pct: ArrayLike, pressure_pa: float = 101_325.0
) -> Floats:
    """Thermodynamic wet-bulb temperature.

    Parameters
    ----------
    temperature_c, rh_pct
        Dry-bulb temperature and relative humidity; shapes that broadcast. [°C, %] Valid from
        -20 to 60 °C. Humidity outside 0 to 100 % raises ValueError.
    pressure_pa
        Air pressure, above twice the saturation pressure. [Pa]

    Returns
    -------
    Floats
        Wet-bulb temperature. [°C] Ice on the bulb below 0 °C, water above: the two balances
        do not join, so that air near a wet bulb of 0 °C has one state with each (up to 1 K
        apart); the answer is then one of them.

    References
    ----------
    Energy balance of the ASHRAE Handbook, Fundamentals, chapter 1 (MEMORY of the coefficients,
    checked against psychrolib), with the saturation pressure of this module.
    """
    vapour_pa = vapour_pressure_pa(temperature_c, rh_pct)
    t = np.broadcast_to(np.asarray(temperature_c, dtype=np.float64), vapour_pa.shape)
    ratio = _humidity_ratio(vapour_pa, pressure_pa)
    low, high = np.full_like(t, -60.0), t.copy()
    for _ in range(60):  # bisection: the balance is monotone in the wet-bulb temperature
        middle = 0.5 * (low + high)
        too_low = _ratio_at_wet_bulb(t, middle, pressure_pa) < ratio
        low, high = np.where(too_low, middle, low), np.where(too_low, high, middle)
    return np.asarray(0.5 * (low + high))


def _humidity_ratio(vapour_pa: Floats, pressure_pa: float) -> Floats:
    return np.asarray(0.621945 * vapour_pa / (pressure_pa - vapour_pa))


def _ratio_at_wet_bulb(dry_c: Floats, wet_c: Floats, pressure_pa: float) -> Floats:
    """Humidity ratio of air with these two temperatures, over water and over ice."""
    full = _humidity_ratio(saturation_pressure_pa(wet_c), pressure_pa)
    water = ((2501.0 - 2.326 * wet_c) * full - 1.006 * (dry_c - wet_c)) / (
        2501.0 + 1.86 * dry_c - 4.186 * wet_c
    )
    ice = ((2830.0 - 0.24 * wet_c) * full - 1.006 * (dry_c - wet_c)) / (
        2830.0 + 1.86 * dry_c - 2.1 * wet_c
    )
    return np.asarray(np.where(wet_c >= 0.0, water, ice))


def sd_from_mu(mu: ArrayLike, thickness_mm: ArrayLike) -> Floats:
    """Equivalent air layer of a material of this resistance factor. [-, mm] → [m].

    Shapes broadcast. Raises ValueError if a number is negative or NaN.
    """
    factor, mm = np.asarray(mu, dtype=np.float64), np.asarray(thickness_mm, dtype=np.float64)
    if not ((factor >= 0.0).all() and (mm >= 0.0).all()):
        raise ValueError("vapour resistance factor and thickness must be 0 or more")
    return np.asarray(factor * mm / 1000.0)


def sd_from_perm(perm: ArrayLike) -> Floats:
    """Equivalent air layer of a permeance in US perm. [perm] → [m].

    Raises ValueError unless all permeances are above 0: give a tight layer a small one.
    """
    permeance = np.asarray(perm, dtype=np.float64)
    if not (permeance > 0.0).all():
        raise ValueError("permeance must be above 0 perm to be an air layer of finite thickness")
    return np.asarray(SD_OF_ONE_PERM_M / permeance)


def perm_from_sd(sd_m: ArrayLike) -> Floats:
    """Permeance in US perm of an equivalent air layer. [m] → [perm].

    Infinite where the layer is 0. Raises ValueError if one is negative or NaN.
    """
    sd = np.asarray(sd_m, dtype=np.float64)
    if not (sd >= 0.0).all():
        raise ValueError("an equivalent air layer must be 0 m or more")
    return np.asarray(np.where(sd > 0.0, SD_OF_ONE_PERM_M / np.where(sd > 0.0, sd, 1.0), np.inf))


def vapour_retarder_class(permeance_perm: float) -> RetarderClass:
    """Vapour retarder class of a permeance; the upper limits belong to the tighter class.

    Parameters
    ----------
    permeance_perm
        Permeance in US perm, 0 or more. For an equivalent air layer use `perm_from_sd`. [perm]

    Raises
    ------
    ValueError
        If the permeance is negative or NaN.

    References
    ----------
    US model residential code R702.7, edition 2021: 0.1, 1.0 and 10 perm (SEEN).
    """
    if not permeance_perm >= 0.0:
        raise ValueError(f"permeance must be 0 perm or more, got {permeance_perm:g}")
    names: tuple[RetarderClass, ...] = ("class_1", "class_2", "class_3")
    for limit, name in zip(_CLASS_LIMITS_PERM, names, strict=True):
        if permeance_perm <= limit:
            return name
    return "open"
