"""The compiled inside of `monthly`: slicing, lower hull, wet interfaces, the year."""

import numpy as np
from numba import prange
from numpy.typing import NDArray

from triage.physics.compiled import compiled, compiled_over_rows, saturation_pa
from triage.physics.vapour import DELTA0_KG_M_S_PA, MONTH_SECONDS

Floats = NDArray[np.float64]
Integers = NDArray[np.int64]

MOST_POINTS = 160
"""Interfaces that one stack may have, slices and surfaces included."""
_THINNEST_SD_M = 1e-6  # a layer of less carries heat only: its faces share one interface
_GONE_G_M2 = 1e-6  # stores below this are dry
_MONTH_S = MONTH_SECONDS
_G_PER_PA = 1000.0 * DELTA0_KG_M_S_PA  # g/(m·s·Pa)


@compiled
def _cut(
    r: Floats, sd: Floats, slice_r: float, place: Floats, depth: Floats, layer: Integers
) -> int:
    """Interfaces of a stack: `place` in sd, `depth` in R from the outer face, both cumulative.

    Returns the number of interfaces, surfaces included.
    """
    points = 1
    place[0], depth[0], layer[0] = 0.0, 0.0, 0
    at_sd, at_r = 0.0, 0.0
    for k in range(r.shape[0]):
        slices = max(1, int(np.ceil(r[k] / slice_r - 1e-9)))
        for _ in range(slices):
            at_sd += sd[k] / slices
            at_r += r[k] / slices
            if at_sd - place[points - 1] < _THINNEST_SD_M:
                if points == 1:
                    continue  # against the outer surface, whose pressure is given
                # Two faces at one place: the warmer side cannot lower saturation there.
                depth[points - 1] = min(depth[points - 1], at_r)
                continue
            place[points], depth[points], layer[points] = at_sd, at_r, k
            points += 1
        for p in range(points):
            if layer[p] == k and p > 0 and place[p] >= at_sd - _THINNEST_SD_M:
                layer[p] = k + 1
    return points


@compiled
def _hull(place: Floats, p: Floats, forced: NDArray[np.bool_], points: int, kept: Integers) -> int:
    """Vertices of the lower convex hull that passes through every forced point."""
    size = 0
    for k in range(points):
        while size >= 2 and not forced[kept[size - 1]]:
            a, b = kept[size - 2], kept[size - 1]
            rise = (p[b] - p[a]) * (place[k] - place[b])
            if rise < (p[k] - p[b]) * (place[b] - place[a]):
                break
            size -= 1
        kept[size] = k
        size += 1
    return size


@compiled
def _over_line(place: Floats, p: Floats, points: int) -> bool:
    """Whether the straight line between the surfaces passes saturation anywhere."""
    slope = (p[points - 1] - p[0]) / place[points - 1]
    over = False
    for k in range(1, points - 1):
        over = over or p[0] + slope * place[k] > p[k]
    return over


@compiled
def _month(
    place: Floats,
    p: Floats,
    store: Floats,
    rate: Floats,
    forced: NDArray[np.bool_],
    points: int,
    seconds: float,
    kept: Integers,
) -> int:
    """Advance the stores by one month; `rate` is what each would gain, in g/m²."""
    for k in range(points):
        forced[k] = k in (0, points - 1) or store[k] > _GONE_G_M2
        rate[k] = 0.0
    size = _hull(place, p, forced, points, kept)
    for v in range(1, size - 1):
        a, c, b = kept[v - 1], kept[v], kept[v + 1]
        inward = (p[b] - p[c]) / (place[b] - place[c])
        outward = (p[c] - p[a]) / (place[c] - place[a])
        rate[c] = _G_PER_PA * (inward - outward) * seconds
        store[c] = max(0.0, store[c] + rate[c])
    return size


@compiled
def _at(place: Floats, p: Floats, kept: Integers, size: int, point: int) -> float:
    """Vapour pressure at an interface, on the line between the vertices around it."""
    for v in range(1, size):
        b = kept[v]
        if place[b] >= place[point] - 1e-15:
            a = kept[v - 1]
            part = (place[point] - place[a]) / (place[b] - place[a])
            return float(p[a] + part * (p[b] - p[a]))
    return float(p[kept[size - 1]])


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
    place: Floats,
    p: Floats,
    points: int,
    first: int,
    condenses: NDArray[np.bool_],
    store: Floats,
    look: int,
    totals: Floats,
    looked: Floats,
    grids: Floats,
) -> int:
    """Run twelve months from `first`; `grids` takes every interface if it has room.

    Returns the interface with the largest store of the year.
    """
    kept = np.empty(points, dtype=np.int64)
    forced = np.empty(points, dtype=np.bool_)
    rate = np.zeros(points, dtype=np.float64)
    full = grids.shape[0] > 0
    largest, at = 0.0, 0
    for step in range(12):
        month = (first + step) % 12
        row = p[month]
        before = 0.0
        for k in range(points):
            before += store[k]
        if before <= 0.0 and not condenses[month]:
            kept[0], kept[1], size = 0, points - 1, 2
            rate[:] = 0.0
        else:
            size = _month(place, row, store, rate, forced, points, _MONTH_S[month], kept)
        total = 0.0
        for k in range(1, points - 1):
            total += store[k]
            if store[k] > largest:
                largest, at = store[k], k
        totals[month] = total
        looked[month] = _at(place, row, kept, size, look)
        if full:
            for k in range(points):
                grids[1, month, k] = _at(place, row, kept, size, k)
                grids[3, month, k] = rate[k]
                grids[4, month, k] = store[k]
    return at


@compiled
def _pressures(
    depth: Floats,
    points: int,
    r_se: float,
    r_si: float,
    t_out: Floats,
    p_out: Floats,
    t_in: Floats,
    p_in: Floats,
    place: Floats,
    p: Floats,
    condenses: NDArray[np.bool_],
    whole: float,
) -> None:
    """Saturation at every interface and the given pressures at the surfaces, month by month."""
    for month in range(12):
        span = (t_in[month] - t_out[month]) / (whole + r_se + r_si)
        for k in range(1, points - 1):
            p[month, k] = saturation_pa(t_out[month] + span * (r_se + depth[k]))
        p[month, 0], p[month, points - 1] = p_out[month], p_in[month]
        condenses[month] = _over_line(place, p[month], points)


@compiled
def _settled(
    place: Floats,
    p: Floats,
    points: int,
    condenses: NDArray[np.bool_],
    look: int,
    totals: Floats,
    looked: Floats,
    grids: Floats,
) -> tuple[int, int, int, float]:
    """Verdict, first month, interface of the largest store, residual in g/m².

    A year that ends wet is run once more: if the second ends as the first did, the stores dry in
    between and the year repeats itself; otherwise they build up, and the first year is told.
    """
    first = _first(condenses)
    store = np.zeros(points, dtype=np.float64)
    at = _year(place, p, points, max(first, 0), condenses, store, look, totals, looked, grids)
    if first < 0:
        return 0, -1, 0, 0.0
    left = store.sum()
    if left <= _GONE_G_M2:
        return 1, first, at, 0.0
    again, looked_again = np.empty(12), np.empty(12)
    other = np.zeros(grids.shape)
    at_again = _year(place, p, points, first, condenses, store, look, again, looked_again, other)
    if not abs(store.sum() - left) <= 1e-6 + 1e-9 * left:
        return 2, first, at, left
    totals[:], looked[:] = again, looked_again
    grids[:] = other
    return 1, first, at_again, 0.0


@compiled
def _solve(
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
    place: Floats,
    depth: Floats,
    layer: Integers,
    p: Floats,
    small: NDArray[np.int8],
    mass: Floats,
    months: Floats,
    grids: Floats,
) -> int:
    """One case; returns its number of interfaces."""
    points = _cut(r, sd, slice_r, place, depth, layer)
    whole = r.sum()
    if points < 2:  # nothing that resists vapour: one surface on both sides
        place[1], depth[1], layer[1], points = 1.0, whole, r.shape[0], 2
    condenses = np.zeros(12, dtype=np.bool_)
    _pressures(depth, points, r_se, r_si, t_out, p_out, t_in, p_in, place, p, condenses, whole)
    look = points - 1
    if watch >= 0:
        inside = sd[:watch].sum()
        look = 0
        while look < points - 1 and place[look] < inside - _THINNEST_SD_M:
            look += 1
    verdict, first, at, left = _settled(
        place, p, points, condenses, look, months[0], months[2], grids
    )
    depth_seen = r[:watch].sum() if watch >= 0 else whole
    for month in range(12):
        span = (t_in[month] - t_out[month]) / (whole + r_se + r_si)
        months[1, month] = t_out[month] + span * (r_se + depth_seen)
        months[3, month] = saturation_pa(months[1, month])
    _told(verdict, first, layer[at], left, months[0], small, mass)
    return points


@compiled
def _told(
    verdict: int,
    first: int,
    at: int,
    left: float,
    totals: Floats,
    small: NDArray[np.int8],
    mass: Floats,
) -> None:
    """Peak, its month, and the month in which the last of it is gone."""
    peak, peak_month, dry = 0.0, -1, -1
    for step in range(12):
        month = (max(first, 0) + step) % 12
        if totals[month] > peak:
            peak, peak_month = totals[month], month
        if peak_month >= 0 and dry < 0 and totals[month] <= _GONE_G_M2:
            dry = month
    small[0], small[1], small[2], small[3], small[4] = verdict, first, peak_month, dry, at
    mass[0], mass[1] = peak, left


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
    for i in prange(r.shape[0]):
        place = np.empty(MOST_POINTS, dtype=np.float64)
        depth = np.empty(MOST_POINTS, dtype=np.float64)
        layer = np.empty(MOST_POINTS, dtype=np.int64)
        p = np.empty((12, MOST_POINTS), dtype=np.float64)
        none = np.empty((0, 12, 1), dtype=np.float64)
        b = which[i]
        _solve(
            r[i],
            sd[i],
            r_se[i],
            r_si[i],
            watch[i],
            t_out[b],
            p_out[b],
            t_in[b],
            p_in[b],
            slice_r,
            place,
            depth,
            layer,
            p,
            small[i],
            mass[i],
            months[i],
            none,
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
    """One case with every interface; `place` (2, ·) takes sd and R, `grids` (5, 12, ·) the rest."""
    p = np.zeros((12, MOST_POINTS), dtype=np.float64)
    small = np.empty(5, dtype=np.int8)
    mass = np.empty(2, dtype=np.float64)
    months = np.empty((4, 12), dtype=np.float64)
    points = _solve(
        r,
        sd,
        r_se,
        r_si,
        -1,
        t_out,
        p_out,
        t_in,
        p_in,
        slice_r,
        place[0],
        place[1],
        layer,
        p,
        small,
        mass,
        months,
        grids,
    )
    whole = r.sum()
    for month in range(12):
        span = (t_in[month] - t_out[month]) / (whole + r_se + r_si)
        for k in range(points):
            depth = whole if k == points - 1 else place[1, k]
            grids[0, month, k] = t_out[month] + span * (r_se + depth)
            grids[2, month, k] = saturation_pa(grids[0, month, k])
    return points, small[0]
