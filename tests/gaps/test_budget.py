"""The plan for a budget against every plan that there is, on small stocks."""

import random
from itertools import combinations

import polars as pl
import pytest

from triage.gaps.budget import best_plan, options

RULES = ("W01", "W02", "W03", "W04")
NONE_PLANNED = pl.DataFrame(schema={"property_id": pl.String, "rule": pl.String, "year": pl.Int32})


def _stock(seed: int) -> tuple[pl.DataFrame, pl.DataFrame, pl.DataFrame]:
    draw = random.Random(seed)
    rows = [
        (f"H{home}", sorted(draw.sample(RULES, draw.randint(1, 3))), "safe-to-insulate")
        for home in range(6)
        for _ in range(draw.randint(1, 2))
    ]
    outcomes = pl.DataFrame(rows, schema=["property_id", "repairs", "then_queue"], orient="row")
    rates = pl.DataFrame(
        {
            "rule": RULES,
            "rate": [float(draw.randint(1, 9)) for _ in RULES],
            "per": [draw.choice(("home", "building")) for _ in RULES],
        }
    )
    homes = [f"H{home}" for home in range(6)]
    units = pl.DataFrame({"property_id": homes, "unit": [f"B{n // 2}" for n in range(6)]})
    return outcomes, rates, units


def _most(choices: pl.DataFrame, budget: float) -> int:
    """Homes released by the best of all sets of jobs within the budget."""
    cost = dict(choices.select("job", "cost").unique().iter_rows())
    ways = [
        (home, frozenset(jobs))
        for home, jobs in choices.group_by("option", "property_id")
        .agg("job")
        .select("property_id", "job")
        .iter_rows()
    ]
    best = 0
    for n in range(len(ways) + 1):
        for some in combinations(ways, n):
            jobs = frozenset().union(*(way[1] for way in some))
            if sum(cost[job] for job in jobs) <= budget:
                best = max(best, len({way[0] for way in some}))
    return best


@pytest.mark.parametrize("seed", range(25))
def test_no_other_plan_releases_more_homes(seed: int) -> None:
    outcomes, rates, units = _stock(seed)
    choices = options(outcomes, rates, NONE_PLANNED, units)
    for budget in (0.0, 5.0, 12.0, 40.0):
        plan = best_plan(choices, budget)
        assert plan.homes.height == _most(choices, budget)
        assert plan.spent <= budget
        assert plan.gap == 0


def test_a_repair_of_a_building_is_paid_once() -> None:
    outcomes = pl.DataFrame(
        {"property_id": ["H0", "H1"], "repairs": [["W02"]] * 2, "then_queue": "safe-to-insulate"}
    )
    units = pl.DataFrame({"property_id": ["H0", "H1"], "unit": ["B0", "B0"]})
    rates = pl.DataFrame({"rule": ["W02"], "rate": [700.0], "per": ["building"]})
    plan = best_plan(options(outcomes, rates, NONE_PLANNED, units), 700.0)
    assert (plan.homes.height, plan.spent) == (2, 700.0)


def test_a_home_that_needs_a_repair_without_a_rate_is_left_out() -> None:
    outcomes = pl.DataFrame(
        {"property_id": ["H0"], "repairs": [["W02", "W03"]], "then_queue": "safe-to-insulate"}
    )
    units = pl.DataFrame({"property_id": ["H0"], "unit": ["H0"]})
    rates = pl.DataFrame({"rule": ["W02"], "rate": [1.0], "per": ["home"]})
    assert best_plan(options(outcomes, rates, NONE_PLANNED, units), 100.0).homes.is_empty()
