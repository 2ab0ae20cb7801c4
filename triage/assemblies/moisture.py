"""The computed moisture quantities of assessment rows: distinct cases, solved once, joined back."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import polars as pl
from numpy.typing import NDArray

from triage.assemblies.alternatives import SHIFT, expanded
from triage.assemblies.build_up import STATES, State
from triage.assemblies.case_table import case_names, case_table
from triage.assemblies.cases import KEYS, Cases, distinct_cases
from triage.assemblies.code_checks import foam_r_required_m2k_w, foam_ratio_required
from triage.assemblies.figures import FIGURES, figures
from triage.assemblies.solve import Solved, Surroundings, solved, stacks_of, surroundings
from triage.contract.assemblies import ELEMENTS, Library
from triage.contract.code_rows import CodeTables
from triage.contract.expressions import bind
from triage.contract.policy import Policy

_OWN_ZONES = "IECC"  # zones of the code's own county assignment; elsewhere its least R has no say


@dataclass(frozen=True, slots=True)
class Moisture:
    """Quantities of each reading, in the order of its rows, and the cases behind the first one.

    `cases` has one row a solved stack that a row of the first reading refers to: layers, monthly
    table, verdict; see `case_table`.
    """

    quantities: list[pl.DataFrame]
    cases: pl.DataFrame


@dataclass(frozen=True, slots=True)
class _Answers:
    """Distinct cases with their figures, and the solved stacks behind them."""

    table: pl.DataFrame
    known: pl.DataFrame
    around: Surroundings
    states: dict[State, Solved]


def moisture_quantities(
    frames: Sequence[pl.DataFrame], climate: pl.DataFrame, policy: Policy, library: Library
) -> Moisture:
    """Compute every quantity of every row of every reading.

    Parameters
    ----------
    frames
        The same assessment rows read several ways, with the derived quantities.
    climate
        Climate records with monthly means, by `climate_id`.
    policy
        Limits, code tables, junctions and the indoor model.
    library
        Materials and layer tables.

    Returns
    -------
    Moisture
        Null wherever a layer, a thickness or the climate is not known and the alternatives do not
        agree; `moisture_missing` then says why. No NaN.
    """
    cases = distinct_cases(frames, policy)
    answers = _answered(cases, climate, policy, library)
    told = [
        _joined(frame, answers.table, rows, policy)
        for frame, rows in zip(frames, cases.of_rows, strict=True)
    ]
    used = np.unique(cases.of_rows[0]) if frames else np.empty(0, dtype=np.int64)
    shown = answers.table[used[used >= 0]]
    table = case_table(shown, answers.known, answers.around, answers.states, policy, library)
    return Moisture(told, table)


def _answered(cases: Cases, climate: pl.DataFrame, policy: Policy, library: Library) -> _Answers:
    tries = expanded(cases.table, library, policy.number("climate_doubt_k"))
    judged = pl.col("element").is_not_null() & pl.col("refused").is_null()
    order = pl.Enum(ELEMENTS)
    content = [*KEYS, SHIFT]
    known = (
        tries.filter(judged)
        .select(content)
        .unique(maintain_order=True)
        .sort(pl.col("element").cast(order), maintain_order=True)
        .with_row_index("known")
        .with_columns(pl.col("known").cast(pl.Int64))
    )
    tries = tries.join(known, on=content, how="left", maintain_order="left", nulls_equal=True)
    around = surroundings(known, climate, policy)
    states: dict[State, Solved] = {
        state: solved(stacks_of(known, library, state), around) for state in STATES
    }
    found = figures(known, states, around, policy, library)
    table = _agreed(tries, found, policy, cases.table.height)
    named = table.join(case_names(known), on="known", how="left", maintain_order="left")
    return _Answers(named, known, around, states)


def _agreed(tries: pl.DataFrame, found: pl.DataFrame, policy: Policy, count: int) -> pl.DataFrame:
    """One row a distinct case: the worst of its alternatives, where all are on the same side."""
    rows = tries.select("parent", "known", "refused", "tried", "open_fields", SHIFT).join(
        found, on="known", how="left", maintain_order="left"
    )
    rows = rows.with_columns(pl.coalesce("refused", "missing").alias("missing"))
    wanted = [_kept(name, policy) for name in FIGURES]
    agreed = rows.group_by("parent", maintain_order=True).agg(
        *wanted,
        pl.col("missing").drop_nulls().first().alias("moisture_missing"),
        pl.col("known").get(pl.col("worst").fill_null(-1.0).arg_max()).alias("known"),
        pl.col("tried").first(),
        pl.col("open_fields").first(),
    )
    assert agreed.height == count, "every distinct case has one answer"
    return agreed.with_columns(_doubt())


def _kept(name: str, policy: Policy) -> pl.Expr:
    """The figure of a case: null if any alternative lacks it or they disagree about a limit."""
    value = pl.col(name)
    whole = value.is_not_null().all()
    quantity = policy.quantities.get(name)
    if FIGURES[name] == pl.Boolean:
        return pl.when(whole & (value.n_unique() == 1)).then(value.first()).alias(name)
    limits = [policy.number(limit) for limit in quantity.limits] if quantity is not None else []
    if name == "foam_ratio":
        limits = sorted(_shares(policy.code_tables))
    same = [((value >= limit).all() | (value < limit).all()) for limit in limits]
    worst = value.min() if quantity is not None and quantity.worse == "low" else value.max()
    return pl.when(pl.all_horizontal(whole, *same)).then(worst).alias(name)


def _shares(tables: CodeTables) -> set[float]:
    """Every least share that the code tables hold: alternatives must not straddle one."""
    return {row.figures["share"][0] for row in tables.foam_share.rows}


def _doubt() -> pl.Expr:
    """Say so where everything could be calculated but the alternatives disagree."""
    some_lack = pl.col("monthly_method_valid").is_null()
    text = pl.format("what is not known decides: {}", "open_fields")
    return pl.coalesce(
        "moisture_missing", pl.when(some_lack & pl.col("open_fields").is_not_null()).then(text)
    ).alias("moisture_missing")


def _joined(
    frame: pl.DataFrame, table: pl.DataFrame, rows: NDArray[np.int64], policy: Policy
) -> pl.DataFrame:
    """The figures of each row, with those that need the row itself: codes and junctions."""
    nothing = rows < 0
    taken = table[np.where(nothing, 0, rows)] if table.height else table.clear(len(rows))
    known = pl.lit(pl.Series(~nothing))
    figures_of = taken.select(
        pl.when(known).then(pl.col(name)).alias(name) for name in (*FIGURES, "moisture_missing")
    )
    names = taken.select(
        pl.when(known).then(pl.col(name)).alias(name) for name in ("case_before", "case_after")
    )
    own = frame.select(
        foam_ratio_required(policy.code_tables).alias("foam_ratio_required"),
        pl.when(pl.col("zone_edition").str.contains(_OWN_ZONES))
        .then(foam_r_required_m2k_w(policy.code_tables))
        .alias("foam_r_required_m2k_w"),
        _junction(policy).alias("junction"),
    )
    wide = figures_of.hstack(own).hstack(names)
    return wide.with_columns(
        pl.min_horizontal("surface_factor", "junction").alias("surface_factor")
    ).drop("junction")


def _junction(policy: Policy) -> pl.Expr:
    """Lowest temperature factor of the junctions that the row is known to have."""
    factors = [
        pl.when(pl.col("measure_group").is_in(item.groups) & bind(item.when, policy.limits)).then(
            item.factor
        )
        for item in policy.junctions
    ]
    return pl.min_horizontal(factors) if factors else pl.lit(None, pl.Float64)
