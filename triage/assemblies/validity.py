"""Where the monthly vapour method cannot judge a build-up, and why."""

import numpy as np
import polars as pl
from numpy.typing import NDArray

from triage.assemblies.build_up import State
from triage.assemblies.layer import Bools, LayerMaker
from triage.assemblies.roof_layers import AGAINST_DECK, plane_column
from triage.assemblies.wall_layers import MASONRY, filled_cavity

TIGHT_SD_M = 35.0
"""Equivalent air layer of vapour retarder class 1, 0.1 perm (SEEN S5). [m]"""
_ABSORBING = ("bare", "render_lime", "paint_open", "sealer")


def invalid_reason(
    make: LayerMaker,
    sd_m: NDArray[np.float64],
    watch: NDArray[np.int8],
    foam_is_tight: pl.Series,
    state: State,
) -> pl.Series:
    """Why the monthly method neither fires nor clears, in words; null where it can judge.

    A ventilated space whose outer layers are left out is no reason: the standard treats it so.
    `foam_is_tight` is null where it is not sure that the foam stops air, true where there is none.

    References
    ----------
    Scope of ISO 13788 (SEEN S30): no air movement, no liquid flow, no storage, no rain.
    """
    inside = np.arange(sd_m.shape[1])[np.newaxis, :] >= watch[:, np.newaxis]
    tight = np.where(inside, 0.0, sd_m).sum(axis=1) >= TIGHT_SD_M
    reasons: dict[str, Bools] = {}
    if make.anatomy.element == "roof":
        reasons = _roof(make, tight, foam_is_tight, state)
    elif make.anatomy.element == "wall":
        reasons = _wall(make, tight, state)
    which = np.select(list(reasons.values()), range(1, len(reasons) + 1), 0) if reasons else None
    if which is None:
        return pl.repeat(None, make.count, dtype=pl.String, eager=True)
    texts = pl.Series([None, *reasons], dtype=pl.String)
    return texts.gather(pl.Series(which.astype(np.uint32)))


def _roof(make: LayerMaker, tight: Bools, foam: pl.Series, state: State) -> dict[str, Bools]:
    """Reasons that hold with insulation against or above the deck, the first that holds counts."""
    against = make.is_in(plane_column(state), *AGAINST_DECK)
    above = make.is_in(plane_column(state), "above_deck")
    leaky, unsure = (~foam).fill_null(value=False).to_numpy(), foam.is_null().to_numpy()
    tests = {
        "vapour leaves through the port at the ridge, not through the layers": make.is_in(
            "vapour_diffusion_port", "yes"
        ),
        "room air passes cracks in the foam and carries more than diffusion": make.told(
            "foam_cracked"
        ),
        "the foam lets air through, which carries more vapour than diffusion does": leaky,
        "foam of this kind stops air at this thickness in some products only": unsure,
        "the outer face is vapour-tight: all drying is inward, by sun and storage": tight & ~above,
        "the cover is vapour-tight: all drying of the deck is inward": tight,
    }
    return {reason: against & holds for reason, holds in tests.items()}


def _wall(make: LayerMaker, tight: Bools, state: State) -> dict[str, Bools]:
    after = state == "after"
    lined = make.is_in("wall_insulation_existing", "internal") | filled_cavity(make)
    added = make.is_in("measure_group", "IWI", "CWI") & after
    outside = make.is_in("measure_group", "EWI") & after
    cold = make.is_in("wall_construction", *MASONRY) & (added | (lined & ~outside))
    absorbing = make.is_in("wall_finish_external", *_ABSORBING)
    return {
        "masonry outside the insulation takes up rain": cold & absorbing,
        "masonry outside the insulation stores moisture": cold,
        "the outer face is vapour-tight": tight,
    }
