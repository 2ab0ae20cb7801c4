"""Invented portfolios of homes on some dates, and the tables that would be printed of them."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import polars as pl
from attack import Cell, Printed, Puzzle, Rule, cell_of, puzzle

from triage.contract.disclosure import Disclosure
from triage.learn.cells import Table
from triage.learn.suppression import Release, suppress

QUEUES = ("fix", "review", "safe")
LEFT, ENTERED = "left the stock", "new to the stock"


def portfolio(seed: int, dates: int = 2) -> list[pl.DataFrame]:
    """Homes date by date: areas and shares as lopsided as they come.

    From the second date on `queue_before` says where a home was; one that left is still there.
    """
    rng = np.random.default_rng(seed)
    homes = int(rng.choice([12, 40, 120, 400, 1500]))
    areas, hexagons = int(rng.integers(2, 4)), int(rng.integers(2, 4))
    mix = rng.dirichlet(np.full(3, rng.choice([0.3, 1.0, 3.0])), size=areas)
    area = rng.choice(areas, size=homes, p=rng.dirichlet(np.full(areas, 0.7)))
    queue = (rng.random((homes, 1)) > mix.cumsum(axis=1)[area]).sum(axis=1).clip(0, 2)
    frame = pl.DataFrame(
        {
            "area": [f"A{n}" for n in area],
            "hexagon": [f"H{n}" for n in (area + rng.integers(0, 2, homes)) % hexagons],
            "queue": [QUEUES[n] for n in queue],
            "foam": rng.choice(["yes", "no"], size=homes, p=[0.15, 0.85]),
        }
    )
    found = [frame]
    for _ in range(dates - 1):
        found.append(_moved(present(found[-1]), rng, seed))
    return found


def present(homes: pl.DataFrame) -> pl.DataFrame:
    """Homes that are still in the stock."""
    return homes.filter(pl.col("queue") != LEFT).select("area", "hexagon", "queue", "foam")


def _moved(frame: pl.DataFrame, rng: np.random.Generator, seed: int) -> pl.DataFrame:
    moves = pl.Series(rng.random(frame.height) < rng.choice([0.0, 0.05, 0.3]))
    goes = pl.Series(rng.random(frame.height) < rng.choice([0.0, 0.02]))
    where = pl.Series(rng.choice(QUEUES, frame.height))
    stays = frame.with_columns(
        queue_before="queue",
        queue=pl.when(goes)
        .then(pl.lit(LEFT))
        .otherwise(pl.when(moves).then(where).otherwise("queue")),
    )
    new = frame.sample(int(rng.choice([0, frame.height // 20])), seed=seed)
    return pl.concat([stays, new.with_columns(queue_before=pl.lit(ENTERED))], how="diagonal")


def _count(homes: pl.DataFrame, *names: str) -> pl.DataFrame:
    return homes.group_by(names).agg(pl.len().alias("homes"))


def _reasons(homes: pl.DataFrame) -> pl.DataFrame:
    """Rules by area: a home counts under each of its reasons, and once under "all"."""
    by = homes.with_columns(
        reason=pl.when(pl.col("queue") == "fix")
        .then(pl.lit("W01,R02").str.split(","))
        .when(pl.col("foam") == "yes")
        .then(pl.lit("R02,F01").str.split(","))
        .otherwise(pl.lit("F09").str.split(","))
    ).explode("reason")
    return pl.concat(
        [
            _count(by, "area", "reason"),
            _count(homes, "area")
            .with_columns(reason=pl.lit("all"))
            .select("area", "reason", "homes"),
        ]
    )


def report(homes: pl.DataFrame, date: str) -> list[Table]:
    """Queues by area, by foam, on a map, and reasons."""
    return [
        Table("queues", date, _count(homes, "area", "queue")),
        Table("foam", date, _count(homes, "foam", "queue")),
        Table("map", date, _count(homes, "hexagon", "queue"), area="hexagon"),
        Table("reasons", date, _reasons(homes), overlapping=("reason",)),
    ]


def movement(homes: pl.DataFrame, before: str, now: str) -> Table:
    """From queue to queue between two dates; its margins are the queues of both reports."""
    counts = homes.group_by("queue_before", "queue").agg(pl.len().alias("homes"))
    stands_for = {"queue_before": (before, "queue"), "queue": (now, "queue")}
    return Table("movement", f"{before} to {now}", counts, stands_for=stands_for)


def two_tables(seed: int) -> list[list[Table]]:
    """One report: queues by area, and what shares its totals with it, in turn.

    A map, reasons (overlapping), a map of the same areas, a table of three dimensions.
    """
    (homes,) = portfolio(seed, 1)
    queues = Table("queues", "d1", _count(homes, "area", "queue"))
    if seed % 4 == 0:
        other = Table("map", "d1", _count(homes, "hexagon", "queue"), area="hexagon")
    elif seed % 4 == 1:
        other = Table("reasons", "d1", _reasons(homes), overlapping=("reason",))
    elif seed % 4 == 2:
        other = Table("foam", "d1", _count(homes, "area", "foam"), area="area")
    else:
        other = Table("deep", "d1", _count(homes, "area", "foam", "queue"))
    return [[queues, other]]


def many_maps(seed: int) -> list[list[Table]]:
    """One report of 30 areas, four maps of them, most areas small."""
    rng = np.random.default_rng(seed)
    size = (1 / np.arange(1, 31)) ** 0.8
    homes, area = 2000, rng.choice(30, 2000, p=size / size.sum())
    frame = pl.DataFrame({"area": [f"A{n:02d}" for n in area]}).with_columns(
        pl.Series(name, rng.choice(kinds, homes, p=weights))
        for name, kinds, weights in (
            ("queue", QUEUES, (0.2, 0.5, 0.3)),
            ("coverage", ("in date", "past", "none"), (0.7, 0.2, 0.1)),
            ("foam", ("none", "closed", "open"), (0.9, 0.06, 0.04)),
            ("exposure", ("low", "moderate", "severe", "unknown"), (0.1, 0.5, 0.35, 0.05)),
        )
    )
    names = ("queue", "coverage", "foam", "exposure")
    return [[Table(name, "d1", _count(frame, "area", name), area="area") for name in names]]


def reports(seed: int, dates: int) -> list[list[Table]]:
    """Consecutive reports, and in each the movement since the last."""
    found = []
    for n, homes in enumerate(portfolio(seed, dates), start=1):
        moved = [movement(homes, f"d{n - 1}", f"d{n}")] if n > 1 else []
        found.append([*report(present(homes), f"d{n}"), *moved])
    return found


@dataclass(frozen=True)
class Told:
    """What an audience holds of one portfolio: a puzzle, and which withheld counts are small."""

    puzzle: Puzzle
    small: set[Cell]
    rows: int
    withheld: int


def told(story: Sequence[Sequence[Table]], rule: Disclosure) -> Told:
    """Publish reports one after the other."""
    published: list[tuple[Sequence[Table], Release]] = []
    for tables in story:
        before = [release for _, release in published[-1:]]  # it knows of those before it
        published.append((tables, suppress(tables, rule, before)))
    return held(published, rule)


def held(published: Sequence[tuple[Sequence[Table], Release]], rule: Disclosure) -> Told:
    """What was printed, as a puzzle; it is compared with the true counts along the way."""
    printed: list[Printed] = []
    counts: dict[Cell, int] = {}
    for tables, release in published:
        for table in tables:
            printed.append(as_printed(table, release))
            counts |= true_counts(table, printed[-1], rule)
    solved = puzzle(printed, Rule(rule.cell_min, rule.rounding, rule.map_area_min))
    small = {cell for cell in solved.hidden if counts[cell] < solved.least[cell]}
    rows = pl.concat([p.rows.select("is_withheld") for p in printed])
    return Told(solved, small, rows.height, int(rows["is_withheld"].sum()))


def as_printed(table: Table, release: Release) -> Printed:
    """A table as an audience gets it."""
    rows = release.tables[table.name]
    return Printed(table.population, rows, table.overlapping, table.stands_for, table.area)


def true_counts(table: Table, printed: Printed, rule: Disclosure) -> dict[Cell, int]:
    """True count of every cell, added up here; the printed ones are compared with it."""
    found = {}
    names = list(table.dimensions)
    sums = _sums(table)
    for row in printed.rows.iter_rows(named=True):
        key = tuple(row[n] for n in names)
        true = found[cell_of(printed, {n: row[n] for n in names})] = sums.get(key, 0)
        if row["homes"] is not None:
            is_area = [n for n in names if row[n] != "all"] == [table.area]
            least = rule.map_area_min if is_area else rule.cell_min
            assert row["homes"] == (true + rule.rounding // 2) // rule.rounding * rule.rounding
            assert true >= least or true == 0, (table.name, row)
    return found


def _sums(table: Table) -> dict[tuple[str, ...], int]:
    """Homes of every combination and margin."""
    found: dict[tuple[str, ...], int] = {}
    for *key, homes in table.counts.select(*table.dimensions, "homes").iter_rows():
        at: list[tuple[str, ...]] = [()]
        for name, value in zip(table.dimensions, key, strict=True):
            ends = (value,) if name in table.overlapping else (value, "all")
            at = [(*start, end) for start in at for end in ends]
        for place in at:
            found[place] = found.get(place, 0) + homes
    return found
