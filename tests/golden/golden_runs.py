"""A demonstration programme and a finished run of it."""

import json
from dataclasses import dataclass
from functools import cached_property
from pathlib import Path
from typing import Any

import polars as pl
from cli_helpers import Answer

PROGRAMMES = ("coastal_association", "county_weatherisation")


@dataclass(frozen=True)
class DemoRun:
    """A demonstration programme as `triage demo` copies it, and a finished run of it."""

    name: str
    source: Path
    folder: Path
    answer: Answer

    @property
    def programme(self) -> Path:
        return self.source / "programme.toml"

    @cached_property
    def record(self) -> dict[str, Any]:
        found: dict[str, Any] = json.loads((self.folder / "run.json").read_text(encoding="utf-8"))
        return found

    @cached_property
    def queue(self) -> pl.DataFrame:
        return pl.read_parquet(self.folder / "queue.parquet")

    @cached_property
    def expected(self) -> pl.DataFrame:
        return pl.read_csv(self.source / "expected_queues.csv", infer_schema=False)
