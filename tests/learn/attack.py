"""A reader who works out what was withheld: written from the printed tables alone.

It shares no code with the suppressor. Cells are named by the homes that they count, totals are
the sums of their parts, a printed count says what its rounding leaves, and a linear programme
finds the least and the most that each withheld count can be.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np
import polars as pl
from scipy.optimize import linprog

TOLERANCE = 1e-5  # homes
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
    counts = [
        n
        for n in range(max(least, value - base), value + base + 1)
        if (2 * n + base) // (2 * base) * base == value
    ]
    return float(counts[0]), float(counts[-1])


@dataclass
class Puzzle:
    """Cells, what is known of each, and their sums: parts that equal a total or stay under it."""

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


class Reader:
    """Solves a puzzle: every solution is counts that agree with all that was printed."""

    def __init__(self, puzzle: Puzzle) -> None:
        self.cells = list(puzzle.known)
        self.hidden = [self.cells.index(cell) for cell in puzzle.hidden]
        self.bounds = np.array([(low, min(high, 1e5)) for low, high in puzzle.known.values()])
        at = {cell: n for n, cell in enumerate(self.cells)}
        rows: dict[bool, list[np.ndarray]] = {True: [], False: []}
        for parts, total, exact in puzzle.sums:
            row = np.zeros(len(self.cells))
            row[[at[part] for part in parts]] += 1
            row[at[total]] -= 1
            rows[exact].append(row)
        self.equal = np.array(rows[True]).reshape(-1, len(self.cells))
        self.under = np.array(rows[False]).reshape(-1, len(self.cells))
        self.low = np.full(len(self.cells), np.inf)
        self.high = np.full(len(self.cells), -np.inf)

    def solve(self, goal: np.ndarray) -> None:
        """Make a sum of counts least, and note what every cell came to."""
        solved = linprog(
            goal,
            A_ub=self.under if len(self.under) else None,
            b_ub=np.zeros(len(self.under)) if len(self.under) else None,
            A_eq=self.equal,
            b_eq=np.zeros(len(self.equal)),
            bounds=self.bounds,
            method="highs",
        )
        assert solved.status == 0, solved.message
        self.low = np.minimum(self.low, solved.x)
        self.high = np.maximum(self.high, solved.x)

    def range_of(self, place: int) -> tuple[float, float]:
        """Least and most that one count can be."""
        goal = np.zeros(len(self.cells))
        goal[place] = 1.0
        self.solve(goal)
        self.solve(-goal)
        return float(self.low[place]), float(self.high[place])


def worked_out(puzzle: Puzzle, least: int, small: set[Cell]) -> dict[Cell, tuple[float, float]]:
    """Withheld counts that a reader knows better than the policy allows, and their ranges.

    One must stay open over `least - 1` homes; one of `small`, from 0 to `least - 1`. Where some
    solutions already show that, the two programmes of the cell are saved; all others are solved.
    """
    if not puzzle.hidden:
        return {}
    reader = Reader(puzzle)
    hidden = np.array(reader.hidden)
    rng = np.random.default_rng(len(hidden))
    for _ in range(3):
        goal = np.zeros(len(reader.cells))
        goal[hidden] = rng.normal(size=len(hidden))
        reader.solve(goal)
        reader.solve(-goal)
    found = {}
    for place, cell in zip(reader.hidden, puzzle.hidden, strict=True):
        if not _is_open(reader.low[place], reader.high[place], least, cell in small):
            low, high = reader.range_of(place)
            if not _is_open(low, high, least, cell in small):
                found[cell] = (low, high)
    return found


def _is_open(low: float, high: float, least: int, small: bool) -> bool:
    if small:
        return low <= TOLERANCE and high >= least - 1 - TOLERANCE
    return high - low >= least - 1 - TOLERANCE
