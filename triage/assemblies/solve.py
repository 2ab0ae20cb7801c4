"""Solves the distinct known cases: layers before and after, boundaries, and every kernel once."""

from dataclasses import dataclass

import numpy as np
import polars as pl
from numpy.typing import NDArray

from triage.assemblies.build_up import BuildUps, State
from triage.assemblies.layers import build_ups
from triage.contract.assemblies import ELEMENTS, Library
from triage.contract.policy import Policy
from triage.physics.deck import DeckYear, deck_year
from triage.physics.drying import drying_potential_kg_m2
from triage.physics.indoor import indoor_climate
from triage.physics.monthly import Boundaries, CondensationYear, condensation_year
from triage.physics.vapour import saturation_pressure_pa

Floats = NDArray[np.float64]
_MONTHS = tuple(f"{month:02d}" for month in range(1, 13))
_WETTING = np.array([1, 1, 1, 0, 0, 0, 0, 0, 0, 1, 1, 1], dtype=bool)  # October to March, north
_HIGH_LOAD_CLASS = 4.0
_SURROUNDINGS = ("climate_id", "humidity_class", "climate_shift_k", "is_north")


@dataclass(frozen=True, slots=True)
class Surroundings:
    """Boundaries of the cases, the row of them for each case, and the drying half-year."""

    boundaries: Boundaries
    which: NDArray[np.int64]
    season: NDArray[np.bool_]
    table: pl.DataFrame


@dataclass(frozen=True, slots=True)
class Stacks:
    """Stacks of the cases of all elements, padded to one width, in the order of the cases."""

    r_m2k_w: Floats
    sd_m: Floats
    r_se: Floats
    r_si: Floats
    u_w_m2k: Floats
    watch: NDArray[np.int64]
    critical: Floats
    deck_slot: NDArray[np.int64]
    deck_kg_m2: Floats
    described: pl.DataFrame

    @property
    def r_total(self) -> Floats:
        """Resistance with both surfaces. [m²K/W]."""
        return np.asarray(self.r_m2k_w.sum(axis=1) + self.r_se + self.r_si)

    def up_to(self, values: Floats, place: Floats) -> Floats:
        """Sum of a row's values from outside to a place in slots; n + 0.5 is mid slot n."""
        at = np.maximum(place, 0.0)
        whole = np.floor(at).astype(np.int64)
        sums = np.concatenate([np.zeros((len(values), 1)), np.cumsum(values, axis=1)], axis=1)
        rows = np.arange(len(values))
        inner = np.minimum(whole, values.shape[1] - 1)
        return np.asarray(sums[rows, whole] + (at - whole) * values[rows, inner])

    def from_inside(self, values: Floats, outside: Floats) -> Floats:
        """What is left of a row's values inside a place; rounding cannot make it negative."""
        return np.asarray(np.maximum(values.sum(axis=1) - outside, 0.0))


@dataclass(frozen=True, slots=True)
class Solved:
    """One state of every case. `drying_kg_m2` is NaN where outside air dries the layer."""

    stacks: Stacks
    year: CondensationYear
    deck: DeckYear
    has_deck: NDArray[np.bool_]
    drying_kg_m2: Floats


def surroundings(cases: pl.DataFrame, climate: pl.DataFrame, policy: Policy) -> Surroundings:
    """Climates of the cases: each record with its indoor air once.

    Outdoor vapour above saturation at the monthly mean, as damp months of regional means can
    have, is taken as saturated.
    """
    wanted = cases.select(_SURROUNDINGS).unique(maintain_order=True).with_row_index("which")
    which = cases.select(_SURROUNDINGS).join(
        wanted, on=_SURROUNDINGS, how="left", maintain_order="left", nulls_equal=True
    )["which"]
    record = wanted.join(climate, on="climate_id", how="left", maintain_order="left")
    t_out = _monthly(record, "t_mean_c") + record["climate_shift_k"].to_numpy()[:, np.newaxis]
    # A shifted climate keeps its relative humidity.
    unshifted = saturation_pressure_pa(_monthly(record, "t_mean_c"))
    full = saturation_pressure_pa(t_out)
    p_out = np.minimum(_monthly(record, "vp_mean_pa") / unshifted, 1.0) * full
    classes = record["humidity_class"].to_numpy()
    inside = indoor_climate(
        policy.indoor_model,
        t_out,
        p_out,
        humidity_class=classes,
        margin=policy.number("humidity_margin"),
        high_load=classes >= _HIGH_LOAD_CLASS,
    )
    north = wanted["is_north"].to_numpy()[:, np.newaxis]
    season = np.where(north, ~_WETTING, _WETTING)
    edges = Boundaries(t_out, p_out, inside.t_in_c, inside.p_in_pa)
    return Surroundings(edges, which.to_numpy().astype(np.int64), season, wanted)


def _monthly(record: pl.DataFrame, name: str) -> Floats:
    columns = [f"{name}_{month}" for month in _MONTHS]
    return record.select(pl.col(columns).cast(pl.Float64)).to_numpy()


def stacks_of(cases: pl.DataFrame, library: Library, state: State) -> Stacks:
    """Layers of every case in one state; cases must be in the order of `ELEMENTS`."""
    parts: list[BuildUps] = []
    for element in ELEMENTS:
        some = cases.filter(pl.col("element") == element)
        if some.height or element == ELEMENTS[-1]:  # one part at least, for its columns
            parts.append(build_ups(some, library, state, element))
    width = max(part.r_m2k_w.shape[1] for part in parts)

    def padded(values: Floats) -> Floats:
        return np.pad(values, ((0, 0), (0, width - values.shape[1])))

    def joined(name: str) -> Floats:
        return np.concatenate([getattr(part, name) for part in parts])

    described = [part.described for part in parts]
    return Stacks(
        r_m2k_w=np.concatenate([padded(p.r_m2k_w) for p in parts]),
        sd_m=np.concatenate([padded(p.sd_m) for p in parts]),
        r_se=joined("r_se"),
        r_si=joined("r_si"),
        u_w_m2k=joined("u_w_m2k"),
        watch=joined("watch").astype(np.int64),
        critical=joined("critical"),
        deck_slot=joined("deck_slot").astype(np.int64),
        deck_kg_m2=joined("deck_kg_m2"),
        described=pl.concat(described, how="diagonal"),
    )


def solved(stacks: Stacks, around: Surroundings) -> Solved:
    """Every kernel on every stack."""
    year = condensation_year(
        stacks.r_m2k_w,
        stacks.sd_m,
        stacks.r_se,
        stacks.r_si,
        stacks.watch,
        around.boundaries,
        around.which,
    )
    has_deck = stacks.deck_slot >= 0
    return Solved(stacks, year, _deck(stacks, around, has_deck), has_deck, _drying(stacks, around))


def _deck(stacks: Stacks, around: Surroundings, some: NDArray[np.bool_]) -> DeckYear:
    place = np.where(some, stacks.deck_slot + 0.5, 0.0)
    sd_out = stacks.up_to(stacks.sd_m, place)
    r_out = stacks.up_to(stacks.r_m2k_w, place) + stacks.r_se
    return deck_year(
        sd_out[some],
        stacks.from_inside(stacks.sd_m, sd_out)[some],
        r_out[some],
        stacks.r_total[some],
        stacks.deck_kg_m2[some],
        around.boundaries,
        around.which[some],
    )


def _drying(stacks: Stacks, around: Surroundings) -> Floats:
    some = stacks.critical >= 0
    sd_out = stacks.up_to(stacks.sd_m, stacks.critical)
    r_out = stacks.up_to(stacks.r_m2k_w, stacks.critical) + stacks.r_se
    potential = drying_potential_kg_m2(
        sd_out,
        stacks.from_inside(stacks.sd_m, sd_out),
        r_out,
        np.maximum(stacks.r_total, 1e-9),
        around.boundaries,
        around.which,
        around.season,
    )
    return np.where(some, potential, np.nan)
