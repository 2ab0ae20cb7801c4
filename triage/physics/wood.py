"""Moisture of wood in air, and what a moisture meter tells of it."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

Floats = NDArray[np.float64]
Texts = NDArray[np.str_]

FIBRE_SATURATION_PCT = 30.0
"""Average over species; serious decay needs more than this. [% of dry mass] SEEN"""
BAND_LIMITS_PCT = (16.0, 20.0, 24.0, 28.0)
"""20 and 28 are published limits, 16 and 24 conveniences. [% of dry mass] SEEN, PRACTICE"""
BANDS = ("normal", "watch", "caution", "action", "decay_conditions")
PIN_RANGE_PCT = (6.0, 30.0)
PINLESS_RANGE_PCT = (4.0, 30.0)
METER_PCT_PER_K = 0.5 / 5.6
"""Reading lost for each kelvin that wood is colder than the calibration. [% / K] SEEN"""

_T_LIMITS_C = (-40.0, 100.0)
_Coefficients = tuple[float, float, float]
_CELSIUS: tuple[_Coefficients, ...] = (
    (349.0, 1.29, 0.0135),
    (0.805, 0.000736, -0.00000273),
    (6.27, -0.00938, -0.000303),
    (1.91, 0.0407, -0.000293),
)
_FAHRENHEIT: tuple[_Coefficients, ...] = (
    (330.0, 0.452, 0.00415),
    (0.791, 0.000463, -0.000000844),
    (6.34, 0.000775, -0.0000935),
    (1.09, 0.0284, -0.0000904),
)


def equilibrium_moisture_pct(temperature_c: ArrayLike, rh_pct: ArrayLike) -> Floats:
    """Moisture that wood takes on in steady air, as an average of all species.

    Parameters
    ----------
    temperature_c, rh_pct
        State of the air at the wood; shapes that broadcast. [°C, %] Fitted from -1 to 54 °C and
        5 to 95 %; -40 to 100 °C is taken and extrapolated.

    Returns
    -------
    Floats
        Moisture content. [% of dry mass] Knows no hysteresis, which is 1 to 3 points.

    Raises
    ------
    ValueError
        If a temperature or humidity lies outside these limits or is NaN.

    References
    ----------
    Two-hydrate sorption equation, Wood Handbook eq. 4-5 and Simpson (SEEN in reproductions).
    """
    t, rh = _air(temperature_c, rh_pct)
    return _sorption(t, rh / 100.0, _CELSIUS)


def equilibrium_moisture_at_fahrenheit_pct(temperature_f: ArrayLike, rh_pct: ArrayLike) -> Floats:
    """`equilibrium_moisture_pct` by the handbook's coefficients for °F, [°F, %].

    References
    ----------
    Wood Handbook (MEMORY; it meets the published table to 0.06 points). Within 0.02 points of
    the form in °C over the published table.
    """
    t = np.asarray(temperature_f, dtype=np.float64)
    _, rh = _air((t - 32.0) / 1.8, rh_pct)
    return _sorption(t, rh / 100.0, _FAHRENHEIT)


def _air(temperature_c: ArrayLike, rh_pct: ArrayLike) -> tuple[Floats, Floats]:
    t = np.asarray(temperature_c, dtype=np.float64)
    rh = np.asarray(rh_pct, dtype=np.float64)
    _require_within(t, _T_LIMITS_C, "temperature at wood, °C,")
    _require_within(rh, (0.0, 100.0), "relative humidity, %,")
    return t, rh


def _require_within(values: Floats, limits: tuple[float, float], what: str) -> None:
    bad = ~((values >= limits[0]) & (values <= limits[1]))  # so written, NaN is bad too
    if bad.any():
        raise ValueError(
            f"{what} must lie between {limits[0]:g} and {limits[1]:g}, got {values[bad].flat[0]:g}"
        )


def _sorption(t: Floats, h: Floats, coefficients: tuple[_Coefficients, ...]) -> Floats:
    w, k, k1, k2 = (a + b * t + c * t * t for a, b, c in coefficients)
    kh = k * h
    second = k1 * k2 * kh * kh
    bound = (k1 * kh + 2.0 * second) / (1.0 + k1 * kh + second)
    return np.asarray(1800.0 / w * (kh / (1.0 - kh) + bound))


def humidity_for_moisture_pct(temperature_c: ArrayLike, moisture_pct: ArrayLike) -> Floats:
    """Relative humidity in which wood comes to this moisture: the inverse of the equation.

    Parameters
    ----------
    temperature_c, moisture_pct
        Temperature and moisture content; shapes that broadcast. [°C, % of dry mass]

    Returns
    -------
    Floats
        Relative humidity. [%]

    Raises
    ------
    ValueError
        If the moisture is below 0, above that of wood in saturated air, or NaN: water beyond
        that is liquid and no humidity gives it.
    """
    t, wanted = np.broadcast_arrays(
        np.asarray(temperature_c, np.float64), np.asarray(moisture_pct, np.float64)
    )
    bad = ~((wanted >= 0) & (wanted <= equilibrium_moisture_pct(t, 100.0)))
    if bad.any():
        raise ValueError(
            f"no humidity gives wood {wanted[bad].flat[0]:g} % moisture at {t[bad].flat[0]:g} °C"
        )
    low, high = np.zeros(t.shape), np.full(t.shape, 100.0)
    for _ in range(60):  # bisection: moisture rises with humidity throughout
        middle = 0.5 * (low + high)
        too_dry = equilibrium_moisture_pct(t, middle) < wanted
        low, high = np.where(too_dry, middle, low), np.where(too_dry, high, middle)
    return np.asarray(0.5 * (low + high))


def moisture_band(moisture_pct: ArrayLike) -> Texts:
    """Band of `BANDS` for a moisture content; a limit belongs to the wetter band.

    Raises
    ------
    ValueError
        If a moisture content is negative or NaN: no reading is not a dry reading.
    """
    moisture = np.asarray(moisture_pct, dtype=np.float64)
    if not (moisture >= 0).all():
        raise ValueError("moisture content must be known and 0 % or more")
    return np.asarray(np.array(BANDS)[np.searchsorted(BAND_LIMITS_PCT, moisture, side="right")])


@dataclass(frozen=True, slots=True)
class MeterReadings:
    """Readings as moisture of dry mass, where the instrument can tell it.

    Attributes
    ----------
    moisture_pct
        Corrected moisture content. [% of dry mass] NaN where the flag is not `measured`.
    flag
        `measured`; `qualitative` above the range, wet but not by how much; `below_range`.
    """

    moisture_pct: Floats
    flag: Texts


def corrected_meter_readings(
    reading_pct: ArrayLike,
    wood_c: ArrayLike,
    *,
    calibration_c: float = 20.0,
    is_pinless: bool = False,
) -> MeterReadings:
    """Correct readings of a moisture meter for the temperature of the wood.

    Parameters
    ----------
    reading_pct, wood_c
        Reading and temperature of the wood; shapes that broadcast. [%, °C]
    calibration_c
        Temperature of the instrument's calibration. [°C] Its own table, where known, is better:
        some correct by twice as much.
    is_pinless
        Whether the meter is dielectric: other range, and no correction, which is that of
        resistance.

    Raises
    ------
    ValueError
        If a reading is negative or NaN, or a temperature NaN.

    References
    ----------
    Wood Handbook ch. 13 (SEEN): 0.5 points for 5.6 K. Species, preservative (1 to 2 points
    high), salts and panels need corrections of their own.
    """
    reading, t = np.broadcast_arrays(
        np.asarray(reading_pct, np.float64), np.asarray(wood_c, np.float64)
    )
    if not (reading >= 0).all() or not np.isfinite(t).all():
        raise ValueError("a meter reading must be 0 % or more and the wood's temperature known")
    low, high = PINLESS_RANGE_PCT if is_pinless else PIN_RANGE_PCT
    per_k = 0.0 if is_pinless else METER_PCT_PER_K
    moisture = reading + per_k * (calibration_c - t)
    above = (reading > high) | (moisture > high)
    below = ~above & (reading < low)
    flag = np.where(above, "qualitative", np.where(below, "below_range", "measured"))
    return MeterReadings(np.where(above | below, np.nan, moisture), flag)
