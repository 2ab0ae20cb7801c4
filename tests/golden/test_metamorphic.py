"""What must not matter does not matter: generated portfolios, read and judged whole, twice.

All tables that a run makes of a home are compared, not only the queue. What names a file, a sheet,
a row or how many there were is left out: that is where the portfolios differ by intent. It is
`row_id` and the `r__` columns of evidence (which row each answer is from), the counts of rows, and
`home_queue.surveys`, the number of visits on file.
"""

from collections.abc import Callable
from dataclasses import replace
from datetime import timedelta
from functools import cache
from random import Random
from typing import Any

import polars as pl
import pytest
from cli_helpers import LONG
from portfolio_files import ID, PART, Outcome, assert_same, judge
from portfolios import Book, Portfolio, later, portfolio
from rule_changes import FOAM_DETAILS, WORSE, fields_behind, presumable
from rule_homes import AS_OF, FIX, POLICY, REVIEW, SAFE

pytestmark = pytest.mark.usefixtures("plain_runs")

SEED = 2
LANES = {"contradiction", "evidence_gap", "expired", "inspection", "safety", "technical"}


@pytest.fixture(scope="module")
def books() -> list[Book]:
    return portfolio(SEED)


@pytest.fixture(scope="module")
def before(books: list[Book]) -> Outcome:
    return judge(books)


def test_the_portfolio_has_all_that_could_go_wrong(books: list[Book], before: Outcome) -> None:
    """Otherwise the other tests could not fail."""
    counts = dict(before.queue.group_by("queue").len().iter_rows())
    assert set(counts) == {SAFE, FIX, REVIEW}
    assert min(counts.values()) >= 5, counts
    assert set(before.queue["lane"].drop_nulls()) == LANES
    assert before.tables["dispute"].height >= 10
    assert before.tables["gap"].height >= 10
    assert {book.team for book in books} == {"field", "form", "photos", "told", "desk"}
    assert before.counts["superseded"] >= 2
    visits = [row["property_id"] for book in books for row in book.rows]
    assert len(visits) - len(set(visits)) >= 50
    assert any(book.team == "form" and len(book.rows) > 10 for book in books)


def _halves(books: Portfolio) -> Portfolio:
    return [
        replace(book, stem=f"{book.stem}{name}", rows=rows)
        for book in books
        for name, rows in (("a", book.rows[::2]), ("b", book.rows[1::2]))
        if rows
    ]


def _rows_in_other_order(books: Portfolio) -> Portfolio:
    dice = Random(1)
    return [replace(b, rows=tuple(dice.sample(b.rows, len(b.rows)))) for b in books]


def _files_in_other_order(books: Portfolio) -> Portfolio:
    """Sources and, within a source, the names that decide which file is read first."""
    last = len(books)
    return [replace(b, stem=f"{last - n:02d}") for n, b in reversed(list(enumerate(books)))]


def _repeated(books: Portfolio) -> Portfolio:
    return [*books, *(replace(book, stem=f"copy of {book.stem}") for book in books)]


UNCHANGED: dict[str, Callable[[Portfolio], Portfolio]] = {
    "files split in two": _halves,
    "rows in another order": _rows_in_other_order,
    "columns in another order": lambda books: [b.but(order=n) for n, b in enumerate(books)],
    "files in another order": _files_in_other_order,
    "every file twice": _repeated,
    "empty columns, note rows, titles": lambda books: [
        b.but(spare=True, notes=3, titles=2 if b.team != "field" else 0) for b in books
    ],
    "text files": lambda books: [b.but(suffix=".csv") for b in books],
    "all of it": lambda books: [
        b.but(order=n, notes=2, spare=True, titles=2 if b.team != "field" else 0)
        for n, b in enumerate(_files_in_other_order(_halves(_rows_in_other_order(books))))
    ],
}


# "all of it" holds the others at once; one by one they tell which it was.
BY_ONE = ("text files", "every file twice", "all of it")


@pytest.mark.parametrize("name", UNCHANGED if LONG else BY_ONE)
def test_nothing_changes(name: str, books: list[Book], before: Outcome) -> None:
    after = judge(UNCHANGED[name](books))
    times = 2 if name == "every file twice" else 1
    # No row of a home is lost; a note row is refused, and said to be.
    assert _used(after) == times * _used(before)
    assert_same(after, before)


def _used(outcome: Outcome) -> int:
    return outcome.counts["accepted"] + outcome.counts["superseded"]


def test_other_homes_change_nothing(books: list[Book], before: Outcome) -> None:
    more = portfolio(SEED + 100, homes=60, prefix="X")
    mine = {(book.team, book.stem): book for book in books}
    for book in more:
        own = mine.get((book.team, book.stem))
        # In the same files and between the same rows.
        rows = (*book.rows, *own.rows) if own else book.rows
        mine[book.team, book.stem] = replace(book, rows=rows)
    after = judge(list(mine.values()))
    assert after.queue["property_id"].str.starts_with("X").sum() > 60
    assert_same(after.of_homes("H"), before.of_homes("H"))


def _answers(before: Outcome) -> list[dict[str, Any]]:
    return before.tables["evidence"].filter(pl.col("variant") == 0).to_dicts()


def _paired(before: Outcome, after: Outcome) -> pl.DataFrame:
    now = after.queue.select(*ID, "queue", "lane", "released", "fired", "main_rule", "checks")
    joined = before.queue.join(now, on=ID, how="inner", suffix="_now", nulls_equal=True)
    assert joined.height == before.queue.height  # no measure is dropped
    new = after.queue.join(before.queue, on=ID, how="anti", nulls_equal=True)
    assert set(new["measure_code"]) <= {"foam_check"}  # foam found is judged too
    assert SAFE not in set(new["queue"])
    return joined


@pytest.mark.parametrize("seed", [1, 2])
def test_a_later_worse_record_never_improves(seed: int, books: list[Book], before: Outcome) -> None:
    """Each home-part is seen once more, and one answer has become the worst that there is."""
    dice, rows = Random(seed), []
    for facts in _answers(before):
        chains = [(n, c) for n, of in WORSE.items() for c in of if facts[n] in c[:-1]]
        if chains:
            name, chain = dice.choice(chains)
            rows.append({**{k: facts[k] for k in PART}, name: chain[-1]})
            rows[-1] |= {"mc_date": AS_OF - timedelta(days=1)} if name == "timber_mc_pct" else {}
    assert len(rows) > 100
    worse = [*books, *(replace(b, stem=f"later{n}") for n, b in enumerate(_visits(rows)))]
    both = _paired(before, judge(worse))
    is_hidden = pl.col("fired").list.set_difference("fired_now").list.len() > 0
    improved = both.filter(
        ((pl.col("queue_now") == SAFE) & (pl.col("queue") != SAFE))
        # Review may come before repair (5.2), but what was found stays listed.
        | ((pl.col("queue") == FIX) & is_hidden)
        | (pl.col("released_now") & ~pl.col("released"))
    )
    assert improved.is_empty(), improved.select(*ID, "queue", "queue_now", "main_rule").rows()
    assert ((both["queue"] == SAFE) & (both["queue_now"] != SAFE)).sum() >= 10


def _visits(rows: list[dict[str, Any]]) -> list[Book]:
    """One file of visits of yesterday."""
    told = {"survey_date": AS_OF - timedelta(days=1), "surveyor_id": "S-9"}
    reach = {"survey_method": "opened_up", "survey_reach_outside": "external_close"}
    return [Book("field", "later", tuple({**told, **reach, **row} for row in rows))]


def test_a_blank_never_makes_a_row_safe(books: list[Book], before: Outcome) -> None:
    """What a required rule needs is wiped from all files, other answers for each home-part."""
    dice = Random(4)
    wiped: dict[tuple[str, str], tuple[str, ...]] = {}
    groups = before.queue.drop_nulls("measure_group").select(*PART, "measure_group").unique()
    for home, part, group in groups.sort(pl.all()).iter_rows():
        wiped.setdefault((home, part), dice.choice(_needed(group)))
    blank = [
        replace(
            book,
            rows=tuple({**row, **dict.fromkeys(wiped.get(_part(row), ()))} for row in book.rows),
        )
        for book in books
    ]
    both = _paired(before, judge(blank))
    wrong = []
    for row in both.filter((pl.col("queue_now") == SAFE) & (pl.col("queue") != SAFE)).to_dicts():
        fields = wiped[row["property_id"], row["building_part"]]
        stood_in = presumable(row["measure_group"])
        allowed = {check for field in fields for check in stood_in.get(field, [])}
        if not allowed & set(row["checks_now"]):
            wrong.append(({k: row[k] for k in ID}, row["main_rule"], fields))
    assert not wrong
    assert ((both["queue"] == SAFE) & (both["queue_now"] != SAFE)).sum() >= 10


def _part(row: Any) -> tuple[str, str]:
    return row["property_id"], row["building_part"]


@cache
def _needed(group: str) -> list[tuple[str, ...]]:
    """Survey fields to wipe together so that a required rule of a group lacks what it needs.

    Details of foam stay: where only they tell of foam, to wipe them is to say that there is none.
    """
    rules = [POLICY.rules[name] for name in POLICY.groups[group].required]
    sets = {fields_behind(any_of) for rule in rules for any_of in rule.needs_in(group)}
    spared = {*FOAM_DETAILS, "place", "measure_material", "measure_thickness_mm"}
    return sorted(fields for fields in sets if fields and not spared & set(fields))


def test_a_leak_in_one_home_changes_no_other(books: list[Book], before: Outcome) -> None:
    first = before.queue["property_id"][0]
    seen = {"property_id": first, "building_part": "main", "roof_leak_evidence": "active"}
    after = judge(later(books, seen))
    assert_same(_without(after, first), _without(before, first))
    assert after.queue.filter(property_id=first)["queue"].to_list() == [FIX]


def _without(outcome: Outcome, home: str) -> Outcome:
    others = pl.col("property_id") != home
    frames = {n: f for n, f in outcome.tables.items() if "property_id" in f.columns}
    return Outcome({n: f.filter(others) for n, f in frames.items()}, outcome.counts)
