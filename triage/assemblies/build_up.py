"""Layers of many building parts at once, as the calculations want them."""

from dataclasses import dataclass
from typing import Literal

import numpy as np
import polars as pl
from numpy.typing import NDArray

Floats = NDArray[np.float64]
State = Literal["before", "after"]
STATES: tuple[State, State] = ("before", "after")


@dataclass(frozen=True, slots=True)
class BuildUps:
    """Layer stacks of n distinct cases, outside to inside, on a fixed row of L slots.

    A slot that a case does not use has R = 0 and sd = 0 and no material. Layers outside a
    well-ventilated cavity are already left out; `r_se` is then the resistance inside the cavity.

    Attributes
    ----------
    slots
        Name of each slot, outside to inside, L of them.
    r_m2k_w, sd_m
        Thermal resistance and equivalent air layer of each slot, shape (n, L). [m²K/W, m]
        Bridged layers hold the section through the insulation.
    r_se, r_si
        Surface resistances, shape (n,). [m²K/W]
    u_w_m2k
        Transmittance with bridging by the combined method, shape (n,); NaN where not known.
    watch
        Interface of the monthly table, shape (n,): it lies between slot `watch` - 1 and slot
        `watch`. -1 where the stack has none.
    critical
        Place of the layer whose drying counts, shape (n,), in slots from outside: n + 0.5 is the
        middle of slot n, n its outer face. -1 where outside air dries it.
    deck_slot
        Slot of a timber deck whose moisture is followed, shape (n,); -1 where there is none.
    deck_kg_m2
        Its dry mass, shape (n,); 0 where there is none. [kg/m²]
    described
        One row a case: a String column `<slot>` with the material's code and a Float64 column
        `<slot>_mm` with its thickness for each slot, null where it is not used; `watch_name`;
        `missing`, why the stack cannot be drawn up (null where it can); `invalid`, why the
        monthly method cannot judge it (null where it can); `air_impermeable_r` and
        `air_permeable_r`, insulation that stops air against the deck and other insulation inside
        it, roofs only, null where it is not sure that the foam stops air. [m²K/W]
    """

    slots: tuple[str, ...]
    r_m2k_w: Floats
    sd_m: Floats
    r_se: Floats
    r_si: Floats
    u_w_m2k: Floats
    watch: NDArray[np.int8]
    critical: Floats
    deck_slot: NDArray[np.int8]
    deck_kg_m2: Floats
    described: pl.DataFrame
