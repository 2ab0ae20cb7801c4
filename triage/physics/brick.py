"""Frost grade of brick from its tests, as the US product standards grade new units."""

import math
from dataclasses import dataclass
from typing import Literal

Grade = Literal["SW", "MW", "NW"]

OUTSIDE_SCOPE = "indicative, outside scope of the product standard"
"""Flag of a grade from cores: ASTM C62 is for new units at purchase only. SEEN"""
MPA_IN_PSI = 0.006894757
COLD_ABSORPTION_WAIVER_PCT = 8.0
"""24-hour cold absorption up to which the saturation coefficient is waived. SEEN"""


@dataclass(frozen=True, slots=True)
class _Limits:
    strength_mpa: float
    absorption_pct: float
    coefficient: float


# ASTM C216 / C62, means of five units: SW and MW SEEN, NW MEMORY.
_LIMITS: dict[Grade, _Limits] = {
    "SW": _Limits(3000 * MPA_IN_PSI, 17.0, 0.78),
    "MW": _Limits(2500 * MPA_IN_PSI, 22.0, 0.88),
    "NW": _Limits(1500 * MPA_IN_PSI, math.inf, math.inf),
}


@dataclass(frozen=True, slots=True)
class BrickTests:
    """Means of the tests of a brick; None where a test was not made.

    Attributes
    ----------
    cold_24h_pct, boil_5h_pct
        Absorption in 24 h of cold water and in 5 h of boiling. [% of dry mass] The second must
        be above 0 and not below the first.
    strength_mpa
        Compressive strength. [MPa]
    passed_50_cycles
        Whether 50 cycles of freezing and thawing by ASTM C67 were passed.
    is_from_wall
        Whether the units were taken from an existing wall.
    """

    cold_24h_pct: float | None = None
    boil_5h_pct: float | None = None
    strength_mpa: float | None = None
    passed_50_cycles: bool | None = None
    is_from_wall: bool = True

    def __post_init__(self) -> None:
        for name in ("cold_24h_pct", "boil_5h_pct", "strength_mpa"):
            value = getattr(self, name)
            if value is not None and not 0 < value < math.inf:
                raise ValueError(f"{name} must be above 0, or None where not tested; got {value:g}")
        cold, boil = self.cold_24h_pct, self.boil_5h_pct
        if cold is not None and boil is not None and cold > boil:
            raise ValueError(
                f"cold absorption {cold:g} % cannot exceed that of boiling, {boil:g} %"
            )

    @property
    def saturation_coefficient(self) -> float | None:
        """Cold over boiling absorption; the pores that do not fill in the cold leave ice room."""
        if self.cold_24h_pct is None or self.boil_5h_pct is None:
            return None
        return self.cold_24h_pct / self.boil_5h_pct


@dataclass(frozen=True, slots=True)
class GradeCheck:
    """Whether brick meets a grade: true, false, or None where the tests cannot say.

    `by_absorption`, `by_cold_waiver` and `by_cycles` are the three ways to show durability, any
    of which does, `is_strong` the strength needed besides; `flag` limits what the answer may be
    used for, and is empty for new units.
    """

    is_met: bool | None
    is_strong: bool | None
    by_absorption: bool | None
    by_cold_waiver: bool | None
    by_cycles: bool | None
    flag: str


def check_grade(tests: BrickTests, grade: Grade) -> GradeCheck:
    """Compare the means of tests with the limits of a grade: severe, moderate, no weathering.

    References
    ----------
    ASTM C62 and C216 (SEEN in trade questions and answers; NW limits MEMORY). The limits of
    single units and the few bricks allowed from 8 to 10 % cold absorption are not judged.
    """
    limits = _LIMITS[grade]
    absorption = _at_most(tests.boil_5h_pct, limits.absorption_pct)
    strong = None if tests.strength_mpa is None else tests.strength_mpa >= limits.strength_mpa
    both = _all(absorption, _at_most(tests.saturation_coefficient, limits.coefficient))
    # The waiver lifts the coefficient only; the boiling absorption still has to be met.
    waiver = _all(absorption, _at_most(tests.cold_24h_pct, COLD_ABSORPTION_WAIVER_PCT))
    durable = _any(both, waiver, tests.passed_50_cycles)
    flag = OUTSIDE_SCOPE if tests.is_from_wall else ""
    return GradeCheck(_all(strong, durable), strong, both, waiver, tests.passed_50_cycles, flag)


def _at_most(value: float | None, limit: float) -> bool | None:
    if math.isinf(limit):
        return True
    return None if value is None else value <= limit


def _all(*answers: bool | None) -> bool | None:
    if False in answers:
        return False
    return None if None in answers else True


def _any(*answers: bool | None) -> bool | None:
    if True in answers:
        return True
    return None if None in answers else False
