"""The junction table against steady two-dimensional sections solved by scipy (COMPUTED).

Geometry and conductivities are those that the table names. The solver is checked first against a
plain wall by hand and against the closed form of a fin.
"""

import numpy as np
import pytest
from rule_homes import POLICY
from section_2d import INSIDE, OUTSIDE, Section

from triage.contract.policy import Junction

R_SI_MOULD = 0.25  # ISO 13788, surfaces where mould is checked (MEMORY)
FRAME_MM, SET_BACK_MM, FRAME_W_MK = 60.0, 100.0, 0.13
AIR_MM, ALONG_MM, ROOM_MM = 20.0, 1000.0, 200.0


def reveal(
    wall: tuple[float, float],
    inside: tuple[float, float],
    outside: tuple[float, float],
    size: float,
) -> Section:
    """A wall that ends at a window: (W/(mK), mm) of masonry and of insulation on either side."""
    (masonry, mm), (inner, inner_mm), (outer, outer_mm) = wall, inside, outside
    whole, depth = FRAME_MM + ALONG_MM, AIR_MM + outer_mm + mm + inner_mm
    section = Section.blank(whole, depth + ROOM_MM, size)
    edges = np.cumsum([AIR_MM, outer_mm, mm, inner_mm])
    for near, far, conductivity in zip(edges, edges[1:], (outer, masonry, inner), strict=False):
        section.fill((FRAME_MM, whole), (near, far), conductivity)
    section.fill((0, whole), (0, AIR_MM), OUTSIDE)
    section.fill((0, whole), (depth, depth + ROOM_MM), INSIDE)
    front = AIR_MM + outer_mm + SET_BACK_MM
    section.fill((0, FRAME_MM), (AIR_MM, front), OUTSIDE)
    section.fill((0, FRAME_MM), (front, front + FRAME_MM), FRAME_W_MK)
    section.fill((0, FRAME_MM), (front + FRAME_MM, depth), INSIDE)
    return section


NO_LAYER = (1.0, 0.0)
BRICK, STONE = (0.77, 215.0), (1.7, 500.0)
JUNCTIONS = {
    "bare window reveal beside internal insulation, solid brick or block": (
        *(BRICK, (0.045, 60.0), NO_LAYER),
    ),
    "bare window reveal beside internal insulation, stone or concrete": (
        *(STONE, (0.045, 60.0), NO_LAYER),
    ),
}


def test_the_solver_gives_a_plain_wall_its_factor() -> None:
    wall = Section.blank(50, AIR_MM + 215 + ROOM_MM, 5)
    wall.fill((0, 50), (0, AIR_MM), OUTSIDE)
    wall.fill((0, 50), (AIR_MM, AIR_MM + 215), 0.77)
    wall.fill((0, 50), (AIR_MM + 215, AIR_MM + 215 + ROOM_MM), INSIDE)
    by_hand = 1.0 - 0.13 / (0.04 + 0.215 / 0.77 + 0.13)  # resistances in series
    assert wall.lowest_factor(0.13) == pytest.approx(by_hand, abs=1e-9)


def test_the_solver_follows_the_closed_form_of_a_fin() -> None:
    # A thin fin of 10 mm on 200 mm, behind 100 mm whose sides lose nothing: tanh(mL), textbooks.
    half, neck, length, k = 10.0, 100.0, 200.0, 10.0
    fin = Section.blank(half + 20, 20 + neck + length, 2)
    fin.fill((0, half), (0, 20), OUTSIDE)
    fin.fill((0, half), (20, 20 + neck + length), k)
    fin.fill((half, half + 20), (20 + neck, 20 + neck + length), INSIDE)
    m = np.sqrt(1.0 / (R_SI_MOULD * k * half / 1000))
    along = 1.0 / (m * np.tanh(m * length / 1000))
    expected = 1.0 - along / (neck / 1000 + along)
    assert fin.lowest_factor(R_SI_MOULD, r_se=1e-9) == pytest.approx(expected, abs=0.004)


@pytest.mark.parametrize("junction", POLICY.junctions, ids=lambda junction: junction.name)
def test_each_factor_is_that_of_its_section(junction: Junction) -> None:
    fine = reveal(*JUNCTIONS[junction.name], size=2.5).lowest_factor(R_SI_MOULD)
    coarse = reveal(*JUNCTIONS[junction.name], size=5.0).lowest_factor(R_SI_MOULD)
    assert abs(fine - coarse) < 0.01  # fine enough to be compared
    assert junction.factor == pytest.approx(fine, abs=0.006)
