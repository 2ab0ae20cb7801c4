"""Mould on surfaces: the growth index of the VTT model, hour by hour.

The model ranks states; it does not say what a wall will look like. Its classes missed one
bio-based board that was tested, and its form has been disputed in print.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType

import numpy as np
from numba import prange
from numpy.typing import ArrayLike, NDArray

from triage.physics.compiled import compiled_over_rows

Floats = NDArray[np.float64]

VISIBLE_INDEX = 3.0
"""An index below this over the whole period passes. MEMORY, ASHRAE 160 from 2016"""
DECLINE_FACTORS: Mapping[str, float] = MappingProxyType(
    {"strong": 1.0, "significant": 0.5, "relatively_low": 0.25, "almost_none": 0.1}
)
"""Share of the decline on wood by class of material. MEMORY"""


@dataclass(frozen=True, slots=True)
class Sensitivity:
    """How a class of material takes to mould.

    Attributes
    ----------
    k1_start, k1_later
        Growth factors below index 1 and from it on.
    a, b, c
        Coefficients of the largest index.
    rh_min_pct
        Lowest humidity in which mould grows at any temperature. [%]
    wood_factor_ashrae
        Wood factor that ASHRAE 160 gives the class.
    """

    k1_start: float
    k1_later: float
    a: float
    b: float
    c: float
    rh_min_pct: float
    wood_factor_ashrae: float


# SEEN in academic implementations; the wood factors MEMORY.
SENSITIVITIES: Mapping[str, Sensitivity] = MappingProxyType(
    {
        "very_sensitive": Sensitivity(1.0, 2.0, 1.0, 7.0, 2.0, 80.0, 0.0),
        "sensitive": Sensitivity(0.578, 0.386, 0.3, 6.0, 1.0, 80.0, 0.0),
        "medium_resistant": Sensitivity(0.072, 0.097, 0.0, 5.0, 1.5, 85.0, 1.0),
        "resistant": Sensitivity(0.033, 0.014, 0.0, 3.0, 1.0, 85.0, 1.0),
    }
)


def sensitivity_of(name: str) -> Sensitivity:
    """Look up a class of `SENSITIVITIES`; ValueError names the classes there are."""
    if name not in SENSITIVITIES:
        raise ValueError(f"no mould class {name!r}; take one of {', '.join(SENSITIVITIES)}")
    return SENSITIVITIES[name]


def checked_air(temperature_c: ArrayLike, rh_pct: ArrayLike) -> tuple[Floats, Floats]:
    """Temperature and humidity of one shape, all known; ValueError otherwise."""
    t, rh = np.broadcast_arrays(
        np.asarray(temperature_c, np.float64), np.asarray(rh_pct, np.float64)
    )
    bad = ~(np.isfinite(t) & (rh >= 0) & (rh <= 100))  # so written, NaN is bad too
    if bad.any():
        raise ValueError(
            f"at a surface, temperature must be known and humidity 0 to 100 %: got "
            f"{t[bad].flat[0]:g} °C, {rh[bad].flat[0]:g} %"
        )
    return np.asarray(t), np.asarray(rh)


def critical_rh_pct(temperature_c: ArrayLike, rh_min_pct: float = 80.0) -> Floats:
    """Lowest relative humidity in which mould grows at this temperature.

    Parameters
    ----------
    temperature_c
        Temperature of the surface, any shape. [°C] 100 % at 0 °C and below; NaN stays NaN.
    rh_min_pct
        Lowest value of the class: 80 sensitive, 85 resistant materials. [%]

    References
    ----------
    Hukka and Viitanen 1999, in public implementations (SEEN). Copies with +3.13 T circulate:
    they never let mould grow below 20 °C.
    """
    t = np.asarray(temperature_c, dtype=np.float64)
    cold = ((-0.00267 * t + 0.160) * t - 3.13) * t + 100.0
    warm = np.where(t > 20.0, rh_min_pct, np.maximum(cold, rh_min_pct))
    return np.asarray(np.where(np.isnan(t), np.nan, np.where(t > 0.0, warm, 100.0)))


def largest_index(temperature_c: ArrayLike, rh_pct: ArrayLike, sensitivity: str) -> Floats:
    """Index that growth in this state tends to; 0 where mould cannot grow, [°C, %].

    References
    ----------
    Ojanen, Viitanen et al., class model, in public implementations (SEEN).
    """
    t, rh = checked_air(temperature_c, rh_pct)
    kind = sensitivity_of(sensitivity)
    critical = critical_rh_pct(t, kind.rh_min_pct)
    grows = (t > 0.0) & (t < 50.0) & (rh >= critical)
    x = np.where(critical < 100.0, (critical - rh) / np.minimum(critical - 100.0, -1e-12), 1.0)
    top = kind.a + kind.b * x - kind.c * x * x
    return np.asarray(np.where(grows, np.maximum(top, 0.0), 0.0))


def weeks_to_first_growth(
    temperature_c: ArrayLike, rh_pct: ArrayLike, *, wood_factor: float = 0.0, surface: float = 0.0
) -> Floats:
    """Weeks to index 1 on pine in a steady state in which mould grows, [°C, %] → [weeks].

    Parameters
    ----------
    temperature_c, rh_pct
        Temperature above 0 °C and humidity in percent, above 0.
    wood_factor
        0 pine, 1 spruce.
    surface
        0 planed or resawn, 1 original kiln-dried.

    References
    ----------
    Hukka and Viitanen 1999, in public implementations (SEEN). The humidity is in percent.
    """
    t, rh = np.asarray(temperature_c, np.float64), np.asarray(rh_pct, np.float64)
    if not ((t > 0) & (rh > 0)).all():
        raise ValueError("response times exist above 0 °C and above 0 % humidity only")
    power = -0.68 * np.log(t) - 13.9 * np.log(rh) + 0.14 * wood_factor - 0.33 * surface + 66.02
    return np.asarray(np.exp(power))


@compiled_over_rows
def _grow(
    growth_h: Floats, top: Floats, k1_start: float, k1_later: float, start: Floats, decline: float
) -> Floats:
    """Hourly explicit steps; a rate of 0 means that mould cannot grow in that hour."""
    rows, hours = growth_h.shape
    out = np.empty((rows, hours))
    for row in prange(rows):
        index, idle_h = start[row], 0
        for hour in range(hours):
            rate = growth_h[row, hour]
            if rate > 0.0:
                idle_h = 0
                k1 = k1_start if index < 1.0 else k1_later
                k2 = max(1.0 - np.exp(2.3 * (index - top[row, hour])), 0.0)
                index += k1 * k2 * rate
            else:
                idle_h += 1
                if idle_h <= 6:
                    index -= decline * 0.032 / 24.0
                elif idle_h > 24:
                    index -= decline * 0.016 / 24.0
                index = max(index, 0.0)
            out[row, hour] = index
    return out


def mould_index(
    temperature_c: ArrayLike,
    rh_pct: ArrayLike,
    sensitivity: str,
    *,
    decline_factor: float = 0.1,
    wood_factor: float = 0.0,
    initial: ArrayLike = 0.0,
) -> Floats:
    """Mould growth index after each hour, 0 none to 6 dense growth all over.

    Parameters
    ----------
    temperature_c, rh_pct
        State at the surface in consecutive hours, shape (hours,) or (n, hours). [°C, %]
    sensitivity
        Class of the material, one of `SENSITIVITIES`.
    decline_factor
        Share of the decline on wood, 0 to 1; see `DECLINE_FACTORS`. 0.1 as in ASHRAE 160 (MEMORY).
    wood_factor
        1 slows growth by exp(0.14). 0, the stricter, as in later Finnish work (SEEN); ASHRAE 160
        has 1 for the two resistant classes (MEMORY).
    initial
        Index before the first hour, one number or shape (n,).

    Returns
    -------
    Floats
        Index at the end of each hour, in the shape of the input. `VISIBLE_INDEX` is the limit.

    Raises
    ------
    ValueError
        If a humidity lies outside 0 to 100 %, a value is NaN, or the class is not known.

    References
    ----------
    Hukka and Viitanen 1999; Ojanen et al. 2010 (SEEN in public implementations).
    """
    t, rh = checked_air(temperature_c, rh_pct)
    if t.ndim not in (1, 2):
        raise ValueError(f"hours must have shape (hours,) or (n, hours), got {t.shape}")
    if not 0.0 <= decline_factor <= 1.0:
        raise ValueError(f"the factor of decline must lie between 0 and 1, got {decline_factor:g}")
    kind = sensitivity_of(sensitivity)
    rate = _growth_per_hour(t, rh, kind, wood_factor)
    top = largest_index(t, rh, sensitivity)
    rows = np.atleast_2d(rate)
    start = np.array(np.broadcast_to(np.asarray(initial, np.float64), len(rows)))
    if not ((start >= 0) & (start <= 6)).all():
        raise ValueError("the initial mould index must lie between 0 and 6")
    if rows.size == 0:
        return np.empty(t.shape)
    out = _grow(rows, np.atleast_2d(top), kind.k1_start, kind.k1_later, start, decline_factor)
    return np.asarray(out.reshape(t.shape))


def _growth_per_hour(t: Floats, rh: Floats, kind: Sensitivity, wood_factor: float) -> Floats:
    grows = (t > 0.0) & (t < 50.0) & (rh >= critical_rh_pct(t, kind.rh_min_pct))
    safe_t, safe_rh = np.where(grows, t, 20.0), np.where(grows, rh, 100.0)
    weeks = weeks_to_first_growth(safe_t, safe_rh, wood_factor=wood_factor)
    return np.asarray(np.where(grows, 1.0 / (168.0 * weeks), 0.0))
