"""Tries the plausible answers where a layer that counts is not known."""

import polars as pl

from triage.assemblies.cases import KEYS
from triage.contract.assemblies import Library
from triage.contract.expressions import bind

SHIFT = "climate_shift_k"
_POOLS = 5.0  # a humidity class that the method does not cover


def expanded(cases: pl.DataFrame, library: Library, doubt_k: float) -> pl.DataFrame:
    """Each case once for every combination of plausible answers to what it leaves open.

    Parameters
    ----------
    cases
        Distinct cases, columns `KEYS`.
    library
        Gives the alternatives.
    doubt_k
        A climate join of low quality is tried this much warmer and colder too. [K]

    Returns
    -------
    pl.DataFrame
        Columns `KEYS`, `climate_shift_k`, `parent` (row of `cases`), `tried` (number of
        combinations of the parent), `open_fields` (what was open, in words) and `refused`: why
        nothing can be tried, in which case the row stands once.
    """
    rows = cases.with_row_index("parent").with_columns(pl.col("parent").cast(pl.Int64))
    rows = rows.with_columns(_lists(library, doubt_k))
    lists = [name for name in rows.columns if name.startswith("try|")]
    count = pl.lit(1, pl.Int64)
    for name in lists:
        count = count * pl.col(name).list.len().fill_null(1).clip(1).cast(pl.Int64)
    named = [
        pl.when(pl.col(name).is_not_null()).then(
            pl.lit(name.removeprefix("try|").replace("_", " "))
        )
        for name in lists
    ]
    told = pl.concat_str(named, separator=", ", ignore_nulls=True)
    rows = rows.with_columns(
        count.alias("tried"), pl.when(told != "").then(told).alias("open_fields")
    ).with_columns(_refused(library).alias("refused"))
    stay = pl.col("refused").is_not_null() | (pl.col("tried") == 1)
    whole = rows.filter(stay).with_columns(
        pl.when(pl.col("refused").is_null()).then(1).otherwise(pl.col("tried")).alias("tried")
    )
    many = rows.filter(~stay)
    for name in lists:
        many = many.explode(name, empty_as_null=True, keep_nulls=True)
    many = _taken(many, lists)
    once = _taken(whole.with_columns(pl.col(name).list.first() for name in lists), lists)
    joined = pl.concat([once, many]).sort("parent", maintain_order=True)
    # One answer about the inner layer stands for today and for afterwards.
    return joined.with_columns(
        pl.coalesce("vapour_control_after", "interior_vapour_control").alias("vapour_control_after")
    )


def _lists(library: Library, doubt_k: float) -> list[pl.Expr]:
    """For each field the values to try, null where it is known or does not count."""
    found: dict[str, pl.Expr] = {}
    for entry in library.alternatives:
        counts = (pl.col(entry.field).is_null() & bind(entry.when, {})).fill_null(value=False)
        judged = counts & pl.col("element").is_not_null()
        values = pl.lit(pl.Series([list(entry.values)]), allow_object=False).first()
        rest = found.get(entry.field, pl.lit(None, pl.List(KEYS[entry.field])))
        found[entry.field] = pl.when(judged).then(values).otherwise(rest)
    shifts = pl.lit(pl.Series([[0.0, -doubt_k, doubt_k]])).first()
    found[SHIFT] = pl.when(pl.col("climate_doubtful") & pl.col("climate_id").is_not_null()).then(
        shifts
    )
    return [expr.alias(f"try|{name}") for name, expr in found.items()]


def _refused(library: Library) -> pl.Expr:
    too_many = pl.col("tried") > library.most_combinations
    return (
        pl.when(pl.col("element").is_not_null() & pl.col("climate_id").is_null())
        .then(pl.lit("there is no climate record for this place"))
        .when(pl.col("humidity_class") >= _POOLS)
        .then(pl.lit("pools, spas and commercial kitchens are outside the humidity classes"))
        .when(too_many)
        .then(pl.format("too much is not known to try it all: {}", "open_fields"))
    )


def _taken(rows: pl.DataFrame, lists: list[str]) -> pl.DataFrame:
    """Put what was tried in the place of what was not known."""
    fields = [name.removeprefix("try|") for name in lists if name != f"try|{SHIFT}"]
    return rows.with_columns(
        *(pl.coalesce(name, f"try|{name}").alias(name) for name in fields),
        pl.col(f"try|{SHIFT}").fill_null(0.0).alias(SHIFT),
    ).drop(lists)
