"""Monthly condensation and drying by the method of ISO 13788, for many build-ups at once.

Month by month and in steady state, vapour diffuses through the layers; where its pressure would
pass saturation it condenses, and what is stored at an interface dries again. Several interfaces
can be wet at a time. The method leaves out air leakage, rain, storage in the materials and
liquid flow, so its answer means something only where those do not govern.

The standard sets a store to zero that would go below it within a month. Doing so at the month's
end would credit a whole month of its drying to the interfaces beside it, and water would appear
that never entered. Here a month is advanced only to the earliest moment at which a wet interface
runs dry; its store is zero from there on, the line of vapour pressure is drawn anew, and so on to
the month's end. So what diffuses in through both surfaces is what the stores gain, in every month,
and a month in which nothing runs dry is the standard's. The rates of a month are constant between
such moments; each of them dries an interface that cannot get wet again within the month, because
pressure only falls when one dries. A build-up whose months do not come to an end is refused.

References
----------
ISO 13788:2012, sections 5 and 6, from memory (MEMORY); the lower convex hull is the taut line of
its graphical procedure.
"""

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from triage.physics.monthly_kernel import MOST_POINTS, UNFINISHED, solve_many, solve_one

Floats = NDArray[np.float64]
Small = NDArray[np.int8]
SLICE_R_M2K_W = 0.25
"""Layers of more resistance are cut into equal slices of at most this. [m²K/W] MEMORY"""

NO_CONDENSATION, DRIES, ACCUMULATES = 0, 1, 2
VERDICTS = ("no condensation", "condensation that dries within the year", "builds up every year")


@dataclass(frozen=True, slots=True)
class Boundaries:
    """Monthly climates on both sides in °C and Pa, each of shape (m, 12), January first.

    Raises
    ------
    ValueError
        If the tables differ in shape, or a month is missing, holds no number, or lies outside
        -90 to 90 °C or 0 to 70 kPa.
    """

    t_out_c: Floats
    p_out_pa: Floats
    t_in_c: Floats
    p_in_pa: Floats

    def __post_init__(self) -> None:
        for name in ("t_out_c", "p_out_pa", "t_in_c", "p_in_pa"):
            values = np.ascontiguousarray(getattr(self, name), dtype=np.float64)
            if values.ndim != 2 or values.shape[1] != 12 or not np.isfinite(values).all():
                raise ValueError(f"{name} needs twelve known months in every row")
            low, high = (-90.0, 90.0) if name.startswith("t_") else (0.0, 70_000.0)
            if not ((values >= low) & (values <= high)).all():
                raise ValueError(f"{name} must lie between {low:g} and {high:g}")
            if len(values) != len(self.t_out_c):
                raise ValueError(f"{name} has {len(values)} rows, t_out_c {len(self.t_out_c)}")
            object.__setattr__(self, name, values)  # one layout, so kernels compile once

    def rows(self, which: NDArray[np.integer[Any]], count: int) -> NDArray[np.int64]:
        """Row of each of `count` cases, checked: kernels do not look."""
        rows = np.ascontiguousarray(which, dtype=np.int64)
        if rows.shape != (count,):
            raise ValueError(f"which has shape {rows.shape}, for {count} cases")
        if count and not (rows.min() >= 0 and rows.max() < len(self.t_out_c)):
            raise ValueError(
                f"which must name rows of the boundaries, 0 to {len(self.t_out_c) - 1}"
            )
        return rows

    def table(self) -> Floats:
        """All four in the order of the fields, shape (4, m, 12), as kernels read them."""
        return np.stack([self.t_out_c, self.p_out_pa, self.t_in_c, self.p_in_pa])


@dataclass(frozen=True, slots=True)
class CondensationYear:
    """What the year does in each of n cases.

    `verdict` is 0 none, 1 dries within the year, 2 builds up. Months are 0 to 11, -1 for none;
    interfaces count from 0 at the outer surface: interface i lies between layers i - 1 and i,
    and the inside of a thick layer counts as its outer face.
    `dry_month` is the first after the peak at whose end all is gone; `residual_g_m2` is what a
    year that builds up leaves behind, 0 otherwise. `at_interface` holds the largest store, -1 for
    none; it is named by the layer just inside it that is there.
    `condensate_g_m2` is the store at the end of each month, all interfaces together; `watch_…`
    are temperature, mean vapour pressure of the month and saturation pressure at the watched
    interface.
    """

    verdict: Small
    peak_g_m2: Floats
    residual_g_m2: Floats
    first_month: Small
    peak_month: Small
    dry_month: Small
    at_interface: Small
    condensate_g_m2: Floats
    watch_t_c: Floats
    watch_p_pa: Floats
    watch_psat_pa: Floats


@dataclass(frozen=True, slots=True)
class Profile:
    """One case in full: every interface, the surfaces included, in every month.

    `sd_m` and `layer` have shape (k,): place from outside, and the layer just inside. The others
    have shape (12, k): temperature, vapour pressure (the mean of the month) and saturation
    pressure, rate of condensation and store at the end of the month. The rate is the one with
    which the month begins, kept up for the whole of it, negative while drying: the standard's.
    """

    sd_m: Floats
    layer: NDArray[np.int64]
    t_c: Floats
    p_pa: Floats
    psat_pa: Floats
    rate_g_m2: Floats
    store_g_m2: Floats
    verdict: int


def condensation_year(
    r_m2k_w: Floats,
    sd_m: Floats,
    r_se: Floats,
    r_si: Floats,
    watch: NDArray[np.integer[Any]],
    boundaries: Boundaries,
    which: NDArray[np.integer[Any]],
    *,
    slice_r_m2k_w: float = SLICE_R_M2K_W,
) -> CondensationYear:
    """Solve the year of n build-ups.

    Parameters
    ----------
    r_m2k_w, sd_m
        Thermal resistance and equivalent air layer of each layer, outside to inside, shape
        (n, L). [m²K/W, m] Zero in both is a layer that is not there.
    r_se, r_si
        Surface resistances, shape (n,). [m²K/W]
    watch
        Interface to report, shape (n,): 0 to L; -1 reports the inside surface.
    boundaries, which
        Climates, and the row of them for each case, shape (n,).
    slice_r_m2k_w
        Largest resistance of a slice. [m²K/W]

    Raises
    ------
    ValueError
        If a value is negative or not finite, shapes do not agree, or a stack needs more slices
        than `MOST_POINTS`.
    ArithmeticError
        If a month of a build-up does not come to its end.
    """
    r, sd = _checked(r_m2k_w, sd_m, r_se, r_si, slice_r_m2k_w)
    count = r.shape[0]
    if not (len(watch) == len(r_se) == len(r_si) == count):
        raise ValueError("layers, surfaces and watch must have one row a case")
    rows = boundaries.rows(which, count)
    small = np.empty((count, 5), dtype=np.int8)
    mass = np.empty((count, 2), dtype=np.float64)
    months = np.empty((count, 4, 12), dtype=np.float64)
    solve_many(
        r,
        sd,
        np.ascontiguousarray(r_se, dtype=np.float64),
        np.ascontiguousarray(r_si, dtype=np.float64),
        np.asarray(watch, dtype=np.int64),
        boundaries.table(),
        rows,
        slice_r_m2k_w,
        small,
        mass,
        months,
    )
    _refuse_unfinished(small[:, 0])
    return CondensationYear(
        verdict=small[:, 0],
        peak_g_m2=mass[:, 0],
        residual_g_m2=mass[:, 1],
        first_month=small[:, 1],
        peak_month=small[:, 2],
        dry_month=small[:, 3],
        at_interface=small[:, 4],
        condensate_g_m2=months[:, 0],
        watch_t_c=months[:, 1],
        watch_p_pa=months[:, 2],
        watch_psat_pa=months[:, 3],
    )


def condensation_profile(
    r_m2k_w: Floats,
    sd_m: Floats,
    r_se: float,
    r_si: float,
    boundaries: Boundaries,
    *,
    slice_r_m2k_w: float = SLICE_R_M2K_W,
) -> Profile:
    """One build-up in full, for tables and pictures.

    Parameters are as in `condensation_year`, for one case: layers of shape (L,), boundaries of
    one row.
    """
    r, sd = _checked(
        r_m2k_w[np.newaxis], sd_m[np.newaxis], np.array([r_se]), np.array([r_si]), slice_r_m2k_w
    )
    place = np.zeros((2, MOST_POINTS), dtype=np.float64)
    layer = np.zeros(MOST_POINTS, dtype=np.int64)
    grids = np.zeros((2, 5, 12, MOST_POINTS), dtype=np.float64)
    points, verdict, turn = solve_one(
        r,
        sd,
        float(r_se),
        float(r_si),
        boundaries.table(),
        slice_r_m2k_w,
        place,
        layer,
        grids,
    )
    _refuse_unfinished(np.array([verdict], dtype=np.int8))
    t, p, psat, rate, store = (np.ascontiguousarray(grid[:, :points]) for grid in grids[turn])
    return Profile(place[0, :points], layer[:points], t, p, psat, rate, store, int(verdict))


def _refuse_unfinished(verdict: Small) -> None:
    rows = np.flatnonzero(verdict == UNFINISHED)
    if len(rows):
        raise ArithmeticError(
            f"the monthly method found no end to a month in {len(rows)} build-ups, first in row"
            f" {rows[0]}: its stores run dry and fill again without end; look for layers of"
            " next to no resistance beside very tight ones"
        )


def _checked(
    r_m2k_w: Floats, sd_m: Floats, r_se: Floats, r_si: Floats, slice_r: float
) -> tuple[Floats, Floats]:
    r = np.ascontiguousarray(r_m2k_w, dtype=np.float64)
    sd = np.ascontiguousarray(sd_m, dtype=np.float64)
    if r.shape != sd.shape or r.ndim != 2:
        raise ValueError(f"layers must be two tables of one shape, got {r.shape} and {sd.shape}")
    for name, values in (("resistance", r), ("sd", sd), ("r_se", r_se), ("r_si", r_si)):
        # Two passes without a table in between; no comparison holds for a NaN.
        if np.size(values) and not (np.min(values) >= 0 and np.max(values) < np.inf):
            raise ValueError(f"{name} must be finite and not negative")
    whole = r.sum(axis=1)
    if not (whole + r_se + r_si > 0).all():
        raise ValueError("a build-up needs some thermal resistance, surfaces included")
    if not slice_r > 0:
        raise ValueError("slices need a resistance above 0")
    # No row has more slices than this, so most tables need not be cut to know that all fit.
    if len(r) and whole.max() / slice_r + r.shape[1] + 2 <= MOST_POINTS:
        return r, sd
    points = np.ceil(r / slice_r).clip(min=1).sum(axis=1)
    if points.size and points.max() + 1 > MOST_POINTS:
        raise ValueError(f"a stack needs more than {MOST_POINTS} slices: it is no building part")
    return r, sd


def warm_up() -> None:
    """Compile or load the kernels by solving one small case."""
    year = np.full((1, 12), 5.0)
    inside = np.full((1, 12), 20.0)
    edge = Boundaries(year, year * 140.0, inside, inside * 60.0)
    layer = np.array([[1.0, 1.0]])
    zero = np.zeros(1, dtype=np.int64)
    condensation_year(layer, layer, np.array([0.04]), np.array([0.13]), zero, edge, zero)
    condensation_profile(layer[0], layer[0], 0.04, 0.13, edge)
