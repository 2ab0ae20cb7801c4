"""One month of the monthly method: the taut line of vapour pressure, and what it stores.

`monthly_stack` says what the rows of the scratch tables `work` and `index` hold.
"""

from triage.physics.compiled import compiled
from triage.physics.monthly_stack import (
    FIRST_RATE,
    JOINT,
    KEPT,
    LARGEST,
    LARGEST_AT,
    MEAN,
    MONTHS_WET,
    OPEN,
    PLACE,
    RATE,
    STORE,
    THICK,
    WET,
    Floats,
    Integers,
    P,
    lay_out_saturation,
    open_layer,
    touches,
)
from triage.physics.vapour import DELTA0_KG_M_S_PA, MONTH_SECONDS

_GONE_G_M2 = 1e-6  # a store of no more is dry
_MONTH_S = MONTH_SECONDS
_G_PER_PA = 1000.0 * DELTA0_KG_M_S_PA  # g/(m·s·Pa)


@compiled
def _candidates(index: Integers, month: int, joints: int) -> int:
    """Points that the line may touch, the joints and the slices of open layers, into KEPT."""
    size = 1
    index[KEPT, 0] = 0
    for j in range(1, joints):
        if index[OPEN + month, j - 1]:
            for k in range(index[JOINT, j - 1] + 1, index[JOINT, j]):
                index[KEPT, size] = k
                size += 1
        index[KEPT, size] = index[JOINT, j]
        size += 1
    return size


@compiled
def _hull(work: Floats, index: Integers, month: int, count: int) -> int:
    """Leave in KEPT, of the `count` points there, the lower convex hull through every wet one.

    When a point has run dry, the vertices it held apart are candidates enough: what is off the
    hull of one stretch is off the hull of any wider one.
    """
    p, size = P + month, 1
    x_a = p_a = 0.0  # the vertex before the last
    x_b, p_b, held = work[PLACE, 0], work[p, 0], 1.0  # the last vertex
    for i in range(1, count):
        k = index[KEPT, i]
        x, p_k = work[PLACE, k], work[p, k]
        while held <= 0.0 and (p_b - p_a) * (x - x_b) >= (p_k - p_b) * (x_b - x_a):
            size -= 1
            x_b, p_b = x_a, p_a
            held = 1.0 if size == 1 else work[STORE, index[KEPT, size - 1]]
            if size > 1:
                x_a, p_a = work[PLACE, index[KEPT, size - 2]], work[p, index[KEPT, size - 2]]
        index[KEPT, size] = k
        size += 1
        x_a, p_a, x_b, p_b, held = x_b, p_b, x, p_k, work[STORE, k]
    return size


@compiled
def _opened(work: Floats, index: Integers, month: int, points: int, thick: int) -> bool:
    """Open the layers in which the hull passes saturation at a slice; whether there were any."""
    p, v, any_opened = P + month, 1, False
    for s in range(thick):
        j = index[THICK, s]
        if index[OPEN + month, j]:
            continue
        a, b = index[JOINT, j], index[JOINT, j + 1]
        while index[KEPT, v] <= a:
            v += 1
        # Over a closed layer the line is straight.
        left, right = index[KEPT, v - 1], index[KEPT, v]
        low, start = work[p, left], work[PLACE, left]
        slope = (work[p, right] - low) / (work[PLACE, right] - start)
        pa = low + slope * (work[PLACE, a] - start)
        pb = low + slope * (work[PLACE, b] - start)
        if touches(work, index, month, j, points - 1, pa, pb):
            open_layer(work, index, month, j, points - 1)
            any_opened = True
    return any_opened


@compiled
def _until_dry(work: Floats, index: Integers, month: int, size: int, left: float) -> float:
    """Rates at the hull's vertices, and the share of the month until one of them runs dry.

    RATE takes what each vertex would gain in a whole month, in g/m². `left` is the share that is
    left of the month, and the answer where none runs dry.
    """
    p, share = P + month, left
    per_slope = _G_PER_PA * _MONTH_S[month]
    outward = 0.0
    for v in range(1, size):
        c, b = index[KEPT, v - 1], index[KEPT, v]
        inward = (work[p, b] - work[p, c]) / (work[PLACE, b] - work[PLACE, c])
        if v > 1:
            rate = per_slope * (inward - outward)
            work[RATE, c] = rate
            if work[STORE, c] > 0.0 and work[STORE, c] + rate * share < 0.0:
                share = -work[STORE, c] / rate
        outward = inward
    return share


@compiled
def _store(work: Floats, index: Integers, size: int, share: float, ends: bool) -> float:
    """Advance the stores by a share of the month; what they hold together, in g/m².

    What the next to nothing of a store is left with is dropped, at once where it is drying and
    else when the month ends.
    """
    total = 0.0
    for v in range(1, size - 1):
        c = index[KEPT, v]
        held = work[STORE, c] + work[RATE, c] * share
        if held <= _GONE_G_M2 and (ends or work[RATE, c] <= 0.0):
            held = 0.0
        work[STORE, c] = held
        total += held
    return total


@compiled
def advance_month(
    work: Floats,
    index: Integers,
    month: int,
    points: int,
    joints: int,
    thick: int,
    begin: int,
    end: int,
) -> float:
    """Advance the stores by one month, from one moment at which a point runs dry to the next.

    MEAN takes the month's mean pressure of the points from `begin` to before `end`, FIRST_RATE
    the rate of each vertex when the month begins. Returns the water in all stores, -1 if the
    moments do not come to an end.
    """
    lay_out_saturation(work, index, month, points, joints, thick)
    for s in range(thick):
        if index[WET, index[THICK, s]]:
            open_layer(work, index, month, index[THICK, s], points - 1)
    size = _hull(work, index, month, _candidates(index, month, joints))
    while _opened(work, index, month, points, thick):
        size = _hull(work, index, month, _candidates(index, month, joints))
    left, share, total, moments = 1.0, 0.0, 0.0, 0
    while left > 0.0:
        # Pressure only falls when a point has run dry, so closed layers stay below saturation.
        if moments > 0:
            size = _hull(work, index, month, size)
        share = _until_dry(work, index, month, size, left)
        if moments == 0:
            for v in range(1, size - 1):
                work[FIRST_RATE, index[KEPT, v]] = work[RATE, index[KEPT, v]]
        total = _store(work, index, size, share, share >= left)
        add_pressure(work, index, month, size, share, begin, end, moments == 0)
        left -= share
        moments += 1
        if moments > 2 * points:
            return -1.0
    _mark_wet(work, index, month, size, thick)
    return total


@compiled
def _mark_wet(work: Floats, index: Integers, month: int, size: int, thick: int) -> None:
    """Note the points, and the layers by their slices, that hold water when the month ends."""
    for v in range(1, size - 1):
        k = index[KEPT, v]
        if work[STORE, k] > 0.0:
            index[MONTHS_WET, k] += 1
            if work[STORE, k] > work[LARGEST, 0]:
                work[LARGEST, 0], index[LARGEST_AT, 0] = work[STORE, k], k
    for s in range(thick):
        j = index[THICK, s]
        index[WET, j] = 0
        if index[OPEN + month, j]:
            for k in range(index[JOINT, j] + 1, index[JOINT, j + 1]):
                if work[STORE, k] > 0.0:
                    index[WET, j] = 1


@compiled
def add_pressure(
    work: Floats,
    index: Integers,
    month: int,
    size: int,
    share: float,
    begin: int,
    end: int,
    first: bool,
) -> None:
    """Add a share of the month to the mean pressure of points, on the line between vertices."""
    p, v = P + month, 1
    for k in range(begin, end):
        while v < size - 1 and index[KEPT, v] < k:
            v += 1
        a, b = index[KEPT, v - 1], index[KEPT, v]
        part = (work[PLACE, k] - work[PLACE, a]) / (work[PLACE, b] - work[PLACE, a])
        now = share * (work[p, a] + part * (work[p, b] - work[p, a]))
        work[MEAN, k] = now if first else work[MEAN, k] + now
