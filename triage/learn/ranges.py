"""What a reader can work out of printed counts, and the fewest more to withhold against it.

The counts of all cells are unknowns of one linear system: parts add up to totals, a printed
count lies in the interval that its rounding leaves, a withheld one is anything from 0 up to
what else a reader knows of it.
"""

from dataclasses import dataclass

import numpy as np
from scipy import sparse

from triage.learn.programme import Flags, Floats, Programme

ENDLESS = 1e7  # homes: more than any programme has, and small enough for the solver
_TOUCHED = 1e-6  # homes: below it the solver's own tolerance


@dataclass(frozen=True, slots=True)
class System:
    """The linear system of a set of cells.

    `sums` has one row a sum and one column a cell: 1 a part, -1 the total; rows add up to 0
    where `exact`, else to 0 or less (a part of a whole). `low` and `high` bound each printed
    cell, `limit` a withheld one; `may_withhold` says which are not yet out of our hands; `cost`
    what a reader loses.
    """

    sums: sparse.csc_array
    exact: Flags
    low: Floats
    high: Floats
    limit: Floats
    may_withhold: Flags
    cost: Floats


@dataclass(frozen=True, slots=True)
class Way:
    """Counts that agree with all that is printed, and the cells withheld to make them possible."""

    counts: Floats
    withheld: Flags


class Reader:
    """Solves the system of a set of cells, over and over as more of them are withheld."""

    def __init__(self, system: System) -> None:
        self.system = system
        self._readings = Programme(system.sums, system.exact)
        moves = sparse.hstack([system.sums, system.sums, -system.sums], format="csc")
        self._moves = Programme(moves, system.exact)

    def widest(self, hidden: Flags, cell: int) -> tuple[Floats, Floats]:
        """Counts that agree with all that is printed and make one cell least, and most."""
        goal = np.zeros(hidden.size)
        goal[cell] = 1.0
        least, most = self.readings(hidden, goal), self.readings(hidden, -goal)
        if least is None or most is None:
            raise ValueError("the printed counts contradict each other")
        return least, most

    def readings(
        self, hidden: Flags, goal: Floats, ceiling: Floats | float = ENDLESS
    ) -> Floats | None:
        """Counts that agree with all that is printed and make `goal` least; None: there are none.

        `ceiling` bounds the withheld cells, so that one of them does not take all of the room.
        """
        low = np.where(hidden, 0.0, self.system.low)
        high = np.where(hidden, np.minimum(ceiling, self.system.limit), self.system.high)
        return self._readings.solve(goal, low, high)

    def cheapest_way(
        self, hidden: Flags, cell: int, between: tuple[float, float], wish: Floats
    ) -> Way | None:
        """Counts in which one cell lies between two values, at the least further withholding.

        Parameters
        ----------
        hidden
            Cells that are withheld already.
        cell
            Position of the cell.
        between
            Lowest and highest value it is to take. [homes]
        wish
            Of all ways that cost the same, the one that makes this sum of counts least is taken;
            not below 0, and so small that it never buys anything.

        Returns
        -------
        Way or None
            None if what was printed before rules it out whatever is withheld now.

        Notes
        -----
        Each printed cell is split into a count within its interval and what lies above or below;
        the latter costs, and a cell of which it is not 0 has to be withheld. A linear programme:
        it finds a small set, not the smallest, in time that suits thousands of cells.
        """
        system = self.system
        low = np.where(hidden, 0.0, system.low)
        high = np.where(hidden, system.limit, system.high)
        low[cell], high[cell] = between
        free = ~hidden & system.may_withhold
        below = np.where(free, low, 0.0)
        above = np.subtract(system.limit, high, out=np.zeros(hidden.size), where=free)
        nothing = np.zeros(2 * hidden.size)
        solved = self._moves.solve(
            np.concatenate([wish, system.cost + wish, system.cost - wish]),
            np.concatenate([low, nothing]),
            np.concatenate([high, above, below]),
        )
        if solved is None:
            return None
        inside, up, down = np.split(solved, 3)
        return Way(inside + up - down, up + down > _TOUCHED)
