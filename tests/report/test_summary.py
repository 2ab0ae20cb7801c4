import duckdb
import polars as pl
import pytest
from report_frames import context, queue

from triage.report.labels import LANES, QUEUES
from triage.report.summary import share, summarise, worst_queue


def _sql(frame: pl.DataFrame, text: str) -> list[tuple[object, ...]]:
    connection = duckdb.connect()
    connection.register("q", frame.to_arrow())
    return connection.sql(text).fetchall()


def test_counts_are_those_of_an_independent_query() -> None:
    frame = queue(3000)
    found = summarise(frame)
    expected = _sql(
        frame, "SELECT queue, count(*), count(DISTINCT property_id) FROM q GROUP BY 1 ORDER BY 1"
    )
    got = found.queues.select("queue", "rows", "homes").sort("queue").rows()
    assert got == expected
    lanes = _sql(frame, "SELECT lane, count(*) FROM q WHERE lane IS NOT NULL GROUP BY 1 ORDER BY 1")
    assert found.lanes.sort("lane").rows() == lanes
    [(released, outstanding)] = _sql(
        frame,
        "SELECT count(*) FILTER (released), count(*) FILTER (NOT released) FROM q "
        "WHERE queue = 'safe-to-insulate'",
    )
    assert (found.released, found.checks_outstanding) == (released, outstanding)
    [(decidable,)] = _sql(frame, "SELECT count(*) FROM q WHERE len(undecidable) = 0")
    assert found.decidable == decidable


def test_a_home_shows_its_worst_queue() -> None:
    # job-and-survey 5.2: fix-water-first beats specialist-review, which beats safe.
    frame = pl.DataFrame(
        {
            "property_id": ["a", "a", "a", "b", "b", "c"],
            "queue": [
                "safe-to-insulate",
                "fix-water-first",
                "specialist-review",
                "safe-to-insulate",
                "specialist-review",
                "safe-to-insulate",
            ],
        }
    )
    assert worst_queue(frame).rows() == [
        ("a", "fix-water-first"),
        ("b", "specialist-review"),
        ("c", "safe-to-insulate"),
    ]


def test_every_mix_adds_up_to_the_rows() -> None:
    found = summarise(queue(500))
    for mix in (found.by_measure, found.by_survey):
        parts = mix.select(pl.sum_horizontal(pl.exclude("key", "total"))).to_series()
        assert parts.to_list() == mix["total"].to_list()
        assert mix["total"].sum() == 500


def test_an_empty_queue_has_three_queues_of_nothing() -> None:
    found = summarise(queue(0))
    assert found.queues.rows() == [(look.queue, 0, 0, 0) for look in QUEUES]
    assert (found.rows, found.homes, found.lanes.height) == (0, 0, 0)


def test_row_order_changes_nothing() -> None:
    frame = queue(400)
    one, other = summarise(frame), summarise(frame.sample(fraction=1.0, shuffle=True, seed=3))
    assert one.queues.equals(other.queues)
    assert one.by_measure.equals(other.by_measure)
    assert one.stop_work.equals(other.stop_work)


def test_a_row_without_a_lane_or_with_a_new_quality_is_still_counted() -> None:
    frame = queue(60).with_columns(
        lane=pl.lit(None, pl.String), survey_quality=pl.lit(None, pl.String)
    )
    mix = summarise(frame).by_survey
    assert mix["key"].to_list() == ["not known"]
    assert mix["no_lane"].item() == (frame["queue"] == "specialist-review").sum()


def test_shares_need_ten() -> None:
    # job-and-survey 7.3: a programme report shows a percentage from a denominator of 10.
    assert share(1, 9) is None
    assert share(1, 10) == pytest.approx(0.1)


def test_rows_that_do_not_reconcile_are_refused() -> None:
    with pytest.raises(ValueError, match="11 rows read, but 10 accounted for"):
        context(rows_read=11)


def test_lanes_are_those_of_the_policy() -> None:
    # job-and-survey 5.3, and policy-dry-run section 3 for `inspection`.
    assert set(LANES) == {
        "technical",
        "evidence_gap",
        "contradiction",
        "expired",
        "safety",
        "repeat_return",
        "inspection",
    }
