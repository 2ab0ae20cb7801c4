"""Homes on a map: single marks where there is room, counted rings where there is not."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from matplotlib.axes import Axes
from matplotlib.collections import PatchCollection
from matplotlib.patches import Circle, Wedge
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from triage.report.map_frame import INK, Floats, View

Ints = NDArray[np.int64]

HEXAGON_IN = 0.62  # distance between opposite sides
MARK_IN = 0.115  # width of a single mark
_RING_IN = (0.155, 0.29)  # outer radius of the smallest and the largest ring; fits the hexagon
_HOLE = 0.60  # share of the radius


@dataclass(frozen=True, slots=True)
class MarkClass:
    """One class of homes: its value in the table, its words and its looks."""

    key: str
    title: str
    fill: str
    marker: str
    hatch: str


@dataclass(frozen=True, slots=True)
class Spots:
    """Homes in sight: place [m], number of the class, and the extra flag."""

    x: Floats
    y: Floats
    kind: Ints
    flag: NDArray[np.bool_]


@dataclass(frozen=True, slots=True)
class Marks:
    """What is to be drawn.

    single: index of every home drawn on its own
    centres: (n, 2) middles of the rings [m]; counts: (n, classes) homes in each ring
    flagged: (n,) whether a ring holds a home that carries the extra flag
    """

    single: Ints
    centres: Floats
    counts: Ints
    flagged: NDArray[np.bool_]


def hexagons(x: Floats, y: Floats, size: float) -> tuple[Ints, Ints]:
    """Column and row of the hexagon that holds each point.

    `size` is the distance between opposite sides. [same unit as x and y]
    Axial coordinates rounded in cube space; the middle of (q, r) is
    (size * (q + r / 2), size * sqrt(3) / 2 * r).
    """
    r = y / (size * np.sqrt(3) / 2)
    q = x / size - r / 2
    s = -q - r
    rq, rr, rs = np.round(q), np.round(r), np.round(s)
    dq, dr, ds = abs(rq - q), abs(rr - r), abs(rs - s)
    fix_q = (dq > dr) & (dq > ds)
    fix_r = ~fix_q & (dr > ds)
    rq = np.where(fix_q, -rr - rs, rq)
    rr = np.where(fix_r, -rq - rs, rr)
    return rq.astype(np.int64), rr.astype(np.int64)


def arrange(view: View, homes: Spots, classes: int) -> Marks:
    """Decide which homes stand alone and which are counted in rings.

    A hexagon with several homes becomes a ring as soon as one of its marks would touch another.
    The answer does not depend on the order of the homes.
    """
    if not homes.x.size:
        empty = np.zeros(0, dtype=np.int64)
        counts = np.zeros((0, classes), dtype=np.int64)
        return Marks(empty, np.zeros((0, 2)), counts, np.zeros(0, dtype=np.bool_))
    q, r = hexagons(homes.x, homes.y, HEXAGON_IN * view.metres_per_inch)
    cells, cell_of = np.unique(np.column_stack([q, r]), axis=0, return_inverse=True)
    cell_of = cell_of.reshape(-1)
    counts = np.zeros((len(cells), classes), dtype=np.int64)
    np.add.at(counts, (cell_of, homes.kind), 1)
    crowded = _crowded(homes.x, homes.y, MARK_IN * view.metres_per_inch)
    touching = np.bincount(cell_of, weights=crowded, minlength=len(cells)) > 0
    ring = touching & (counts.sum(axis=1) > 1)
    flagged = np.bincount(cell_of, weights=homes.flag, minlength=len(cells)) > 0
    centres = _centres(homes, cells, cell_of, view.metres_per_inch)
    single = np.flatnonzero(~ring[cell_of])
    return Marks(single, centres[ring], counts[ring], flagged[ring])


def _crowded(x: Floats, y: Floats, reach: float) -> Floats:
    """1 for a home whose nearest neighbour is within reach, else 0."""
    if x.size < 2:
        return np.zeros(x.size)
    distance, _ = cKDTree(np.column_stack([x, y])).query(np.column_stack([x, y]), k=2)
    near: Floats = (distance[:, 1] < reach).astype(np.float64)
    return near


def ring_radius(homes: Ints, largest: int) -> Floats:
    """Outer radius of a ring, in inches: grows with the logarithm of its homes."""
    low, high = _RING_IN
    part = np.log1p(homes) / np.log1p(max(largest, 100))
    radius: Floats = low + (high - low) * np.clip(part, 0, 1)
    return radius


def _centres(homes: Spots, cells: Ints, cell_of: Ints, scale: float) -> Floats:
    """Middle of the homes of a hexagon, kept so far inside that no two rings can touch."""
    size, amount = HEXAGON_IN * scale, len(cells)
    count = np.bincount(cell_of, minlength=amount)
    middle_x = size * (cells[:, 0] + cells[:, 1] / 2)
    middle_y = size * np.sqrt(3) / 2 * cells[:, 1]
    shift_x = np.bincount(cell_of, weights=homes.x, minlength=amount) / count - middle_x
    shift_y = np.bincount(cell_of, weights=homes.y, minlength=amount) / count - middle_y
    room = size / 2 - ring_radius(count, int(count.max())) * scale
    length = np.maximum(np.hypot(shift_x, shift_y), 1e-9)
    keep = np.minimum(1.0, np.maximum(room, 0) / length)
    centres: Floats = np.column_stack([middle_x + shift_x * keep, middle_y + shift_y * keep])
    return centres


def draw_single(view: View, homes: Spots, chosen: Ints, classes: Sequence[MarkClass]) -> None:
    """Draw homes one by one; the rarest class comes last and so stays in sight."""
    area = (MARK_IN * 72) ** 2
    kind = homes.kind[chosen]
    for place in np.argsort(-np.bincount(kind, minlength=len(classes)), kind="stable"):
        shown, look = chosen[kind == place], classes[place]
        view.axes.scatter(
            homes.x[shown],
            homes.y[shown],
            s=area,
            marker=look.marker,
            facecolor=look.fill,
            edgecolor=INK,
            linewidth=0.7,
            zorder=9,
        )
    reach = 0.9 * MARK_IN * view.metres_per_inch
    for index in chosen[homes.flag[chosen]]:
        dash_ring(view.axes, np.array([homes.x[index], homes.y[index]]), reach)


def draw_rings(view: View, marks: Marks, classes: Sequence[MarkClass]) -> None:
    """Draw the counted rings: parts in the share of each class, the count in the middle."""
    homes = marks.counts.sum(axis=1)
    largest = int(homes.max()) if homes.size else 0
    radii = ring_radius(homes, largest) * view.metres_per_inch
    for centre, radius, counts, flagged in zip(
        marks.centres, radii, marks.counts, marks.flagged, strict=True
    ):
        draw_ring(view.axes, centre, float(radius), counts, classes)
        if flagged:
            dash_ring(view.axes, centre, float(radius) * 1.09)


def draw_ring(
    axes: Axes,
    centre: Floats,
    radius: float,
    counts: Ints,
    classes: Sequence[MarkClass],
    *,
    text: str | None = None,
) -> None:
    """Draw one ring, clockwise from the top in the order of the classes."""
    ends = 90 - 360 * np.cumsum(counts) / counts.sum()
    starts = np.concatenate([[90.0], ends[:-1]])
    x, y = float(centre[0]), float(centre[1])
    for look, count, start, end in zip(classes, counts, starts, ends, strict=True):
        if count:
            part = Wedge((x, y), radius, end, start, width=radius * (1 - _HOLE))
            axes.add_collection(
                PatchCollection(
                    [part],
                    facecolor=look.fill,
                    edgecolor="white",
                    hatch=look.hatch or None,
                    linewidth=0.6,
                    zorder=6,
                )
            )
    axes.add_patch(Circle((x, y), radius * _HOLE, fc="white", ec=INK, lw=0.6, zorder=7))
    axes.add_patch(Circle((x, y), radius, fc="none", ec=INK, lw=0.8, zorder=7))
    axes.annotate(
        short_count(int(counts.sum())) if text is None else text,
        (x, y),
        ha="center",
        va="center_baseline",
        fontsize=8,
        color=INK,
        zorder=8,
    )


def dash_ring(axes: Axes, centre: Floats, radius: float) -> None:
    """Dashed circle around a mark: homes near the cold line."""
    where = (float(centre[0]), float(centre[1]))
    axes.add_patch(Circle(where, radius, fc="none", ec=INK, lw=1.3, ls=(0, (2, 1.4)), zorder=9))


def short_count(count: int) -> str:
    """Count in at most four characters: 999, 1.2k, 12k."""
    if count < 1_000:
        return str(count)
    return f"{count / 1000:.1f}k" if count < 9_950 else f"{round(count / 1000)}k"
