"""Solves the distinct known cases: layers before and after, boundaries, and every kernel once."""

from collections.abc import Mapping
from dataclasses import dataclass, fields, replace
from typing import Any

import numpy as np
import polars as pl
from numpy.typing import NDArray

from triage.assemblies.alternatives import SHIFT
from triage.assemblies.build_up import BuildUps, State
from triage.assemblies.layers import build_ups
from triage.contract.assemblies import ELEMENTS, Library
from triage.contract.policy import Policy
from triage.physics.deck import DeckYear, deck_year
from triage.physics.drying import drying_potential_kg_m2
from triage.physics.indoor import en_15026_indoor, indoor_climate
from triage.physics.monthly import Boundaries, CondensationYear, condensation_year
from triage.physics.vapour import saturation_pressure_pa

Floats = NDArray[np.float64]
_MONTHS = tuple(f"{month:02d}" for month in range(1, 13))
_WETTING = np.array([1, 1, 1, 0, 0, 0, 0, 0, 0, 1, 1, 1], dtype=bool)  # October to March, north
_HIGH_LOAD_CLASS = 4.0
_ROUNDING = 1e-9
_STAND_IN = {"t_mean_c": 10.0, "vp_mean_pa": 800.0}  # where there is no record; never looked at


@dataclass(frozen=True, slots=True)
class Surroundings:
    """Climates with their indoor air, and the drying half-year of each, shape (m, 12).

    `capped` counts the months of each whose vapour pressure was above saturation, shape (m,).
    """

    boundaries: Boundaries
    season: NDArray[np.bool_]
    capped: NDArray[np.int64]


@dataclass(frozen=True, slots=True)
class Stacks:
    """Stacks of build-ups, padded to one width.

    `lacks` and `invalid` say where a stack could not be drawn and where the monthly method
    cannot judge it; `described` has the words.
    """

    r_m2k_w: Floats
    sd_m: Floats
    r_se: Floats
    r_si: Floats
    u_w_m2k: Floats
    watch: NDArray[np.int64]
    critical: Floats
    deck_slot: NDArray[np.int64]
    deck_kg_m2: Floats
    lacks: NDArray[np.bool_]
    invalid: NDArray[np.bool_]
    described: pl.DataFrame

    def of(self, rows: NDArray[np.int64]) -> "Stacks":
        """The stacks of these rows; `described` stays as it is, one row a build-up."""
        taken = {f.name: getattr(self, f.name)[rows] for f in fields(self) if f.name != "described"}
        return Stacks(described=self.described, **taken)

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
class Years:
    """The year of every distinct stack in every surroundings that it occurs in.

    `deck` has rows only for the stacks with a timber deck, `has_deck`. `drying_kg_m2` is NaN where
    outside air dries the layer.
    """

    condensation: CondensationYear
    deck: DeckYear
    has_deck: NDArray[np.bool_]
    drying_kg_m2: Floats


@dataclass(frozen=True, slots=True)
class Solved:
    """One state of the known cases: `stacks` one a build-up, `at` the row of `years` of a case."""

    stacks: Stacks
    years: Years
    at: NDArray[np.int64]


def surroundings(around: pl.DataFrame, climate: pl.DataFrame, policy: Policy) -> Surroundings:
    """Climates of the known surroundings: each record with its indoor air once.

    Outdoor vapour above saturation at the monthly mean, as damp months of regional means can
    have, is taken as saturated. Surroundings without a record get an invented one: nothing
    refers to them.
    """
    record = around.join(climate, on="climate_id", how="left", maintain_order="left")
    shift = record[SHIFT].fill_null(0.0).to_numpy()[:, np.newaxis]
    t_mean = _monthly(record, "t_mean_c")
    t_out = t_mean + shift
    # A shifted climate keeps its relative humidity.
    unshifted = saturation_pressure_pa(t_mean)
    full = saturation_pressure_pa(t_out)
    humidity = _monthly(record, "vp_mean_pa") / unshifted
    p_out = np.minimum(humidity, 1.0) * full
    # Class 5 is refused before: its stand-in here is never looked at.
    classes = record["humidity_class"].fill_null(1.0).clip(1.0, 4.0).to_numpy()
    # Rooms at a constant 20 degC would be damper in a warm summer than any home is.
    rooms, _ = en_15026_indoor(t_out)
    inside = indoor_climate(
        policy.indoor_model,
        t_out,
        p_out,
        humidity_class=classes,
        margin=policy.number("humidity_margin"),
        indoor_c=rooms,
        high_load=classes >= _HIGH_LOAD_CLASS,
    )
    north = around["is_north"].to_numpy()[:, np.newaxis]
    season = np.where(north, ~_WETTING, _WETTING)
    edges = Boundaries(t_out, p_out, inside.t_in_c, inside.p_in_pa)
    return Surroundings(edges, season, (humidity > 1.0 + _ROUNDING).sum(axis=1))


def _monthly(record: pl.DataFrame, name: str) -> Floats:
    columns = [f"{name}_{month}" for month in _MONTHS]
    months = pl.col(columns).cast(pl.Float64).fill_null(_STAND_IN[name])
    return record.select(months).to_numpy()


def stacks_of(layers: pl.DataFrame, library: Library, state: State) -> Stacks:
    """Layers of every known build-up in one state, in the order of `layers`."""
    # A build-up of no element is never solved; it stands among the last, where nothing is known.
    elements = layers["element"].fill_null(ELEMENTS[-1]).to_numpy()
    parts: list[BuildUps] = []
    rows: list[NDArray[np.int64]] = []
    for element in ELEMENTS:
        here = np.flatnonzero(elements == element)
        if len(here) or element == ELEMENTS[-1]:  # one part at least, for its columns
            parts.append(build_ups(layers[here], library, state, element))
            rows.append(here)
    width = max(part.r_m2k_w.shape[1] for part in parts)
    place = np.argsort(np.concatenate(rows))

    def padded(values: Floats) -> Floats:
        return np.pad(values, ((0, 0), (0, width - values.shape[1])))

    def joined(name: str) -> Floats:
        return np.concatenate([getattr(part, name) for part in parts])

    described = pl.concat([part.described for part in parts], how="diagonal")
    whole = Stacks(
        r_m2k_w=np.concatenate([padded(part.r_m2k_w) for part in parts]),
        sd_m=np.concatenate([padded(part.sd_m) for part in parts]),
        r_se=joined("r_se"),
        r_si=joined("r_si"),
        u_w_m2k=joined("u_w_m2k"),
        watch=joined("watch").astype(np.int64),
        critical=joined("critical"),
        deck_slot=joined("deck_slot").astype(np.int64),
        deck_kg_m2=joined("deck_kg_m2"),
        lacks=described["missing"].is_not_null().to_numpy(),
        invalid=described["invalid"].is_not_null().to_numpy(),
        described=described,
    )
    return replace(whole.of(place), described=described[place])


def solved(
    stacks: Mapping[State, Stacks],
    around: Surroundings,
    of_layers: NDArray[np.int64],
    of_around: NDArray[np.int64],
) -> dict[State, Solved]:
    """Every kernel once for every distinct stack and surroundings, whichever cases share them.

    Parameters
    ----------
    stacks
        Stacks of the known build-ups in each state.
    around
        Known surroundings.
    of_layers, of_around
        Rows of those two for each known case.
    """
    states = list(stacks)
    physical = np.concatenate([_physical(stacks[state]) for state in states])
    first, kind = _same(physical)
    count = len(stacks[states[0]].r_se)
    pairs = [
        kind[n * count + of_layers] * len(around.season) + of_around for n in range(len(states))
    ]
    keys, at = np.unique(np.concatenate(pairs), return_inverse=True)
    where, which = np.divmod(keys, len(around.season))
    rows = first[where]
    taken = _both(stacks[states[0]], stacks[states[-1]], rows % count, rows >= count)
    years = _years(taken, around, which)
    parts = np.split(at.astype(np.int64), len(states))
    return {
        state: Solved(stacks[state], years, part) for state, part in zip(states, parts, strict=True)
    }


def _physical(stacks: Stacks) -> Floats:
    """What the kernels see of each stack, one row a stack."""
    columns = (stacks.r_se, stacks.r_si, stacks.watch, stacks.critical)
    more = (stacks.deck_slot, stacks.deck_kg_m2)
    return np.ascontiguousarray(np.column_stack([stacks.r_m2k_w, stacks.sd_m, *columns, *more]))


def _same(rows: Floats) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """First row of each kind, and the kind of each row; alike means alike to the last bit."""
    record = rows.view(np.dtype((np.void, rows.dtype.itemsize * rows.shape[1]))).ravel()
    _, first, kind = np.unique(record, return_index=True, return_inverse=True)
    return first.astype(np.int64), kind.astype(np.int64)


def _both(
    one: Stacks, other: Stacks, rows: NDArray[np.int64], from_other: NDArray[np.bool_]
) -> Stacks:
    """Rows of two sets of stacks, each from the set that it belongs to."""
    left, right = one.of(rows), other.of(rows)

    def pick(a: NDArray[Any], b: NDArray[Any]) -> NDArray[Any]:
        test = from_other[:, np.newaxis] if a.ndim == 2 else from_other
        return np.asarray(np.where(test, b, a))

    taken = {
        f.name: pick(getattr(left, f.name), getattr(right, f.name))
        for f in fields(one)
        if f.name != "described"
    }
    return Stacks(described=one.described, **taken)


def _years(stacks: Stacks, around: Surroundings, which: NDArray[np.int64]) -> Years:
    year = condensation_year(
        stacks.r_m2k_w,
        stacks.sd_m,
        stacks.r_se,
        stacks.r_si,
        stacks.watch,
        around.boundaries,
        which,
    )
    has_deck = stacks.deck_slot >= 0
    deck = _deck(stacks, around, which, has_deck)
    return Years(year, deck, has_deck, _drying(stacks, around, which))


def _deck(
    stacks: Stacks, around: Surroundings, which: NDArray[np.int64], some: NDArray[np.bool_]
) -> DeckYear:
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
        which[some],
    )


def _drying(stacks: Stacks, around: Surroundings, which: NDArray[np.int64]) -> Floats:
    some = stacks.critical >= 0
    sd_out = stacks.up_to(stacks.sd_m, stacks.critical)
    r_out = stacks.up_to(stacks.r_m2k_w, stacks.critical) + stacks.r_se
    potential = drying_potential_kg_m2(
        sd_out,
        stacks.from_inside(stacks.sd_m, sd_out),
        r_out,
        np.maximum(stacks.r_total, 1e-9),
        around.boundaries,
        which,
        around.season,
    )
    return np.where(some, potential, np.nan)
