"""Moisture held and drawn in by porous materials, from the two or three values that are published.

Approximations for materials of which no measured table exists; a measured table is to be preferred.
"""

import numpy as np
from numpy.typing import ArrayLike, NDArray

Floats = NDArray[np.float64]


def sorption_shape(w80_kg_m3: float, free_saturation_kg_m3: float) -> float:
    """Shape factor b of the sorption curve through 80 % humidity and free saturation, above 1.

    Raises
    ------
    ValueError
        If the material does not hold more when saturated than 1.25 times that at 80 %: then the
        curve would bend the wrong way.

    References
    ----------
    Widely published approximation (MEMORY): w = w_f (b - 1) φ/(b - φ).
    """
    if not 0 < w80_kg_m3 < 0.8 * free_saturation_kg_m3:
        raise ValueError(
            f"no sorption curve runs through {w80_kg_m3:g} kg/m³ at 80 % "
            f"and {free_saturation_kg_m3:g} kg/m³ at saturation"
        )
    rise = w80_kg_m3 - free_saturation_kg_m3
    return 0.8 * rise / (w80_kg_m3 - 0.8 * free_saturation_kg_m3)


def sorption_kg_m3(
    relative_humidity: ArrayLike, w80_kg_m3: float, free_saturation_kg_m3: float
) -> Floats:
    """Water content at a relative humidity.

    Parameters
    ----------
    relative_humidity
        Any shape, 0 to 1; NaN outside. [-]
    w80_kg_m3, free_saturation_kg_m3
        Water content at 80 % and at free saturation. [kg/m³]

    Returns
    -------
    Floats
        Of the same shape. [kg/m³]
    """
    b = sorption_shape(w80_kg_m3, free_saturation_kg_m3)
    phi = np.asarray(relative_humidity, dtype=np.float64)
    phi = np.where((phi >= 0) & (phi <= 1), phi, np.nan)
    return np.asarray(free_saturation_kg_m3 * (b - 1) * phi / (b - phi))


def suction_diffusivity_m2_s(
    water_kg_m3: ArrayLike, a_value_kg_m2_s05: float, free_saturation_kg_m3: float
) -> Floats:
    """Liquid diffusivity while a wetted face draws water in.

    Parameters
    ----------
    water_kg_m3
        Water content, any shape, 0 to free saturation. [kg/m³]
    a_value_kg_m2_s05
        Water absorption coefficient. [kg/(m²·s^0.5)]
    free_saturation_kg_m3
        Water content at free saturation, above 0. [kg/m³]

    Returns
    -------
    Floats
        Of the same shape. [m²/s]

    References
    ----------
    Widely published approximation (MEMORY): D = 3.8 (A/w_f)² 1000^(w/w_f - 1).
    """
    share = np.asarray(water_kg_m3, dtype=np.float64) / free_saturation_kg_m3
    speed = a_value_kg_m2_s05 / free_saturation_kg_m3
    return np.asarray(3.8 * speed**2 * 1000.0 ** (share - 1.0))
