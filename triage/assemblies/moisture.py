"""The computed moisture quantities of assessment rows: distinct cases, solved once, joined back."""

from collections.abc import Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from functools import cached_property

import numpy as np
import polars as pl
from numpy.typing import NDArray

from triage.assemblies.alternatives import Tries, expanded
from triage.assemblies.build_up import STATES
from triage.assemblies.case_table import case_names, case_table
from triage.assemblies.cases import distinct_cases, with_months
from triage.assemblies.code_checks import foam_r_required_m2k_w, foam_ratio_required
from triage.assemblies.figures import FIGURES, Known, figures
from triage.assemblies.solve import stacks_of, surroundings
from triage.assemblies.years import solved
from triage.contract.assemblies import Library
from triage.contract.expressions import bind
from triage.contract.policy import Policy

_OWN_ZONES = "IECC"  # zones of the code's own county assignment; elsewhere its least R has no say
_MISSING = "moisture_missing"
_BEST = "foam_ratio_best"  # of the alternatives: the zone of the row decides whether they agree


@dataclass(frozen=True)
class Moisture:
    """Quantities of each reading, in the order of its rows, and the cases behind the first one.

    `cases`, made when asked for, has one row a solved stack that a row of the first reading refers
    to: layers, monthly table, verdict; see `case_table`.
    """

    quantities: list[pl.DataFrame]
    shown: pl.DataFrame
    known: Known
    around: pl.DataFrame
    policy: Policy
    library: Library

    @cached_property
    def cases(self) -> pl.DataFrame:
        """Table of the solved stacks."""
        return case_table(self.shown, self.known, self.around, self.policy, self.library)


def moisture_quantities(
    frames: Sequence[pl.DataFrame], climate: pl.DataFrame, policy: Policy, library: Library
) -> Moisture:
    """Compute every quantity of every row of every reading.

    Parameters
    ----------
    frames
        The same assessment rows read several ways, with the derived quantities.
    climate
        Climate records with monthly means, by `climate_id`. One that lacks a month is none.
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
    cases = with_months(distinct_cases(frames, policy), climate)
    tries = expanded(cases, library, policy.number("climate_doubt_k"))
    table, known = _answered(tries, climate, policy, library)
    table = table.hstack(_named(table, known, tries))
    told = [
        _joined(frame, table, rows, policy)
        for frame, rows in zip(frames, cases.of_rows, strict=True)
    ]
    used = np.unique(cases.of_rows[0])
    return Moisture(told, table[used[used >= 0]], known, tries.around, policy, library)


def _answered(
    tries: Tries, climate: pl.DataFrame, policy: Policy, library: Library
) -> tuple[pl.DataFrame, Known]:
    """Each pair's figures, and the known cases behind them, each solved once in both states."""
    pairs = tries.table.select("layers", "around").drop_nulls().unique(maintain_order=True)
    numbered = pairs.with_row_index("known").with_columns(pl.col("known").cast(pl.Int64))
    table = tries.table.join(numbered, on=["layers", "around"], how="left", maintain_order="left")
    of_layers, of_around = pairs["layers"].to_numpy(), pairs["around"].to_numpy()
    around = surroundings(tries.around, climate, policy)
    # Arrays let go of the interpreter, so both states are drawn up at once.
    with ThreadPoolExecutor(len(STATES)) as both:
        drawn = both.map(lambda state: stacks_of(tries.layers, library, state), STATES)
        stacks = dict(zip(STATES, drawn, strict=True))
    states = solved(stacks, around, of_layers, of_around)
    known = Known(tries.layers, of_layers, around, of_around, states)
    return _agreed(table, figures(known, policy, library), policy), known


def _agreed(table: pl.DataFrame, found: pl.DataFrame, policy: Policy) -> pl.DataFrame:
    """One row a pair: the worst of its alternatives, where all are on the same side."""
    row = table["known"].fill_null(-1).to_numpy()
    figure = found[np.maximum(row, 0)] if found.height else found.clear(len(row))
    lost = pl.lit(pl.Series("lost", row < 0))
    rows = table.select("pair", "known", "tried", "open_fields", "refused").hstack(
        figure.select(pl.when(~lost).then(pl.all()).name.keep())
    )
    rows = rows.with_columns(pl.coalesce("refused", "missing").alias(_MISSING))
    columns = ["known", "tried", "open_fields", *FIGURES, _BEST, _MISSING]
    rows = rows.with_columns(pl.col("foam_ratio").alias(_BEST))
    single = rows.filter(pl.col("tried") == 1).select("pair", *columns)
    many = rows.filter(pl.col("tried") > 1).group_by("pair", maintain_order=True)
    kept = many.agg(
        pl.col("known").get(pl.col("worst").fill_null(-1.0).arg_max()),
        pl.col("tried").first(),
        pl.col("open_fields").first(),
        *(_kept(name, policy) for name in FIGURES),
        pl.col(_BEST).max(),
        pl.col(_MISSING).drop_nulls().first(),
    )
    agreed = pl.concat([single, kept]).sort("pair")
    return agreed.with_columns(_doubt())


def _kept(name: str, policy: Policy) -> pl.Expr:
    """The figure of a case: null if any alternative lacks it or they disagree about a limit."""
    value = pl.col(name)
    whole = value.is_not_null().all()
    quantity = policy.quantities.get(name)
    if FIGURES[name] == pl.Boolean:
        return pl.when(whole & (value.n_unique() == 1)).then(value.first()).alias(name)
    limits = [policy.number(limit) for limit in quantity.limits] if quantity is not None else []
    # Rules differ in whether the limit itself is still good: neither reading may be straddled.
    same = [
        ((value >= limit).all() | (value < limit).all())
        & ((value > limit).all() | (value <= limit).all())
        for limit in limits
    ]
    worst = value.min() if quantity is not None and quantity.worse == "low" else value.max()
    return pl.when(pl.all_horizontal(whole, *same)).then(worst).alias(name)


def _doubt() -> pl.Expr:
    """Say so where everything could be calculated but the alternatives disagree."""
    text = pl.format("what is not known decides: {}", "open_fields")
    open_still = pl.col("monthly_method_valid").is_null() & pl.col("open_fields").is_not_null()
    return pl.coalesce(_MISSING, pl.when(open_still).then(text)).alias(_MISSING)


def _named(table: pl.DataFrame, known: Known, tries: Tries) -> pl.DataFrame:
    """`case_before` and `case_after` of each pair, null where nothing was solved."""
    row = table["known"].fill_null(-1).to_numpy()
    there = row >= 0
    names = case_names(known, tries.around, row[there], table.filter(pl.Series(there)))
    at = np.where(there, np.cumsum(there) - 1, 0)
    full = names[at] if names.height else names.clear(len(row))
    return full.select(pl.when(pl.lit(pl.Series("there", there))).then(pl.all()).name.keep())


def _joined(
    frame: pl.DataFrame, table: pl.DataFrame, rows: NDArray[np.int64], policy: Policy
) -> pl.DataFrame:
    """The figures of each row, with those that need the row itself: codes and junctions."""
    there = pl.lit(pl.Series("there", rows >= 0))
    columns = [*FIGURES, _BEST, _MISSING, "case_before", "case_after"]
    taken = table[np.maximum(rows, 0)] if table.height else table.clear(len(rows))
    told = taken.select(pl.when(there).then(pl.col(columns)).name.keep())
    own = frame.select(
        foam_ratio_required(policy.code_tables).alias("foam_ratio_required"),
        pl.when(pl.col("zone_edition").str.starts_with(_OWN_ZONES))
        .then(foam_r_required_m2k_w(policy.code_tables))
        .alias("foam_r_required_m2k_w"),
        _junction(policy).alias("junction"),
    )
    lowest = pl.min_horizontal("surface_factor", "junction").alias("surface_factor")
    ratio, needed = pl.col("foam_ratio"), pl.col("foam_ratio_required")
    split = ((ratio < needed) & (pl.col(_BEST) >= needed)).fill_null(value=False)
    wide = told.hstack(own).with_columns(lowest, pl.when(~split).then(ratio).alias("foam_ratio"))
    return wide.drop("junction", _BEST)


def _junction(policy: Policy) -> pl.Expr:
    """Lowest temperature factor of the junctions that the row is known to have."""
    factors = [
        pl.when(pl.col("measure_group").is_in(item.groups) & bind(item.when, policy.limits)).then(
            item.factor
        )
        for item in policy.junctions
    ]
    return pl.min_horizontal(factors) if factors else pl.lit(None, pl.Float64)
