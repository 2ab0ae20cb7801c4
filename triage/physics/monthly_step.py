"""One month of the monthly method: the taut line of vapour pressure, and what it stores.

`monthly_stack` says what the rows of the scratch tables `work` and `index` hold.
"""

from triage.physics.compiled import compiled
from triage.physics.monthly_stack import (
    JOINT,
    KEPT,
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
    open_layer,
    touches,
)
from triage.physics.vapour import DELTA0_KG_M_S_PA, MONTH_SECONDS

_GONE_G_M2 = 1e-6  # a store of no more is dry
_MONTH_S = MONTH_SECONDS
_G_PER_PA = 1000.0 * DELTA0_KG_M_S_PA  # g/(m·s·Pa)


@compiled
def _hull(work: Floats, index: Integers, month: int, joints: int) -> int:
    """Vertices of the lower convex hull that passes through every wet point, into KEPT."""
    p, size = P + month, 1
    index[KEPT, 0] = 0
    x_a = p_a = 0.0  # the vertex before the last
    x_b, p_b, held = work[PLACE, 0], work[p, 0], 1.0  # the last vertex
    for j in range(1, joints):
        k = end = index[JOINT, j]
        if index[OPEN + month, j - 1]:
            k = index[JOINT, j - 1] + 1
        while k <= end:
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
            k += 1
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
def advance_month(
    work: Floats, index: Integers, month: int, points: int, joints: int, thick: int
) -> tuple[int, float]:
    """Advance the stores by one month; RATE is what each vertex would gain, in g/m².

    Returns the number of vertices and the water in all stores.
    """
    for s in range(thick):
        if index[WET, index[THICK, s]]:
            open_layer(work, index, month, index[THICK, s], points - 1)
    size = _hull(work, index, month, joints)
    while _opened(work, index, month, points, thick):
        size = _hull(work, index, month, joints)
    p, total = P + month, 0.0
    outward = 0.0
    for v in range(1, size):
        c, b = index[KEPT, v - 1], index[KEPT, v]
        inward = (work[p, b] - work[p, c]) / (work[PLACE, b] - work[PLACE, c])
        if v > 1:
            work[RATE, c] = _G_PER_PA * (inward - outward) * _MONTH_S[month]
            held = work[STORE, c] + work[RATE, c]
            work[STORE, c] = held if held > _GONE_G_M2 else 0.0
            index[MONTHS_WET, c] += int(work[STORE, c] > 0.0)
            total += work[STORE, c]
        outward = inward
    for s in range(thick):
        j = index[THICK, s]
        index[WET, j] = 0
        if index[OPEN + month, j]:
            for k in range(index[JOINT, j] + 1, index[JOINT, j + 1]):
                if work[STORE, k] > 0.0:
                    index[WET, j] = 1
    return size, total


@compiled
def pressure_at(work: Floats, index: Integers, month: int, size: int, point: int) -> float:
    """Vapour pressure at a point, on the line between the vertices around it."""
    p, v = P + month, 1
    while v < size - 1 and index[KEPT, v] < point:
        v += 1
    a, b = index[KEPT, v - 1], index[KEPT, v]
    part = (work[PLACE, point] - work[PLACE, a]) / (work[PLACE, b] - work[PLACE, a])
    return float(work[p, a] + part * (work[p, b] - work[p, a]))
