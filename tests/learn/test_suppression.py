"""Small counts cannot be worked out of what is printed: by hand, and by attack."""

import numpy as np
import polars as pl
import pytest
from attack import Cell, Printed, Puzzle, Reader, puzzle, worked_out
from published_portfolios import LEFT, movement, portfolio, report

from triage.contract.disclosure import Disclosure, load_disclosure
from triage.contract.policy_load import policy_dir
from triage.errors import DisclosureError
from triage.learn.cells import Table
from triage.learn.printed import changes, with_percent
from triage.learn.suppression import Release, suppress

RULES = load_disclosure(policy_dir("default")).audiences
FUNDER, PUBLIC = RULES["funder"], RULES["public"]


def _table(name: str, counts: dict[tuple[str, str], int], population: str = "d1") -> Table:
    rows = [(*key, homes) for key, homes in counts.items()]
    return Table(name, population, pl.DataFrame(rows, ["area", "queue", "homes"], orient="row"))


def _printed(tables: list[Table], release: Release) -> list[Printed]:
    return [
        Printed(t.population, release.tables[t.name], t.overlapping, t.stands_for) for t in tables
    ]


def _true_count(table: Table, row: dict[str, object]) -> int:
    names = [c for c in table.counts.columns if c != "homes"]
    return sum(
        here["homes"]
        for here in table.counts.iter_rows(named=True)
        if all(row[n] == here[n] or (row[n] == "all" and n not in table.overlapping) for n in names)
    )


def _small(tables: list[Table], release: Release, puzzle_: Puzzle) -> set[Cell]:
    """Withheld counts that are under the minimum; what is printed is checked along the way."""
    small = set()
    for table, printed in zip(tables, _printed(tables, release), strict=True):
        for row in printed.rows.iter_rows(named=True):
            true = _true_count(table, row)
            if row["homes"] is None:
                cell = printed_cell(printed, row)
                if true < 10 and np.isinf(puzzle_.known[cell][1]):
                    small.add(cell)
            else:
                assert row["homes"] == (true + 2) // 5 * 5
                assert true >= 10 or true == 0
    return small


def printed_cell(table: Printed, row: dict[str, object]) -> Cell:
    from attack import _cell

    names = [c for c in table.rows.columns if c not in ("homes", "is_withheld")]
    return _cell(table, {name: str(row[name]) for name in names})


def test_a_small_count_takes_a_neighbour_with_it() -> None:
    counts = {("A", "fix"): 3, ("A", "safe"): 57, ("B", "fix"): 40, ("B", "safe"): 100}
    table = _table("queues", counts)
    rows = suppress([table], FUNDER).tables["queues"]
    told = {(a, q): homes for a, q, homes, _ in rows.iter_rows()}
    assert told["all", "all"] == 200
    assert told["A", "fix"] is None
    # Alone, 3 is 60 less 57 give or take 2 each: 0 to 7 instead of 0 to 9.
    assert None in (told["A", "safe"], told["A", "all"])
    assert None in (told["B", "fix"], told["all", "fix"])


def test_the_reader_finds_what_is_withheld_alone() -> None:
    """The attack can succeed: 60, 40 and a gap leave 0 to 4; see the intervals 58-62, 38-42."""
    rows = pl.DataFrame(
        {"queue": ["all", "fix", "review", "safe"], "homes": [100, None, 60, 40]},
        schema={"queue": pl.String, "homes": pl.Int64},
    )
    solved = puzzle([Printed("d1", rows)], 10, 5)
    (cell,) = solved.hidden
    reader = Reader(solved)
    assert reader.range_of(reader.cells.index(cell)) == pytest.approx((0, 6))
    assert worked_out(solved, 10, {cell}) == {cell: pytest.approx((0, 6))}


def test_the_reader_uses_the_movement_against_two_reports() -> None:
    """The first report says 10 to 12 were in a queue, the movement that 10 to 12 stayed."""
    first = pl.DataFrame({"queue": ["all", "fix", "safe"], "homes": [55, 10, 45]})
    moves = pl.DataFrame(
        {
            "queue_before": ["all", "fix", "safe"] * 3,
            "queue": ["all"] * 3 + ["fix"] * 3 + ["safe"] * 3,
            "homes": [55, None, None, None, 10, None, None, None, None],
        }
    )
    stands_for = {"queue_before": ("d1", "queue"), "queue": ("d2", "queue")}
    solved = puzzle([Printed("d1", first), Printed("m", moves, (), stands_for)], 10, 5)
    found = worked_out(solved, 10, set())
    left = ("m", frozenset({("queue_before", "fix"), ("queue", "safe")}))
    assert found == {left: pytest.approx((0, 2))}


def test_naive_withholding_is_caught_in_generated_portfolios() -> None:
    """Without the further cells the attack succeeds, so that passing it means something."""
    caught = 0
    for seed in range(30):
        homes, _ = portfolio(seed)
        tables = report(homes, "d1")[:2]
        full = suppress(tables, RULES["internal"])
        naive = [
            Printed(
                "d1",
                full.tables[t.name].with_columns(
                    homes=pl.when((pl.col("homes") >= 10) | (pl.col("homes") == 0)).then(
                        (pl.col("homes") + 2) // 5 * 5
                    )
                ),
            )
            for t in tables
        ]
        caught += bool(worked_out(puzzle(naive, 10, 5), 10, set()))
    assert caught > 5


@pytest.mark.parametrize("batch", range(5))
def test_no_withheld_count_of_a_report_can_be_worked_out(batch: int) -> None:
    """1000 portfolios: queues by area, and a map or reasons, linked by their totals."""
    for seed in range(10_000 + batch * 200, 10_200 + batch * 200):
        homes, _ = portfolio(seed)
        every = report(homes, "d1")
        tables = [every[0], every[2 + seed % 2]]
        release = suppress(tables, FUNDER)
        solved = puzzle(_printed(tables, release), 10, 5)
        assert worked_out(solved, 10, _small(tables, release, solved)) == {}, seed


@pytest.mark.parametrize("batch", range(4))
def test_no_withheld_count_of_two_reports_can_be_worked_out(batch: int) -> None:
    """80 pairs of reports: five tables, a map, and the movement between them."""
    for seed in range(20_000 + batch * 20, 20_020 + batch * 20):
        homes, later = portfolio(seed)
        first = report(homes, "d1")
        one = suppress(first, FUNDER)
        second = [*report(later.filter(pl.col("queue") != LEFT), "d2"), movement(later, "d1", "d2")]
        two = suppress(second, FUNDER, [one])
        solved = puzzle(_printed(first, one) + _printed(second, two), 10, 5)
        small = _small(first, one, solved) | _small(second, two, solved)
        assert worked_out(solved, 10, small) == {}, seed


def test_the_order_of_rows_and_tables_changes_nothing() -> None:
    homes, later = portfolio(7)
    tables = [*report(homes, "d1"), movement(later, "d1", "d2")]
    shuffled = [
        Table(
            t.name,
            t.population,
            t.counts.sample(fraction=1, shuffle=True, seed=3),
            t.overlapping,
            t.stands_for,
            t.area,
        )
        for t in reversed(tables)
    ]
    one, two = suppress(tables, FUNDER), suppress(shuffled, FUNDER)
    assert one.cells.equals(two.cells)
    assert all(one.tables[t.name].equals(two.tables[t.name]) for t in tables)


def test_zero_is_told_only_of_a_whole_category() -> None:
    counts = {("A", "fix"): 0, ("A", "safe"): 90, ("B", "fix"): 80, ("B", "safe"): 95}
    counts |= {("A", "review"): 0, ("B", "review"): 0}
    rows = suppress([_table("queues", counts)], FUNDER).tables["queues"]
    told = {(a, q): homes for a, q, homes, _ in rows.iter_rows()}
    assert told["A", "review"] == told["B", "review"] == told["all", "review"] == 0
    assert told["A", "fix"] is None


def test_a_map_shows_no_small_area_and_no_small_class() -> None:
    counts = {("A", "fix"): 12, ("A", "safe"): 11, ("B", "fix"): 400, ("B", "safe"): 300}
    counts |= {("C", "fix"): 60, ("C", "safe"): 200}
    drawn = Table("map", "d1", _table("x", counts).counts, area="area")
    told = {(a, q): h for a, q, h, _ in suppress([drawn], FUNDER).tables["map"].iter_rows()}
    assert told["A", "fix"] is told["A", "safe"] is told["A", "all"] is None  # 23 homes
    # One area would be the printed total less the others: a second one goes with it.
    assert None in (told["B", "all"], told["C", "all"], told["all", "all"])
    # Where a table prints the area, the map still does not draw it.
    both = suppress([drawn, _table("queues", counts)], FUNDER)
    on_map = {(a, q): h for a, q, h, _ in both.tables["map"].iter_rows()}
    assert on_map["A", "all"] is None
    public = suppress([drawn], PUBLIC).tables["map"].filter(pl.col("homes") > 0)
    assert public.filter((pl.col("queue") == "all") & (pl.col("homes") < 50)).is_empty()


def test_internal_readers_see_every_count() -> None:
    counts = {("A", "fix"): 3, ("A", "safe"): 57}
    rows = suppress([_table("queues", counts)], RULES["internal"]).tables["queues"]
    assert (
        rows["homes"].to_list() == [3, 57, 60, 3, 57, 60][: rows.height]
        or not rows["is_withheld"].any()
    )
    assert rows.filter(queue="fix", area="A")["homes"].item() == 3


def test_percentages_are_made_of_printed_counts() -> None:
    counts = {("A", "fix"): 3, ("A", "safe"): 57, ("B", "fix"): 41, ("B", "safe"): 100}
    counts |= {("C", "fix"): 12, ("C", "safe"): 13}
    rows = suppress([_table("queues", counts)], FUNDER).tables["queues"]
    shares = with_percent(rows, "queue", FUNDER)
    assert shares.filter(pl.col("homes").is_null())["percent"].is_null().all()
    assert shares.filter(area="C")["percent"].is_null().all()  # 25 homes: under 30
    whole = shares.filter(area="all", queue="all")
    assert whole["percent"].item() == 100
    assert shares.height == rows.height


def test_changes_tell_no_more_than_both_reports() -> None:
    before = pl.DataFrame({"queue": ["all", "fix", "safe", "old"], "homes": [200, None, 150, 10]})
    now = pl.DataFrame({"queue": ["all", "fix", "safe", "new"], "homes": [200, 40, 155, 20]})
    told = dict(changes(now, before, FUNDER).iter_rows())
    assert told == {"all": 0, "fix": None, "new": None, "old": None, "safe": None}


def test_an_earlier_report_that_gives_a_count_away_is_told() -> None:
    """10 to 12 homes were printed for an area; now a table says that the area has one kind only."""
    one = suppress([Table("areas", "d1", _areas({"A": 11, "B": 90}))], FUNDER)
    assert one.tables["areas"]["homes"].to_list() == [10, 90, 100]
    kinds = {("A", "fix"): 8, ("A", "safe"): 3, ("B", "fix"): 0, ("B", "safe"): 90}
    two = suppress([_table("queues", kinds)], FUNDER, [one])
    told = {(a, q): homes for a, q, homes, _ in two.tables["queues"].iter_rows()}
    assert (told["A", "all"], told["all", "all"]) == (10, 100)  # printed before, and kept
    assert told["A", "fix"] is told["A", "safe"] is None
    # With 5 homes in all, printed to a reader without a minimum, none can be 9.
    open_hand = suppress([Table("areas", "d1", _areas({"A": 5}))], RULES["internal"])
    few = _table("queues", {("A", "fix"): 2, ("A", "safe"): 3})
    with pytest.raises(DisclosureError, match="gives a small count away") as caught:
        suppress([few], FUNDER, [open_hand])
    assert str(caught.value.where).startswith("d1, ")
    changed = Table("areas", "d1", _areas({"A": 31, "B": 90}))
    with pytest.raises(ValueError, match="another count of the same homes: d1"):
        suppress([changed], FUNDER, [one])


def _areas(homes: dict[str, int]) -> pl.DataFrame:
    return pl.DataFrame({"area": list(homes), "homes": list(homes.values())})


def test_tables_that_disagree_are_refused() -> None:
    one = Table("a", "d1", pl.DataFrame({"queue": ["fix", "safe"], "homes": [10, 20]}))
    two = Table("b", "d1", pl.DataFrame({"queue": ["fix", "safe"], "homes": [11, 20]}))
    with pytest.raises(ValueError, match="different counts of the same homes: d1"):
        suppress([one, two], FUNDER)
    with pytest.raises(ValueError, match="same name"):
        suppress([one, one], FUNDER)
    twice = Table("c", "d1", pl.DataFrame({"queue": ["fix", "fix"], "homes": [1, 2]}))
    with pytest.raises(ValueError, match="twice"):
        suppress([twice], FUNDER)


def test_the_rule_says_what_it_withholds() -> None:
    assert FUNDER.sign == "under 10, or withheld"
    assert isinstance(FUNDER, Disclosure)
    assert (FUNDER.cell_min, FUNDER.rounding, FUNDER.percent_min) == (10, 5, 30)
    assert (PUBLIC.percent_min, PUBLIC.map_area_min) == (50, 50)
