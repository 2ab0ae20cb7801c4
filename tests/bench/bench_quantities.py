"""How long all moisture quantities take, against reading and writing the same rows as Parquet.

A million invented assessment rows with the variety of a portfolio: constructions, coverings, foam,
measures with materials and thicknesses, stations, humidity, some of it unknown. The cases take
turns in one process; the median of the per-round ratios is printed. Compile time, or the time to
load compiled kernels from disk, is printed apart. Nothing is asserted: time is for people to judge.

    python tests/bench/bench_quantities.py [rows] [rounds]
"""

import statistics
import sys
import tempfile
import time
from collections.abc import Callable, Sequence
from pathlib import Path

import numpy as np
import polars as pl

from triage.assemblies.moisture import moisture_quantities
from triage.contract import load_contract
from triage.contract.assemblies import load_library
from triage.contract.policy_load import load_policy, policy_dir
from triage.physics.compiled import warm_up
from triage.place.records import climate_records

GOAL = 3.0  # the limit, as a ratio to the scan and write
STATIONS, ESTATES, PROPOSED = 60, 2000, 3
Choice = Sequence[str | float | None]
Numbers = np.ndarray[tuple[int], np.dtype[np.int64]]
# Many homes are alike, few are odd: earlier entries are drawn more often.
CHOICES: dict[str, Choice] = {
    "roof_form": ["pitched_cold", "pitched_room", "pitched_cathedral", "low_slope_cold"],
    "roof_covering": [
        *("tile_interlocking", "slate_natural", "shingle_asphalt", "tile_plain"),
        *("metal_standing_seam", "felt_built_up", None),
    ],
    "roof_underlay": ["felt_bitumen_hr", "membrane_lr", "none", "paper_15_30", None],
    "roof_deck": ["battens_only", "boards_close", "osb", "plywood", None],
    "roof_outer_class": [None],
    "insulation_plane": ["ceiling", "ceiling", "none", "rafter_unvented", "mixed", None],
    "ceiling_insulation_mm": [100.0, 50.0, 150.0, 200.0, 270.0, 75.0, None],
    "interior_vapour_control": ["none", "class_2", "class_3", None],
    "vapour_diffusion_port": [None, "no"],
    "wall_construction": [
        *("cavity_brick", "brick_solid", "frame_clad", "cavity_block_rendered"),
        *("stone_soft", "frame_brick_veneer", None),
    ],
    "wall_thickness_mm": [280.0, 215.0, 330.0, 450.0, None],
    "wall_finish_external": ["bare", "render_cement", "cladding_drained", "paint_film", None],
    "wall_insulation_existing": ["none", "cavity_fill", "frame_fill", None],
    "cavity_width_mm": [60.0, 50.0, 75.0, None],
    "cavity_state": ["clear", "filled_sound", None],
    "floor_construction": ["suspended_timber", "solid_membrane", None],
    "foam_type": ["closed_cell", "open_cell"],
    "foam_thickness_mm": [100.0, 75.0, 50.0, 125.0, 150.0, None],
}
MEASURES: dict[str, tuple[str, Choice, Choice]] = {
    "loft_topup": ("roof", ["mineral_wool", "cellulose"], [300.0, 270.0, 350.0]),
    "cavity_fill": ("wall", ["eps_bead", "mineral_wool"], [None]),
    "internal_wall": ("wall", ["wood_fibre", "pir_pur_board"], [60.0, 80.0, 100.0]),
    "external_wall": ("wall", ["mineral_wool", "eps_xps"], [100.0, 120.0, 150.0]),
    "rafter_insulation": ("roof", ["spf_closed", "spf_open", "mineral_wool"], [75.0, 100.0, 150.0]),
    "floor_insulation": ("floor", ["mineral_wool", "pir_pur_board"], [100.0, 150.0]),
    "foam_check": ("roof", [None], [None]),
}


def make_rows(rows: int) -> pl.DataFrame:
    """Assessment rows as the engine has them before the calculations.

    Homes come in estates that share construction, climate, what the survey form asked and what is
    proposed; within an estate loft depth, foam, household and measure differ.
    """
    rng = np.random.default_rng(3)
    policy = load_policy(policy_dir("default"))

    def draw(choices: Choice, count: int = rows) -> pl.Series:
        weight = 1.0 / np.arange(1, len(choices) + 1)
        return pl.Series(choices).gather(rng.choice(len(choices), count, p=weight / weight.sum()))

    estate = rng.integers(0, ESTATES, rows)
    shared = pl.DataFrame({name: draw(values, ESTATES) for name, values in CHOICES.items()})
    shared = shared.with_columns(**_placed(rng, ESTATES))
    # An estate has a few measures in view, not every one.
    lots = np.array([draw(list(MEASURES), ESTATES).to_list() for _ in range(PROPOSED)])
    measure = pl.Series("measure_code", lots[rng.integers(0, PROPOSED, rows), estate])
    frame = shared[estate].with_columns(
        measure,
        *_measured(measure, lambda choices: draw(choices, ESTATES)[estate]),
        ceiling_insulation_mm=draw(CHOICES["ceiling_insulation_mm"]),
        foam_thickness_mm=draw(CHOICES["foam_thickness_mm"]),
    )
    frame = frame.with_columns(**_identity(rng, rows, estate))
    foamed = pl.Series(rng.random(rows) < 0.06) | (measure == "foam_check")
    group = {code: policy.measures[code].group for code in MEASURES}
    kind = {"spf_open": "open_cell", "spf_closed": "closed_cell"}
    raft = pl.col("measure_code") == "rafter_insulation"
    nowhere = pl.lit([], pl.List(pl.String))
    sprayed = raft & pl.col("measure_material").str.starts_with("spf")
    return frame.with_columns(
        measure_group=measure.replace_strict(group),
        measure_element=measure.replace_strict({c: m[0] for c, m in MEASURES.items()}),
        foam_in_roof=foamed,
        foam_location=pl.when(foamed).then(pl.lit(["underside_deck"])).otherwise(nowhere),
        foam_defects=pl.when(foamed).then(pl.lit(["none_seen"])),
        foam_class_resolved=pl.when(foamed).then("foam_type"),
        foam_deck_top_only=pl.lit(value=False),
        foam_measure=sprayed.fill_null(value=False),
        humidity_class=draw([3, 4, None]).cast(pl.Int8),
        vapour_control_after=pl.col("interior_vapour_control"),
        edge_detail_drawings=draw([None, "yes", "no"]),
    ).with_columns(
        plane_after=pl.when(sprayed.fill_null(value=False) | pl.col("foam_in_roof"))
        .then(pl.lit("rafter_unvented"))
        .when(raft)
        .then(pl.lit("rafter_ventilated"))
        .when(pl.col("measure_code") == "loft_topup")
        .then(pl.lit("ceiling"))
        .otherwise("insulation_plane"),
        foam_class_after=pl.col("measure_material").replace_strict(kind, default=None),
    )


def _identity(rng: np.random.Generator, rows: int, estate: Numbers) -> dict[str, pl.Series]:
    """What tells one home from another; nothing is calculated from it, but rows carry it."""
    number = pl.Series("n", np.arange(rows))
    return {
        "property_id": pl.select(pl.format("H-{}", number)).to_series(),
        "survey_id": pl.select(pl.format("V{}", number[rng.permutation(rows)])).to_series(),
        "surveyor_id": pl.Series(rng.integers(0, 300, rows)).cast(pl.String),
        "survey_date": pl.Series(np.datetime64("2024-01-01") + rng.integers(0, 900, rows)),
        "latitude": pl.Series(50.0 + estate / 400 + rng.normal(0, 0.01, rows)),
        "longitude": pl.Series(-3.0 + estate / 1000 + rng.normal(0, 0.01, rows)),
        "year_built": pl.Series(1850 + estate % 160),
    }


def _measured(measure: pl.Series, draw: Callable[[Choice], pl.Series]) -> list[pl.Expr]:
    material, thick = pl.lit(None, pl.String), pl.lit(None, pl.Float64)
    for code, (_, materials, depths) in MEASURES.items():
        here = pl.lit(measure) == code
        material = pl.when(here).then(pl.lit(draw(materials))).otherwise(material)
        thick = pl.when(here).then(pl.lit(draw(depths))).otherwise(thick)
    return [material.alias("measure_material"), thick.alias("measure_thickness_mm")]


def _placed(rng: np.random.Generator, rows: int) -> dict[str, pl.Series]:
    records = climate_records(None)["climate_id"].sample(STATIONS, seed=1)
    return {
        "climate_id": records.gather(rng.integers(0, STATIONS, rows)),
        "join_quality": pl.Series(["good", "low"]).gather((rng.random(rows) < 0.05).astype(int)),
        "latitude_north": pl.Series(np.ones(rows, dtype=bool)),
        "zone_num": pl.Series(rng.integers(2, 7, rows)).cast(pl.Int8),
        "moist_letter": pl.Series(["A", "B"]).gather(rng.integers(0, 2, rows)),
        "zone_edition": pl.repeat("IECC 2006-2018 county assignment", rows, eager=True),
    }


def timed(call: Callable[[], object]) -> tuple[float, object]:
    """Seconds, and what the call returned."""
    begun = time.perf_counter()
    result = call()
    return time.perf_counter() - begun, result


def main(rows: int = 1_000_000, rounds: int = 5) -> None:
    """Run and print."""
    policy, library = load_policy(policy_dir("default")), load_library()
    load_contract()
    climate = climate_records(None)
    print(f"kernels compiled or loaded in {warm_up():.1f} s")
    frame = make_rows(rows)
    with tempfile.TemporaryDirectory() as temp:
        source, target = Path(temp) / "in.parquet", Path(temp) / "out.parquet"
        frame.write_parquet(source)
        copies, solves = [], []
        found = None
        for turn in range(rounds + 1):
            copy, _ = timed(lambda: pl.scan_parquet(source).sink_parquet(target))
            solve, found = timed(lambda: moisture_quantities([frame], climate, policy, library))
            if turn:  # the first turn warms up
                copies.append(copy)
                solves.append(solve)
    ratios = [solve / copy for solve, copy in zip(solves, copies, strict=True)]
    print(f"{rows:,} rows x {frame.width} columns, {rounds} rounds")
    middle = [statistics.median(seconds) for seconds in (copies, solves)]
    print(f"scan and write {middle[0]:.2f} s; quantities {middle[1]:.2f} s")
    told = f"{statistics.median(ratios):.2f} [{min(ratios):.2f}-{max(ratios):.2f}]"
    print(f"quantities / scan and write: {told} (limit {GOAL:g})")
    cases = found.cases.height if found is not None else 0  # type: ignore[attr-defined]
    print(f"distinct solved stacks: {cases:,}")


if __name__ == "__main__":
    main(*(int(argument) for argument in sys.argv[1:]))
