"""Where the monthly vapour method cannot judge a build-up, and why."""

import numpy as np
import polars as pl
from numpy.typing import NDArray

from triage.assemblies.build_up import State
from triage.assemblies.roof_layers import AGAINST_DECK, plane
from triage.assemblies.wall_layers import MASONRY
from triage.contract.assemblies import Anatomy

TIGHT_SD_M = 35.0
"""Equivalent air layer of vapour retarder class 1, 0.1 perm (SEEN S5). [m]"""
_ABSORBING = ("bare", "render_lime", "paint_open", "sealer")


def invalid_reason(
    cases: pl.DataFrame,
    sd_m: NDArray[np.float64],
    watch: NDArray[np.int8],
    state: State,
    anatomy: Anatomy,
) -> pl.Series:
    """Why the monthly method neither fires nor clears, in words; null where it can judge.

    A ventilated space whose outer layers are left out is no reason: the standard treats it so.

    References
    ----------
    Scope of ISO 13788 (SEEN S30): no air movement, no liquid flow, no storage, no rain.
    """
    inside = np.arange(sd_m.shape[1])[np.newaxis, :] >= watch[:, np.newaxis]
    outer = np.where(inside, 0.0, sd_m).sum(axis=1)
    tight = pl.lit(pl.Series("tight", outer >= TIGHT_SD_M))
    reasons = {
        "roof": _roof(tight, state),
        "wall": _wall(tight, state),
        "floor": pl.lit(None, pl.String),
    }
    if not cases.height:
        return pl.Series([], dtype=pl.String)
    return cases.select(reasons[anatomy.element].alias("invalid")).to_series()


def _roof(tight: pl.Expr, state: State) -> pl.Expr:
    against = plane(state).is_in(AGAINST_DECK)
    return (
        pl.when(against & (pl.col("vapour_diffusion_port") == "yes"))
        .then(pl.lit("vapour leaves through the port at the ridge, not through the layers"))
        .when(against & pl.col("foam_cracked"))
        .then(pl.lit("room air passes cracks in the foam and carries more than diffusion"))
        .when(against & tight)
        .then(pl.lit("the outer face is vapour-tight, so the deck dries by storage and sun only"))
    )


def _wall(tight: pl.Expr, state: State) -> pl.Expr:
    if state == "before":
        inside = pl.col("wall_insulation_existing").is_in(["internal", "cavity_fill"])
    else:
        inside = pl.col("measure_group").is_in(["IWI", "CWI"]) | (
            (pl.col("measure_group") != "EWI")
            & pl.col("wall_insulation_existing").is_in(["internal", "cavity_fill"])
        )
    masonry = pl.col("wall_construction").is_in(MASONRY)
    return (
        pl.when(masonry & inside & pl.col("wall_finish_external").is_in(_ABSORBING))
        .then(pl.lit("masonry outside the insulation takes up rain"))
        .when(masonry & inside)
        .then(pl.lit("masonry outside the insulation stores moisture"))
        .when(tight)
        .then(pl.lit("the outer face is vapour-tight"))
    )
