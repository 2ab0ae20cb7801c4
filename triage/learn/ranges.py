"""What a reader can work out of printed counts, and the fewest more to withhold against it.

The counts of all cells are unknowns of one linear system: parts add up to totals, a printed
count lies in the interval that its rounding leaves, a withheld one is anything from 0.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import sparse
from scipy.optimize import Bounds, LinearConstraint, milp

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]
ENDLESS = 1e7  # homes: more than any programme has, and small enough for the solver
_TOUCHED = 1e-6  # homes: below it the solver's own tolerance


@dataclass(frozen=True, slots=True)
class System:
    """The linear system of a set of cells.

    `sums` has one row a sum and one column a cell: 1 a part, -1 the total; rows add up to 0
    where `exact`, else to 0 or less (a part of a whole). `low` and `high` bound each printed
    cell; `may_withhold` says which are not yet out of our hands; `cost` what a reader loses.
    """

    sums: sparse.csc_array
    exact: Flags
    low: Floats
    high: Floats
    may_withhold: Flags
    cost: Floats
    with_moves: sparse.csc_array
    """`sums` for the counts within their intervals, for what lies above, and below them."""


@dataclass(frozen=True, slots=True)
class Way:
    """Counts that agree with all that is printed, and the cells withheld to make them possible."""

    counts: Floats
    withheld: Flags


def widest(system: System, hidden: Flags, cell: int) -> tuple[Floats, Floats]:
    """Counts that agree with all that is printed and make one cell least, and most."""
    goal = np.zeros(hidden.size)
    goal[cell] = 1.0
    least, most = readings(system, hidden, goal), readings(system, hidden, -goal)
    if least is None or most is None:
        raise ValueError("the printed counts contradict each other")
    return least, most


def readings(
    system: System, hidden: Flags, goal: Floats, ceiling: Floats | float = ENDLESS
) -> Floats | None:
    """Counts that agree with all that is printed and make `goal` least; None if there are none.

    `ceiling` bounds the withheld cells, so that one of them does not take all of the room.
    """
    low = np.where(hidden, 0.0, system.low)
    high = np.where(hidden, ceiling, system.high)
    return _solve(goal, system, system.sums, low, high)


def cheapest_way(
    system: System,
    hidden: Flags,
    cell: int,
    between: tuple[float, float],
    wish: Floats,
) -> Way | None:
    """Counts in which one cell lies between two values, at the least further withholding.

    Parameters
    ----------
    system
        The cells and their sums.
    hidden
        Cells that are withheld already.
    cell
        Position of the cell.
    between
        Lowest and highest value it is to take. [homes]
    wish
        Of all ways that cost the same, the one that makes this sum of counts least is taken; not
        below 0, and so small that it never buys anything.

    Returns
    -------
    Way or None
        None if what was printed before rules it out whatever is withheld now.

    Notes
    -----
    Each printed cell is split into a count within its interval and what lies above or below;
    the latter costs, and a cell of which it is not 0 has to be withheld. A linear programme: it
    finds a small set, not the smallest, in time that suits thousands of cells.
    """
    low = np.where(hidden, 0.0, system.low)
    high = np.where(hidden, np.inf, system.high)
    low[cell], high[cell] = between
    free = ~hidden & system.may_withhold
    above, below = np.where(free, np.inf, 0.0), np.where(free, low, 0.0)
    nothing = np.zeros(2 * hidden.size)
    solved = _solve(
        np.concatenate([wish, system.cost + wish, system.cost - wish]),
        system,
        system.with_moves,
        np.concatenate([low, nothing]),
        np.concatenate([high, above, below]),
    )
    if solved is None:
        return None
    inside, up, down = np.split(solved, 3)
    return Way(inside + up - down, up + down > _TOUCHED)


def _solve(
    cost: Floats, system: System, matrix: sparse.sparray, low: Floats, high: Floats
) -> Floats | None:
    """Solution of the linear programme; None if there is none."""
    solved = milp(
        cost,
        constraints=LinearConstraint(matrix, np.where(system.exact, 0.0, -np.inf), 0.0),
        bounds=Bounds(low, high),
    )
    if solved.x is not None:
        return np.asarray(solved.x)
    if solved.status == 2:  # infeasible
        return None
    raise RuntimeError(f"the linear programme of suppression failed: {solved.message}")
