"""A reader who works out what was withheld: written from the printed tables alone.

It shares no code with the suppressor. Cells are named by the homes that they count, totals are
the sums of their parts, a printed count says what its rounding leaves, and a linear programme
finds the least and the most that each withheld count can be.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np
import polars as pl
from scipy import sparse
from scipy.optimize import linprog

Cell = tuple[str, frozenset[tuple[str, str]]]


@dataclass
class Printed:
    """A table as it was printed, and what its heading says of it."""

    population: str
    rows: pl.DataFrame
    overlapping: tuple[str, ...] = ()
    stands_for: Mapping[str, tuple[str, str]] = field(default_factory=dict)


def _cell(table: Printed, where: dict[str, str]) -> Cell:
    named = {name: value for name, value in where.items() if value != "all"}
    other = {table.stands_for[name][0] for name in named if name in table.stands_for}
    if named and len(other) == 1 and all(name in table.stands_for for name in named):
        return other.pop(), frozenset((table.stands_for[n][1], v) for n, v in named.items())
    return table.population, frozenset(named.items())


def _known(value: int, least: int, base: int) -> tuple[float, float]:
    """What a printed count says: rounded half up, never a positive count under the least."""
    if value == 0:
        return 0.0, 0.0
    counts = [n for n in range(max(least, value - base), value + base + 1) if (2 * n + base) // (2 * base) * base == value]
    return float(counts[0]), float(counts[-1])


@dataclass
class Puzzle:
    """Cells, what is known of each, and their sums: parts, and the total they equal or stay under."""

    known: dict[Cell, tuple[float, float]]
    sums: set[tuple[frozenset[Cell], Cell, bool]]
    hidden: list[Cell]


def puzzle(tables: list[Printed], least: int, base: int) -> Puzzle:
    """Everything that a reader can write down of several tables."""
    known: dict[Cell, tuple[float, float]] = {}
    sums: set[tuple[frozenset[Cell], Cell, bool]] = set()
    for table in tables:
        names = [c for c in table.rows.columns if c not in ("homes", "is_withheld")]
        at: dict[tuple[str, ...], Cell] = {}
        for row in table.rows.iter_rows(named=True):
            cell = _cell(table, {name: row[name] for name in names})
            at[tuple(row[name] for name in names)] = cell
            if row["homes"] is not None:
                known[cell] = _known(row["homes"], least, base)
            known.setdefault(cell, (0.0, np.inf))
        for place, name in enumerate(names):
            groups: dict[tuple[str, ...], list[Cell]] = {}
            for key, cell in at.items():
                if key[place] != "all":
                    groups.setdefault((*key[:place], "all", *key[place + 1 :]), []).append(cell)
            for key, parts in groups.items():
                if name in table.overlapping:
                    sums |= {(frozenset([part]), at[key], False) for part in parts}
                else:
                    sums.add((frozenset(parts), at[key], True))
    hidden = sorted((c for c, (_, high) in known.items() if np.isinf(high)), key=repr)
    return Puzzle(known, sums, hidden)


def ranges(puzzles: list[Puzzle]) -> list[dict[Cell, tuple[float, float]]]:
    """Least and most of every withheld count of every puzzle, in one linear programme.

    Each withheld count gets a copy of its puzzle's system in which it is made least, and one in
    which it is made most; copies share nothing, so that one programme solves all of them.
    """
    blocks: dict[bool, list[sparse.csr_array]] = {True: [], False: []}
    bounds: list[tuple[float, float]] = []
    cost: list[np.ndarray] = []
    spots: list[list[int]] = []
    start = 0
    for p in puzzles:
        cells = list(p.known)
        index = {cell: n for n, cell in enumerate(cells)}
        rows = {
            exact: np.array(
                [
                    [float(c in parts) - float(c == total) for c in cells]
                    for parts, total, kind in p.sums
                    if kind is exact
                ]
            ).reshape(-1, len(cells))
            for exact in (True, False)
        }
        spots.append([])
        for hidden in p.hidden:
            for sign in (1.0, -1.0):
                goal = np.zeros(len(cells))
                goal[index[hidden]] = sign
                cost.append(goal)
                bounds += p.known.values()
                for exact, block in rows.items():
                    blocks[exact].append(sparse.csr_array(block))
                spots[-1].append(start + index[hidden])
                start += len(cells)
    if not bounds:
        return [{} for _ in puzzles]
    equal, under = (sparse.block_diag(blocks[kind], format="csr") for kind in (True, False))
    # A sum of withheld counts may be as large as you like: a ceiling keeps the programme bounded.
    ceiling = [(low, min(high, 1e5)) for low, high in bounds]
    solved = linprog(
        np.concatenate(cost),
        A_ub=under if under.shape[0] else None,
        b_ub=np.zeros(under.shape[0]) if under.shape[0] else None,
        A_eq=equal,
        b_eq=np.zeros(equal.shape[0]),
        bounds=ceiling,
        method="highs",
    )
    assert solved.status == 0, solved.message
    return [
        {
            cell: (solved.x[at[2 * n]], solved.x[at[2 * n + 1]])
            for n, cell in enumerate(p.hidden)
        }
        for p, at in zip(puzzles, spots, strict=True)
    ]
