"""Tables of counts that are printed together: their cells, and which cells add up to which."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from itertools import combinations

import polars as pl

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
    the dimension that a map draws; None for a table.
    """

    name: str
    population: str
    counts: pl.DataFrame
    overlapping: tuple[str, ...] = ()
    stands_for: Mapping[str, tuple[str, str]] = field(default_factory=dict)
    area: str | None = None

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
    names = table.dimensions
    _check(table)
    full = _every_combination(table)
    adding = [name for name in names if name not in table.overlapping]
    levels = [full]
    for size in range(1, len(adding) + 1):
        for summed in combinations(adding, size):
            kept = [name for name in names if name not in summed]
            total = pl.col(HOMES).sum()
            level = full.group_by(kept).agg(total) if kept else full.select(total)
            levels.append(level.with_columns(pl.lit(ALL).alias(name) for name in summed))
    rows = pl.concat([level.select(*names, HOMES) for level in levels])
    return rows.with_columns(_cell(table), _void(names).alias("is_void")).sort(names).collect()


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


def _every_combination(table: Table) -> pl.LazyFrame:
    names, counts = list(table.dimensions), table.counts.lazy()
    grid = counts.select(pl.col(names[0]).unique())
    for name in names[1:]:
        grid = grid.join(counts.select(pl.col(name).unique()), how="cross")
    counted = counts.select(*names, pl.col(HOMES).cast(pl.Int64))
    return grid.join(counted, on=names, how="left").with_columns(pl.col(HOMES).fill_null(0))


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


def _void(names: Sequence[str]) -> pl.Expr:
    """A whole category without homes: its 0 says nothing about a home (7.3)."""
    return pl.any_horizontal((pl.col(HOMES).sum().over(name) == 0) for name in names)


def sums_of(table: Table, rows: pl.DataFrame) -> pl.DataFrame:
    """Which cells add up to which: `sum_id`, `cell`, `sign` (1 a part, -1 the total), `exact`.

    Where `exact` is false the cells are a part and the whole that holds it: part <= whole.
    """
    names = table.dimensions
    found = [_sums_over(table, rows, name, names) for name in names]
    return pl.concat(found)


def _sums_over(table: Table, rows: pl.DataFrame, name: str, names: tuple[str, ...]) -> pl.DataFrame:
    others = [n for n in names if n != name]
    exact = name not in table.overlapping
    parts = rows.filter(pl.col(name) != ALL)
    keys = [pl.lit(f"{table.population}{_SEPARATOR}{table.name}{_SEPARATOR}{name}")]
    keys += [pl.col(n) for n in others]
    each = [] if exact else [pl.col(name)]
    sum_id = pl.concat_str(*keys, *each, separator=_SEPARATOR).alias("sum_id")
    sign = pl.lit(1, pl.Int8).alias("sign")
    plus = parts.select(sum_id, "cell", sign)
    whole = rows.filter(pl.col(name) == ALL)
    if exact:
        total = whole.select(sum_id, "cell", -sign)
    else:
        right = whole.select(*others, pl.col("cell").alias("whole"))
        joined = parts.join(right, on=others) if others else parts.join(right, how="cross")
        total = joined.select(sum_id, pl.col("whole").alias("cell"), -sign)
    return pl.concat([plus, total]).with_columns(pl.lit(exact).alias("exact"))
