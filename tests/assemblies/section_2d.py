"""Steady heat flow in a section of two dimensions: the tests' own reference for junctions.

Finite volumes on square cells, half a cell in series on either side of a face. For the tests alone
and by nothing but scipy, so that the factors of the junction table come from outside the code.
"""

from dataclasses import dataclass

import numpy as np
import scipy.sparse as sp
from numpy.typing import NDArray
from scipy.sparse.linalg import spsolve

Floats = NDArray[np.float64]
Span = tuple[float, float]
OUTSIDE, INSIDE, CUT = -1.0, -2.0, -3.0  # air outdoors, room air, and what no heat passes


@dataclass(frozen=True, slots=True)
class Section:
    """Cells of one size; each a conductivity [W/(mK)] or one of OUTSIDE, INSIDE, CUT."""

    cells: Floats
    size_mm: float

    @classmethod
    def blank(cls, width_mm: float, depth_mm: float, size_mm: float) -> "Section":
        """A section that lets no heat pass anywhere."""
        return cls(np.full((round(width_mm / size_mm), round(depth_mm / size_mm)), CUT), size_mm)

    def fill(self, x_mm: Span, y_mm: Span, what: float) -> None:
        """Set the cells of a rectangle."""
        x, y = (slice(*(round(edge / self.size_mm) for edge in span)) for span in (x_mm, y_mm))
        self.cells[x, y] = what

    def lowest_factor(self, r_si: float, r_se: float = 0.04) -> float:
        """Lowest temperature factor of all surfaces that face the room."""
        solid = self.cells > 0
        number = np.where(solid, np.cumsum(solid).reshape(solid.shape) - 1, -1)
        size, count = self.size_mm / 1000.0, int(solid.sum())
        diagonal, load = np.zeros(count), np.zeros(count)
        links: list[tuple[Floats, Floats, Floats]] = []
        seen: list[tuple[Floats, Floats]] = []
        for one, other in _neighbours():
            near, far, here, there = (
                *(self.cells[one], self.cells[other]),
                *(number[one], number[other]),
            )
            both = (near > 0) & (far > 0)
            pair = 2.0 / (1.0 / near[both] + 1.0 / far[both])
            links.append((here[both], there[both], -pair))
            np.add.at(diagonal, here[both], pair)
            for air, r in ((OUTSIDE, r_se), (INSIDE, r_si)):
                edge = (near > 0) & (far == air)
                flow = size / (size / 2.0 / near[edge] + r)
                np.add.at(diagonal, here[edge], flow)
                if air == INSIDE:
                    np.add.at(load, here[edge], flow)
                    seen.append((here[edge], flow * r_si / size))
        rows, columns, values = (np.concatenate(part) for part in zip(*links, strict=True))
        matrix = sp.coo_matrix((values, (rows, columns)), shape=(count, count))
        t = spsolve((matrix + sp.diags(diagonal)).tocsc(), load)  # 0 outdoors, 1 in the room
        return min(float((1.0 - (1.0 - t[at]) * share).min(initial=1.0)) for at, share in seen)


def _neighbours() -> list[tuple[tuple[slice, slice], tuple[slice, slice]]]:
    low, high, whole = slice(None, -1), slice(1, None), slice(None)
    pairs = [((low, whole), (high, whole)), ((whole, low), (whole, high))]
    return [*pairs, *((other, one) for one, other in pairs)]
