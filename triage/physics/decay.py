"""Decay of wood by fungi: activation and loss of mass in humid air.

For untreated pine sapwood. Liquid water on the wood is outside the model, and worse.
"""

from dataclasses import dataclass

import numpy as np
from numba import prange
from numpy.typing import ArrayLike, NDArray

from triage.physics.compiled import compiled_over_rows
from triage.physics.mould import checked_air

Floats = NDArray[np.float64]

HOURS_IN_MODEL_MONTH = 720.0
"""The model's months have 30 days. MEMORY"""
RECOVERY_H = 17_520.0
"""Dry or cold hours that undo a full activation: two years. SEEN"""
WARMEST_C = 30.0
"""Hourly steps hold warmer wood at this: beyond about 35 °C the critical time turns negative."""
ACTIVE_ABOVE_RH_PCT = 95.0


def critical_time_h(temperature_c: ArrayLike, rh_pct: ArrayLike) -> Floats:
    """Hours in a steady state until decay begins.

    Parameters
    ----------
    temperature_c, rh_pct
        State at the wood; shapes that broadcast. [°C, %] Valid from 0 to 30 °C, above 95 %.

    Returns
    -------
    Floats
        Hours; infinite where decay never begins, or the equation gives no positive time. [h]

    Raises
    ------
    ValueError
        If a value is NaN or a humidity lies outside 0 to 100 %.

    References
    ----------
    Viitanen et al. 2010, doi 10.1007/s00107-010-0450-x (SEEN in a reproduction).
    """
    t, rh = checked_air(temperature_c, rh_pct)
    above = 2.3 * t + 0.035 * rh - 0.024 * t * rh
    below = -42.9 + 0.14 * t + 0.45 * rh
    active = (t > 0.0) & (rh > ACTIVE_ABOVE_RH_PCT) & (above > 0.0) & (below > 0.0)
    months = above / np.where(active, below, 1.0)
    return np.asarray(np.where(active, months * HOURS_IN_MODEL_MONTH, np.inf))


def mass_loss_rate_pct_h(temperature_c: ArrayLike, rh_pct: ArrayLike) -> Floats:
    """Loss of mass of wood in which decay has begun, never negative, [°C, %] → [%/h].

    References
    ----------
    Viitanen et al. 2010 (SEEN in a reproduction).
    """
    t, rh = checked_air(temperature_c, rh_pct)
    return np.asarray(np.maximum(-5.96e-2 + 1.96e-4 * t + 6.25e-4 * rh, 0.0))


@dataclass(frozen=True, slots=True)
class Decay:
    """After each hour: activation 0 to 1, and loss of mass, [-, % of dry mass]."""

    activation: Floats
    mass_loss_pct: Floats


@compiled_over_rows
def _decay(step: Floats, rate: Floats, start: Floats) -> Floats:
    rows, hours = step.shape
    out = np.empty((2, rows, hours))
    for row in prange(rows):
        activation, loss = start[row], 0.0
        for hour in range(hours):
            # Sums of many equal steps end a rounding error short of 1.
            activation = min(max(activation + step[row, hour], 0.0), 1.0)
            if activation >= 1.0 - 1e-12:
                activation = 1.0
                loss = min(loss + rate[row, hour], 100.0)
            out[0, row, hour] = activation
            out[1, row, hour] = loss
    return out


def decay(temperature_c: ArrayLike, rh_pct: ArrayLike, *, initial: ArrayLike = 0.0) -> Decay:
    """Activation and loss of mass after each hour.

    Parameters
    ----------
    temperature_c, rh_pct
        State at the wood in consecutive hours, shape (hours,) or (n, hours). [°C, %] Wood above
        30 °C is treated as at 30 °C, which is on the safe side.
    initial
        Activation before the first hour, 0 to 1, one number or shape (n,).

    Returns
    -------
    Decay
        Both in the shape of the input. Mass is lost only at full activation.

    Raises
    ------
    ValueError
        If a value is NaN, a humidity lies outside 0 to 100 %, or the activation outside 0 to 1.

    References
    ----------
    Viitanen et al. 2010 (SEEN in a reproduction; slips of it put right: percent, 30 days).
    """
    t, rh = checked_air(temperature_c, rh_pct)
    if t.ndim not in (1, 2):
        raise ValueError(f"hours must have shape (hours,) or (n, hours), got {t.shape}")
    held = np.minimum(t, WARMEST_C)
    critical = critical_time_h(held, rh)
    step = np.where(np.isfinite(critical), 1.0 / critical, -1.0 / RECOVERY_H)
    rows = np.atleast_2d(step)
    start = np.array(np.broadcast_to(np.asarray(initial, np.float64), len(rows)))
    if not ((start >= 0) & (start <= 1)).all():
        raise ValueError("the initial activation must lie between 0 and 1")
    if rows.size == 0:
        return Decay(np.empty(t.shape), np.empty(t.shape))
    out = _decay(rows, np.atleast_2d(mass_loss_rate_pct_h(held, rh)), start)
    return Decay(out[0].reshape(t.shape), out[1].reshape(t.shape))


def timber_humidity_limit_pct(temperature_c: ArrayLike) -> Floats:
    """Highest humidity of pore air at embedded timber, 95 % at 0 °C falling to 86 % at 30 °C.

    Parameters
    ----------
    temperature_c
        Temperature at the timber, any shape. [°C] 0 to 30; held at the ends beyond.

    References
    ----------
    German-language practice, WTA 6-8 (MEMORY).
    """
    return np.asarray(95.0 - 0.3 * np.clip(np.asarray(temperature_c, np.float64), 0.0, 30.0))
