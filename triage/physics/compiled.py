"""Compiled kernels: one typed door to the compiler, and the scalar functions kernels share.

Results are kept on disk beside the module, or in the user's cache where that cannot be written,
so that only the first call on a machine compiles. `fastmath` stays off: the same inputs give the
same bytes.
"""

import time
from collections.abc import Callable
from typing import TypeVar, cast

import numba
import numpy as np

F = TypeVar("F", bound=Callable[..., object])


def compiled(function: F) -> F:
    """Compile a function that other compiled functions call."""
    return cast(F, numba.njit(cache=True, error_model="numpy")(function))


def compiled_over_rows(function: F) -> F:
    """Compile a function that shares its rows among the processor's cores with `numba.prange`.

    Rows must not depend on each other.
    """
    return cast(F, numba.njit(cache=True, parallel=True, error_model="numpy")(function))


@compiled
def saturation_pa(temperature_c: float) -> float:
    """Scalar form of `vapour.saturation_pressure_pa`: [°C] to [Pa]."""
    if temperature_c >= 0.0:
        return float(610.5 * np.exp(17.269 * temperature_c / (237.3 + temperature_c)))
    return float(610.5 * np.exp(21.875 * temperature_c / (265.5 + temperature_c)))


@compiled
def wood_moisture_pct(temperature_c: float, rh: float) -> float:
    """Scalar form of `wood.equilibrium_moisture_pct`, humidity as a fraction: [°C, -] to [%]."""
    t = temperature_c
    w = 349.0 + 1.29 * t + 0.0135 * t * t
    k = 0.805 + 0.000736 * t - 0.00000273 * t * t
    k1 = 6.27 - 0.00938 * t - 0.000303 * t * t
    k2 = 1.91 + 0.0407 * t - 0.000293 * t * t
    kh = k * rh
    bound = k1 * kh + 2.0 * k1 * k2 * kh * kh
    return float(1800.0 / w * (kh / (1.0 - kh) + bound / (1.0 + k1 * kh + k1 * k2 * kh * kh)))


def warm_up() -> float:
    """Compile, or load from disk, every kernel once; seconds that it took."""
    from triage.physics import deck, monthly  # noqa: PLC0415  (they import this module)

    begun = time.perf_counter()
    monthly.warm_up()
    deck.warm_up()
    return time.perf_counter() - begun
