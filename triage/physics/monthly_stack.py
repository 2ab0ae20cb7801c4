"""Points of one build-up and saturation at them: the compiled floor under `monthly_kernel`.

Layers are cut into slices, but the line of vapour pressure touches few of them. Saturation curves
upwards over a layer, so it stays above its tangents at the two faces; where the line lies below
those, the slices' saturation is not computed and the layer is *closed* in that month. The answer
is the same as with every slice in the hull.
"""

import numpy as np
from numpy.typing import NDArray

from triage.physics.compiled import compiled, saturation_pa

Floats = NDArray[np.float64]
Integers = NDArray[np.int64]

MOST_POINTS = 160
"""Interfaces that one stack may have, slices and surfaces included."""
THINNEST_SD_M = 1e-6  # a layer of less carries heat only: its faces share one interface
_UNKNOWN_PA = -1.0  # a slice that nobody has asked for yet
_HAIR = 1.0 + 1e-13
_SLOPE_AT_0 = 44.4  # Pa/K, of saturation over water; over ice it is steeper, a kink
_WARM_ENOUGH_C = 3.0  # from here on the tangent passes below the curve over ice as well

# Rows of the two scratch tables. A point is an interface or slice, surfaces included, counted
# from outside; a joint is a point that is the face of a layer.
PLACE, DEPTH, STORE, RATE = 0, 1, 2, 3  # by point: cumulative sd and R; g/m² held, gained a month
FIRST_RATE, MEAN = 4, 5  # by point: RATE as the month begins; mean pressure of the month, Pa
WARM, RISE = 6, 7  # by month: °C of the outer face, K for each m²K/W
COLDER = 8  # by month: saturation at the colder surface, Pa
TOTAL, LOOKED = 9, 11  # and one more for a second year, by month: g/m²; mean pressure looked at
LARGEST = 13  # one number: the largest store of the year
SAT_OUT, SAT_IN = 14, 15  # by month: saturation at the surfaces, Pa
P = 16  # and 11 more, by point: saturation; at the surfaces the given pressure
LAYER, JOINT, THICK, KEPT = 0, 1, 2, 3  # layer just inside; joints; joints with slices; hull
UNEVEN, WET = 4, 5  # by joint: faces share a point; slices hold water
WAITING = 6  # pairs of points still to be looked between
MONTHS_WET = 7  # by point: months at whose end it holds water
LARGEST_AT = 8  # one number: the point that LARGEST belongs to
KNOWN, CONDENSES = 9, 10  # by month: saturation is laid out; water condenses on a dry build-up
OPEN = 11  # and 11 more, by joint: its slices are in the hull


@compiled
def new_scratch() -> tuple[Floats, Integers]:
    """Room for any stack that `monthly` lets through."""
    return (
        np.zeros((P + 12, MOST_POINTS), dtype=np.float64),
        np.zeros((OPEN + 12, MOST_POINTS), dtype=np.int64),
    )


@compiled
def cut(
    work: Floats, index: Integers, r: Floats, sd: Floats, row: int, slice_r: float
) -> tuple[int, int, int]:
    """Lay out the points; how many there are, how many joints, how many joints with slices."""
    points, joints, thick = 1, 1, 0
    work[PLACE, 0], work[DEPTH, 0], index[LAYER, 0], index[JOINT, 0] = 0.0, 0.0, 0, 0
    at_sd, at_r = 0.0, 0.0
    for k in range(r.shape[1]):
        r_k, sd_k = r[row, k], sd[row, k]
        if r_k == 0.0 and sd_k == 0.0:
            if index[LAYER, points - 1] == k:
                index[LAYER, points - 1] = k + 1
            continue
        slices = max(1, int(np.ceil(r_k / slice_r - 1e-9)))
        begun, step_sd, step_r = at_r, sd_k / slices, r_k / slices
        for _ in range(slices):
            at_sd += step_sd
            at_r += step_r
            # Faces at one place share a point, and the outer one's temperature.
            if at_sd - work[PLACE, points - 1] >= THINNEST_SD_M:
                work[PLACE, points], work[DEPTH, points], index[LAYER, points] = at_sd, at_r, k
                points += 1
        outer = index[JOINT, joints - 1]
        if outer == points - 1:
            if index[LAYER, outer] == k:
                index[LAYER, outer] = k + 1
            continue
        if points - outer > 2:
            index[THICK, thick] = joints - 1
            thick += 1
        index[UNEVEN, joints - 1] = int(work[DEPTH, outer] != begun or points - 1 - outer != slices)
        index[LAYER, points - 1], index[JOINT, joints] = k + 1, points - 1
        joints += 1
    if points == 1:  # nothing resists vapour: two surfaces and no interface
        work[PLACE, 1], work[DEPTH, 1] = 1.0, at_r
        index[LAYER, 1], index[JOINT, 1], index[UNEVEN, 0] = r.shape[1], 1, 0
        points, joints = 2, 2
    return points, joints, thick


@compiled
def meet_climate(
    work: Floats,
    index: Integers,
    climates: Floats,
    which: int,
    r_se: float,
    r_si: float,
    points: int,
    r_layers: float,
) -> None:
    """Temperatures, pressures at the surfaces and saturation at the colder one in every month.

    `climates` has shape (4, m, 12): outside °C and Pa, inside °C and Pa.
    """
    part = 1.0 / (r_se + r_layers + r_si)
    for month in range(12):
        t_out, t_in = climates[0, which, month], climates[2, which, month]
        per_r = (t_in - t_out) * part
        t = t_out + per_r * r_se
        work[WARM, month], work[RISE, month] = t, per_r
        work[COLDER, month] = saturation_pa(min(t, t + per_r * work[DEPTH, points - 1]))
        work[P + month, 0] = climates[1, which, month]
        work[P + month, points - 1] = climates[3, which, month]
        index[KNOWN, month] = 0


@compiled
def lay_out_saturation(
    work: Floats, index: Integers, month: int, points: int, joints: int, thick: int
) -> None:
    """Saturation at the joints in a month, all layers closed; only once a month."""
    if index[KNOWN, month]:
        return
    index[KNOWN, month] = 1
    last, t, per_r = points - 1, work[WARM, month], work[RISE, month]
    if thick > 0:
        for k in range(1, last):
            work[P + month, k] = _UNKNOWN_PA
    for j in range(1, joints - 1):
        k = index[JOINT, j]
        work[P + month, k] = saturation_pa(t + per_r * work[DEPTH, k])
    colder, other = SAT_OUT, SAT_IN
    t_other = t + per_r * work[DEPTH, last]
    if t_other < t:
        colder, other, t_other = SAT_IN, SAT_OUT, t
    work[colder, month], work[other, month] = work[COLDER, month], saturation_pa(t_other)
    for j in range(joints):
        index[OPEN + month, j] = 0
    for s in range(thick):
        if index[UNEVEN, index[THICK, s]]:  # the tangents would start from the wrong face
            open_layer(work, index, month, index[THICK, s], last)


@compiled
def saturation_at(work: Floats, month: int, point: int, last: int) -> float:
    """Saturation at any point; a slice's is computed when first asked for."""
    if point == 0:
        return float(work[SAT_OUT, month])
    if point == last:
        return float(work[SAT_IN, month])
    if work[P + month, point] < 0.0:
        t = work[WARM, month] + work[RISE, month] * work[DEPTH, point]
        work[P + month, point] = saturation_pa(t)
    return float(work[P + month, point])


@compiled
def open_layer(work: Floats, index: Integers, month: int, joint: int, last: int) -> None:
    """Let the slices inside a joint take part in the month's hull."""
    for k in range(index[JOINT, joint] + 1, index[JOINT, joint + 1]):
        saturation_at(work, month, k, last)
    index[OPEN + month, joint] = 1


@compiled
def tangent_pa_k(t: float, saturation: float) -> float:
    """Slope that saturation nowhere falls below on the warmer side of `t`."""
    if t >= 0.0:
        return float(saturation * 17.269 * 237.3 / (237.3 + t) ** 2)
    return float(min(saturation * 21.875 * 265.5 / (265.5 + t) ** 2, _SLOPE_AT_0))


@compiled
def surely_below(ta: float, tb: float, sat_a: float, sat_b: float, pa: float, pb: float) -> bool:
    """Whether a line from `pa` to `pb` stays below both tangents of saturation at its ends."""
    if ta > tb:
        ta, tb, sat_a, sat_b, pa, pb = tb, ta, sat_b, sat_a, pb, pa
    # The line often starts on saturation itself, and rounding may put it a hair above.
    sat_a, sat_b = sat_a * _HAIR, sat_b * _HAIR
    if not pa <= sat_a:
        return False
    if pb <= sat_a:
        return True
    rise, span = tangent_pa_k(ta, sat_a), tb - ta
    if pb <= sat_a + rise * span:
        return True
    if tb < _WARM_ENOUGH_C or not pb <= sat_b:
        return False
    steep = tangent_pa_k(tb, sat_b)
    if not steep > rise:
        return False
    cross = (sat_a - sat_b + steep * span) / (steep - rise)  # K above the colder end
    return 0.0 < cross < span and pa * span + (pb - pa) * cross <= (sat_a + rise * cross) * span


@compiled
def touches(
    work: Floats, index: Integers, month: int, joint: int, last: int, pa: float, pb: float
) -> bool:
    """Whether the line from `pa` to `pb` passes saturation at a slice inside a joint.

    Halves the layer where tangents cannot tell, so that few slices are computed.
    """
    a, b = index[JOINT, joint], index[JOINT, joint + 1]
    slope = (pb - pa) / (work[PLACE, b] - work[PLACE, a])
    index[WAITING, 0], index[WAITING, 1], size = a, b, 2
    while size > 0:
        low, high = index[WAITING, size - 2], index[WAITING, size - 1]
        size -= 2
        if high - low < 2:
            continue
        p_low = pa + slope * (work[PLACE, low] - work[PLACE, a])
        p_high = pa + slope * (work[PLACE, high] - work[PLACE, a])
        if surely_below(
            work[WARM, month] + work[RISE, month] * work[DEPTH, low],
            work[WARM, month] + work[RISE, month] * work[DEPTH, high],
            saturation_at(work, month, low, last),
            saturation_at(work, month, high, last),
            p_low,
            p_high,
        ):
            continue
        middle = (low + high) // 2
        p_middle = pa + slope * (work[PLACE, middle] - work[PLACE, a])
        if p_middle > saturation_at(work, month, middle, last):
            return True
        index[WAITING, size], index[WAITING, size + 1] = low, middle
        index[WAITING, size + 2], index[WAITING, size + 3] = middle, high
        size += 4
    return False


@compiled
def _below_tangent(
    work: Floats, index: Integers, month: int, points: int, joints: int, slope: float
) -> bool:
    """Whether the straight line stays below the tangent of saturation at the colder surface."""
    t, per_r, low = work[WARM, month], work[RISE, month], work[P + month, 0]
    cold = min(t, t + per_r * work[DEPTH, points - 1])
    floor = work[COLDER, month]
    rise = tangent_pa_k(cold, floor)
    for j in range(joints):
        k = index[JOINT, j]
        bound = floor + rise * (t + per_r * work[DEPTH, k] - cold)
        if low + slope * work[PLACE, k] > bound or (j < joints - 1 and index[UNEVEN, j]):
            return False
    return True


@compiled
def condenses_from_dry(
    work: Floats, index: Integers, month: int, points: int, joints: int, thick: int
) -> bool:
    """Whether the straight line between the surfaces passes saturation anywhere."""
    last = points - 1
    low, high = work[P + month, 0], work[P + month, last]
    if max(low, high) <= work[COLDER, month]:
        return False
    slope = (high - low) / work[PLACE, last]
    if _below_tangent(work, index, month, points, joints, slope):
        return False
    lay_out_saturation(work, index, month, points, joints, thick)
    for j in range(1, joints - 1):
        k = index[JOINT, j]
        if low + slope * work[PLACE, k] > work[P + month, k]:
            return True
    for s in range(thick):
        j = index[THICK, s]
        begin, end = index[JOINT, j], index[JOINT, j + 1]
        if index[OPEN + month, j]:
            for k in range(begin + 1, end):
                if low + slope * work[PLACE, k] > work[P + month, k]:
                    return True
        else:
            pa, pb = low + slope * work[PLACE, begin], low + slope * work[PLACE, end]
            if touches(work, index, month, j, last, pa, pb):
                return True
    return False
