"""Invented portfolios of homes on two dates, and the tables that would be printed of them."""

import numpy as np
import polars as pl

from triage.learn.cells import Table

QUEUES = ("fix", "review", "safe")
LEFT, ENTERED = "left the stock", "new to the stock"


def portfolio(seed: int) -> tuple[pl.DataFrame, pl.DataFrame]:
    """Homes of an earlier and of a later date: areas and shares as lopsided as they come."""
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
    moves = rng.random(homes) < rng.choice([0.0, 0.05, 0.3])
    later = [
        str(rng.choice(QUEUES)) if moved else now
        for moved, now in zip(moves, frame["queue"], strict=True)
    ]
    goes = rng.random(homes) < rng.choice([0.0, 0.02])
    stays = frame.with_columns(queue_before="queue", queue=pl.Series(later)).with_columns(
        queue=pl.when(pl.Series(goes)).then(pl.lit(LEFT)).otherwise("queue")
    )
    new = frame.sample(int(rng.choice([0, homes // 20])), seed=seed)
    return frame, pl.concat([stays, new.with_columns(queue_before=pl.lit(ENTERED))])


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
