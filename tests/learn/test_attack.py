"""Thousands of generated portfolios, published and attacked: no withheld count is worked out."""

import os
from collections.abc import Callable, Mapping, Sequence
from typing import Any

import polars as pl
import pytest
from attack import Found, worked_out
from published_portfolios import Told, many_maps, reports, told, two_tables

from triage.contract.disclosure import Disclosure, load_disclosure
from triage.contract.policy_load import policy_dir
from triage.learn import suppression
from triage.learn.cells import Table, sums_of
from triage.learn.programme import Flags
from triage.learn.protection import Needs
from triage.learn.ranges import System
from triage.learn.suppression import Release, suppress

RULES = load_disclosure(policy_dir("default")).audiences
TIMES = int(os.environ.get("TRIAGE_ATTACK_TIMES", "1"))  # for a longer look
AT_ONCE = 20
Story = Callable[[int], list[list[Table]]]


def _attacked(story: Story, seeds: Sequence[int], audience: str) -> tuple[list[Told], list[Found]]:
    """Publish many portfolios and attack them, some at a time."""
    held, found = [], []
    for start in range(0, len(seeds), AT_ONCE):
        some = [told(story(seed), RULES[audience]) for seed in seeds[start : start + AT_ONCE]]
        found += worked_out([h.puzzle for h in some], [h.small for h in some])
        held += some
    return held, found


def _stand(story: Story, first: int, number: int, batch: int, audience: str = "funder") -> None:
    """Nothing is worked out; and not by withholding everything."""
    start = first + batch * number * TIMES
    seeds = range(start, start + number * TIMES)
    held, found = _attacked(story, seeds, audience)
    assert {seed: f for seed, f in zip(seeds, found, strict=True) if f} == {}
    withheld, rows = sum(h.withheld for h in held), sum(h.rows for h in held)
    assert 0.3 < withheld / rows < 0.62


def two_reports(seed: int) -> list[list[Table]]:
    """A report, and the next with the movement since."""
    return reports(seed, 2)


def three_reports(seed: int) -> list[list[Table]]:
    """Three reports, each with the movement since the last."""
    return reports(seed, 3)


@pytest.mark.parametrize("batch", range(5))
def test_nothing_is_worked_out_of_one_report(batch: int) -> None:
    """1,400 portfolios: queues by area with a map, reasons, a map of areas, three dimensions."""
    _stand(two_tables, 10_000, 280, batch)


def test_nothing_is_worked_out_by_the_public() -> None:
    """100 portfolios under the rule of the public: a map shows areas from 50 homes."""
    _stand(two_tables, 1_000_000, 100, 0, "public")


@pytest.mark.parametrize("batch", range(4))
def test_nothing_is_worked_out_of_two_reports(batch: int) -> None:
    """360 pairs: four tables, a map and reasons among them, and the movement since the first."""
    _stand(two_reports, 2_000_000, 90, batch)


def test_nothing_is_worked_out_of_three_reports() -> None:
    """40 portfolios reported three times."""
    _stand(three_reports, 3_000_000, 40, 0)


def test_nothing_is_worked_out_of_maps_of_many_areas() -> None:
    """Some 500 cells, most of them small or beside a small one."""
    (held,), (found,) = _attacked(many_maps, [1], "funder")
    assert found == {}
    assert len(held.small) > 150


def _no_further_cells(_: System, needs: Needs) -> Flags:
    """The small counts alone are withheld."""
    return needs.hidden


def _earlier_ignored(tables: Sequence[Table], rule: Disclosure, _: Sequence[Release]) -> Release:
    return suppress(tables, rule)


CELLS = suppression._cells


def _wide(
    tables: Sequence[Table], margins: Mapping[str, pl.DataFrame], rule: Disclosure
) -> pl.DataFrame:
    """As if a reader did not know to what counts are rounded."""
    cells = CELLS(tables, margins, rule)
    wider = pl.min_horizontal(pl.col("high") + 3, "limit")
    return cells.with_columns((pl.col("low") - 3).clip(0), wider.alias("high"))


def _overlapping_apart(table: Table, rows: pl.DataFrame) -> pl.DataFrame:
    """What overlaps is not held against its whole."""
    return sums_of(table, rows).filter("exact")


def _margin_left_out(table: Table, rows: pl.DataFrame) -> pl.DataFrame:
    """The totals over the last dimension are not seen as sums."""
    last = f"{table.population}\x1f{table.name}\x1f{table.dimensions[-1]}\x1f"
    return sums_of(table, rows).filter(~pl.col("sum_id").str.starts_with(last))


def _movement_apart(table: Table, rows: pl.DataFrame) -> pl.DataFrame:
    """The movement is not held against the reports that it links."""
    named = pl.concat_str(pl.lit(table.name), "cell", separator=" ")
    return sums_of(table, rows).with_columns(cell=named if table.stands_for else "cell")


WITHHOLDING, EVERY_FOURTH = "triage.learn.suppression", range(501, 741, 4)
BROKEN: dict[str, tuple[str, Any, Story, range]] = {
    "no further cells": (
        *(f"{WITHHOLDING}.protect", _no_further_cells),
        *(two_tables, range(20)),
    ),
    "earlier reports ignored": (
        *("published_portfolios.suppress", _earlier_ignored),
        *(two_reports, range(20)),
    ),
    "rounding not known": (f"{WITHHOLDING}._cells", _wide, two_tables, range(40)),
    "overlapping not linked": (
        *(f"{WITHHOLDING}.sums_of", _overlapping_apart),
        *(two_tables, EVERY_FOURTH),
    ),
    "a margin left out": (f"{WITHHOLDING}.sums_of", _margin_left_out, two_tables, range(40)),
    "movement not linked": (f"{WITHHOLDING}.sums_of", _movement_apart, two_reports, range(20)),
}


@pytest.mark.parametrize("fault", BROKEN)
def test_a_broken_suppressor_is_caught(fault: str, monkeypatch: pytest.MonkeyPatch) -> None:
    """Standing the attack means something: each of these does not."""
    where, broken, story, seeds = BROKEN[fault]
    monkeypatch.setattr(where, broken)
    found = _attacked(story, seeds, "funder")[1]
    assert sum(map(bool, found)) >= 2
