"""Steady heat flow: surface and air-layer resistances, bridged layers, surface temperatures.

Layers run outside to inside. Resistances are those of ISO 6946. Each direction is that of the
heat: ``"upward"`` roofs and ceilings, ``"horizontal"`` walls and roofs steeper than 60°,
``"downward"`` floors. Temperatures of surfaces and planes are in `surface_temperature` and can be
had from here.
"""

from collections.abc import Sequence
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike

from triage.physics.surface_temperature import (
    CRITICAL_HUMIDITY_MOULD,
    R_SI_MOULD_M2K_W,
    f_rsi_plain,
    interface_temperatures_c,
    outer_fraction_for,
    plane_temperature_c,
    required_factor,
    temperature_factor,
)
from triage.physics.vapour import Floats

__all__ = [
    "CRITICAL_HUMIDITY_MOULD",
    "MAX_LIMIT_RATIO",
    "R_SE_M2K_W",
    "R_SI_M2K_W",
    "R_SI_MOULD_M2K_W",
    "Direction",
    "air_layer_resistance",
    "combined_limits",
    "combined_resistance",
    "f_rsi_plain",
    "interface_temperatures_c",
    "outer_fraction_for",
    "plane_temperature_c",
    "required_factor",
    "temperature_factor",
    "u_value",
    "ventilated_total",
]

Direction = Literal["upward", "horizontal", "downward"]

R_SE_M2K_W = 0.04
"""Outside surface resistance. [m²K/W] SEEN"""
R_SI_M2K_W: dict[Direction, float] = {"upward": 0.10, "horizontal": 0.13, "downward": 0.17}
"""Inside surface resistance; upward and horizontal SEEN, downward MEMORY. [m²K/W]"""
MAX_LIMIT_RATIO = 1.5
"""Upper over lower limit, beyond which the combined method must not be used (MEMORY)."""

_AIR_MM = (0.0, 5.0, 7.0, 10.0, 15.0, 25.0, 50.0, 100.0, 300.0)
_AIR_R: dict[Direction, tuple[float, ...]] = {
    "upward": (0.00, 0.11, 0.13, 0.15, 0.16, 0.16, 0.16, 0.16, 0.16),
    "horizontal": (0.00, 0.11, 0.13, 0.15, 0.17, 0.18, 0.18, 0.18, 0.18),
    "downward": (0.00, 0.11, 0.13, 0.15, 0.17, 0.19, 0.21, 0.22, 0.23),
}
_NO_RESISTANCE_M2K_W = 1e-12  # below it a conductance would overflow
_OPENING_CLOSED_MM2, _OPENING_WELL_MM2 = 500.0, 1500.0


def air_layer_resistance(thickness_mm: ArrayLike, direction: Direction) -> Floats:
    """Resistance of an unventilated air layer between faces of high emissivity.

    Parameters
    ----------
    thickness_mm
        Thickness in the direction of the heat, 0 to 300, any shape. [mm]
    direction
        Direction of the heat.

    Returns
    -------
    Floats
        Resistance, linear between the table's thicknesses. [m²K/W]

    Raises
    ------
    ValueError
        If a thickness lies outside 0 to 300 mm or is NaN: a larger space is a room.

    References
    ----------
    ISO 6946 table 2 (plateaus SEEN, thin layers MEMORY).
    """
    mm = np.asarray(thickness_mm, dtype=np.float64)
    if not ((mm >= 0.0) & (mm <= _AIR_MM[-1])).all():
        raise ValueError("an air layer must be 0 to 300 mm thick; larger spaces are rooms")
    return np.asarray(np.interp(mm, _AIR_MM, _AIR_R[direction]))


def ventilated_total(
    r_unventilated: ArrayLike, r_well_ventilated: ArrayLike, opening_mm2: ArrayLike
) -> Floats:
    """Total resistance of an element with an air layer that is open to the outside.

    Parameters
    ----------
    r_unventilated, r_well_ventilated
        Total with the layer closed, and with it and all outside it left out (inside surface
        resistance on both faces). [m²K/W]
    opening_mm2
        Openings per metre of length (vertical layer) or per m² (horizontal). [mm²] From 0.

    Returns
    -------
    Floats
        Closed up to 500 mm², well ventilated from 1500 mm², linear between. [m²K/W]

    References
    ----------
    ISO 6946, slightly ventilated air layers (MEMORY).
    """
    opening = np.asarray(opening_mm2, dtype=np.float64)
    if not (opening >= 0.0).all():
        raise ValueError("the area of ventilation openings must be 0 mm² or more")
    span = _OPENING_WELL_MM2 - _OPENING_CLOSED_MM2
    share = np.clip((opening - _OPENING_CLOSED_MM2) / span, 0.0, 1.0)
    closed = np.asarray(r_unventilated, dtype=np.float64)
    return np.asarray(closed + share * (np.asarray(r_well_ventilated, np.float64) - closed))


def combined_limits(
    fractions: Sequence[ArrayLike],
    r_sections: Sequence[Sequence[ArrayLike]],
    r_se: ArrayLike,
    r_si: ArrayLike,
) -> tuple[Floats, Floats]:
    """Upper and lower limit of the total resistance of an element with bridged layers.

    Parameters
    ----------
    fractions
        Area share of each section (heat-flow path), each a number or shape (n,); sum 1.
    r_sections
        For each section its layer resistances, same number of layers in every section, each a
        number or shape (n,). [m²K/W] From 0; a layer of 0 in one section is 0 in the lower limit.
    r_se, r_si
        Surface resistances. [m²K/W] Above 0.

    Returns
    -------
    tuple
        R' and R'', each of the shape that all inputs broadcast to. [m²K/W]

    Raises
    ------
    ValueError
        If shares do not sum to 1, a number is out of range or sections differ in layers.

    References
    ----------
    ISO 6946, combined method (MEMORY; reproduces nine published roofs).
    """
    share = np.stack(np.broadcast_arrays(*(np.asarray(f, np.float64) for f in fractions)))
    layers = _layer_array(r_sections, len(fractions))
    surfaces = [np.asarray(r, dtype=np.float64) for r in (r_se, r_si)]
    if not (share >= 0.0).all() or not (np.abs(share.sum(axis=0) - 1.0) < 1e-9).all():
        raise ValueError("area shares of the sections must be 0 or more and sum to 1")
    if not all(((r > 0.0) & np.isfinite(r)).all() for r in surfaces):
        raise ValueError("surface resistances must be above 0 m²K/W")
    around = surfaces[0] + surfaces[1]
    upper = 1.0 / (share / (layers.sum(axis=1) + around)).sum(axis=0)
    lower = _parallel(share[:, np.newaxis], layers).sum(axis=0) + around
    return np.asarray(upper), np.asarray(lower)


def _layer_array(r_sections: Sequence[Sequence[ArrayLike]], sections: int) -> Floats:
    """Resistances as (sections, layers, ...)."""
    counts = {len(section) for section in r_sections}
    if len(r_sections) != sections or len(counts) != 1 or counts == {0}:
        raise ValueError("every section needs a share and the same number of layers, at least one")
    flat = [np.asarray(r, dtype=np.float64) for section in r_sections for r in section]
    layers = np.stack(np.broadcast_arrays(*flat)).reshape(sections, counts.pop(), *_shape(flat))
    if not ((layers >= 0.0) & np.isfinite(layers)).all():
        raise ValueError("layer resistances must be finite and 0 m²K/W or more")
    return layers


def _shape(arrays: Sequence[Floats]) -> tuple[int, ...]:
    return np.broadcast_shapes(*(a.shape for a in arrays))


def _parallel(share: Floats, layers: Floats) -> Floats:
    """Resistance of each layer whose sections stand side by side; 0 where one lets all pass."""
    share, layers = np.broadcast_arrays(share, layers)
    is_none = layers < _NO_RESISTANCE_M2K_W
    is_open = (is_none & (share > 0.0)).any(axis=0)
    conductance = (share / np.where(is_none, 1.0, layers)).sum(axis=0)
    return np.asarray(np.where(is_open, 0.0, 1.0 / conductance))


def combined_resistance(
    fractions: Sequence[ArrayLike],
    r_sections: Sequence[Sequence[ArrayLike]],
    r_se: ArrayLike,
    r_si: ArrayLike,
) -> Floats:
    """Total resistance by the combined method: the mean of both limits. [m²K/W].

    Parameters and errors as in `combined_limits`; and ValueError if the upper limit is more than
    1.5 times the lower, as with metal through insulation: the method does not hold there.
    """
    upper, lower = combined_limits(fractions, r_sections, r_se, r_si)
    if not (upper <= MAX_LIMIT_RATIO * lower).all():
        raise ValueError("upper limit above 1.5 times the lower: outside the combined method")
    return np.asarray((upper + lower) / 2.0)


def u_value(
    fractions: Sequence[ArrayLike],
    r_sections: Sequence[Sequence[ArrayLike]],
    r_se: ArrayLike,
    r_si: ArrayLike,
) -> Floats:
    """Thermal transmittance by the combined method, see `combined_resistance`. [W/(m²K)]."""
    return np.asarray(1.0 / combined_resistance(fractions, r_sections, r_se, r_si))
