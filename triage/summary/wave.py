"""What the random openings of a wave came to, held against the wave as it was drawn."""

from dataclasses import dataclass

import polars as pl

from triage.contract.inspection import InspectionPolicy
from triage.learn.openings import random_openings
from triage.learn.rates import Total, rates, total
from triage.learn.selection import RANDOM, Plan
from triage.learn.wave import wave_actions
from triage.waves.read import DrawnWave


@dataclass(frozen=True)
class WaveFound:
    """A wave with its results; everything but `roofs` holds true counts, for the programme alone.

    `roofs` is the table report_roof: one row a roof of the frame, with its stratum as drawn and
    what chance brought of it. `by_stratum` is as of `rates`, `whole` all strata together,
    `actions` what follows (6.6). `reached` are the strata whose planned openings were made,
    `left_out` counts inspections that call themselves random of roofs that were not drawn, `done`
    the roofs that earlier waves had opened, which are not in N, and `fresh` those that carry foam
    by now and were not known when it was drawn.
    """

    words: str
    plan: Plan
    roofs: pl.DataFrame
    by_stratum: pl.DataFrame
    whole: Total
    actions: pl.DataFrame
    reached: frozenset[str]
    left_out: int
    done: int
    fresh: int


def wave_found(
    wave: DrawnWave, inspections: pl.DataFrame, policy: InspectionPolicy, now: pl.Series
) -> WaveFound:
    """Count what was found in the roofs that a wave drew.

    Parameters
    ----------
    wave
        As it was drawn. Inspections that were recorded before are no answer to it.
    inspections
        Rows of the table `inspection` that count, of every stream; the random ones of roofs that
        the wave drew, or that stand in for them, are used, and no other.
    policy
        Rules of inspection.
    now
        Ids of the roofs that carry foam in the run that is reported.
    """
    plan = wave.plan(policy)
    since = inspections.join(wave.before, on="inspection_id", how="anti")
    openings = random_openings(since, wave)
    by_stratum = rates(openings, plan)
    made = pl.col("opened") + pl.col("no_foam")
    reached = by_stratum.filter((pl.col("random_n") > 0) & (made >= pl.col("random_n")))
    record = wave.record
    words = f"Wave drawn from evidence to {record['as_of']}, run {record['run_id']}, seed "
    return WaveFound(
        words=f"{words}{record['seed']}",
        plan=plan,
        roofs=_status(wave.roofs, openings.rows),
        by_stratum=by_stratum,
        whole=total(by_stratum, plan),
        actions=wave_actions(by_stratum, plan),
        reached=frozenset(reached["stratum"]),
        left_out=openings.left_out,
        done=int(wave.roofs["is_done"].sum()),
        fresh=len(set(now) - set(wave.roofs["roof_id"])),
    )


def _status(roofs: pl.DataFrame, rows: pl.DataFrame) -> pl.DataFrame:
    """One row a roof of the frame: what chance brought of it."""
    found = rows.select("roof_id", "is_failing", "is_damaged", came="status")
    came, drawn = pl.col("came"), (pl.col("stream") == RANDOM).fill_null(value=False)
    opened = came == "opened"
    status = (
        pl.when(opened)
        .then(pl.lit("opened"))
        .when(came == "no_foam")
        .then(pl.lit("no foam found"))
        .when(came.is_not_null())
        .then(pl.lit("not completed"))
        .when(drawn)
        .then(pl.lit("not visited yet"))
        .otherwise(pl.lit("not selected at random"))
    )
    return (
        roofs.filter(~pl.col("is_done"))
        .join(found, on="roof_id", how="left", maintain_order="left")
        .select(
            "roof_id",
            "stratum",
            status.alias("status"),
            pl.when(status == "not completed").then("came").alias("why_not"),
            pl.col("is_failing", "is_damaged").fill_null(value=False),
        )
    )
