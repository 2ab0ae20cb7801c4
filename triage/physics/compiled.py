"""Compiled kernels: one typed door to the compiler, and the scalar functions kernels share.

Machine code is kept in the user's cache, so that only the first call on a machine compiles.
`fastmath` stays off: the same inputs give the same bytes.
"""

import hashlib
import os
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any, TypeVar, cast

import numba
import numpy as np

config: Any = numba.config  # its attributes are made when it is loaded
F = TypeVar("F", bound=Callable[..., object])


def _kept_in() -> str:
    """Folder of the machine code that belongs to exactly these sources.

    The compiler looks only at the file of the function itself, and would go on using code that has
    an old version of a function or constant from another file built in. So every state of the
    sources has a folder of its own.
    """
    files = sorted(Path(__file__).parent.glob("*.py"))
    texts = [file.read_bytes() for file in files]
    kernels = [t for t in texts if b"physics.compiled import" in t or b"DELTA0" in t]
    digest = hashlib.sha256(b"".join([*kernels, Path(__file__).read_bytes()])).hexdigest()
    home = os.environ.get("XDG_CACHE_HOME") or str(Path.home() / ".cache")
    return str(Path(config.CACHE_DIR or home) / f"triage-kernels-{digest[:12]}")


_FOLDER = _kept_in()


def _compile(function: F, *, parallel: bool) -> F:
    before, config.CACHE_DIR = config.CACHE_DIR, _FOLDER
    try:
        # A call hands over each table as some ten words. Where functions are loops over a few
        # points that is over a quarter of the time, so kernels have what they call built in.
        maker = numba.njit(
            cache=True, parallel=parallel, error_model="numpy", forceinline=not parallel
        )
        return cast(F, maker(function))
    finally:
        config.CACHE_DIR = before  # other libraries keep theirs where they did


def compiled(function: F) -> F:
    """Compile a function that other compiled functions call."""
    return _compile(function, parallel=False)


def compiled_over_rows(function: F) -> F:
    """Compile a function that shares its rows among the processor's cores with `numba.prange`.

    Rows must not depend on each other.
    """
    return _compile(function, parallel=True)


@compiled
def saturation_pa(temperature_c: float) -> float:
    """Scalar form of `vapour.saturation_pressure_pa`: [°C] to [Pa]."""
    if temperature_c >= 0.0:
        return float(610.5 * np.exp(17.269 * temperature_c / (237.3 + temperature_c)))
    return float(610.5 * np.exp(21.875 * temperature_c / (265.5 + temperature_c)))


@compiled
def wood_constants(temperature_c: float) -> tuple[float, float, float, float]:
    """W, K, K1 and K2 of the two-hydrate sorption equation of wood at a temperature in °C."""
    t = temperature_c
    return (
        349.0 + 1.29 * t + 0.0135 * t * t,
        0.805 + 0.000736 * t - 0.00000273 * t * t,
        6.27 - 0.00938 * t - 0.000303 * t * t,
        1.91 + 0.0407 * t - 0.000293 * t * t,
    )


@compiled
def wood_moisture(constants: tuple[float, float, float, float], rh: float) -> tuple[float, float]:
    """Equilibrium moisture content and its slope over humidity, humidity as a fraction. [%]."""
    w, k, k1, k2 = constants
    h = k * rh
    top = k1 * h + 2.0 * k1 * k2 * h * h
    bottom = 1.0 + k1 * h + k1 * k2 * h * h
    slope = 1.0 / (1.0 - h) ** 2 + (
        (k1 + 4.0 * k1 * k2 * h) * bottom - top * (k1 + 2.0 * k1 * k2 * h)
    ) / (bottom * bottom)
    return 1800.0 / w * (h / (1.0 - h) + top / bottom), 1800.0 / w * k * slope


@compiled
def wood_moisture_pct(temperature_c: float, rh: float) -> float:
    """Scalar form of `wood.equilibrium_moisture_pct`, humidity as a fraction: [°C, -] to [%]."""
    return wood_moisture(wood_constants(temperature_c), rh)[0]


def warm_up() -> float:
    """Compile, or load from disk, every kernel once; seconds that it took."""
    from triage.physics import deck, monthly  # noqa: PLC0415  (they import this module)

    begun = time.perf_counter()
    monthly.warm_up()
    deck.warm_up()
    return time.perf_counter() - begun
