"""The compiled inside of `monthly`: the year that repeats itself, for one case and for many.

`monthly_stack` says what the rows of the scratch tables `work` and `index` hold.
"""

import numpy as np
from numba import prange
from numpy.typing import NDArray

from triage.physics.compiled import compiled, compiled_over_rows, saturation_pa
from triage.physics.monthly_stack import (
    CONDENSES,
    DEPTH,
    FIRST_RATE,
    KEPT,
    KNOWN,
    LARGEST,
    LARGEST_AT,
    LAYER,
    LOOKED,
    MEAN,
    MONTHS_WET,
    MOST_POINTS,
    PLACE,
    RISE,
    SAT_IN,
    STORE,
    THINNEST_SD_M,
    TOTAL,
    WARM,
    WET,
    Floats,
    Integers,
    P,
    condenses_from_dry,
    cut,
    meet_climate,
    new_scratch,
)
from triage.physics.monthly_step import add_pressure, advance_month

__all__ = ["MOST_POINTS", "UNFINISHED", "solve_many", "solve_one"]

UNFINISHED = -1  # a verdict that `monthly` refuses to hand out
_SAME_G_M2 = 1e-6  # two years that end this close to each other repeat themselves
_ROWS_A_TASK = 256


@compiled
def _first(index: Integers) -> int:
    """First month that condenses after one that does not; January if all do; -1 if none."""
    found = False
    for month in range(12):
        found = found or index[CONDENSES, month] == 1
        if index[CONDENSES, month] and not index[CONDENSES, (month + 11) % 12]:
            return month
    return 0 if found else -1


@compiled
def _year(
    work: Floats,
    index: Integers,
    points: int,
    joints: int,
    thick: int,
    first: int,
    look: int,
    begun: float,
    turn: int,
    grids: Floats,
) -> bool:
    """Run twelve months from `first` on stores of `begun` together, as year `turn`, 0 or 1.

    `grids` takes every point, if it has room. False if a month does not come to its end.
    """
    work[LARGEST, 0], index[LARGEST_AT, 0], total = 0.0, 0, begun
    full = grids.shape[0] > 0
    seen, end = (0, points) if full else (look, look + 1)
    for step in range(12):
        month = (first + step) % 12
        for k in range(seen, end):
            work[FIRST_RATE, k] = 0.0
        if total > 0.0 or index[CONDENSES, month]:
            total = advance_month(work, index, month, points, joints, thick, seen, end)
            if total < 0.0:
                return False
        else:
            index[KEPT, 0], index[KEPT, 1] = 0, points - 1
            add_pressure(work, index, month, 2, 1.0, seen, end, True)
        work[TOTAL + turn, month], work[LOOKED + turn, month] = total, work[MEAN, look]
        if full:
            for k in range(points):
                grids[turn, 1, month, k] = work[MEAN, k]
                grids[turn, 3, month, k] = work[FIRST_RATE, k]
                grids[turn, 4, month, k] = work[STORE, k]
    return True


@compiled
def _stay_dry(work: Floats, points: int, look: int) -> None:
    """What `_year` leaves behind of a year in which nothing condenses, where no grid is asked."""
    part = work[PLACE, look] / work[PLACE, points - 1]
    for month in range(12):
        low, high = work[P + month, 0], work[P + month, points - 1]
        work[TOTAL, month], work[LOOKED, month] = 0.0, low + part * (high - low)


@compiled
def _settled(
    work: Floats, index: Integers, points: int, joints: int, thick: int, look: int, grids: Floats
) -> tuple[int, int, int, int]:
    """Verdict, first month, point of the largest store, and which of the two years to tell.

    An interface that is wet from the first month to the last builds up: a second year differs from
    the first by what it begins with, and nothing takes that away. Any other year that ends wet is
    run once more: if the second ends as the first did, the stores dry in between and the year
    repeats itself; otherwise they build up. The first year is told of those.
    """
    for month in range(12):
        condenses = condenses_from_dry(work, index, month, points, joints, thick)
        index[CONDENSES, month] = 1 if condenses else 0
    first = _first(index)
    if first < 0 and grids.shape[0] == 0:
        _stay_dry(work, points, look)
        return 0, -1, 0, 0
    for k in range(points):
        work[STORE, k], index[MONTHS_WET, k] = 0.0, 0
    for j in range(joints):
        index[WET, j] = 0
    begins, ends = max(first, 0), (max(first, 0) + 11) % 12
    if not _year(work, index, points, joints, thick, begins, look, 0.0, 0, grids):
        return UNFINISHED, first, 0, 0
    at, left = index[LARGEST_AT, 0], work[TOTAL, ends]
    if first < 0 or at == 0:
        return 0, -1, 0, 0
    if left <= 0.0:
        return 1, first, at, 0
    for k in range(1, points - 1):
        if index[MONTHS_WET, k] == 12:
            return 2, first, at, 0
    if not _year(work, index, points, joints, thick, begins, look, left, 1, grids):
        return UNFINISHED, first, 0, 0
    if not abs(work[TOTAL + 1, ends] - left) <= _SAME_G_M2 + 1e-9 * left:
        return 2, first, at, 0
    return 1, first, index[LARGEST_AT, 0], 1


@compiled
def _tell(
    row: int,
    work: Floats,
    first: int,
    verdict: int,
    turn: int,
    small: NDArray[np.int8],
    mass: Floats,
    months: Floats,
) -> None:
    """Totals, peak and its month, the month after it at whose end all is gone; -1 for none."""
    peak, peak_month, dry, total = 0.0, -1, -1, 0.0
    for step in range(12):
        month = (max(first, 0) + step) % 12
        total = work[TOTAL + turn, month]
        months[row, 0, month], months[row, 2, month] = total, work[LOOKED + turn, month]
        if total > peak:
            peak, peak_month, dry = total, month, -1
        elif peak_month >= 0 and dry < 0 and total <= 0.0:
            dry = month
    mass[row, 0], mass[row, 1] = peak, total if verdict == 2 else 0.0
    small[row, 0], small[row, 1], small[row, 2], small[row, 3] = verdict, first, peak_month, dry


@compiled
def _solve(
    work: Floats,
    index: Integers,
    row: int,
    r: Floats,
    sd: Floats,
    r_se: float,
    r_si: float,
    watch: int,
    climates: Floats,
    which: int,
    slice_r: float,
    small: NDArray[np.int8],
    mass: Floats,
    months: Floats,
    grids: Floats,
) -> tuple[int, int]:
    """One row of the tables; returns its number of points, and which year of `grids` to tell.

    Rows are not handed over as views: making one counts references, which costs more than a month.
    """
    points, joints, thick = cut(work, index, r, sd, row, slice_r)
    inside, seen, whole = 0.0, 0.0, 0.0  # sd and R outside the watched interface, R of all
    for k in range(r.shape[1]):
        whole += r[row, k]
        if watch < 0 or k < watch:
            inside += sd[row, k]
            seen += r[row, k]
    look = 0
    while look < points - 1 and work[PLACE, look] < inside - THINNEST_SD_M:
        look += 1
    meet_climate(work, index, climates, which, r_se, r_si, points, whole)
    verdict, first, at, turn = _settled(work, index, points, joints, thick, look, grids)
    # Saturation at a joint is that of the watch, if laid out, and an exponential saved.
    known = SAT_IN if look == points - 1 else P
    same = look > 0 and work[DEPTH, look] == seen
    for month in range(12):
        t = work[WARM, month] + work[RISE, month] * seen
        months[row, 1, month] = t
        if same and index[KNOWN, month] and known == SAT_IN:
            months[row, 3, month] = work[SAT_IN, month]
        elif same and index[KNOWN, month] and work[P + month, look] > 0.0:
            months[row, 3, month] = work[P + month, look]
        else:
            months[row, 3, month] = saturation_pa(t)
    _tell(row, work, first, verdict, turn, small, mass, months)
    small[row, 4] = index[LAYER, at] if verdict > 0 else -1
    return points, turn


@compiled_over_rows
def solve_many(
    r: Floats,
    sd: Floats,
    r_se: Floats,
    r_si: Floats,
    watch: Integers,
    climates: Floats,
    which: Integers,
    slice_r: float,
    small: NDArray[np.int8],
    mass: Floats,
    months: Floats,
) -> None:
    """Every case into `small` (n, 5), `mass` (n, 2) and `months` (n, 4, 12)."""
    count = r.shape[0]
    for task in prange((count + _ROWS_A_TASK - 1) // _ROWS_A_TASK):
        work, index = new_scratch()
        none = np.empty((0, 5, 12, 1), dtype=np.float64)
        for i in range(task * _ROWS_A_TASK, min(count, (task + 1) * _ROWS_A_TASK)):
            _solve(
                *(work, index, i, r, sd, r_se[i], r_si[i], watch[i]),
                *(climates, which[i], slice_r, small, mass, months, none),
            )


@compiled
def solve_one(
    r: Floats,
    sd: Floats,
    r_se: float,
    r_si: float,
    climates: Floats,
    slice_r: float,
    place: Floats,
    layer: Integers,
    grids: Floats,
) -> tuple[int, int, int]:
    """One case, layers (1, L), with every point: how many, the verdict, and the year to tell.

    `place` (2, ·) takes sd and R, `grids` (2, 5, 12, ·) the rest of two years.
    """
    work, index = new_scratch()
    small = np.empty((1, 5), dtype=np.int8)
    mass = np.empty((1, 2), dtype=np.float64)
    months = np.empty((1, 4, 12), dtype=np.float64)
    points, turn = _solve(
        *(work, index, 0, r, sd, r_se, r_si, -1, climates, 0, slice_r),
        *(small, mass, months, grids),
    )
    place[0], place[1], layer[:] = work[PLACE], work[DEPTH], index[LAYER]
    place[1, points - 1] = r.sum()
    for month in range(12):
        for k in range(points):
            t = work[WARM, month] + work[RISE, month] * place[1, k]
            grids[turn, 0, month, k], grids[turn, 2, month, k] = t, saturation_pa(t)
    return points, small[0, 0], turn
