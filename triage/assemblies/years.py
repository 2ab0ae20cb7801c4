"""Runs every kernel once for every distinct stack and surroundings, whichever cases share them."""

from collections.abc import Mapping
from dataclasses import dataclass, fields

import numpy as np
from numpy.typing import NDArray

from triage.assemblies.build_up import State
from triage.assemblies.solve import Stacks, Surroundings
from triage.physics.deck import DeckYear, deck_year
from triage.physics.drying import drying_potential_kg_m2
from triage.physics.monthly import CondensationYear, condensation_year

Floats = NDArray[np.float64]
Rows = NDArray[np.int64]


@dataclass(frozen=True, slots=True)
class Years:
    """The year of every distinct stack in every surroundings that it occurs in.

    Condensation is solved only where the monthly method can judge the state after a measure,
    `judged`, and decks only there, `followed`; `condensation` and `deck` have rows for those
    alone, in order. `again` solves any rows in full, for those who want to see them.
    `drying_kg_m2` is NaN where outside air dries the layer; `coldest_c` is the lowest monthly
    temperature at the watched interface.
    """

    stacks: Stacks
    around: Surroundings
    which: Rows
    judged: NDArray[np.bool_]
    condensation: CondensationYear
    followed: NDArray[np.bool_]
    deck: DeckYear
    drying_kg_m2: Floats
    coldest_c: Floats

    def again(self, rows: Rows) -> tuple[CondensationYear, DeckYear, NDArray[np.bool_]]:
        """Condensation and deck of some rows, and which of them have a deck."""
        stacks, which = self.stacks.of(rows), self.which[rows]
        has_deck = stacks.deck_slot >= 0
        year = _condensation(stacks, self.around, which)
        return (
            year,
            _deck(stacks.of(np.flatnonzero(has_deck)), self.around, which[has_deck]),
            has_deck,
        )


@dataclass(frozen=True, slots=True)
class Solved:
    """One state of the known cases: row of `stacks` and row of `years`, `at`, of each case."""

    stacks: Stacks
    rows: Rows
    years: Years
    at: Rows


def spread(values: Floats, some: NDArray[np.bool_]) -> Floats:
    """Values of some rows on all rows, NaN on the others."""
    full = np.full(len(some), np.nan)
    full[some] = values
    return full


def solved(
    stacks: Mapping[State, tuple[Stacks, Rows]],
    around: Surroundings,
    of_layers: Rows,
    of_around: Rows,
) -> dict[State, Solved]:
    """Every kernel on the distinct stacks of both states.

    Parameters
    ----------
    stacks
        Distinct stacks in each state, and which of them each known build-up has.
    around
        Known surroundings.
    of_layers, of_around
        Known build-up and known surroundings of each known case.
    """
    (before, has_before), (after, has_after) = stacks["before"], stacks["after"]
    in_before, in_after = has_before[of_layers], has_after[of_layers]
    first, kind = _same(np.concatenate([_physical(before), _physical(after)]))
    start, climates = len(before.r_se), len(around.season)
    pairs = [
        kind[in_before] * climates + of_around,
        kind[start + in_after] * climates + of_around,
    ]
    keys, at = np.unique(np.concatenate(pairs), return_inverse=True)
    where, which = np.divmod(keys, climates)
    taken = _both(before, after, first[where])
    of_before, of_after = np.split(at.astype(np.int64), 2)
    drawn = ~after.lacks[in_after]
    judged = _marked(len(keys), of_after[drawn & ~after.invalid[in_after]])
    followed = _marked(len(keys), of_after[drawn & (after.deck_slot[in_after] >= 0)])
    years = Years(
        stacks=taken,
        around=around,
        which=which,
        judged=judged,
        condensation=_condensation(taken.of(np.flatnonzero(judged)), around, which[judged]),
        followed=followed,
        deck=_deck(taken.of(np.flatnonzero(followed)), around, which[followed]),
        drying_kg_m2=_drying(taken, around, which),
        coldest_c=_coldest(taken, around, which),
    )
    return {
        "before": Solved(before, in_before, years, of_before),
        "after": Solved(after, in_after, years, of_after),
    }


def _marked(count: int, rows: Rows) -> NDArray[np.bool_]:
    marks = np.zeros(count, dtype=np.bool_)
    marks[rows] = True
    return marks


def _physical(stacks: Stacks) -> Floats:
    """What the kernels see of each stack, one row a stack."""
    columns = (stacks.r_se, stacks.r_si, stacks.watch, stacks.critical)
    more = (stacks.deck_slot, stacks.deck_kg_m2)
    return np.ascontiguousarray(np.column_stack([stacks.r_m2k_w, stacks.sd_m, *columns, *more]))


def _same(rows: Floats) -> tuple[Rows, Rows]:
    """First row of each kind, and the kind of each row; alike means alike to the last bit."""
    record = rows.view(np.dtype((np.void, rows.dtype.itemsize * rows.shape[1]))).ravel()
    _, first, kind = np.unique(record, return_index=True, return_inverse=True)
    return first.astype(np.int64), kind.astype(np.int64)


def _both(one: Stacks, other: Stacks, rows: Rows) -> Stacks:
    """Rows of two sets of stacks that are counted on, the second after the first."""
    taken = {
        f.name: np.concatenate([getattr(one, f.name), getattr(other, f.name)])[rows]
        for f in fields(one)
        if f.name != "described"
    }
    return Stacks(described=one.described, **taken)


def _condensation(stacks: Stacks, around: Surroundings, which: Rows) -> CondensationYear:
    return condensation_year(
        stacks.r_m2k_w,
        stacks.sd_m,
        stacks.r_se,
        stacks.r_si,
        stacks.watch,
        around.boundaries,
        which,
    )


def _deck(stacks: Stacks, around: Surroundings, which: Rows) -> DeckYear:
    place = stacks.deck_slot.astype(np.float64) + 0.5
    sd_out = stacks.up_to(stacks.sd_m, place)
    return deck_year(
        sd_out,
        stacks.from_inside(stacks.sd_m, sd_out),
        stacks.up_to(stacks.r_m2k_w, place) + stacks.r_se,
        stacks.r_total,
        stacks.deck_kg_m2,
        around.boundaries,
        which,
    )


def _drying(stacks: Stacks, around: Surroundings, which: Rows) -> Floats:
    some = np.flatnonzero(stacks.critical >= 0)
    part = stacks.of(some)
    sd_out = part.up_to(part.sd_m, part.critical)
    potential = drying_potential_kg_m2(
        sd_out,
        part.from_inside(part.sd_m, sd_out),
        part.up_to(part.r_m2k_w, part.critical) + part.r_se,
        np.maximum(part.r_total, 1e-9),
        around.boundaries,
        which[some],
        around.season,
    )
    return spread(potential, stacks.critical >= 0)


def _coldest(stacks: Stacks, around: Surroundings, which: Rows) -> Floats:
    """Lowest monthly temperature at the watched interface; the inside surface where none is."""
    edges = around.boundaries
    whole = stacks.r_m2k_w.sum(axis=1)
    depth = np.where(
        stacks.watch >= 0, stacks.up_to(stacks.r_m2k_w, stacks.watch.astype(np.float64)), whole
    )
    share = (stacks.r_se + depth) / (whole + stacks.r_se + stacks.r_si)
    span = edges.t_in_c - edges.t_out_c
    monthly = edges.t_out_c[which] + share[:, np.newaxis] * span[which]
    return np.asarray(monthly.min(axis=1, initial=np.inf))
