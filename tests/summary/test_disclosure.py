"""Nobody can work out a withheld count from everything that reports print."""

import os
from dataclasses import replace

import pytest
from attack import Cell, worked_out
from invented import GROUPS, counted, invented, later
from published_portfolios import Told, held

from triage.contract.disclosure import load_disclosure
from triage.contract.policy_load import policy_dir
from triage.learn.suppression import Release, suppress
from triage.summary.counts import ENTERED, Counted

FUNDER = load_disclosure(policy_dir("default")).audiences["funder"]
TIMES = int(os.environ.get("TRIAGE_ATTACK_TIMES", "1"))  # for a longer look
STOCKS = ("one", "two")
COVERED = ("decidable", "not decidable", "out of date")


def _cell(population: str, **named: str) -> Cell:
    return population, frozenset(named.items())


def _known_besides(stock: str) -> list[tuple[list[Cell], list[Cell], bool]]:
    """What the definitions box tells: parts, wholes, and whether they are equal or at most.

    Written down from the report's own words, not taken from what the suppressor was told.
    """
    judged, by, review = f"{stock} judged", f"{stock} measures", f"{stock} review"
    home, safe, roofs = f"{stock} homes", f"{stock} safe", f"{stock} roofs"
    fix, held, clear = "fix-water-first", "specialist-review", "safe-to-insulate"
    known = [_cell(home, coverage=c) for c in COVERED]
    told = [
        (known, [_cell(judged)], True),
        ([_cell(judged)], [_cell(by)], False),
        ([known[0]], [_cell(by, decidable="yes")], False),
        ([_cell(review)], [_cell(by, queue=held)], True),
        ([_cell(safe)], [_cell(by, queue=clear)], True),
        ([_cell(f"{stock} opened")], [_cell(roofs, status="opened")], True),
        *(([_cell(judged, queue=q)], [_cell(by, queue=q)], False) for q in (fix, held, clear)),
        # The maps count the same homes by coverage, and the same roofs by class.
        *(([_cell(judged, coverage=c)], [_cell(home, coverage=c)], True) for c in COVERED),
        ([_cell(f"{stock} foamed")], [_cell(roofs)], True),
    ]
    for group in GROUPS:
        one = {"measure_group": group}
        told += [
            ([_cell(by, **one)], [_cell(judged)], False),
            ([_cell(by, **one, queue=fix)], [_cell(judged, queue=fix)], False),
            ([_cell(by, **one, queue=clear)], [_cell(by, **one, decidable="yes")], False),
            ([_cell(by, **one, decidable="no")], known[1:], False),
            ([_cell(review, **one)], [_cell(by, **one, queue=held)], True),
            ([_cell(review, **one, lane="expired")], [_cell(by, **one, decidable="no")], False),
        ]
    for stratum in ("closed | slate", "open | tile"):
        whole = _cell(roofs, stratum=stratum, status="opened")
        told.append(([_cell(f"{stock} opened", stratum=stratum)], [whole], True))
    return told


def _held(*published: tuple[Counted, Release]) -> Told:
    """Reports as a reader holds them, with what the definitions box tells."""
    told = held([(counts.tables, release) for counts, release in published], FUNDER)
    for number, _ in enumerate(published):
        before = len(told.puzzle.sums)
        for parts, wholes, exact in _known_besides(STOCKS[number]):
            told.puzzle.add(parts, wholes, exact=exact)
        assert len(told.puzzle.sums) > before + 10
    return told


def _nothing_worked_out(seeds: range, every: list[Told]) -> None:
    found = worked_out([told.puzzle for told in every], [told.small for told in every])
    assert {seed: f for seed, f in zip(seeds, found, strict=True) if f} == {}


@pytest.mark.parametrize("batch", range(5))
def test_no_withheld_count_of_a_whole_report_can_be_worked_out(batch: int) -> None:
    """100 reports of what `triage report` prints."""
    seeds = range(batch * 20 * TIMES, (batch + 1) * 20 * TIMES)
    for start in range(0, len(seeds), 20):
        every = []
        for seed in seeds[start : start + 20]:
            counts = counted(invented(seed), "one")
            every.append(_held((counts, suppress(counts.tables, FUNDER, (), counts.links))))
        _nothing_worked_out(seeds[start : start + 20], every)


@pytest.mark.parametrize("batch", range(2))
def test_no_withheld_count_of_two_whole_reports_can_be_worked_out(batch: int) -> None:
    """20 pairs, with the movement from the first to the second."""
    seeds = range(100_000 + batch * 10 * TIMES, 100_000 + (batch + 1) * 10 * TIMES)
    for start in range(0, len(seeds), 10):
        some = seeds[start : start + 10]
        _nothing_worked_out(some, [_pair(seed) for seed in some])


def test_that_nobody_is_new_is_withheld_where_it_tells_of_others() -> None:
    """9 homes: the stock would be no larger than a total that the first report printed."""
    nobody = _cell("one judged", queue=ENTERED)
    assert _pair(100_000).puzzle.known[nobody] == (0, 0)  # as a rule it is told
    told = _pair(100_148)
    assert nobody in told.puzzle.hidden
    assert worked_out([told.puzzle], [told.small]) == [{}]


def _pair(seed: int) -> Told:
    first, second = (frames := invented(seed)), later(frames, seed)
    one = counted(first, "one")
    two = counted(second, "two", ("one", first["home_queue"]))
    told_one = suppress(one.tables, FUNDER, (), one.links)
    told_two = suppress(two.tables, FUNDER, [told_one], two.links)
    assert "movement" in told_two.tables
    return _held((one, told_one), (two, told_two))


def test_tables_withheld_one_by_one_are_caught() -> None:
    """Passing the attack means something: each table alone is safe, all of them are not."""
    caught = 0
    for seed in range(6):
        counts = counted(invented(seed), "one")
        alone = {t.name: suppress([t], FUNDER).tables[t.name] for t in counts.tables}
        told = _held((counts, replace(suppress(counts.tables[:1], FUNDER), tables=alone)))
        try:
            caught += bool(worked_out([told.puzzle], [set()])[0])
        except AssertionError:  # rounded margins that cannot all hold together
            caught += 1
    assert caught >= 2


def test_reports_withheld_without_the_words_of_the_definitions_are_caught() -> None:
    """What the definitions box tells of how tables hang together is part of the attack."""
    every = []
    for seed in range(8):
        counts = counted(invented(seed), "one")
        every.append(_held((counts, suppress(counts.tables, FUNDER))))
    found = worked_out([told.puzzle for told in every], [told.small for told in every])
    assert sum(map(bool, found)) >= 2
