"""Yearly moisture of a timber deck between two layers, as one store that sorbs and gives off.

Where a roof is sealed outside, the monthly condensation method says nothing useful: a deck
between two tight layers never follows the month. Here the deck's own mass carries moisture from
month to month; vapour comes and goes through the layers on both sides.
"""

from dataclasses import dataclass
from typing import Any

import numpy as np
from numba import prange
from numpy.typing import NDArray

from triage.physics.compiled import (
    compiled,
    compiled_over_rows,
    saturation_pa,
    wood_constants,
    wood_moisture,
    wood_moisture_pct,
)
from triage.physics.monthly import Boundaries
from triage.physics.vapour import DELTA0_KG_M_S_PA, MONTH_SECONDS

Floats = NDArray[np.float64]
STEPS_A_MONTH = 4
MOST_YEARS = 400
"""A tight stack takes decades to forget how it began; none takes this long."""
_SETTLED_PCT = 1e-4
_TRIES = 60
_FULL_PCT = 29.0  # about fibre saturation by the sorption equation at 0 to 20 °C
_WETTEST = 1.0  # relative humidity of saturated timber; what comes on top runs off


@dataclass(frozen=True, slots=True)
class DeckYear:
    """Moisture content of the deck in the year that repeats itself, each of n cases.

    `mc_pct` has shape (n, 12): the end of each month. [percent of dry mass] `settled` is False
    where the year had not repeated itself after `MOST_YEARS`; such a case has NaN throughout.
    """

    mc_max_pct: Floats
    mc_min_pct: Floats
    swing_pct: Floats
    mc_pct: Floats
    settled: NDArray[np.bool_]


def deck_year(
    sd_out_m: Floats,
    sd_in_m: Floats,
    r_out_m2k_w: Floats,
    r_total_m2k_w: Floats,
    deck_kg_m2: Floats,
    boundaries: Boundaries,
    which: NDArray[np.integer[Any]],
) -> DeckYear:
    """Follow a deck through the months until the year repeats itself.

    Parameters
    ----------
    sd_out_m, sd_in_m
        Equivalent air layer from the middle of the deck to outside and inside, shape (n,). [m]
        Above 0.
    r_out_m2k_w, r_total_m2k_w
        Resistance from outside air to the middle of the deck, and of the whole element with its
        surfaces, shape (n,). [m²K/W]
    deck_kg_m2
        Dry mass, shape (n,). [kg/m²] Above 0.
    boundaries, which
        Climates, and the row of them for each case.

    Notes
    -----
    One store with the sorption of wood, no gradient inside it, diffusion alone; each month in
    four implicit steps at that month's means. Sun, night sky, rain and air leakage are left out:
    it ranks roofs and does not replace a reading. Above saturation the excess is taken to run
    off, so `mc_max_pct` stays at fibre saturation.

    References
    ----------
    Sorption: two-hydrate equation of the US Wood Handbook (SEEN EMC-C); balance: own (POLICY).
    """
    inputs = [np.ascontiguousarray(v, dtype=np.float64) for v in (sd_out_m, sd_in_m)]
    inputs += [np.ascontiguousarray(v, dtype=np.float64) for v in (r_out_m2k_w, r_total_m2k_w)]
    mass = np.ascontiguousarray(deck_kg_m2, dtype=np.float64)
    for name, values in (("sd", inputs[0]), ("sd", inputs[1]), ("deck mass", mass)):
        if not (np.isfinite(values) & (values > 0)).all():
            raise ValueError(f"the {name} beside or of a deck must be above 0")
    if not ((inputs[2] >= 0) & (inputs[2] <= inputs[3]) & (inputs[3] > 0)).all():
        raise ValueError("the resistance outside a deck must be part of the whole, above 0")
    months = np.empty((len(mass), 12), dtype=np.float64)
    settled = np.empty(len(mass), dtype=np.bool_)
    _follow(
        inputs[0],
        inputs[1],
        inputs[2] / inputs[3],
        mass,
        boundaries.t_out_c,
        boundaries.p_out_pa,
        boundaries.t_in_c,
        boundaries.p_in_pa,
        boundaries.rows(which, len(mass)),
        months,
        settled,
    )
    months[~settled] = np.nan
    high, low = months.max(axis=1), months.min(axis=1)
    return DeckYear(high, low, high - low, months, settled)


@compiled
def _step(
    wanted: float,
    mass: float,
    constants: tuple[float, float, float, float],
    drain: float,
    rh: float,
) -> float:
    """Humidity at which the deck's water and its loss of the step, `drain`·rh, make `wanted`.

    Newton from the humidity before, kept inside a bracket: water rises with humidity, so there is
    one answer. [kg/m²]
    """
    low, high = 0.0, _WETTEST
    content, slope = wood_moisture(constants, high)
    if mass * content / 100.0 + drain * high <= wanted:
        return high
    for _ in range(_TRIES):
        content, slope = wood_moisture(constants, rh)
        over = mass * content / 100.0 + drain * rh - wanted
        if over > 0.0:
            high = rh
        else:
            low = rh
        if abs(over) <= 1e-12 * wanted:
            break
        rh = rh - over / (mass * slope / 100.0 + drain)
        if not low < rh < high:
            rh = 0.5 * (low + high)
    return rh


@compiled
def _one_year(
    rh: float,
    water: float,
    mass: float,
    out: float,
    into: float,
    share: float,
    t_out: Floats,
    p_out: Floats,
    t_in: Floats,
    p_in: Floats,
    months: Floats,
) -> tuple[float, float]:
    """Humidity and water of the deck after twelve months; `months` takes its moisture content."""
    for month in range(12):
        t = t_out[month] + share * (t_in[month] - t_out[month])
        constants = wood_constants(t)
        seconds = MONTH_SECONDS[month] / STEPS_A_MONTH
        feed = seconds * (out * p_out[month] + into * p_in[month])
        drain = seconds * (out + into) * saturation_pa(t)
        for _ in range(STEPS_A_MONTH):
            rh = _step(water + feed, mass, constants, drain, rh)
            water = mass * wood_moisture(constants, rh)[0] / 100.0
        months[month] = 100.0 * water / mass
    return rh, water


@compiled_over_rows
def _follow(
    sd_out: Floats,
    sd_in: Floats,
    share: Floats,
    mass: Floats,
    t_out: Floats,
    p_out: Floats,
    t_in: Floats,
    p_in: Floats,
    which: NDArray[np.int64],
    months: Floats,
    settled: NDArray[np.bool_],
) -> None:
    for i in prange(len(mass)):
        b, m = which[i], mass[i]
        out, into = DELTA0_KG_M_S_PA / sd_out[i], DELTA0_KG_M_S_PA / sd_in[i]
        rh, water = _balance(out, into, share[i], m, t_out[b], p_out[b], t_in[b], p_in[b])
        settled[i], moved = False, 0.0
        for _ in range(MOST_YEARS):
            begun = water
            rh, water = _one_year(
                *(rh, water, m, out, into, share[i]),
                *(t_out[b], p_out[b], t_in[b], p_in[b], months[i]),
            )
            now = water - begun
            if abs(now) * 100.0 / m <= _SETTLED_PCT:
                settled[i] = True
                break
            # Years approach the last one by a constant ratio: go there at once, then check.
            if moved != 0.0 and 0.0 < now / moved < 0.99:
                ahead = water + now * (now / moved) / (1.0 - now / moved)
                water = min(max(ahead, 0.0), m * _FULL_PCT / 100.0)
                moved = 0.0
            else:
                moved = now


@compiled
def _balance(
    out: float,
    into: float,
    share: float,
    mass: float,
    t_out: Floats,
    p_out: Floats,
    t_in: Floats,
    p_in: Floats,
) -> tuple[float, float]:
    """Humidity and water at which the whole year's inflow and outflow balance: where to begin."""
    pushed, pulled, warm = 0.0, 0.0, 0.0
    for month in range(12):
        t = t_out[month] + share * (t_in[month] - t_out[month])
        pushed += MONTH_SECONDS[month] * (out * p_out[month] + into * p_in[month])
        pulled += MONTH_SECONDS[month] * (out + into) * saturation_pa(t)
        warm += t / 12.0
    rh = min(pushed / pulled, _WETTEST)
    return rh, mass * wood_moisture_pct(warm, rh) / 100.0


def warm_up() -> None:
    """Compile or load the kernel by following one small case."""
    one = np.ones(1)
    year, inside = np.full((1, 12), 5.0), np.full((1, 12), 20.0)
    edge = Boundaries(year, year * 140.0, inside, inside * 60.0)
    deck_year(one, one, one, one * 4.0, one * 8.0, edge, np.zeros(1, dtype=np.int64))
