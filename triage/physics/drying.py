"""Drying potential: the water that could leave a layer by diffusion if it were saturated."""

from typing import Any

import numpy as np
from numpy.typing import NDArray

from triage.physics.monthly import Boundaries
from triage.physics.vapour import DELTA0_KG_M_S_PA, MONTH_SECONDS, saturation_pressure_pa

Floats = NDArray[np.float64]
_AIR_20C_KG_M_S_PA = 1.966e-10
_THINNEST_SD_M = 0.01  # a bare surface: about what the still air at it resists


def drying_potential_kg_m2(
    sd_out_m: Floats,
    sd_in_m: Floats,
    r_out_m2k_w: Floats,
    r_total_m2k_w: Floats,
    boundaries: Boundaries,
    which: NDArray[np.integer[Any]],
    season: NDArray[np.bool_],
) -> Floats:
    """Water that leaves a saturated plane to both sides over the drying half-year.

    Parameters
    ----------
    sd_out_m, sd_in_m
        Equivalent air layer from the plane to the outside and to the inside, shape (n,). [m]
    r_out_m2k_w, r_total_m2k_w
        Resistance from outside air to the plane, and of the whole element with its surfaces,
        shape (n,). [m²K/W]
    boundaries, which
        Climates, and the row of them for each case.
    season
        Months that count, shape (m, 12) with one row a climate, or (12,) for all.

    Returns
    -------
    Floats
        Shape (n,). [kg/m²] A month in which more would come in than go out counts zero.

    Notes
    -----
    Diffusion alone at monthly means: no sun, no air flow, no liquid. Less than a bare surface
    would give; it compares build-ups and ranks them.

    References
    ----------
    Idea of the drying reserve of DIN 68800-2 (MEMORY); the season and climate are this product's.
    """
    edge, rows = boundaries, boundaries.rows(which, len(sd_out_m))
    for name, values in (("sd", sd_out_m), ("sd", sd_in_m), ("r_out", r_out_m2k_w)):
        if not (np.isfinite(values) & (np.asarray(values) >= 0)).all():
            raise ValueError(f"{name} must be finite and not negative")
    if not (np.asarray(r_total_m2k_w) > 0).all():
        raise ValueError("a build-up needs some thermal resistance, surfaces included")
    span = edge.t_in_c[rows] - edge.t_out_c[rows]
    plane = edge.t_out_c[rows] + span * (r_out_m2k_w / r_total_m2k_w)[:, np.newaxis]
    full = saturation_pressure_pa(plane)
    out = (full - edge.p_out_pa[rows]) / np.maximum(sd_out_m, _THINNEST_SD_M)[:, np.newaxis]
    into = (full - edge.p_in_pa[rows]) / np.maximum(sd_in_m, _THINNEST_SD_M)[:, np.newaxis]
    monthly = np.maximum(DELTA0_KG_M_S_PA * (out + into) * MONTH_SECONDS, 0.0)
    counted = np.broadcast_to(season, edge.t_out_c.shape)[rows]
    return np.asarray(np.where(counted, monthly, 0.0).sum(axis=1))


def drying_loss_pct(before_kg_m2: Floats, after_kg_m2: Floats) -> Floats:
    """Share of the drying potential that a measure takes away; 0 where it adds some.

    Shapes agree, [kg/m²] to [percent]. NaN where there was none to lose.
    """
    with np.errstate(divide="ignore", invalid="ignore"):
        lost = 100.0 * (1.0 - after_kg_m2 / before_kg_m2)
    return np.asarray(np.where(before_kg_m2 > 0, np.clip(lost, 0.0, 100.0), np.nan))


def days_to_dry(mass_kg_m2: float, sd_m: float, pressure_difference_pa: float) -> float:
    """Days for a mass to leave through a layer at a constant difference of vapour pressure.

    Parameters
    ----------
    mass_kg_m2, sd_m
        Water to lose, and the equivalent air layer that it passes. [kg/m², m]
    pressure_difference_pa
        Vapour pressure at the mass less that beyond the layer. [Pa] Above 0.

    References
    ----------
    Permeability of still air 2.0e-7 T^0.81 / P at 20 °C (COMPUTED), 2 % below that of ISO 13788.
    """
    return mass_kg_m2 * sd_m / (_AIR_20C_KG_M_S_PA * pressure_difference_pa * 86_400.0)


def removal_by_air_g_m2_day(
    changes_per_hour: float, gap_mm: float, vapour_difference_g_m3: float
) -> float:
    """Water that air passing through a gap can carry off in a day. [1/h, mm, g/m³] to [g/m²]."""
    return changes_per_hour * gap_mm / 1000.0 * vapour_difference_g_m3 * 24.0
