"""Tables of counts that are printed together: their cells, and which cells add up to which."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from itertools import product

import numpy as np
import polars as pl
from numpy.typing import NDArray

ALL = "all"
HOMES = "homes"
_SEPARATOR = "\x1f"  # stands in no text that a survey can hold


@dataclass(frozen=True, slots=True)
class Table:
    """Counts of homes by one or more dimensions, printed with every margin.

    `counts` has a text column for each dimension and `homes`; a combination that is not there is
    0. Tables of the same `population` (a stock on a date) share their margins. In an
    `overlapping` dimension a home may count more than once (reasons): its parts do not add up,
    and `counts` brings the rows with "all" itself. `stands_for` says which dimension of another
    population a margin of this table counts: in a movement table, the queue before. `area` is
    the dimension that a map draws; None for a table. In a dimension of `parts_of` a category
    without homes is a 0 like any other: the homes are part of those that another table counts.
    """

    name: str
    population: str
    counts: pl.DataFrame
    overlapping: tuple[str, ...] = ()
    stands_for: Mapping[str, tuple[str, str]] = field(default_factory=dict)
    area: str | None = None
    parts_of: tuple[str, ...] = ()

    @property
    def dimensions(self) -> tuple[str, ...]:
        """Columns other than the count."""
        return tuple(c for c in self.counts.columns if c != HOMES)


def with_margins(table: Table) -> pl.DataFrame:
    """Every combination of a table and every margin, "all" in place of the category.

    Returns
    -------
    pl.DataFrame
        The dimensions, `homes`, `cell` (the same text wherever the same homes are counted) and
        `is_void` (a whole category without homes), sorted by the dimensions.

    Raises
    ------
    ValueError
        A count below 0 or unknown, a combination there twice, or an unknown category.
    """
    _check(table)
    names = table.dimensions
    categories = [sorted({*table.counts[name], ALL}) for name in names]
    counts = np.zeros([len(values) for values in categories], np.int64)
    at = []
    for name, values in zip(names, categories, strict=True):
        place = {value: n for n, value in enumerate(values)}
        at.append([place[value] for value in table.counts[name]])
    counts[tuple(at)] = table.counts[HOMES].to_numpy()
    for axis, (name, values) in enumerate(zip(names, categories, strict=True)):
        if name not in table.overlapping:
            counts[(slice(None),) * axis + (values.index(ALL),)] = counts.sum(axis)
    rows = dict(zip(names, zip(*product(*categories), strict=True), strict=True))
    columns = {**rows, HOMES: counts.ravel(), "is_void": _void(table, counts).ravel()}
    return pl.DataFrame(columns).with_columns(_cell(table))


def _void(table: Table, counts: NDArray[np.int64]) -> NDArray[np.bool_]:
    """Cells of a whole category without homes: their 0 says nothing about a home (7.3)."""
    void = np.zeros(counts.shape, np.bool_)
    for axis, name in enumerate(table.dimensions):
        if name not in table.parts_of:
            others = tuple(n for n in range(counts.ndim) if n != axis)
            void |= counts.sum(others, keepdims=True) == 0
    return void


def _check(table: Table) -> None:
    names = list(table.dimensions)
    frame = table.counts
    if not names or frame.select(pl.any_horizontal(pl.all().is_null()).any()).item():
        raise ValueError(f"table {table.name!r} has no dimension, or an empty cell")
    if (frame[HOMES] < 0).any() or frame.select(names).is_duplicated().any():
        raise ValueError(f"table {table.name!r} has a count below 0, or a row twice")
    adding = [name for name in names if name not in table.overlapping]
    if any((frame[name] == ALL).any() for name in adding):
        raise ValueError(f"table {table.name!r} brings its own totals; they are added up here")
    missing = [name for name in table.overlapping if not (frame[name] == ALL).any()]
    if missing:
        raise ValueError(f"table {table.name!r} needs rows with {missing[0]!r} = 'all'")


def _cell(table: Table) -> pl.Expr:
    """Which homes a row counts: population and categories, whatever the order of dimensions."""
    names = sorted(table.dimensions)
    own = _named(table.population, {name: name for name in names})
    for other in sorted({population for population, _ in table.stands_for.values()}):
        mapped = {n: d for n, (p, d) in table.stands_for.items() if p == other}
        rest = [pl.col(name) == ALL for name in names if name not in mapped]
        any_named = pl.any_horizontal(pl.col(name) != ALL for name in mapped)
        inside = pl.all_horizontal(any_named, *rest)
        own = pl.when(inside).then(_named(other, mapped)).otherwise(own)
    return own.alias("cell")


def _named(population: str, dimensions: Mapping[str, str]) -> pl.Expr:
    ordered = sorted(dimensions.items(), key=lambda item: item[1])
    parts = [
        pl.when(pl.col(name) != ALL).then(pl.concat_str(pl.lit(f"{title}="), pl.col(name)))
        for name, title in ordered
    ]
    return pl.concat_str(pl.lit(population), *parts, separator=_SEPARATOR, ignore_nulls=True)


def sums_of(table: Table, rows: pl.DataFrame) -> pl.DataFrame:
    """Which cells add up to which: `sum_id`, `cell`, `sign` (1 a part, -1 the total), `exact`.

    Where `exact` is false the cells are a part and the whole that holds it: part <= whole.
    """
    names = table.dimensions
    found = [_sums_over(table, rows, name, names) for name in names]
    return pl.concat(found)


def _sums_over(table: Table, rows: pl.DataFrame, name: str, names: tuple[str, ...]) -> pl.DataFrame:
    others = [n for n in names if n != name]
    keys = [pl.lit(f"{table.population}{_SEPARATOR}{table.name}{_SEPARATOR}{name}")]
    keys += [pl.col(n) for n in others]
    is_whole = pl.col(name) == ALL
    sign = pl.when(is_whole).then(-1).otherwise(1).cast(pl.Int8).alias("sign")
    if name not in table.overlapping:
        sum_id = pl.concat_str(*keys, separator=_SEPARATOR).alias("sum_id")
        return rows.select(sum_id, "cell", sign, exact=pl.lit(value=True))
    # Each part by itself, with the whole that holds it.
    parts = rows.filter(~is_whole).select(*others, each=name)
    pairs = rows.join(parts, on=others) if others else rows.join(parts, how="cross")
    sum_id = pl.concat_str(*keys, "each", separator=_SEPARATOR).alias("sum_id")
    own = pairs.filter(is_whole | (pl.col(name) == pl.col("each")))
    return own.select(sum_id, "cell", sign, exact=pl.lit(value=False))
