"""The bars of the answers that release most homes, against a count without any table."""

import random
from collections import defaultdict
from typing import Any

import polars as pl
import pytest

from triage.contract import load_contract
from triage.gaps.pictures import MOST, gap_figure, gap_outcomes
from triage.gaps.run import Gaps
from triage.report.charts import draw
from triage.report.document import Bar

SAFE, FIX, REVIEW = "safe-to-insulate", "fix-water-first", "specialist-review"
FIELDS = ("roof_leak_evidence", "visible_mould", "cavity_state", "flashing_condition")
TEXT = pl.String()


def _rows(seed: int, homes: int) -> list[dict[str, Any]]:
    draw_ = random.Random(seed)
    rows = []
    for home in range(homes):
        group = draw_.choice(("CEIL", "CWI"))
        missing = sorted(draw_.sample(FIELDS, draw_.choice((1, 2, 3))))
        for part in ("main", "extension")[: draw_.choice((1, 1, 2))]:
            good = draw_.choice((SAFE, SAFE, REVIEW, FIX, None))
            again = good == REVIEW and draw_.random() < 0.5
            rows.append(
                {
                    "property_id": f"H{home}",
                    "building_part": part,
                    "measure_group": group,
                    "missing": missing,
                    "good_queue": good,
                    "good_asks_for_evidence": None if good is None else again,
                    "bad_queue": draw_.choice((FIX, FIX, REVIEW, SAFE)),
                }
            )
    return rows


def _frame(rows: list[dict[str, Any]]) -> pl.DataFrame:
    names = ("property_id", "building_part", "measure_group", "good_queue", "bad_queue")
    kinds = dict.fromkeys(names, TEXT)
    more = {"missing": pl.List(pl.String), "good_asks_for_evidence": pl.Boolean}
    return pl.DataFrame(rows, schema_overrides=kinds | more, schema=None if rows else kinds | more)


def _gaps(rows: list[dict[str, Any]]) -> Gaps:
    empty = pl.DataFrame()
    frames = {"fields": empty, "sets": empty, "visits": empty, "cells": empty, "closed": empty}
    return Gaps(
        "r",
        "n",
        "2026-10-31",
        outcomes=_frame(rows),
        contract=load_contract(),
        measures={},
        **frames,
    )


def _counted(rows: list[dict[str, Any]]) -> dict[tuple[str, str], list[int]]:
    """Homes, safe, fix, review, asked again, and to repair by bad answers, by set and group."""
    homes: dict[tuple[str, str], dict[str, list[dict[str, Any]]]] = defaultdict(
        lambda: defaultdict(list)
    )
    for row in rows:
        homes[", ".join(row["missing"]), row["measure_group"]][row["property_id"]].append(row)
    told = {}
    for key, some in homes.items():
        count = [len(some), 0, 0, 0, 0, 0]
        for mine in some.values():
            queues = [row["good_queue"] for row in mine]
            if SAFE in queues:
                count[1] += 1
            elif FIX in queues:
                count[2] += 1
            elif all(row["good_asks_for_evidence"] is False for row in mine):
                count[3] += 1
            else:
                count[4] += 1
            count[5] += any(row["bad_queue"] == FIX for row in mine)
        told[key] = count
    return told


@pytest.mark.parametrize("seed", range(5))
def test_every_home_is_in_one_part_of_a_bar(seed: int) -> None:
    rows = _rows(seed, 120)
    names = ("homes", "safe", "fix", "review", "again", "bad_fix")
    table = gap_outcomes(_frame(rows))
    found = {
        (", ".join(row["missing"]), row["measure_group"]): [row[name] for name in names]
        for row in table.iter_rows(named=True)
    }
    assert found == _counted(rows)
    assert table["safe"].to_list() == sorted(table["safe"].to_list(), reverse=True)
    figure = gap_figure(_gaps(rows))
    assert figure is not None
    bars = [bar for bar in figure.marks if isinstance(bar, Bar)]
    assert len(bars) == min(MOST, table.filter(pl.col("safe") > 0).height)
    for bar, row in zip(bars, table.iter_rows(named=True), strict=False):
        assert sum(bar.parts) == sum(bar.under) == row["homes"]
        assert (
            bar.shown == f"{row['safe']} of {row['homes']} safe; {row['bad_fix']} to repair if bad"
        )
        assert bar.shown in figure.alt
    waiting = {row["property_id"] for row in rows}
    released = {row["property_id"] for row in rows if row["good_queue"] == SAFE}
    assert (
        f"n = {len(waiting)} homes wait, good answers would release {len(released)}" in figure.unit
    )
    assert figure == gap_figure(_gaps(random.Random(1).sample(rows, len(rows))))
    draw(figure, 523.0)


def test_a_title_says_the_finding_and_nothing_to_release_is_no_figure() -> None:
    one = [r | {"missing": ["visible_mould"], "measure_group": "CEIL"} for r in _rows(1, 40)]
    figure = gap_figure(_gaps([r | {"good_queue": SAFE} for r in one]))
    assert figure is not None
    assert figure.title == (
        "Ceiling / loft: a good answer to 1 question would release 40 homes, the most of any set"
    )
    assert gap_figure(_gaps([r | {"good_queue": REVIEW} for r in one])) is None
    assert gap_figure(_gaps([])) is None
