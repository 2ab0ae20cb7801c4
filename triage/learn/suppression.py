"""Small counts withheld from tables, and what else must go so that none can be worked out."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
import polars as pl
from scipy import sparse

from triage.contract.disclosure import Disclosure
from triage.errors import DisclosureError
from triage.learn.cells import ALL, HOMES, Table, sums_of, with_margins
from triage.learn.programme import Flags, Floats
from triage.learn.protection import CannotProtectError, Needs, protect
from triage.learn.ranges import System


@dataclass(frozen=True, slots=True)
class Release:
    """Tables as an audience may read them, and what the next report has to know of them.

    `tables` by name: the dimensions, `homes` (rounded; null where withheld) and `is_withheld`.
    `cells` is internal: `cell`, `printed` (null: withheld), `low` and `high` (what a reader
    knows of the count by itself), `is_withheld`, `is_small` (under the minimum, or 0), `level`.
    `sums` as made by `sums_of`. Neither holds the count itself.
    """

    rule: Disclosure
    tables: Mapping[str, pl.DataFrame]
    cells: pl.DataFrame
    sums: pl.DataFrame


def suppress(
    tables: Sequence[Table],
    rule: Disclosure,
    before: Sequence[Release] = (),
    links: pl.DataFrame | None = None,
) -> Release:
    """Withhold what an audience may not read, in all tables at once.

    A count above 0 and under the minimum is withheld, and a 0 unless a whole category has no
    homes and that gives nothing else away; then further counts, until no withheld one can be
    worked out from all that is printed, earlier reports included, to a narrower range than
    `rule.narrowest` (and a small one to anything but 0 to the minimum less one). The order of
    rows changes nothing.

    Parameters
    ----------
    tables
        Everything of the report: tables, movement and maps, with true counts.
    rule
        What the audience may read.
    before
        Earlier releases to the same audience, or to anyone who may be asked.
    links
        What a reader knows besides of how cells hang together, columns as of `sums_of`; a link
        to a cell that no table has is left out.

    Raises
    ------
    DisclosureError
        If what was printed before gives a count away whatever is withheld now.
    ValueError
        If two tables give different counts of the same homes.
    """
    margins = {table.name: with_margins(table) for table in tables}
    if len(margins) < len(tables):
        raise ValueError("two tables have the same name")
    cells = _with_earlier(_cells(tables, margins, rule), before)
    known = [_of_cells(links, cells)] if links is not None else []
    own_sums = [sums_of(table, margins[table.name]) for table in tables]
    sums = pl.concat([*own_sums, *known, *(r.sums for r in before)]).unique()
    system = _system(cells, sums)
    withheld = _protect(system, cells, rule) if rule.withholds else _flags(cells, "is_withheld")
    is_withheld = pl.col("is_withheld")
    settled = cells.with_columns(pl.Series("is_withheld", withheld)).with_columns(
        pl.when(~is_withheld).then("printed").alias("printed"),
        pl.when(~is_withheld).then("low").otherwise(0.0).alias("low"),
        pl.when(~is_withheld).then("high").otherwise("limit").alias("high"),
    )
    own = settled.select(_CELL)
    return Release(rule, _readable(tables, margins, own, rule), own, sums)


def _of_cells(links: pl.DataFrame, cells: pl.DataFrame) -> pl.DataFrame:
    """Links all of whose cells are there."""
    return links.filter(pl.col("cell").is_in(cells["cell"].implode()).all().over("sum_id"))


def _cells(
    tables: Sequence[Table], margins: Mapping[str, pl.DataFrame], rule: Disclosure
) -> pl.DataFrame:
    """One row a cell: its count, the smallest that may be printed, and its interval if it is."""
    stacked = pl.concat([_of_table(table, margins[table.name], rule) for table in tables])
    cells = stacked.group_by("cell").agg(
        pl.col("homes").first(),
        pl.col("homes").n_unique().alias("counts"),
        pl.col("is_void").any(),
        pl.col("least").min(),  # printed in one table, it is known
        pl.col("hidden_by_area").all(),
        pl.col("level").min(),
        pl.col("shown_from").max(),
        pl.col("left_out_under").min(),
    )
    if (cells["counts"] > 1).any():
        cell = cells.filter(pl.col("counts") > 1)["cell"].sort()[0].replace("\x1f", ", ")
        raise ValueError(f"two tables give different counts of the same homes: {cell}")
    base = rule.rounding
    rounded = (pl.col("homes") + base // 2) // base * base
    # What a map shows says more than the table that prints it too, and so does what it leaves out.
    low = pl.max_horizontal(pl.col("rounded") - base // 2, "least", "shown_from")
    limit = pl.when(pl.col("left_out_under") > pl.col("least")).then(
        pl.col("left_out_under").cast(pl.Float64) - 1.0
    )
    small = (pl.col("homes") < pl.col("least")) & ~pl.col("is_void") & (pl.col("least") > 1)
    return (
        cells.with_columns(rounded.alias("rounded"), limit.fill_null(np.inf).alias("limit"))
        .with_columns(
            pl.col("rounded").alias("printed"),
            pl.when(pl.col("homes") == 0).then(0).otherwise(low).cast(pl.Float64).alias("low"),
            pl.when("is_void")
            .then(0)
            .otherwise(pl.min_horizontal(pl.col("rounded") + (base - 1) // 2, "limit"))
            .cast(pl.Float64)
            .alias("high"),
            small.alias("is_small"),
            (small | (pl.col("hidden_by_area") & ~pl.col("is_void"))).alias("is_withheld"),
            pl.col("is_void").alias("is_fixed"),
        )
        .select(*_CELL, "limit", "homes", "is_fixed")
    )


_CELL = ("cell", "printed", "low", "high", "least", "level", "is_small", "is_withheld")


def _of_table(table: Table, rows: pl.DataFrame, rule: Disclosure) -> pl.DataFrame:
    level = pl.sum_horizontal((pl.col(name) != ALL).cast(pl.Int32) for name in table.dimensions)
    least, hidden = pl.lit(rule.cell_min), pl.lit(value=False)
    if table.area is not None:
        in_area = pl.col(table.area) != ALL
        hidden = in_area & (_area_homes(table) < rule.map_area_min)
        least = (
            pl.when(in_area & (level == 1)).then(rule.map_area_min).otherwise(rule.map_class_min)
        )
    left_off, some = _left_off_map(table, rule), pl.col(HOMES) > 0
    own_count = left_off & some & (pl.col(HOMES) < least)
    return rows.select(
        "cell",
        pl.col(HOMES).alias("homes"),
        "is_void",
        least.cast(pl.Int64).alias("least"),
        pl.when(~left_off & some).then(least).cast(pl.Int64).alias("shown_from"),
        pl.when(own_count).then(least).cast(pl.Int64).alias("left_out_under"),
        hidden.alias("hidden_by_area"),
        level.alias("level"),
    )


def _with_earlier(cells: pl.DataFrame, before: Sequence[Release]) -> pl.DataFrame:
    """Add the cells of earlier releases: out of our hands, and still to be protected."""
    if not before:
        return cells.sort("cell")
    earlier = (
        pl.concat([release.cells.select(_CELL) for release in before])
        # Printed once is printed; the later releases know of the earlier ones.
        .sort("cell", "is_withheld", "low")
        .unique("cell", keep="first", maintain_order=True)
        .join(cells.select("cell", "limit", now="low"), on="cell", how="left")
        .with_columns(
            pl.when("is_withheld").then("low").otherwise(pl.max_horizontal("low", "now")),
            pl.min_horizontal("high", "limit"),
            pl.min_horizontal("limit", pl.when("is_withheld").then("high").otherwise(np.inf)),
            pl.lit(None, pl.Int64).alias("homes"),
            ~pl.col("is_withheld").alias("is_fixed"),
        )
        .select(cells.columns)
    )
    stated = earlier.select("cell", "is_withheld", pl.col("printed").alias("was"))
    again = cells.join(stated, on="cell", suffix="_before")
    # A count that was printed before and has changed since belongs to another population.
    changed = again.filter(~pl.col("is_withheld_before") & (pl.col("was") != pl.col("printed")))
    if changed.height:
        cell = changed["cell"].sort()[0].replace("\x1f", ", ")
        raise ValueError(f"an earlier release gives another count of the same homes: {cell}")
    return pl.concat([earlier, cells.join(earlier, on="cell", how="anti")]).sort("cell")


def _system(cells: pl.DataFrame, sums: pl.DataFrame) -> System:
    place = cells.select("cell").with_row_index("column")
    rows = sums.select("sum_id", "exact").unique().sort("sum_id").with_row_index("row")
    entries = sums.join(place, on="cell").join(rows.select("sum_id", "row"), on="sum_id")
    entries = entries.sort("row", "column")
    matrix = sparse.csc_array(
        (entries["sign"].to_numpy().astype(float), (entries["row"], entries["column"])),
        shape=(rows.height, cells.height),
    )
    return System(
        sums=matrix,
        exact=_flags(rows, "exact"),
        low=cells["low"].to_numpy(),
        high=cells["high"].to_numpy(),
        limit=cells["limit"].to_numpy(),
        may_withhold=~_flags(cells, "is_fixed"),
        cost=_costs(cells),
    )


def _costs(cells: pl.DataFrame) -> Floats:
    """What a reader loses: large counts and totals the most. Ties go by the cell's name."""
    high = cells["high"].to_numpy()
    # One withheld before has no interval; it is out of our hands and costs nothing.
    size = 1.0 + np.log2(1.0 + np.where(np.isfinite(high), high, 0.0).clip(0.0))
    level = cells["level"].to_numpy()
    weight = 4.0 ** (level.max(initial=0) - level)
    return np.asarray(size * weight * (1.0 + 1e-3 * np.arange(cells.height) / cells.height))


def _flags(frame: pl.DataFrame, name: str) -> Flags:
    return np.array(frame[name].to_numpy(), dtype=bool)


def _protect(system: System, cells: pl.DataFrame, rule: Disclosure) -> Flags:
    """Withhold what else it takes; an error names a cell that cannot be protected any more."""
    top = np.maximum(cells["least"].to_numpy().astype(float) - 1.0, float(rule.narrowest))
    true = cells["homes"].cast(pl.Float64).fill_null(float("nan")).to_numpy()
    needs = Needs(_flags(cells, "is_withheld"), _flags(cells, "is_small"), top, true)
    try:
        return protect(system, needs)
    except CannotProtectError:
        # That a whole category has no homes tells of others after all: nobody is new, so the
        # stock is no larger than a total that was printed before. Then it is withheld too.
        ours = system.may_withhold | cells["homes"].is_not_null().to_numpy()
        try:
            return protect(replace(system, may_withhold=ours), needs)
        except CannotProtectError as problem:
            raise DisclosureError(
                "an earlier report gives a small count away whatever is withheld now",
                cells["cell"][problem.cell].replace("\x1f", ", "),
                "leave the table out that brings this count, or merge its categories",
            ) from problem


def _readable(
    tables: Sequence[Table],
    margins: Mapping[str, pl.DataFrame],
    cells: pl.DataFrame,
    rule: Disclosure,
) -> dict[str, pl.DataFrame]:
    said = cells.select("cell", "printed", "is_withheld")
    return {
        table.name: margins[table.name]
        .join(said, on="cell", how="left", maintain_order="left")
        .with_columns(pl.col("is_withheld") | _left_off_map(table, rule))
        .select(
            *table.dimensions,
            pl.when(~pl.col("is_withheld")).then("printed").alias(HOMES),
            "is_withheld",
        )
        for table in tables
    }


def _left_off_map(table: Table, rule: Disclosure) -> pl.Expr:
    """A map leaves out small areas and classes even where a table prints them.

    What nobody has is 0 in every area: left out, it would tell the small areas from the others.
    """
    if table.area is None:
        return pl.lit(value=False)
    in_area, some = pl.col(table.area) != ALL, pl.col(HOMES) > 0
    small_area = _area_homes(table).is_between(1, rule.map_area_min - 1)
    left_off = small_area | (some & (pl.col(HOMES) < rule.map_class_min))
    return in_area & left_off & ~pl.col("is_void")


def _area_homes(table: Table) -> pl.Expr:
    """Homes of the area of each row: its own margin is its largest count."""
    return pl.col(HOMES).max().over(str(table.area))
