"""A reader who works out what was withheld: written from the printed tables alone.

It shares no code with the suppressor. Cells are named by the homes that they count, totals are
the sums of their parts, a printed count says what its rounding leaves, and linear programmes
find the least and the most that each withheld count can be. The puzzles of many portfolios are
solved as one programme: they have no cell in common, so each comes to its own answer.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np
import polars as pl
from scipy import sparse
from scipy.optimize import linprog

TOLERANCE = 1e-5  # homes
MOST = 1e5  # homes that a withheld count may be
LOOKS = 6
Cell = tuple[str, frozenset[tuple[str, str]]]


@dataclass(frozen=True)
class Rule:
    """What a reader is told of how small counts are treated."""

    least: int
    base: int
    area_least: int = 0
    """Fewest homes of an area that a map shows; 0: as in a table."""


@dataclass
class Printed:
    """A table as it was printed, and what its heading says of it."""

    population: str
    rows: pl.DataFrame
    overlapping: tuple[str, ...] = ()
    stands_for: Mapping[str, tuple[str, str]] = field(default_factory=dict)
    area: str | None = None


def cell_of(table: Printed, where: Mapping[str, str]) -> Cell:
    """Which homes a row of a table counts."""
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
    sums: set[tuple[frozenset[Cell], frozenset[Cell], bool]]
    least: dict[Cell, int]
    """Smallest count of each cell that any table would have printed."""
    printed: set[Cell] = field(default_factory=set)

    @property
    def hidden(self) -> list[Cell]:
        """Cells that no table prints."""
        return sorted(set(self.known) - self.printed, key=repr)

    def add(self, parts: Sequence[Cell], wholes: Sequence[Cell], *, exact: bool) -> None:
        """Something else that a reader knows, of cells that are all there."""
        if all(cell in self.known for cell in (*parts, *wholes)):
            self.sums.add((frozenset(parts), frozenset(wholes), exact))


def puzzle(tables: Sequence[Printed], rule: Rule) -> Puzzle:
    """Everything that a reader can write down of several tables."""
    found = Puzzle({}, set(), {})
    left_out: list[tuple[Printed, Cell, int]] = []
    for table in tables:
        names = [c for c in table.rows.columns if c not in ("homes", "is_withheld")]
        at: dict[tuple[str, ...], Cell] = {}
        for row in table.rows.iter_rows(named=True):
            key = tuple(row[name] for name in names)
            cell = at[key] = cell_of(table, {name: row[name] for name in names})
            least = _least(table, names, key, rule)
            _note(found, cell, row["homes"], least, rule)
            if row["homes"] is None:
                left_out.append((table, cell, least))
        for place, name in enumerate(names):
            groups: dict[tuple[str, ...], list[Cell]] = {}
            for key, cell in at.items():
                if key[place] != "all":
                    groups.setdefault((*key[:place], "all", *key[place + 1 :]), []).append(cell)
            for key, parts in groups.items():
                alone = [[part] for part in parts] if name in table.overlapping else [parts]
                for some in alone:
                    found.add(some, [at[key]], exact=name not in table.overlapping)
    for table, cell, least in left_out:
        _left_out(found, table, cell, least, rule)
    return found


def _left_out(found: Puzzle, table: Printed, cell: Cell, least: int, rule: Rule) -> None:
    """A table prints what a map leaves out: it is too small for the map, or its area is."""
    population, named = cell
    area = frozenset((n, v) for n, v in named if n == table.area)
    if not area or cell not in found.printed:
        return
    if least == rule.least:
        cell, least = (population, area), rule.area_least
    low, high = found.known[cell]
    found.known[cell] = low, min(high, least - 1.0)


def _least(table: Printed, names: list[str], key: tuple[str, ...], rule: Rule) -> int:
    """Smallest count that the table prints in a row, by what its legend says."""
    named = [name for name, value in zip(names, key, strict=True) if value != "all"]
    return (rule.area_least or rule.least) if named == [table.area] else rule.least


def _note(found: Puzzle, cell: Cell, homes: int | None, least: int, rule: Rule) -> None:
    low, high = found.known.get(cell, (0.0, np.inf))
    if homes is not None:
        found.printed.add(cell)
        said = _known(homes, least, rule.base)
        low, high = max(low, said[0]), min(high, said[1])
    found.known[cell] = low, high
    found.least[cell] = min(least, found.least.get(cell, least))


@dataclass
class Reader:
    """Solves puzzles: every solution is counts that agree with all that was printed.

    `low` and `high` hold the least and the most that each cell came to so far.
    """

    puzzles: Sequence[Puzzle]
    cells: list[tuple[int, Cell]] = field(init=False)

    def __post_init__(self) -> None:
        self.cells = [(n, cell) for n, p in enumerate(self.puzzles) for cell in p.known]
        at = {key: place for place, key in enumerate(self.cells)}
        self.hidden = [[at[n, cell] for cell in p.hidden] for n, p in enumerate(self.puzzles)]
        known = [span for p in self.puzzles for span in p.known.values()]
        self.bounds = [(low, min(high, MOST)) for low, high in known]
        rows: dict[bool, list[dict[int, int]]] = {True: [], False: []}
        for n, p in enumerate(self.puzzles):
            for parts, wholes, exact in sorted(p.sums, key=repr):
                row = {at[n, cell]: 1 for cell in parts}
                for cell in wholes:
                    row[at[n, cell]] = row.get(at[n, cell], 0) - 1
                rows[exact].append(row)
        self.equal, self.under = self._matrix(rows[True]), self._matrix(rows[False])
        self.low = np.full(len(self.cells), np.inf)
        self.high = np.full(len(self.cells), -np.inf)

    def _matrix(self, rows: list[dict[int, int]]) -> sparse.csr_array:
        entries = [(n, c, sign) for n, row in enumerate(rows) for c, sign in row.items()]
        at = np.array(entries, dtype=float).reshape(-1, 3).T
        shape = (len(rows), len(self.cells))
        return sparse.csr_array((at[2], (at[0].astype(int), at[1].astype(int))), shape=shape)

    def solve(self, goal: np.ndarray) -> None:
        """Make a sum of counts least, and note what every cell came to."""
        under = self.under.shape[0] > 0
        solved = linprog(
            goal,
            A_ub=self.under if under else None,
            b_ub=np.zeros(self.under.shape[0]) if under else None,
            A_eq=self.equal,
            b_eq=np.zeros(self.equal.shape[0]),
            bounds=self.bounds,
            method="highs",
        )
        assert solved.status == 0, solved.message
        self.low = np.minimum(self.low, solved.x)
        self.high = np.maximum(self.high, solved.x)

    def look_around(self, small: Sequence[set[Cell]]) -> None:
        """A few solutions that show most withheld counts to be open."""
        rng = np.random.default_rng(len(self.cells))
        hidden = [place for places in self.hidden for place in places]
        for look in range(LOOKS):
            waiting = [place for place in hidden if not _is_open(self, place, small)]
            goal = np.zeros(len(self.cells))
            mixed = rng.normal(size=len(waiting))
            goal[waiting] = mixed if look % 2 else np.abs(mixed)
            self.solve(goal)
            self.solve(-goal)

    def ranges_of(self, places: Sequence[int]) -> None:
        """Find the least and most of one cell a puzzle, all at once."""
        goal = np.zeros(len(self.cells))
        goal[list(places)] = 1.0
        self.solve(goal)
        self.solve(-goal)


Found = dict[Cell, tuple[float, float]]


def worked_out(puzzles: Sequence[Puzzle], small: Sequence[set[Cell]]) -> list[Found]:
    """Withheld counts that a reader knows better than the policy allows, puzzle by puzzle.

    One must stay open over one home less than the least that is printed; one of `small`, from 0
    to that. Where some solutions already show it, the two programmes of the cell are saved; all
    others are solved.
    """
    reader = Reader(puzzles)
    if any(reader.hidden):
        reader.look_around(small)
    found: list[Found] = [{} for _ in puzzles]
    left = [list(hidden) for hidden in reader.hidden]
    while True:
        for waiting in left:
            while waiting and _is_open(reader, waiting[0], small):
                del waiting[0]
        asked = [waiting.pop(0) for waiting in left if waiting]
        if not asked:
            return found
        reader.ranges_of(asked)
        for place in asked:
            if not _is_open(reader, place, small):
                n, cell = reader.cells[place]
                found[n][cell] = float(reader.low[place]), float(reader.high[place])


def _is_open(reader: Reader, place: int, small: Sequence[set[Cell]]) -> bool:
    n, cell = reader.cells[place]
    low, high = reader.low[place], reader.high[place]
    width = reader.puzzles[n].least[cell] - 1
    if cell in small[n]:
        return bool(low <= TOLERANCE and high >= width - TOLERANCE)
    return bool(high - low >= width - TOLERANCE)
