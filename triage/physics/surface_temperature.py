"""Temperatures of surfaces and of planes inside an element, and the factors that rate them.

One-dimensional and steady: a junction needs its own factor from a table or a solved section.
"""

import numpy as np
from numpy.typing import ArrayLike

from triage.physics.vapour import Floats, dew_point_c

R_SI_MOULD_M2K_W = 0.25
"""Inside surface resistance of corners and behind furniture, for the mould check. [m²K/W] SEEN"""
CRITICAL_HUMIDITY_MOULD = 0.80
"""Monthly mean humidity at a surface at which mould may grow (ISO 13788, MEMORY). [-]"""


def temperature_factor(surface_c: ArrayLike, t_out_c: ArrayLike, t_in_c: ArrayLike) -> Floats:
    """Share of the way from outdoor to indoor air at which the inside surface lies.

    Parameters
    ----------
    surface_c, t_out_c, t_in_c
        Inside surface, outdoor and indoor air, shapes that broadcast. [°C]

    Raises
    ------
    ValueError
        If indoors and outdoors are equally warm, or unknown: there is no factor then.
    """
    si, out, inside = (np.asarray(x, dtype=np.float64) for x in (surface_c, t_out_c, t_in_c))
    if not (np.abs(inside - out) > 0.0).all():
        raise ValueError("a temperature factor needs indoor and outdoor air of different warmth")
    return np.asarray((si - out) / (inside - out))


def required_factor(
    t_out_c: ArrayLike,
    t_in_c: ArrayLike,
    p_in_pa: ArrayLike,
    critical_humidity: float = CRITICAL_HUMIDITY_MOULD,
) -> Floats:
    """Temperature factor that keeps humidity at the inside surface at the critical one or below.

    Parameters
    ----------
    t_out_c, t_in_c, p_in_pa
        Monthly means of outdoor and indoor air, shapes that broadcast. [°C, °C, Pa] Vapour above 0.
    critical_humidity
        0.80 mould, 1.00 surface condensation on glazing, 0.60 corrosion of steel. [-]

    Returns
    -------
    Floats
        0 where outdoor air itself is warm enough; above 1 where indoor air is more humid than
        critical; inf where that is so and indoors is not warmer than outdoors. The largest of
        the year names the design month.

    References
    ----------
    ISO 13788:2012, surface humidity (MEMORY).
    """
    if not 0.0 < critical_humidity <= 1.0:
        raise ValueError(f"critical humidity must lie in 0 to 1, got {critical_humidity:g}")
    out, inside = np.asarray(t_out_c, dtype=np.float64), np.asarray(t_in_c, dtype=np.float64)
    needed = dew_point_c(np.asarray(p_in_pa, dtype=np.float64) / critical_humidity)
    span = inside - out
    factor = (needed - out) / np.where(span > 0.0, span, np.nan)
    return np.asarray(np.where(needed <= out, 0.0, np.where(span > 0.0, factor, np.inf)))


def f_rsi_plain(
    u_w_m2k: ArrayLike,
    r_si: ArrayLike = R_SI_MOULD_M2K_W,
    r_si_of_u: ArrayLike = 0.13,
) -> Floats:
    """Temperature factor of a plain area, away from junctions.

    Parameters
    ----------
    u_w_m2k
        Thermal transmittance. [W/(m²K)] Above 0.
    r_si
        Inside surface resistance at the checked place, which takes the place of the one that
        the transmittance was worked out with. [m²K/W]
    r_si_of_u
        The latter: 0.13 walls, 0.10 roofs, 0.17 floors. [m²K/W] Below 1/U.

    Returns
    -------
    Floats
        1 - r_si / (1/U - r_si_of_u + r_si), between 0 and 1. [-]

    Raises
    ------
    ValueError
        If U or a surface resistance is not above 0, or 1/U does not exceed r_si_of_u.
    """
    u = np.asarray(u_w_m2k, dtype=np.float64)
    at, of_u = np.asarray(r_si, dtype=np.float64), np.asarray(r_si_of_u, dtype=np.float64)
    if not ((u > 0.0) & (at > 0.0) & (of_u > 0.0) & (u * of_u < 1.0)).all():
        raise ValueError("a surface factor needs U above 0 and surface resistances below 1/U")
    return np.asarray(1.0 - at / (1.0 / u - of_u + at))


def interface_temperatures_c(
    r_m2k_w: ArrayLike, r_se: ArrayLike, r_si: ArrayLike, t_out_c: ArrayLike, t_in_c: ArrayLike
) -> Floats:
    """Temperature at every face between layers.

    Parameters
    ----------
    r_m2k_w
        Layer resistances outside to inside, shape (..., layers). [m²K/W] From 0.
    r_se, r_si, t_out_c, t_in_c
        Surface resistances and air temperatures, shapes that broadcast with (...). [m²K/W, °C]

    Returns
    -------
    Floats
        Shape (..., layers + 1): outside surface, interfaces, inside surface. [°C]
    """
    r = np.asarray(r_m2k_w, dtype=np.float64)
    outer, inner = (np.asarray(x, np.float64)[..., np.newaxis] for x in (r_se, r_si))
    start = np.zeros((*r.shape[:-1], 1))
    before = np.concatenate([start, np.cumsum(r, axis=-1)], axis=-1) + outer
    return plane_temperature_c(
        before / (before[..., -1:] + inner),
        np.asarray(t_out_c, np.float64)[..., np.newaxis],
        np.asarray(t_in_c, np.float64)[..., np.newaxis],
    )


def plane_temperature_c(outer_fraction: ArrayLike, t_out_c: ArrayLike, t_in_c: ArrayLike) -> Floats:
    """Temperature of the plane with this share of the total resistance outside it. [-, °C]."""
    t_out = np.asarray(t_out_c, dtype=np.float64)
    share = np.asarray(outer_fraction, dtype=np.float64)
    return np.asarray(t_out + share * (np.asarray(t_in_c, dtype=np.float64) - t_out))


def outer_fraction_for(plane_c: ArrayLike, t_out_c: ArrayLike, t_in_c: ArrayLike) -> Floats:
    """Share of the resistance that must lie outside a plane to keep it at a temperature.

    Parameters
    ----------
    plane_c, t_out_c, t_in_c
        Wanted temperature of the plane, outdoor and indoor air, shapes that broadcast. [°C]

    Returns
    -------
    Floats
        0 where the outdoor air is as warm as wanted. Above 1 cannot be built.

    Raises
    ------
    ValueError
        If the wanted temperature is above the indoor air or indoors is not warmer than outdoors
        where it would have to warm the plane.
    """
    plane, out, inside = (np.asarray(x, dtype=np.float64) for x in (plane_c, t_out_c, t_in_c))
    if not (plane <= inside).all():
        raise ValueError("no insulation keeps a plane warmer than the air inside")
    warm = out >= plane
    span = np.where(warm, 1.0, inside - out)
    return np.asarray(np.where(warm, 0.0, (plane - out) / span))
