"""Rates of failing roofs from random openings, with intervals, and what follows from them."""

from dataclasses import dataclass

import numpy as np
import polars as pl
from scipy import stats

from triage.learn.detection import at_most_failing
from triage.learn.intervals import clopper_pearson, failing_range, wilson
from triage.learn.openings import RandomOpenings
from triage.learn.selection import Plan

_COUNTS = ("opened", "failing", "damaged", "grave", "water_only", "type_differs")


@dataclass(frozen=True, slots=True)
class Total:
    """All strata together.

    `share` is null where only a range may be given (a stratum with too few openings). `low` and
    `high` bound the share, `failing_low` and `failing_high` the number of roofs.
    """

    roofs: int
    opened: int
    failing: int
    share: float | None
    low: float
    high: float
    failing_low: int
    failing_high: int
    confidence: float
    method: str


@dataclass(frozen=True, slots=True)
class Updated:
    """A likelihood after openings, and the sum in words."""

    likelihood: float
    words: str


def updated(start: float, weight: float, failing: int, opened: int) -> Updated:
    """Likelihood after openings: a beta prior of a given weight, brought up to date.

    Parameters
    ----------
    start
        Likelihood before, 0 to 1.
    weight
        Openings that it is worth, 0 or more; with 0 the openings alone count.
    failing, opened
        Random openings, 0 <= failing <= opened.

    Returns
    -------
    Updated
        The mean of the posterior, and its sum as it must be printed.
    """
    if not 0 <= start <= 1 or weight < 0 or not 0 <= failing <= opened or weight + opened <= 0:
        raise ValueError("a start from 0 to 1, a weight, and failing ones among those opened")
    held = start * weight
    mean = (held + failing) / (weight + opened)
    words = f"({held:g} + {failing}) / ({weight:g} + {opened}) = {mean:.2f}"
    return Updated(mean, words)


def rates(openings: RandomOpenings, plan: Plan) -> pl.DataFrame:
    """One row a stratum: what was opened, what failed, and what that says of the rest.

    Parameters
    ----------
    openings
        Random inspections; no other stream can be given.
    plan
        Confidence, sensitivity and design effect.

    Returns
    -------
    pl.DataFrame
        `stratum`; `roofs` (N, less those found without foam); `random_n` planned; `opened`,
        `failing`, `damaged` (decay d2 or worse), `grave`, `water_only`, `type_differs`,
        `no_foam`, `not_opened`, `non_response` (share of those visited); `share` with
        `wilson_low`, `wilson_high`, `exact_low`, `exact_high` (two-sided, null where nothing was
        opened); `failing_low`, `failing_high` (whole roofs, inverted hypergeometric);
        `at_most` (one-sided, with missed failures and clusters).
    """
    found = openings.rows.group_by("stratum").agg(
        (pl.col("status") == "opened").sum().alias("opened"),
        *(
            pl.col(name if name == "type_differs" else f"is_{name}").sum().alias(name)
            for name in _COUNTS[1:]
        ),
        (pl.col("status") == "no_foam").sum().alias("no_foam"),
        (~pl.col("status").is_in(["opened", "no_foam"])).sum().alias("not_opened"),
    )
    counted = (
        openings.strata.join(found, on="stratum", how="left")
        .with_columns(pl.col(*_COUNTS, "no_foam", "not_opened").fill_null(0).cast(pl.Int64))
        .with_columns((pl.col("roofs") - pl.col("no_foam")).alias("roofs"))
        .sort("stratum")
    )
    visited = pl.col("opened") + pl.col("no_foam") + pl.col("not_opened")
    return _with_intervals(counted, plan).with_columns(
        pl.when(visited > 0).then(pl.col("not_opened") / visited).alias("non_response")
    )


def _with_intervals(counted: pl.DataFrame, plan: Plan) -> pl.DataFrame:
    failing, opened = counted["failing"].to_numpy(), counted["opened"].to_numpy()
    score, exact = wilson(failing, opened, plan.sure), clopper_pearson(failing, opened, plan.sure)
    bounds = {
        "wilson_low": score[0],
        "wilson_high": score[1],
        "exact_low": exact[0],
        "exact_high": exact[1],
    }
    whole = [
        (
            *failing_range(x, n, roofs, plan.sure),
            # A stratum of which every roof turned out to carry no foam has none left.
            at_most_failing(roofs, n, x, plan.sure, plan.sensitivity, plan.effect) if roofs else 0,
        )
        for x, n, roofs in counted.select("failing", "opened", "roofs").iter_rows()
    ]  # a row a stratum
    kinds = dict.fromkeys(("failing_low", "failing_high", "at_most"), pl.Int64)
    share = pl.when(pl.col("opened") > 0).then(pl.col("failing") / pl.col("opened"))
    return pl.concat(
        [
            counted.with_columns(share.alias("share")),
            pl.DataFrame({n: pl.Series(v).fill_nan(None) for n, v in bounds.items()}),
            pl.DataFrame(whole, schema=kinds, orient="row"),
        ],
        how="horizontal",
    )


def total(by_stratum: pl.DataFrame, plan: Plan) -> Total:
    """All strata together, weighted by their roofs.

    Parameters
    ----------
    by_stratum
        As `rates` makes it.
    plan
        Confidence and design effect; the policy says from how many openings on a stratum may
        enter a single figure.

    Notes
    -----
    Share: sum of N_h p_h over N. Variance: sum of W_h^2 (1 - n_h/N_h) p(1 - p)/(n_h - 1) times
    the design effect, with p = (x_h + z^2/2)/(n_h + z^2), as a stratum without a finding is not
    known to be free of failures. Interval: Wilson, at the sample size of equal variance. With
    too few openings in a stratum: the sums of the strata's exact bounds, each at a confidence
    of 1 - (1 - confidence)/strata, so that the range holds with the confidence or more.
    """
    roofs, opened, failing = (
        by_stratum[n].to_numpy().astype(float) for n in ("roofs", "opened", "failing")
    )
    few = (opened < plan.policy.number("few_openings")) & (opened < roofs)
    counts = int(roofs.sum()), int(opened.sum()), int(failing.sum())
    if few.any() or not counts[0]:
        fewest, most = _range(by_stratum, plan)
        every = max(counts[0], 1)
        method = "range: exact bounds of the strata, added up"
        return Total(*counts, None, fewest / every, most / every, fewest, most, plan.sure, method)
    inside = roofs > 0
    roofs, opened, failing = roofs[inside], opened[inside], failing[inside]
    weights = roofs / roofs.sum()
    share = float((weights * failing / opened).sum())
    z = float(stats.norm.ppf(0.5 + plan.sure / 2))
    shrunk = (failing + z * z / 2) / (opened + z * z)
    spread = shrunk * (1 - shrunk) / np.maximum(opened - 1, 1)
    variance = float((weights**2 * (1 - opened / roofs) * spread).sum()) * plan.effect
    middle = float((weights * shrunk).sum())
    alike = middle * (1 - middle) / variance if variance > 0 else np.inf
    low, high = (share, share) if np.isinf(alike) else _score(share, alike, plan.sure)
    known_sound = float((opened - failing).sum())
    ends = (
        max(int(failing.sum()), int(np.floor(low * counts[0] + 1e-9))),
        min(int(counts[0] - known_sound), int(np.ceil(high * counts[0] - 1e-9))),
    )
    method = "stratified, Wilson at the sample size of equal variance"
    return Total(*counts, share, low, high, *ends, plan.sure, method)


def _score(share: float, alike: float, confidence: float) -> tuple[float, float]:
    low, high = wilson(share * alike, alike, confidence)
    return float(low), float(high)


def _range(by_stratum: pl.DataFrame, plan: Plan) -> tuple[int, int]:
    confidence = 1 - (1 - plan.sure) / max(by_stratum.height, 1)
    rows = by_stratum.select("failing", "opened", "roofs").iter_rows()
    bounds = [failing_range(x, n, roofs, confidence) for x, n, roofs in rows]
    return sum(low for low, _ in bounds), sum(high for _, high in bounds)


def likelihoods(by_stratum: pl.DataFrame, starts: pl.DataFrame, plan: Plan) -> pl.DataFrame:
    """Starting likelihood of each stratum that was opened at random, for the next priority.

    Parameters
    ----------
    by_stratum
        As `rates` makes it.
    starts
        `stratum` and `start`: the likelihood that it began with, such as the mean over its roofs.
    plan
        The policy says what the start weighs, and below how many openings the upper bound of
        the posterior is taken in the place of its mean.

    Returns
    -------
    pl.DataFrame
        `stratum`, `likelihood` and `basis` (the sum in words), for `Plan.rates`.
    """
    weight = plan.policy.number("prior_weight")
    opened = by_stratum.filter(pl.col("opened") > 0).join(starts, on="stratum").sort("stratum")
    rows = []
    for row in opened.iter_rows(named=True):  # a row a stratum
        x, n = row["failing"], row["opened"]
        new = updated(row["start"], weight, x, n)
        likelihood, basis = new.likelihood, f"random openings: {new.words}"
        if n < plan.policy.number("few_openings"):
            shape = row["start"] * weight + x, (1 - row["start"]) * weight + n - x
            likelihood = float(stats.beta.ppf(plan.sure, *shape)) if min(shape) > 0 else likelihood
            basis += f"; only {n} opened, so its upper bound {likelihood:.2f}"
        rows.append((row["stratum"], likelihood, basis))
    kinds = {"stratum": pl.String, "likelihood": pl.Float64, "basis": pl.String}
    return pl.DataFrame(rows, schema=kinds, orient="row")
