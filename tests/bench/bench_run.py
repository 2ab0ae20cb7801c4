"""How long a whole run takes, against reading the same workbook as text.

A workbook of 20,000 rows x 60 columns is made by drawing rows, with a fixed seed, from the demo's
fabric survey: real-looking cells, typos and all. The cases take turns in one process; the median
of the per-round ratios is printed. Nothing is asserted: time is for people to judge.

    python tests/bench/bench_run.py [rows] [rounds]
"""

import resource
import shutil
import statistics
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

import fastexcel
import numpy as np
import polars as pl
import xlsxwriter

import triage.intake.files as intake_files
from triage import stages
from triage.programme_run import run_programme

DEMO = Path(__file__).parents[2] / "demo_data" / "coastal_association"
SURVEY = "fabric_survey_2025-26.xlsx"
COLUMNS = 60
HEAD_ROWS = 5  # title block and two heading lines
SPARE = (
    *("UPRN", "Block ref", "Band", "Storeys", "GIA sq m", "Arch", "Thickness", "DPC"),
    *("Existing ins", "EWI edge drawings", "Built-in", "Aspect", "Capillary break", "Ground floor"),
    *("Airbricks", "Subfloor", "Density", "Depth", "Coverage", "Installed", "Against", "Air gap"),
    *("Papers", "Fire cover", "VCL", "Occ", "Background vent", "Heating appliance", "Downlights"),
    *("Flue", "Bats", "Photos", "Visit no", "By", "Competence", "Confidence", "Material", "Pitch"),
    *("MC at", "Drainage (flat)", "Openings", "Penetrations", "Wiring", "Thickness", "Limits"),
)
GOAL, GOAL_JUDGING = 15.0, 3.0  # the limits, as ratios to the plain text read


def make_programme(folder: Path, rows: int) -> Path:
    """Write the big workbook and a programme that reads it."""
    sheet = fastexcel.read_excel(DEMO / "surveys" / SURVEY).load_sheet(
        0, header_row=None, dtypes="string"
    )
    cells = sheet.to_polars().rows()
    keep = _kept_columns(cells)
    upper = pl.Series([cells[HEAD_ROWS - 2][c] for c in range(len(cells[0]))], dtype=pl.String)
    spread = upper.forward_fill().to_list()  # a merged heading names only its first column
    rng = np.random.default_rng(20_000)
    picks = rng.integers(HEAD_ROWS, len(cells), rows)
    (folder / "surveys").mkdir(parents=True)
    (folder / "profiles").mkdir()
    with xlsxwriter.Workbook(str(folder / "surveys" / SURVEY), {"constant_memory": True}) as book:
        page = book.add_worksheet("Fabric survey")
        for at in range(HEAD_ROWS):
            line = spread if at == HEAD_ROWS - 2 else cells[at]
            page.write_row(at, 0, [line[c] for c in keep])
        for n, pick in enumerate(picks):
            line = [cells[pick][c] for c in keep]
            line[0] = f"B-{n:06d}"  # a home of its own
            page.write_row(HEAD_ROWS + n, 0, [None if cell is None else str(cell) for cell in line])
    profile = "1_fabric_survey.toml"
    shutil.copy(DEMO / "profiles" / profile, folder / "profiles" / profile)
    programme = folder / "programme.toml"
    programme.write_text(
        f"""name = "benchmark"\nprogramme_id = "B"\ncountry_code = "GB"\nas_of = 2026-10-31
policy = "default"\n[[sources]]\nfiles = "surveys/*.xlsx"\nprofile = "profiles/{profile}"
[[measures]]\ncode = "loft_topup"
where = "roof_form = 'pitched_cold' AND COALESCE(ceiling_insulation_mm < 200, TRUE)"\n""",
        encoding="utf-8",
    )
    return programme


def _kept_columns(cells: list[tuple[Any, ...]]) -> list[int]:
    """60 columns in sheet order: those that the rules read, the foam details left out."""
    lower = cells[HEAD_ROWS - 1]
    spare = [c for c in range(len(lower)) if lower[c] in SPARE]
    return [c for c in range(len(lower)) if c not in spare][:COLUMNS]


class Clock:
    """Adds up the seconds spent inside some functions of a module."""

    def __init__(self) -> None:
        self.seconds: dict[str, float] = {}

    def wrap(self, module: Any, name: str) -> None:
        """Time every call of `module.name` from now on."""
        call = getattr(module, name)

        def clocked(*args: Any, **kwargs: Any) -> Any:
            seconds, result = timed(lambda: call(*args, **kwargs))
            self.seconds[name] = self.seconds.get(name, 0.0) + seconds
            return result

        setattr(module, name, clocked)


def timed(call: Callable[[], Any]) -> tuple[float, Any]:
    """Seconds, and what the call returned."""
    begun = time.perf_counter()
    result = call()
    return time.perf_counter() - begun, result


def main(rows: int = 20_000, rounds: int = 5) -> None:
    """Run and print."""
    clock = Clock()
    clock.wrap(intake_files, "read_book")
    for name in ("read_sources", "place_homes", "assess"):
        clock.wrap(stages, name)
    with tempfile.TemporaryDirectory() as temp:
        programme = make_programme(Path(temp) / "programme", rows)
        book = programme.parent / "surveys" / SURVEY
        whole, judging, steps = [], [], {}
        for turn in range(rounds + 1):  # the first turn warms up
            plain, _ = timed(lambda: pl.read_excel(book, infer_schema_length=0))
            clock.seconds.clear()
            out = Path(temp) / f"run{turn}"
            total, done = timed(lambda: run_programme(programme, out, lambda _: None))  # noqa: B023
            shutil.rmtree(out)
            inside = dict(clock.seconds)
            typing = inside["read_sources"] - inside["read_book"]
            if turn:
                whole.append(total / plain)
                judging.append((typing + inside["place_homes"] + inside["assess"]) / plain)
                steps = done.record["seconds"] | inside | {"text read": plain}
        _print(rows, whole, judging, steps, done.record)


def _print(
    rows: int, whole: list[float], judging: list[float], steps: dict[str, float], record: Any
) -> None:
    print(f"{rows} rows x {COLUMNS} columns, {record['assessed']} home-part-measures")
    for name, ratios, goal in (
        ("whole run / text read", whole, GOAL),
        ("typing, placing, rules, queue / text read", judging, GOAL_JUDGING),
    ):
        low, mid, high = min(ratios), statistics.median(ratios), max(ratios)
        print(f"{name}: {mid:.2f} [{low:.2f} to {high:.2f}], goal {goal:.0f} at most")
    print("seconds of the last round:", {k: round(v, 3) for k, v in steps.items()})
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    print(f"peak memory of the process: {peak:.0f} MiB")


if __name__ == "__main__":
    main(*(int(arg) for arg in sys.argv[1:]))
