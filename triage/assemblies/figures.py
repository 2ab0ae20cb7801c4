"""The quantities of each known case, from its solved stacks before and after the measure."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
import polars as pl
from numpy.typing import NDArray

from triage.assemblies.build_up import State
from triage.assemblies.solve import Surroundings
from triage.assemblies.years import Solved, spread
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
"""Every figure of a case; code tables and junctions add what hangs on the row."""
_MASONRY_SLOT = "outer_leaf"
_SOLID = ("brick_solid", "stone_dense", "stone_soft", "block_solid", "earth", "concrete")
_FRAMES = ("frame_brick_veneer", "frame_clad", "frame_direct_render")
_OPEN_TO_AIR_PCT = 100.0
_ROUNDING = 1e-9


@dataclass(frozen=True, slots=True)
class Known:
    """Known cases: rows of known build-ups and of known surroundings, both solved states."""

    layers: pl.DataFrame
    of_layers: NDArray[np.int64]
    around: Surroundings
    of_around: NDArray[np.int64]
    states: Mapping[State, Solved]

    def has(self, column: str, values: tuple[str, ...]) -> NDArray[np.bool_]:
        """Whether a column of the build-ups holds one of the values, case by case."""
        held = self.layers[column].is_in(values).fill_null(value=False).to_numpy()
        return np.asarray(held[self.of_layers])

    def stack(self, state: State, name: str) -> NDArray[Any]:
        """An array of the stacks of a state, case by case."""
        solved = self.states[state]
        return np.asarray(getattr(solved.stacks, name)[solved.rows])

    def year(self, state: State, values: NDArray[Any]) -> NDArray[Any]:
        """Values of the distinct years, case by case."""
        return np.asarray(values[self.states[state].at])

    def told(self, state: State, column: str) -> pl.Series:
        """A described column of the build-ups, case by case."""
        solved = self.states[state]
        return solved.stacks.words(column, solved.rows)


def figures(known: Known, policy: Policy, library: Library) -> pl.DataFrame:
    """One row a known case: `FIGURES`, `missing`, and `worst`, by which alternatives rank.

    A figure that does not exist for a case is null: no deck, no masonry, method not valid.
    """
    drawn, drawn_before = ~known.stack("after", "lacks"), ~known.stack("before", "lacks")
    invalid = known.stack("after", "invalid")
    judged = drawn & ~invalid
    years = known.states["after"].years
    peak = known.year("after", spread(years.condensation.peak_g_m2, years.judged))
    left = known.year("after", spread(years.condensation.residual_g_m2, years.judged))
    values: dict[str, Floats] = {
        "condensate_peak_g_m2": np.where(judged, peak, np.nan),
        "condensate_residual_g_m2": np.where(judged, left, np.nan),
        "interface_rh_screen_pct": np.where(judged, _screen(known, policy), np.nan),
        **_drying(known, drawn, drawn_before),
        **_decks(known, drawn),
        **_heat(known, drawn, drawn_before),
        "frost_depth_before_mm": _frost(known, "before", drawn_before, library),
        "frost_depth_after_mm": _frost(known, "after", drawn, library),
        **_airs(known, drawn),
        **_foam(known, drawn),
    }
    # A reason that does not hang on the layers holds where they are not known, too.
    unsure = pl.Series(~drawn & ~invalid)
    return pl.DataFrame(
        {
            "monthly_method_valid": pl.Series(~invalid).set(unsure, None),
            **{name: pl.Series(name, value, nan_to_null=True) for name, value in values.items()},
            "missing": known.told("after", "missing"),
            "worst": np.where(judged, peak, np.where(drawn, 0.0, -1.0)),
        }
    )


def _screen(known: Known, policy: Policy) -> Floats:
    """Highest monthly humidity at enclosed wood while it is warm enough to count. [percent]."""
    years = known.states["after"].years
    year = years.condensation
    t, p, full = year.watch_t_c, year.watch_p_pa, year.watch_psat_pa
    low, high = policy.number("interface_rh_from_c"), policy.number("interface_rh_to_c")
    counted = np.where((t >= low) & (t <= high), 100.0 * p / full, 0.0).max(axis=1, initial=0.0)
    frame = known.has("wall_construction", _FRAMES) & ~known.has("measure_group", ("EWI",))
    deck = known.stack("after", "deck_slot") >= 0
    wood = deck | known.has("element", ("floor",)) | frame
    return np.where(wood, known.year("after", spread(counted, years.judged)), np.nan)


def _drying(
    known: Known, drawn: NDArray[np.bool_], drawn_before: NDArray[np.bool_]
) -> dict[str, Floats]:
    potential = known.states["after"].years.drying_kg_m2
    now = np.where(drawn, known.year("after", potential), np.nan)
    then = np.where(drawn_before, known.year("before", potential), np.nan)
    lost = drying_loss_pct(np.nan_to_num(then, nan=0.0), np.nan_to_num(now, nan=0.0))
    loss = np.where(np.isnan(now) | np.isnan(then), np.nan, lost)
    # Outside air dried the layer: whatever is left by diffusion, that is gone.
    open_before = drawn_before & (known.stack("before", "critical") < 0)
    loss = np.where(open_before & ~np.isnan(now), _OPEN_TO_AIR_PCT, loss)
    return {"drying_potential": now, "drying_potential_before": then, "drying_loss_pct": loss}


def _decks(known: Known, drawn: NDArray[np.bool_]) -> dict[str, Floats]:
    years = known.states["after"].years
    swing = known.year("after", spread(years.deck.swing_pct, years.followed))
    most = known.year("after", spread(years.deck.mc_max_pct, years.followed))
    coldest = known.year("after", years.coldest_c)
    roof = known.has("element", ("roof",))
    enclosed = drawn & roof & (known.stack("after", "critical") >= 0)
    return {
        "sheathing_mc_swing_pct": np.where(drawn, swing, np.nan),
        "sheathing_mc_max_pct": np.where(drawn, most, np.nan),
        "deck_coldest_month_c": np.where(enclosed, coldest, np.nan),
    }


def _heat(
    known: Known, drawn: NDArray[np.bool_], drawn_before: NDArray[np.bool_]
) -> dict[str, Floats]:
    u = np.where(drawn, known.stack("after", "u_w_m2k"), np.nan)
    r_si = known.stack("after", "r_si")
    plain = f_rsi_plain(np.nan_to_num(u, nan=1.0), r_si_of_u=r_si) if len(u) else u
    return {
        "u_value_before_w_m2k": np.where(drawn_before, known.stack("before", "u_w_m2k"), np.nan),
        "u_value_after_w_m2k": u,
        "surface_factor": np.where(np.isnan(u), np.nan, plain),
    }


def _frost(known: Known, state: State, drawn: NDArray[np.bool_], library: Library) -> Floats:
    """Depth of 0 °C in solid masonry in the coldest month. [mm]."""
    depth = np.full(len(drawn), np.nan)
    solid = known.has("wall_construction", _SOLID) & drawn
    if not solid.any():
        return depth
    stacks, edges = known.states[state].stacks, known.around.boundaries
    rows = known.of_around[solid]
    month = edges.t_out_c[rows].argmin(axis=1)
    leaf = library.anatomies["wall"].slots.index(_MASONRY_SLOT)
    layer = known.states[state].rows[solid]
    mm = np.zeros((len(rows), stacks.r_m2k_w.shape[1]))
    counted = np.zeros(mm.shape, dtype=bool)
    mm[:, leaf] = known.told(state, f"{_MASONRY_SLOT}_mm").fill_null(0.0).to_numpy()[solid]
    counted[:, leaf] = True
    at = np.arange(len(rows))
    depth[solid] = frost_depth_mm(
        stacks.r_m2k_w[layer],
        mm,
        stacks.r_se[layer],
        stacks.r_si[layer],
        edges.t_out_c[rows][at, month],
        edges.t_in_c[rows][at, month],
        counted=counted,
    )
    return depth


def _airs(known: Known, drawn: NDArray[np.bool_]) -> dict[str, Floats]:
    solved = known.states["after"]
    stacks, rows = solved.stacks, solved.rows
    outer = stacks.up_to(stacks.sd_m, stacks.watch.astype(np.float64))
    inner = stacks.from_inside(stacks.sd_m, outer)[rows]
    some = drawn & (stacks.watch[rows] >= 0)
    outer = outer[rows]
    return {
        "outer_sd_m": np.where(some, outer, np.nan),
        "inner_sd_m": np.where(some, inner, np.nan),
    }


def _foam(known: Known, drawn: NDArray[np.bool_]) -> dict[str, Floats]:
    """Share and resistance of insulation that stops air against the deck.

    A hair is added, so that what meets a table exactly does not fail by its last bit.
    """
    stops = known.told("after", "air_impermeable_r").fill_null(np.nan).to_numpy()
    passes = known.told("after", "air_permeable_r").fill_null(np.nan).to_numpy()
    whole = stops + passes
    some = drawn & (whole > 0)
    share = np.where(some, stops / np.where(some, whole, 1.0), np.nan)
    return {
        "foam_ratio": np.minimum(share * (1.0 + _ROUNDING), 1.0),
        "foam_r_m2k_w": np.where(some, stops * (1.0 + _ROUNDING), np.nan),
    }
