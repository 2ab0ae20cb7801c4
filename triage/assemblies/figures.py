"""The quantities of each known case, from its solved stacks before and after the measure."""

from collections.abc import Mapping

import numpy as np
import polars as pl
from numpy.typing import NDArray

from triage.assemblies.build_up import State
from triage.assemblies.solve import Solved, Surroundings
from triage.contract.assemblies import Library
from triage.contract.policy import Policy
from triage.physics.drying import drying_loss_pct
from triage.physics.frost import frost_depth_mm
from triage.physics.surface_temperature import f_rsi_plain

Floats = NDArray[np.float64]
FIGURES: dict[str, type[pl.DataType]] = {
    "monthly_method_valid": pl.Boolean,
    **dict.fromkeys(
        (
            *("condensate_peak_g_m2", "condensate_residual_g_m2", "interface_rh_screen_pct"),
            *("foam_ratio", "foam_r_m2k_w", "outer_sd_m", "inner_sd_m", "drying_potential"),
            *("drying_potential_before", "drying_loss_pct", "sheathing_mc_swing_pct"),
            *("sheathing_mc_max_pct", "deck_coldest_month_c", "u_value_before_w_m2k"),
            *("u_value_after_w_m2k", "surface_factor", "frost_depth_before_mm"),
            "frost_depth_after_mm",
        ),
        pl.Float64,
    ),
}
"""Every figure of a case; `code_checks` and junctions add what hangs on the row."""
_MASONRY_SLOT = "outer_leaf"
_SOLID = ("brick_solid", "stone_dense", "stone_soft", "block_solid", "earth", "concrete")
_OPEN_TO_AIR_PCT = 100.0
_ROUNDING = 1e-9


def figures(
    known: pl.DataFrame,
    states: Mapping[State, Solved],
    around: Surroundings,
    policy: Policy,
    library: Library,
) -> pl.DataFrame:
    """One row a known case: `known`, `FIGURES`, `missing`, and `worst`, by which alternatives rank.

    A figure that does not exist for a case is null: no deck, no masonry, method not valid.
    """
    before, after = states["before"], states["after"]
    told = after.stacks.described
    lacks = told["missing"]
    lacks_before = before.stacks.described["missing"]
    valid = told["invalid"].is_null()
    drawn, drawn_before = lacks.is_null().to_numpy(), lacks_before.is_null().to_numpy()
    judged = drawn & valid.to_numpy()
    values: dict[str, Floats] = {
        "condensate_peak_g_m2": np.where(judged, after.year.peak_g_m2, np.nan),
        "condensate_residual_g_m2": np.where(judged, after.year.residual_g_m2, np.nan),
        "interface_rh_screen_pct": np.where(judged, _screen(known, after, policy), np.nan),
        **_drying(before, after, drawn, drawn_before),
        **_decks(after, drawn),
        **_heat(before, after, drawn, drawn_before),
        "frost_depth_before_mm": _frost(known, before, around, drawn_before, library),
        "frost_depth_after_mm": _frost(known, after, around, drawn, library),
        **_airs(after, drawn),
    }
    frame = pl.DataFrame(
        {
            "known": known["known"],
            # A reason that does not hang on the layers holds where they are not known, too.
            "monthly_method_valid": valid.set(pl.Series(~drawn) & valid, None),
            **{name: pl.Series(name, value, nan_to_null=True) for name, value in values.items()},
            "missing": lacks,
            "worst": pl.Series(np.where(drawn, after.year.peak_g_m2, -1.0)),
        }
    )
    return frame.with_columns(*_foam(told))


def _screen(known: pl.DataFrame, after: Solved, policy: Policy) -> Floats:
    """Highest monthly humidity at enclosed wood while it is warm enough to count. [percent]."""
    t, p, full = after.year.watch_t_c, after.year.watch_p_pa, after.year.watch_psat_pa
    low, high = policy.number("interface_rh_from_c"), policy.number("interface_rh_to_c")
    counted = np.where((t >= low) & (t <= high), 100.0 * p / full, 0.0)
    frame = known["wall_construction"].str.starts_with("frame").fill_null(value=False).to_numpy()
    floor = (known["element"] == "floor").to_numpy()
    wood = after.has_deck | floor | (frame & (known["measure_group"] != "EWI").to_numpy())
    return np.where(wood, counted.max(axis=1, initial=0.0), np.nan)


def _drying(
    before: Solved, after: Solved, drawn: NDArray[np.bool_], drawn_before: NDArray[np.bool_]
) -> dict[str, Floats]:
    now = np.where(drawn, after.drying_kg_m2, np.nan)
    then = np.where(drawn_before, before.drying_kg_m2, np.nan)
    open_before = drawn_before & (before.stacks.critical < 0)
    lost = drying_loss_pct(np.nan_to_num(then, nan=-1.0), np.nan_to_num(now, nan=0.0))
    loss = np.where(np.isnan(now), np.nan, lost)
    # Outside air dried the layer: whatever is left by diffusion, that is gone.
    loss = np.where(open_before & ~np.isnan(now), _OPEN_TO_AIR_PCT, loss)
    return {"drying_potential": now, "drying_potential_before": then, "drying_loss_pct": loss}


def _decks(after: Solved, drawn: NDArray[np.bool_]) -> dict[str, Floats]:
    swing, most = np.full(len(drawn), np.nan), np.full(len(drawn), np.nan)
    swing[after.has_deck], most[after.has_deck] = after.deck.swing_pct, after.deck.mc_max_pct
    enclosed = drawn & (after.stacks.critical >= 0)
    coldest = after.year.watch_t_c.min(axis=1, initial=np.inf)
    return {
        "sheathing_mc_swing_pct": np.where(drawn, swing, np.nan),
        "sheathing_mc_max_pct": np.where(drawn, most, np.nan),
        "deck_coldest_month_c": np.where(enclosed, coldest, np.nan),
    }


def _heat(
    before: Solved, after: Solved, drawn: NDArray[np.bool_], drawn_before: NDArray[np.bool_]
) -> dict[str, Floats]:
    u = np.where(drawn, after.stacks.u_w_m2k, np.nan)
    plain = f_rsi_plain(np.nan_to_num(u, nan=1.0), r_si_of_u=after.stacks.r_si) if len(u) else u
    return {
        "u_value_before_w_m2k": np.where(drawn_before, before.stacks.u_w_m2k, np.nan),
        "u_value_after_w_m2k": u,
        "surface_factor": np.where(np.isnan(u), np.nan, plain),
    }


def _frost(
    known: pl.DataFrame,
    state: Solved,
    around: Surroundings,
    drawn: NDArray[np.bool_],
    library: Library,
) -> Floats:
    """Depth of 0 °C in solid masonry in the coldest month. [mm]."""
    depth = np.full(len(drawn), np.nan)
    solid = known["wall_construction"].is_in(_SOLID).fill_null(value=False).to_numpy() & drawn
    if not solid.any():
        return depth
    stacks, edges = state.stacks, around.boundaries
    rows = around.which[solid]
    month = edges.t_out_c[rows].argmin(axis=1)
    mm = np.zeros((int(solid.sum()), stacks.r_m2k_w.shape[1]))
    counted = np.zeros(mm.shape, dtype=bool)
    leaf = library.anatomies["wall"].slots.index(_MASONRY_SLOT)
    mm[:, leaf] = stacks.described[f"{_MASONRY_SLOT}_mm"].fill_null(0.0).to_numpy()[solid]
    counted[:, leaf] = True
    at = np.arange(len(rows))
    depth[solid] = frost_depth_mm(
        stacks.r_m2k_w[solid],
        mm,
        stacks.r_se[solid],
        stacks.r_si[solid],
        edges.t_out_c[rows][at, month],
        edges.t_in_c[rows][at, month],
        counted=counted,
    )
    return depth


def _airs(after: Solved, drawn: NDArray[np.bool_]) -> dict[str, Floats]:
    stacks = after.stacks
    place = np.maximum(stacks.watch, 0).astype(np.float64)
    outer = stacks.up_to(stacks.sd_m, place)
    some = drawn & (stacks.watch >= 0)
    inner = stacks.sd_m.sum(axis=1) - outer
    return {
        "outer_sd_m": np.where(some, outer, np.nan),
        "inner_sd_m": np.where(some, inner, np.nan),
    }


def _foam(told: pl.DataFrame) -> list[pl.Expr]:
    stops, passes = told["air_impermeable_r"], told["air_permeable_r"]
    some = (stops + passes) > 0
    ratio = (stops / (stops + passes)).fill_nan(None)
    lacks = told["missing"].is_not_null()
    # A share that meets the table exactly must not fail by its last bit.
    met = pl.lit((ratio * (1.0 + _ROUNDING)).clip(0.0, 1.0))
    good = pl.lit(~lacks & some.fill_null(value=False))
    return [
        pl.when(good).then(met).alias("foam_ratio"),
        pl.when(good).then(pl.lit(stops * (1.0 + _ROUNDING))).alias("foam_r_m2k_w"),
    ]
