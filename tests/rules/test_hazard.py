"""A hazard is raised with the day it was first recorded (survey dictionary 1.2, V04)."""

from datetime import date

import pytest
from rule_homes import BASES, judge_one

SURVEYED = date(2026, 2, 16)  # the day of every base home's survey


@pytest.mark.parametrize("name", ["loft", "rafter"])
@pytest.mark.parametrize("mould", ["moderate", "extensive", "void_only"])
def test_mould_is_noted_with_its_day(name: str, mould: str) -> None:
    row = judge_one(BASES[name].but(visible_mould=mould))
    assert row["hazard_first_on"] == SURVEYED
    assert any("2026-02-16" in note and "clocks" in note for note in row["notes"])


@pytest.mark.parametrize("mould", ["none_seen", "trace", None])
def test_no_hazard_where_no_mould_is_recorded(mould: str | None) -> None:
    row = judge_one(BASES["loft"].but(visible_mould=mould))
    assert row["hazard_first_on"] is None
    assert not any("clocks" in note for note in row["notes"])
