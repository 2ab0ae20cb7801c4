"""Small counts cannot be worked out of what is printed: by hand, and by attack."""

import polars as pl
import pytest
from attack import Found, Printed, Reader, Rule, puzzle, worked_out
from published_portfolios import movement, portfolio, present, report, reports, told

from triage.contract.disclosure import Disclosure, load_disclosure
from triage.contract.policy_load import policy_dir
from triage.errors import DisclosureError
from triage.learn.cells import Table
from triage.learn.printed import changes, with_percent
from triage.learn.suppression import suppress

RULES = load_disclosure(policy_dir("default")).audiences
FUNDER, PUBLIC = RULES["funder"], RULES["public"]
TOLD = Rule(10, 5)


def _table(name: str, counts: dict[tuple[str, str], int], population: str = "d1") -> Table:
    rows = [(*key, homes) for key, homes in counts.items()]
    return Table(name, population, pl.DataFrame(rows, ["area", "queue", "homes"], orient="row"))


def _worked_out(printed: list[Printed], rule: Rule = TOLD) -> Found:
    """What a reader works out, whatever the true counts are."""
    return worked_out([puzzle(printed, rule)], [set()])[0]


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
    solved = puzzle([Printed("d1", rows)], TOLD)
    (cell,) = solved.hidden
    reader = Reader([solved, solved])
    (one,), (other,) = reader.hidden
    reader.ranges_of([one, other])
    assert (reader.low[one], reader.high[one]) == pytest.approx((0, 6))
    assert (reader.low[other], reader.high[other]) == pytest.approx((0, 6))
    assert worked_out([solved], [{cell}]) == [{cell: pytest.approx((0, 6))}]


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
    found = _worked_out([Printed("d1", first), Printed("m", moves, (), stands_for)])
    left = ("m", frozenset({("queue_before", "fix"), ("queue", "safe")}))
    assert found == {left: pytest.approx((0, 2))}


def test_the_reader_sees_what_a_map_leaves_out() -> None:
    """A table prints 25, which is 23 to 27; a map of areas from 25 on does not show it."""
    table = pl.DataFrame({"area": ["all", "A", "B", "C"], "homes": [200, 25, None, None]})
    drawn = pl.DataFrame({"area": ["all", "A", "B", "C"], "homes": [200, None, None, None]})
    printed = [Printed("d1", table), Printed("d1", drawn, area="area")]
    solved = puzzle(printed, Rule(10, 5, area_least=25))
    assert solved.known["d1", frozenset({("area", "A")})] == (23, 24)
    shown = [printed[0], Printed("d1", table, area="area")]
    solved = puzzle(shown, Rule(10, 5, area_least=25))
    assert solved.known["d1", frozenset({("area", "A")})] == (25, 27)


@pytest.mark.parametrize("seed", range(7, 19))
def test_the_order_of_rows_and_tables_changes_nothing(seed: int) -> None:
    homes, later = portfolio(seed)
    first = report(homes, "d1")
    tables = [*report(present(later), "d2"), movement(later, "d1", "d2")]
    one = suppress(tables, FUNDER, [suppress(first, FUNDER)])
    two = suppress(_shuffled(tables), FUNDER, [suppress(_shuffled(first), FUNDER)])
    assert one.cells.equals(two.cells)
    assert all(one.tables[t.name].equals(two.tables[t.name]) for t in tables)


def _shuffled(tables: list[Table]) -> list[Table]:
    mixed = [t.counts.sample(fraction=1, shuffle=True, seed=3) for t in tables]
    both = zip(reversed(tables), reversed(mixed), strict=True)
    return [
        Table(t.name, t.population, counts, t.overlapping, t.stands_for, t.area)
        for t, counts in both
    ]


def test_a_count_bound_on_both_sides_by_earlier_reports_is_protected() -> None:
    """A third report was refused: one end of the range did not go far enough, nor the other."""
    told(reports(50_005, 3), FUNDER)


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
    # A reader of both then knows that A has fewer than 25 homes, printed or not.
    (area,) = both.cells.filter(pl.col("cell").str.ends_with("area=A"))["high"]
    assert area == 24
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
