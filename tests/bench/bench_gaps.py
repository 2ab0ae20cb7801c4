"""How long it takes to ask a run what it waits for, against the plain triage run of the same homes.

Homes with three surveys each: answers left out, merely assumed, out of date, in dispute, bad. A run
grades them and finds their conflicts; then the gaps and the repairs of that run are asked for. The
ratio to the run is printed; the issue's limit for all of grading, conflicts and gaps is 2. Nothing
is asserted.

    PYTHONPATH=tests:tests/gaps python tests/bench/bench_gaps.py [homes] [rounds]
"""

import shutil
import statistics
import sys
import tempfile
import time
from collections.abc import Callable
from datetime import date
from pathlib import Path

import numpy as np
import polars as pl
from gap_stock import LEFT_OUT, MEASURES, WRITTEN

from triage.gaps.run import find_gaps, find_repairs
from triage.programme_run import run_programme

GOAL = 2.0
VISITS = (date(2023, 2, 16), date(2025, 3, 3), date(2026, 2, 16))
BAD = {
    "roof_leak_evidence": "active",
    "gutter_condition": "failed",
    "visible_mould": "extensive",
    "roof_covering_condition": "poor",
    "cavity_bridging": "debris",
}
PROGRAMME = """name = "Benchmark stock"
programme_id = "bench"
country_code = "GB"
as_of = 2026-10-31

[[sources]]
files = "surveys/*.parquet"
"""


def make_programme(folder: Path, homes: int) -> Path:
    """Write a programme with three surveys of each home."""
    rng = np.random.default_rng(20_261_125)
    (folder / "surveys").mkdir(parents=True)
    for number, day in enumerate(VISITS):
        frame = pl.DataFrame({"property_id": [f"G{n:06}" for n in range(homes)]}).with_columns(
            pl.format("{}-{}", "property_id", pl.lit(number)).alias("survey_id"),
            pl.Series("surveyor_id", [f"S{n % 40}" for n in range(homes)]),
            pl.Series("measure_code", rng.choice(MEASURES, homes)),
            *(pl.lit(str(value)).alias(name) for name, value in WRITTEN.items()),
        )
        dated = [pl.lit(str(day)).alias(name) for name in ("survey_date", "mc_date")]
        frame = frame.with_columns(dated)
        left = [
            pl.when(pl.Series(rng.random(homes) < 0.12)).then(pl.col(name)).alias(name)
            if number < len(VISITS) - 1
            else pl.when(pl.Series(rng.random(homes) > 0.08)).then(pl.col(name)).alias(name)
            for name in LEFT_OUT
        ]
        worse = [
            pl.when(pl.Series(rng.random(homes) < 0.02))
            .then(pl.lit(bad))
            .otherwise(name)
            .alias(name)
            for name, bad in BAD.items()
        ]
        frame.with_columns(left).with_columns(worse).write_parquet(
            folder / "surveys" / f"visit_{number}.parquet"
        )
    (folder / "programme.toml").write_text(PROGRAMME, encoding="utf-8")
    return folder / "programme.toml"


def _timed(call: Callable[[], object]) -> float:
    start = time.perf_counter()
    call()
    return time.perf_counter() - start


def _silent(_: str) -> None:
    return


def main(homes: int = 100_000, rounds: int = 2) -> None:
    """Take turns: a run, its gaps, its repairs."""
    with tempfile.TemporaryDirectory() as held:
        programme = make_programme(Path(held) / "stock", homes)
        out = Path(held) / "run"
        ratios: dict[str, list[float]] = {"gaps": [], "repairs": []}
        for _ in range(rounds):
            shutil.rmtree(out, ignore_errors=True)
            run = _timed(lambda: run_programme(programme, out, _silent))
            gaps = _timed(lambda: find_gaps(out, _silent))
            repairs = _timed(lambda: find_repairs(out, None, _silent))
            ratios["gaps"].append(gaps / run)
            ratios["repairs"].append(repairs / run)
            print(f"run {run:.1f} s, gaps {gaps:.1f} s, repairs {repairs:.1f} s", flush=True)
        queue = pl.read_parquet(out / "queue.parquet")
        print(queue.group_by("queue", "lane").len().sort("queue", "lane"))
        for name, found in ratios.items():
            print(f"{name}: {statistics.median(found):.2f} of a run of {homes:,} homes")
        print(f"limit for gaps: {GOAL}")


if __name__ == "__main__":
    main(*(int(word) for word in sys.argv[1:]))
