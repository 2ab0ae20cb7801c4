"""A run that judges the homes in small batches gives the same bytes as one that takes them all."""

from pathlib import Path

import pytest
from golden_runs import DemoRun

from triage import stages
from triage.programme_run import run_programme


def test_batches_change_nothing(
    demo_runs: dict[str, DemoRun], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    demo = demo_runs["county_weatherisation"]
    monkeypatch.setattr(stages, "BATCH_HOMES", 97)
    said: list[str] = []
    run_programme(demo.source / "programme.toml", tmp_path / "run", said.append)
    assert sum(text.startswith("homes ") and " of " in text for text in said) > 3
    for name in ("queue.parquet", "rule_results.parquet", "homes.parquet"):
        assert (tmp_path / "run" / name).read_bytes() == (demo.folder / name).read_bytes(), name
