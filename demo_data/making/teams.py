"""The survey teams of both programmes: where they look and how they write."""

from dataclasses import dataclass
from datetime import date
from typing import Final


@dataclass(frozen=True)
class Habits:
    """How a team works: shares of its visits, and how it writes what it does not know."""

    inside: dict[str, float]
    close: float  # share of visits with a ladder or a drone
    blank: float  # single questions left out
    missed: float  # roof defects that a view from the ground does not show
    guessed: float  # answers marked "(assumed)"
    unseen: tuple[str | None, ...]  # what stands where nobody could look
    first_day: date
    last_day: date
    initials: tuple[str, ...]
    visit: str  # beginning of the visit numbers; empty: the team numbers nothing
    stale: float = 0.0  # share of visits about two years before the first day


COASTAL: Final = {
    "fabric": Habits(
        inside={"opened_up": 62, "internal_void": 34, "internal": 4},
        close=0.93,
        blank=0.012,
        missed=0.1,
        guessed=0.02,
        unseen=("N/I", "not vis", None),
        first_day=date(2025, 12, 1),
        last_day=date(2026, 6, 30),
        initials=("JH", "mb", "R.T."),
        visit="F-",
    ),
    "lofts": Habits(
        inside={"internal_void": 42, "void_hatch": 43, "internal": 15},
        close=0.0,
        blank=0.075,
        missed=0.2,
        guessed=0.12,
        unseen=("N/I", "no access", "-", None),
        first_day=date(2026, 1, 12),
        last_day=date(2026, 9, 18),
        initials=("kd", "KD", "sp"),
        visit="L",
        stale=0.22,
    ),
    "estate": Habits(
        inside={"opened_up": 48, "void_hatch": 36, "internal": 16},
        close=0.12,
        blank=0.05,
        missed=0.2,
        guessed=0.1,
        unseen=("not seen", "not vis", None, None),
        first_day=date(2026, 2, 2),
        last_day=date(2026, 8, 28),
        initials=("est team 1", "est team 2"),
        visit="",
        stale=0.16,
    ),
    "records": Habits(
        inside={"none": 1},
        close=0.0,
        blank=0.04,
        missed=0.0,
        guessed=0.0,
        unseen=(None,),
        first_day=date(2017, 3, 1),
        last_day=date(2026, 5, 31),
        initials=("EA3371", "EA5009"),
        visit="",
    ),
    "second": Habits(
        inside={"internal_void": 80, "opened_up": 20},
        close=0.8,
        blank=0.02,
        missed=0.05,
        guessed=0.0,
        unseen=("N/I", None),
        first_day=date(2026, 7, 6),
        last_day=date(2026, 9, 25),
        initials=("ow",),
        visit="R",
    ),
}
COUNTY: Final = {
    "audit": Habits(
        inside={"opened_up": 55, "internal_void": 40, "internal": 5},
        close=0.9,
        blank=0.012,
        missed=0.1,
        guessed=0.02,
        unseen=("N/I", "not vis", None),
        first_day=date(2025, 12, 1),
        last_day=date(2026, 7, 31),
        initials=("EA-03", "EA-07", "EA-11"),
        visit="A",
    ),
    "visit": Habits(
        inside={"internal_void": 32, "void_hatch": 44, "internal": 24},
        close=0.0,
        blank=0.095,
        missed=0.2,
        guessed=0.12,
        unseen=("N/I", "no access", "?", None),
        first_day=date(2025, 12, 8),
        last_day=date(2026, 9, 11),
        initials=("crew B", "crew D"),
        visit="",
        stale=0.18,
    ),
}
