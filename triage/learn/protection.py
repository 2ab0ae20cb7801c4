"""Which further cells to withhold, so that every withheld one stays open over its range."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from triage.learn.programme import Flags, Floats
from triage.learn.ranges import ENDLESS, Reader, System

_SLACK = 1e-6  # homes
_TURNS = 2
_WISH = 1e-4  # far below the least cost of withholding, 1 a home


class CannotProtectError(ValueError):
    """A cell that what was printed before gives away; `cell` is its position."""

    def __init__(self, cell: int) -> None:
        super().__init__(f"cell {cell} cannot be protected")
        self.cell = cell


@dataclass(frozen=True, slots=True)
class Needs:
    """What has to stay open: one entry a cell.

    `hidden`: withheld from the start. `small`: must be able to be 0, and `top`. Any other that
    is withheld must range over `top`. `true`: the count, NaN where it is not known any more.
    """

    hidden: Flags
    small: Flags
    top: Floats
    true: Floats


def protect(system: System, needs: Needs) -> Flags:
    """Cells to withhold: those of `needs`, and what gives them away.

    More and more is withheld, the cheapest for each cell and each end of its range. To print
    again what turns out not to be needed would save 1 to 3 % of it, at five times the time.

    Raises
    ------
    CannotProtectError
        If a cell cannot be protected, because what was printed before rules it out.
    """
    state = _Search(Reader(system), needs, needs.hidden, needs.true, needs.true)
    state.look_around()
    while (waiting := state.waiting()).size:
        cell = int(waiting[0])
        if not (state.make_small(cell) if needs.small[cell] else state.make_wide(cell)):
            raise CannotProtectError(cell)
    return state.hidden


@dataclass(slots=True)
class _Search:
    """Cells withheld so far, and the least and most that each has been shown to be.

    Every solution agrees with all that is printed, and goes on to agree as more is withheld; so
    the lowest and highest value of a cell in any of them prove its range without another one.
    """

    reader: Reader
    needs: Needs
    hidden: Flags
    least: Floats
    most: Floats

    def waiting(self) -> NDArray[np.intp]:
        """Withheld cells whose range is not yet shown to be open."""
        needs = self.needs
        wide = self.most - self.least >= needs.top - _SLACK
        whole = (self.least <= _SLACK) & (self.most >= needs.top - _SLACK)
        return np.flatnonzero(self.hidden & ~np.where(needs.small, whole, wide))

    def _learn(self, *found: Floats | None) -> None:
        """Take note of solutions."""
        for counts in found:
            if counts is not None:
                self.least, self.most = np.fmin(self.least, counts), np.fmax(self.most, counts)

    def look_around(self) -> None:
        """Show what is open as things stand, for many cells with each solution.

        A weighted sum of the waiting cells is made least, then most with no cell above what it
        has to reach; the weights change from time to time, as cells of one total compete.
        """
        for turn in range(_TURNS):
            waiting = self.waiting()
            if not waiting.size:
                return
            goal = np.zeros(self.hidden.size)
            goal[waiting] = 1.0 + (np.arange(waiting.size) * (turn + 1)) % 3
            ceiling = np.full(self.hidden.size, ENDLESS)
            ceiling[waiting] = self.needs.top[waiting]
            self._learn(
                self.reader.readings(self.hidden, goal),
                self.reader.readings(self.hidden, -goal, ceiling),
            )
            if self.waiting().size == waiting.size:
                return

    def make_small(self, cell: int) -> bool:
        """Let a small count be 0, and the minimum less one."""
        top = float(self.needs.top[cell])
        return (self.least[cell] <= _SLACK or self._reach(cell, 0.0, 0.0)) and (
            self.most[cell] >= top - _SLACK or self._reach(cell, top, top)
        )

    def make_wide(self, cell: int) -> bool:
        """Let any other count range far enough: as things stand, else upwards, downwards, both."""
        self._learn(*self.reader.widest(self.hidden, cell))
        top, least, most = (float(x[cell]) for x in (self.needs.top, self.least, self.most))
        if most - least >= top - _SLACK:
            return True
        if self._reach(cell, least + top, np.inf) or self._reach(cell, 0.0, most - top):
            return True
        # Earlier reports bound it on both sides: neither end alone goes far enough.
        everything = self.hidden | self.reader.system.may_withhold
        lowest, highest = (float(x[cell]) for x in self.reader.widest(everything, cell))
        if highest - lowest < top - _SLACK:
            return False
        start = min(max(lowest, least - (top - (most - least)) / 2), highest - top)
        return self._reach(cell, 0.0, start) and self._reach(cell, start + top, np.inf)

    def _reach(self, cell: int, low: float, high: float) -> bool:
        """Withhold what it takes for a cell to lie between two values.

        Where it goes down to 0, the other cells that wait are asked down along with it.
        """
        if high < low:
            return False
        wish = np.zeros(self.hidden.size)
        if high <= _SLACK:
            wish[self.waiting()] = _WISH
        way = self.reader.cheapest_way(self.hidden, cell, (low, high), wish)
        if way is not None:
            self.hidden = self.hidden | way.withheld
            self._learn(way.counts)
        return way is not None
