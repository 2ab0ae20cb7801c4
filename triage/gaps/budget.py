"""Which repairs a budget buys: the most homes released for the money, by the programme's rates."""

from dataclasses import dataclass

import numpy as np
import polars as pl
from scipy.optimize import Bounds, LinearConstraint, milp
from scipy.sparse import coo_array

from triage.gaps.rates import PER_BUILDING
from triage.rules.queue import SAFE

_NOTHING = 1e-9  # a gap of rounding
_SECONDS = 60.0  # for a plan; how far it may be from the best by then is said


@dataclass(frozen=True, slots=True)
class Plan:
    """What to repair.

    `homes` has one row a home that the plan releases: property_id, `repairs`, and `cost`, its own
    part of it; a repair that serves a building is put to the first home. `years` are those of
    planned works. `spent` is the sum. `gap` is the share of homes by which the number may lie under
    the best one; 0: none better. `unpriced` are repairs that homes wait for and that have no rate.
    """

    homes: pl.DataFrame
    spent: float
    gap: float
    unpriced: tuple[str, ...]


def options(
    outcomes: pl.DataFrame, rates: pl.DataFrame, planned: pl.DataFrame, units: pl.DataFrame
) -> pl.DataFrame:
    """What each home could have done to release a measure, repair by repair, with its cost.

    Parameters
    ----------
    outcomes
        See `repairs.repair_outcomes`.
    rates
        rule, rate, per.
    planned
        property_id, rule, year: done anyway, at no cost to this budget.
    units
        property_id, unit: homes of a building share one.

    Returns
    -------
    pl.DataFrame
        option (number of a home's set of repairs), property_id, rule, `job` (what is paid once),
        `cost`, year. Sets with a repair that has no rate are left out.
    """
    able = (
        outcomes.filter(pl.col("then_queue") == SAFE)
        .select("property_id", "repairs")
        .unique()
        .sort("property_id", "repairs")
        .with_row_index("option")
    )
    each = (
        able.explode("repairs")
        .rename({"repairs": "rule"})
        .join(rates, on="rule", how="left")
        .join(planned, on=["property_id", "rule"], how="left")
        .join(units, on="property_id", how="left")
    )
    where = pl.when(pl.col("per") == PER_BUILDING).then("unit").otherwise("property_id")
    cost = pl.when(pl.col("year").is_not_null()).then(0.0).otherwise("rate").alias("cost")
    priced = each.with_columns(cost, pl.format("{}\x1f{}", where, "rule").alias("job"))
    whole = pl.col("cost").is_not_null().all().over("option")
    return priced.filter(whole).select("option", "property_id", "rule", "job", "cost", "year")


def best_plan(
    choices: pl.DataFrame, budget: float, unpriced: tuple[str, ...] = (), seconds: float = _SECONDS
) -> Plan:
    """The plan that releases most homes within the budget; of equal ones, a cheap one.

    A mixed-integer programme: a home is released if all jobs of one of its options are paid; a job
    is paid once, whoever needs it.

    Parameters
    ----------
    choices
        See `options`.
    budget
        In the currency of the rates. [>= 0]
    unpriced
        Handed on.
    seconds
        Limit for the search.
    """
    if choices.is_empty() or budget < 0:
        return Plan(_homes(choices.clear()), 0.0, 0.0, unpriced)
    jobs = choices.group_by("job").agg(pl.min("cost")).sort("job").with_row_index("_job")
    linked = choices.join(jobs.select("job", "_job"), on="job", how="left")
    ways = choices.select("option", "property_id").unique().sort("option").with_row_index("_way")
    linked = linked.join(ways.select("option", "_way"), on="option", how="left")
    n_ways, n_jobs = ways.height, jobs.height
    cost = jobs["cost"].to_numpy()
    # A home counts 1; what is spent counts so little that it decides between equal plans only.
    small = 0.5 / max(float(cost.sum()), 1.0)
    goal = np.concatenate([-np.ones(n_ways), small * cost])
    every = np.arange(linked.height)
    needs = coo_array(
        (
            np.concatenate([np.ones(linked.height), -np.ones(linked.height)]),
            (
                np.concatenate([every, every]),
                np.concatenate([linked["_way"].to_numpy(), n_ways + linked["_job"].to_numpy()]),
            ),
        ),
        shape=(linked.height, n_ways + n_jobs),
    )
    home = ways["property_id"].rank("dense").to_numpy().astype(int) - 1
    once = coo_array(
        (np.ones(n_ways), (home, np.arange(n_ways))), shape=(home.max() + 1, n_ways + n_jobs)
    )
    money = np.concatenate([np.zeros(n_ways), cost])[np.newaxis, :]
    found = milp(
        goal,
        constraints=[
            LinearConstraint(needs.tocsr(), ub=0),
            LinearConstraint(once.tocsr(), ub=1),
            LinearConstraint(money, ub=budget),
        ],
        integrality=np.ones(n_ways + n_jobs),
        bounds=Bounds(0, 1),
        options={"time_limit": seconds, "mip_rel_gap": 0.0},
    )
    if found.x is None:
        return Plan(_homes(choices.clear()), 0.0, 1.0, unpriced)
    taken = ways.filter(pl.Series(found.x[:n_ways] > 0.5)).select("option")
    done = linked.join(taken, on="option", how="semi")
    paid = done.sort("property_id", "rule").with_columns(
        pl.when(pl.col("job").is_first_distinct()).then("cost").otherwise(0.0).alias("cost")
    )
    gap = float(found.mip_gap or 0.0)
    gap = gap if gap > _NOTHING else 0.0
    return Plan(_homes(paid), float(paid["cost"].sum()), gap, unpriced)


def _homes(done: pl.DataFrame) -> pl.DataFrame:
    return (
        done.group_by("property_id")
        .agg(
            pl.col("rule").sort().alias("repairs"),
            pl.col("cost").sum().cast(pl.Float64).alias("cost"),
            pl.col("year").drop_nulls().unique().sort().alias("years"),
        )
        .sort("cost", "property_id")
    )
