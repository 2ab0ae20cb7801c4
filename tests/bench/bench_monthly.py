"""How fast the monthly kernel is: ``python tests/bench/bench_monthly.py [cases]``.

Three things run interleaved in one process on the same build-ups: the kernel, the same calculation
in NumPy vector code, and a compiled loop that only takes the exponentials of the method, one for
every interface and slice in every month. The kernel does without those of slices that cannot
matter. NumPy takes seconds, so the three share the first build-ups only; the kernel and the
exponentials then run on all of them. Printed are medians over rounds, per-round ratios with their
range, and how far the two answers are apart. Compile time is told apart. Nothing is asserted about
time.
"""

import sys
from collections.abc import Callable
from dataclasses import dataclass
from statistics import median
from time import perf_counter

import numba
import numpy as np
from numpy.typing import NDArray

from triage.physics import compiled
from triage.physics.monthly import SLICE_R_M2K_W, Boundaries, CondensationYear, condensation_year
from triage.physics.vapour import DELTA0_KG_M_S_PA, MONTH_SECONDS, saturation_pressure_pa

Floats = NDArray[np.float64]
Integers = NDArray[np.int64]
ROUNDS, CLIMATES, BATCH = 5, 60, 4096
SHARED = 2 * BATCH
"""Build-ups that all three solve."""


@dataclass
class Stock:
    """Build-ups with their climates."""

    r: Floats
    sd: Floats
    edges: Boundaries
    which: Integers

    def __len__(self) -> int:
        return len(self.r)

    def part(self, rows: slice) -> "Stock":
        return Stock(self.r[rows], self.sd[rows], self.edges, self.which[rows])


def climates(rng: np.random.Generator) -> Boundaries:
    """Cold to hot, dry to damp; humid to very humid homes."""
    wave = np.cos(2 * np.pi * (np.arange(12) - 0.5) / 12)
    mean, swing = rng.uniform(-2, 24, (CLIMATES, 1)), rng.uniform(5, 14, (CLIMATES, 1))
    t_out = mean - swing * wave
    p_out = saturation_pressure_pa(t_out) * rng.uniform(0.55, 0.85, (CLIMATES, 1))
    t_in = np.full(t_out.shape, 20.0)
    excess = rng.choice([540.0, 810.0, 1080.0], (CLIMATES, 1)) * np.clip((20 - t_out) / 20, 0, 1)
    return Boundaries(t_out, p_out, t_in, np.minimum(p_out + excess, 2220.0))


def stock(count: int) -> Stock:
    """Eight slots as of a roof or wall: cover, underlay, deck, foam, wool, wool, control, lining.

    A third of the slots is not used; half of the covers are ventilated, so open to vapour.
    """
    rng = np.random.default_rng(42)
    r = np.zeros((count, 8))
    sd = np.zeros((count, 8))
    r[:, 0], sd[:, 0] = 0.02, rng.choice([0.01, 0.05, 0.5, 2.0, 20.0], count)
    sd[:, 1] = rng.choice([0.0, 0.02, 0.2, 0.5, 3.0], count)
    r[:, 2], sd[:, 2] = rng.choice([0.0, 0.1, 0.15, 0.3], count), rng.uniform(0.3, 3.0, count)
    for slot, (r_high, sd_high) in enumerate(((4.0, 8.0), (4.0, 0.2), (5.0, 0.3)), start=3):
        share = np.where(rng.random(count) < 0.45, rng.uniform(0.2, 1.0, count), 0.0)
        r[:, slot], sd[:, slot] = r_high * share, sd_high * share
    sd[:, 6] = rng.choice([0.0, 2.0, 2.0, 10.0, 50.0], count)
    r[:, 7], sd[:, 7] = 0.06, 0.13
    return Stock(r, sd, climates(rng), rng.integers(0, CLIMATES, count))


def surfaces(homes: Stock) -> tuple[Floats, Floats]:
    return np.full(len(homes), 0.04), np.full(len(homes), 0.10)


def solve(homes: Stock) -> CondensationYear:
    none = np.full(len(homes), -1)
    return condensation_year(homes.r, homes.sd, *surfaces(homes), none, homes.edges, homes.which)


def by_kernel(homes: Stock) -> Floats:
    """Stores at the end of each month, g/m²."""
    return solve(homes).condensate_g_m2


def inner_points(homes: Stock) -> Integers:
    """Interfaces and slices of each build-up, surfaces left out."""
    there = (homes.r > 0) | (homes.sd > 0)
    return np.where(there, slices(homes), 0).sum(axis=1) - 1


def slices(homes: Stock) -> Integers:
    return np.maximum(1, np.ceil(homes.r / SLICE_R_M2K_W - 1e-9)).astype(np.int64)


@numba.njit(parallel=True, error_model="numpy")
def exponentials(points: Integers, start: Floats, sums: Floats) -> None:
    """A saturation pressure for every interface and slice in every month, and nothing else."""
    for i in numba.prange(len(points)):
        total = 0.0
        for month in range(12):
            for k in range(points[i]):
                total += compiled.saturation_pa(start[i] + 0.5 * k + month)
        sums[i] = total


def by_numpy(homes: Stock) -> Floats:
    """The kernel's calculation on whole arrays, in batches that stay in the cache."""
    parts = [homes.part(slice(at, at + BATCH)) for at in range(0, len(homes), BATCH)]
    return np.concatenate([numpy_batch(part) for part in parts])


def numpy_batch(homes: Stock) -> Floats:
    place, depth, used = numpy_nodes(homes)
    edge, rows = homes.edges, homes.which
    whole = homes.r.sum(axis=1)
    share = (0.04 + depth) / (0.14 + whole)[:, np.newaxis]
    span = (edge.t_in_c - edge.t_out_c)[rows]
    t = edge.t_out_c[rows][:, :, np.newaxis] + span[:, :, np.newaxis] * share[:, np.newaxis, :]
    p = saturation_pressure_pa(t)
    p_out, p_in = edge.p_out_pa[rows], edge.p_in_pa[rows]
    line = (place / place[:, -1:])[:, np.newaxis, :]
    over = (p_out[:, :, np.newaxis] + (p_in - p_out)[:, :, np.newaxis] * line > p) & used[
        :, np.newaxis, :
    ]
    p[:, :, 0], p[:, :, -1] = p_out, p_in
    begins = over[:, :, 1:-1].any(axis=2)
    stores = np.zeros(p_out.shape)
    wet = np.flatnonzero(begins.any(axis=1))  # the others stay dry all year
    first = np.argmax(begins[wet] & ~np.roll(begins[wet], 1, axis=1), axis=1)
    stores[wet] = numpy_years(place[wet], p[wet], used[wet], first)
    return stores


def numpy_nodes(homes: Stock) -> tuple[Floats, Floats, NDArray[np.bool_]]:
    """Interfaces of each row, padded to the longest: place in sd, depth in R, whether in use."""
    pieces = slices(homes)
    count = pieces.sum(axis=1)
    shape = (len(homes), count.max() + 1)
    filled = np.arange(shape[1] - 1) < count[:, np.newaxis]
    place, depth = np.zeros(shape), np.zeros(shape)
    for values, target in ((homes.sd, place), (homes.r, depth)):
        steps = np.zeros(filled.shape)
        steps[filled] = np.repeat((values / pieces).ravel(), pieces.ravel())
        target[:, 1:] = np.cumsum(steps, axis=1)
    used = np.diff(place, axis=1, prepend=0.0) > 1e-6
    used &= place < place[:, -1:] - 1e-6
    used[:, 0] = used[:, -1] = True
    return place, depth, used


def numpy_years(place: Floats, p: Floats, used: NDArray[np.bool_], first: Integers) -> Floats:
    """A year from dry; those that end wet run another, which stands if it ends the same."""
    store = np.zeros(place.shape)
    totals = numpy_year(place, p, used, first, store)
    left = store.sum(axis=1)
    again = np.flatnonzero(left > 1e-6)
    second = store[again]
    repeated = numpy_year(place[again], p[again], used[again], first[again], second)
    same = np.abs(second.sum(axis=1) - left[again]) <= 1e-6 + 1e-9 * left[again]
    totals[again[same]] = repeated[same]
    return totals


def numpy_year(
    place: Floats, p: Floats, used: NDArray[np.bool_], first: Integers, store: Floats
) -> Floats:
    rows = np.arange(len(place))
    totals = np.zeros((len(place), 12))
    for step in range(12):
        month = (first + step) % 12
        left, live = np.ones(len(place)), rows
        while len(live):  # until the next store runs dry, or to the month's end
            now = p[live, month[live]]
            held = store[live]
            kept, size = numpy_hull(place[live], now, used[live], held > 1e-6)
            rates = numpy_rates(place[live], now, kept, size, MONTH_SECONDS[month[live]])
            dries = (held > 0) & (held + rates * left[live, np.newaxis] < 0)
            lasts = np.divide(held, -rates, out=np.full(held.shape, np.inf), where=dries)
            share = np.minimum(left[live], lasts.min(axis=1))
            held = held + rates * share[:, np.newaxis]
            over = (share >= left[live])[:, np.newaxis]
            held[(held <= 1e-6) & (over | (rates <= 0))] = 0.0
            store[live] = held
            left[live] -= share
            live = live[left[live] > 0]
        totals[rows, month] = store.sum(axis=1)
    return totals


def numpy_hull(
    place: Floats, p: Floats, used: NDArray[np.bool_], forced: NDArray[np.bool_]
) -> tuple[Integers, Integers]:
    """The hull's vertices of every row, by the same stack, all rows in step."""
    count, points = place.shape
    rows = np.arange(count)
    kept, size = np.zeros((count, points), dtype=np.int64), np.ones(count, dtype=np.int64)
    for k in range(1, points):
        live = rows[used[:, k]]
        while len(live):
            live = live[size[live] >= 2]
            b, a = kept[live, size[live] - 1], kept[live, size[live] - 2]
            rise = (p[live, b] - p[live, a]) * (place[live, k] - place[live, b])
            pop = rise >= (p[live, k] - p[live, b]) * (place[live, b] - place[live, a])
            live = live[pop & ~forced[live, b]]
            size[live] -= 1
        put = rows[used[:, k]]
        kept[put, size[put]] = k
        size[put] += 1
    return kept, size


def numpy_rates(
    place: Floats, p: Floats, kept: Integers, size: Integers, seconds: Floats
) -> Floats:
    rows, gain = np.arange(len(place)), np.zeros(place.shape)
    for v in range(1, int(size.max()) - 1):
        has = rows[size > v + 1]
        a, c, b = kept[has, v - 1], kept[has, v], kept[has, v + 1]
        inward = (p[has, b] - p[has, c]) / (place[has, b] - place[has, c])
        outward = (p[has, c] - p[has, a]) / (place[has, c] - place[has, a])
        gain[has, c] = 1000 * DELTA0_KG_M_S_PA * (inward - outward) * seconds[has]
    return gain


Cases = dict[str, Callable[[], object]]


def cases(homes: Stock) -> Cases:
    """The kernel and the exponentials of the same build-ups."""
    count = len(homes)
    points, start, sums = inner_points(homes), np.full(count, -8.0), np.empty(count)
    return {
        f"kernel, {count}": lambda: by_kernel(homes),
        f"exponentials, {count}": lambda: exponentials(points, start, sums),
    }


def timed(todo: Cases) -> dict[str, list[float]]:
    """Seconds of each in every round, all of them once a round."""
    spent: dict[str, list[float]] = {name: [] for name in todo}
    for _ in range(ROUNDS):
        for name, case in todo.items():
            begun = perf_counter()
            case()
            spent[name].append(perf_counter() - begun)
    return spent


def told(name: str, over: list[float], under: list[float]) -> str:
    ratios = [a / b for a, b in zip(over, under, strict=True)]
    return f"{name:52} {median(ratios):6.2f}  ({min(ratios):.2f} to {max(ratios):.2f})\n"


def main() -> None:
    """Run all three and print them."""
    count = int(sys.argv[1]) if len(sys.argv) > 1 else 20_000
    sys.stdout.write(f"compiling, or loading from disk: {compiled.warm_up():.2f} s\n")
    homes = stock(count)
    shared = homes.part(slice(SHARED))
    todo: Cases = cases(shared) | {"NumPy": lambda: by_numpy(shared)} | cases(homes)
    for case in cases(homes).values():  # compiles the loop of exponentials
        case()
    spent = timed(todo)
    points, threads = inner_points(homes).mean(), numba.get_num_threads()
    sys.stdout.write(f"{count} cases, {points:.1f} interfaces each, {threads} threads\n")
    verdicts = np.bincount(solve(homes).verdict, minlength=3) / count
    sys.stdout.write("dry, dries, builds up: " + ", ".join(f"{v:.0%}" for v in verdicts) + "\n")
    for name, seconds in spent.items():
        sys.stdout.write(f"{name:24} {median(seconds):8.4f} s\n")
    few = len(shared)
    kernel, numpy = spent[f"kernel, {few}"], spent["NumPy"]
    sys.stdout.write(told(f"NumPy takes, in times of the kernel, {few}", numpy, kernel))
    for size in dict.fromkeys((few, count)):
        kernel, alone = spent[f"kernel, {size}"], spent[f"exponentials, {size}"]
        title = f"the kernel takes, in times of exponentials, {size}"
        sys.stdout.write(told(title, kernel, alone))
    apart = np.abs(by_kernel(shared) - by_numpy(shared)).max()
    sys.stdout.write(f"largest difference between the two: {apart:.1e} g/m²\n")


if __name__ == "__main__":
    main()
