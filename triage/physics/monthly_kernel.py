"""The compiled inside of `monthly`: the year that repeats itself, for one case and for many.

`monthly_stack` says what the rows of the scratch tables `work` and `index` hold.
"""

import numpy as np
from numba import prange
from numpy.typing import NDArray

from triage.physics.compiled import compiled, compiled_over_rows, saturation_pa
from triage.physics.monthly_stack import (
    DEPTH,
    FIRST_RATE,
    KEPT,
    LAYER,
    MEAN,
    MONTHS_WET,
    MOST_POINTS,
    PLACE,
    RISE,
    STORE,
    THINNEST_SD_M,
    WARM,
    WET,
    Floats,
    Integers,
    condenses_from_dry,
    cut,
    meet_outside_and_inside,
    new_scratch,
)
from triage.physics.monthly_step import add_pressure, advance_month

__all__ = ["MOST_POINTS", "UNFINISHED", "solve_many", "solve_one"]

UNFINISHED = -1  # a verdict that `monthly` refuses to hand out
_SAME_G_M2 = 1e-6  # two years that end this close to each other repeat themselves
_ROWS_A_TASK = 64


@compiled
def _first(condenses: NDArray[np.bool_]) -> int:
    """First month that condenses after one that does not; January if all do; -1 if none."""
    found = False
    for month in range(12):
        found = found or condenses[month]
        if condenses[month] and not condenses[month - 1]:
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
    condenses: NDArray[np.bool_],
    look: int,
    begun: float,
    totals: Floats,
    looked: Floats,
    grids: Floats,
) -> int:
    """Run twelve months from `first` on stores of `begun` together; `grids` takes every point.

    Returns the point with the largest store of the year; -1 if a month does not come to its end.
    """
    largest, at, total = 0.0, 0, begun
    seen, end = (0, points) if grids.shape[0] > 0 else (look, look + 1)
    for step in range(12):
        month = (first + step) % 12
        if total > 0.0 or condenses[month]:
            work[FIRST_RATE, seen:end] = 0.0
            total = advance_month(work, index, month, points, joints, thick, seen, end)
            if total < 0.0:
                return -1
            for k in range(1, points - 1):
                if work[STORE, k] > largest:
                    largest, at = work[STORE, k], k
        else:
            work[FIRST_RATE, seen:end] = 0.0
            index[KEPT, 0], index[KEPT, 1] = 0, points - 1
            add_pressure(work, index, month, 2, 1.0, seen, end, True)
        totals[month] = total
        looked[month] = work[MEAN, look]
        if grids.shape[0] > 0:
            for k in range(points):
                grids[1, month, k] = work[MEAN, k]
                grids[3, month, k] = work[FIRST_RATE, k]
                grids[4, month, k] = work[STORE, k]
    return at


@compiled
def _settled(
    work: Floats,
    index: Integers,
    points: int,
    joints: int,
    thick: int,
    look: int,
    totals: Floats,
    looked: Floats,
    grids: Floats,
) -> tuple[int, int, int, float]:
    """Verdict, first month, point of the largest store, residual in g/m².

    An interface that is wet from the first month to the last builds up: a second year differs from
    the first by what it begins with, and nothing takes that away. Any other year that ends wet is
    run once more: if the second ends as the first did, the stores dry in between and the year
    repeats itself; otherwise they build up. The first year is told of those.
    """
    condenses = np.zeros(12, dtype=np.bool_)
    for month in range(12):
        condenses[month] = condenses_from_dry(work, index, month, points, joints, thick)
    first = _first(condenses)
    for k in range(points):
        work[STORE, k], index[MONTHS_WET, k] = 0.0, 0
    for j in range(joints):
        index[WET, j] = 0
    case = (work, index, points, joints, thick, max(first, 0), condenses, look)
    at = _year(*case, 0.0, totals, looked, grids)
    left = totals[first - 1]
    if at < 0:
        return UNFINISHED, first, 0, 0.0
    if first < 0 or not totals.max() > 0.0:
        return 0, -1, at, 0.0
    if left <= 0.0:
        return 1, first, at, 0.0
    for k in range(1, points - 1):
        if index[MONTHS_WET, k] == 12:
            return 2, first, at, left
    again, looked_again = np.empty(12), np.empty(12)
    other = np.zeros(grids.shape)
    at_again = _year(*case, left, again, looked_again, other)
    if at_again < 0:
        return UNFINISHED, first, 0, 0.0
    if not abs(again[first - 1] - left) <= _SAME_G_M2 + 1e-9 * left:
        return 2, first, at, left
    totals[:], looked[:] = again, looked_again
    grids[:] = other
    return 1, first, at_again, 0.0


@compiled
def _told(first: int, totals: Floats) -> tuple[float, int, int]:
    """Peak, its month, and the month after it at whose end all is gone; -1 for none."""
    peak, peak_month, dry = 0.0, -1, -1
    for step in range(12):
        month = (max(first, 0) + step) % 12
        if totals[month] > peak:
            peak, peak_month, dry = totals[month], month, -1
        elif peak_month >= 0 and dry < 0 and totals[month] <= 0.0:
            dry = month
    return peak, peak_month, dry


@compiled
def _solve(
    work: Floats,
    index: Integers,
    r: Floats,
    sd: Floats,
    r_se: float,
    r_si: float,
    watch: int,
    t_out: Floats,
    p_out: Floats,
    t_in: Floats,
    p_in: Floats,
    slice_r: float,
    small: NDArray[np.int8],
    mass: Floats,
    months: Floats,
    grids: Floats,
) -> int:
    """One case; returns its number of points."""
    points, joints, thick = cut(work, index, r, sd, slice_r)
    inside, seen, whole = 0.0, 0.0, 0.0  # sd and R outside the watched interface, R of all
    for k in range(r.shape[0]):
        whole += r[k]
        if watch < 0 or k < watch:
            inside += sd[k]
            seen += r[k]
    look = 0
    while look < points - 1 and work[PLACE, look] < inside - THINNEST_SD_M:
        look += 1
    meet_outside_and_inside(
        work, index, t_out, p_out, t_in, p_in, r_se, r_se + whole + r_si, points, joints, thick
    )
    verdict, first, at, mass[1] = _settled(
        work, index, points, joints, thick, look, months[0], months[2], grids
    )
    for month in range(12):
        months[1, month] = work[WARM, month] + work[RISE, month] * seen
        months[3, month] = saturation_pa(months[1, month])
    mass[0], peak_month, dry = _told(first, months[0])
    small[0], small[1], small[2], small[3] = verdict, first, peak_month, dry
    small[4] = index[LAYER, at] if verdict > 0 else -1
    return points


@compiled_over_rows
def solve_many(
    r: Floats,
    sd: Floats,
    r_se: Floats,
    r_si: Floats,
    watch: Integers,
    t_out: Floats,
    p_out: Floats,
    t_in: Floats,
    p_in: Floats,
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
        none = np.empty((0, 12, 1), dtype=np.float64)
        for i in range(task * _ROWS_A_TASK, min(count, (task + 1) * _ROWS_A_TASK)):
            b = which[i]
            _solve(
                *(work, index, r[i], sd[i], r_se[i], r_si[i], watch[i]),
                *(t_out[b], p_out[b], t_in[b], p_in[b], slice_r),
                *(small[i], mass[i], months[i], none),
            )


@compiled
def solve_one(
    r: Floats,
    sd: Floats,
    r_se: float,
    r_si: float,
    t_out: Floats,
    p_out: Floats,
    t_in: Floats,
    p_in: Floats,
    slice_r: float,
    place: Floats,
    layer: Integers,
    grids: Floats,
) -> tuple[int, int]:
    """One case with every point; `place` (2, ·) takes sd and R, `grids` (5, 12, ·) the rest."""
    work, index = new_scratch()
    small = np.empty(5, dtype=np.int8)
    mass = np.empty(2, dtype=np.float64)
    months = np.empty((4, 12), dtype=np.float64)
    points = _solve(
        *(work, index, r, sd, r_se, r_si, -1, t_out, p_out, t_in, p_in, slice_r),
        *(small, mass, months, grids),
    )
    place[0], place[1], layer[:] = work[PLACE], work[DEPTH], index[LAYER]
    place[1, points - 1] = r.sum()
    for month in range(12):
        for k in range(points):
            t = work[WARM, month] + work[RISE, month] * place[1, k]
            grids[0, month, k], grids[2, month, k] = t, saturation_pa(t)
    return points, small[0]
