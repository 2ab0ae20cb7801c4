"""A finished run with hostile names in it, and its page, made by the real command line."""

from dataclasses import dataclass
from functools import cached_property
from pathlib import Path

import polars as pl
from cli_helpers import triage, write_book

from triage.store import Store

HEAD = ["property_id", "building_part", "postal_code", "gutter_condition", "measure_code"]
HOSTILE = (
    "<script>window.hit = 1</script>",
    "</script><img src=x onerror=hit=1>",
    '@HYPERLINK("http://a.invalid","home")',  # one that begins with = is refused as a formula
    "x\u202eemoh\u200f",
    "{{data}}",
    "W" * 40,  # the longest id that is taken in
)
"""Names of homes as somebody might type, paste or plant them."""
TITLE = "=HYPERLINK(1) Kittiwake </title><script>window.hit = 1</script> & Co"
QUEUES = ("safe-to-insulate", "fix-water-first", "specialist-review")
TITLES = dict(
    zip(QUEUES, ("Safe to insulate", "Fix water first", "Specialist review"), strict=True)
)


@dataclass(frozen=True)
class PageRun:
    """Folders of the run and of one before the hostile sheet came in, and the page."""

    folder: Path
    before: Path
    page: Path

    @cached_property
    def queue(self) -> pl.DataFrame:
        return pl.read_parquet(self.folder / "queue.parquet")

    def stored(self, sql: str) -> pl.DataFrame:
        """Rows of the run's own store."""
        with Store(self.folder / "store.duckdb", read_only=True) as store:
            return store.ask(sql)

    @cached_property
    def homes(self) -> pl.DataFrame:
        return pl.read_parquet(self.folder / "homes.parquet", columns=["property_id", "queue"])

    def worst(self, rows: pl.DataFrame) -> dict[str, str]:
        """Worst queue of each home by the rule of the brief: fix, then review, then safe."""
        order = {"fix-water-first": 0, "specialist-review": 1, "safe-to-insulate": 2}
        found: dict[str, str] = {}
        for home, queue in rows.select("property_id", "queue").rows():
            if home not in found or order[queue] < order[found[home]]:
                found[home] = queue
        return found


def make_run(root: Path) -> PageRun:
    """Run two sources of the coastal demo and a sheet of hostile names."""
    copied = triage("demo", root / "demo")
    assert copied.code == 0, copied.err
    source = root / "demo" / "coastal_association"
    file = source / "programme.toml"
    lines = file.read_text(encoding="utf-8")
    first, *blocks = lines.split("[[sources]]")
    kept = [block for block in blocks if "fabric_survey" in block or "estate_walk" in block]
    measures = lines[lines.index("[[measures]]") :]
    own = '[[sources]]\nfiles = "surveys/hostile.xlsx"\n\n'
    first = first.replace("Kittiwake Coast Homes, roofs and walls 2026", TITLE)
    sources = "".join("[[sources]]" + block for block in kept)
    file.write_text(first + sources + measures, encoding="utf-8")
    before = triage("run", file, "--out", root / "before", "--json")
    assert before.code == 1, before.err
    file.write_text(first + sources + own + measures, encoding="utf-8")
    rows = [[name, "main", "EX8 4TR", "blocked", "loft_topup"] for name in HOSTILE]
    write_book(source / "surveys" / "hostile.xlsx", {"Homes": [HEAD, *rows]})
    # The demo holds rows that must be rejected, so a good run ends with 1.
    ran = triage("run", file, "--out", root / "run", "--json")
    assert ran.code == 1, ran.err
    page = root / "report.html"
    made = triage("page", root / "run", "--out", page)
    assert made.code == 0, made.err
    assert made.out == f"{page}\n"
    return PageRun(root / "run", root / "before", page)
