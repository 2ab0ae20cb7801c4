"""Property (d): the order of rows, files and batches changes nothing, to the byte."""

import hashlib
import io
import random

import polars as pl
from hypothesis import given
from hypothesis import strategies as st
from rule_generated import changed_homes, few, further_surveys
from rule_homes import (
    AS_OF,
    BASES,
    CLIMATE,
    CONTRACT,
    LIBRARY,
    POLICY,
    Home,
    place_frame,
    proposal_frame,
    survey_frame,
)

from triage.assess import Assessed, assess


@st.composite
def _visited(draw: st.DrawFn) -> Home:
    """A home with up to three surveys; dates may tie, grades and answers may differ."""
    home = draw(changed_homes())
    return home.also(*draw(st.lists(further_surveys(home), max_size=2)))


HOMES = st.lists(_visited(), min_size=16, max_size=16)


class _Inputs:
    """What `assess` takes, so that it can be shuffled and cut."""

    def __init__(self, homes: list[Home]) -> None:
        self.names = [f"H{n:04d}" for n in range(len(homes))]
        self.rows, self.marks = survey_frame(homes, self.names)
        self.proposals = proposal_frame(homes, self.names)
        self.places = place_frame(homes, self.names)

    def judged(self, some: list[str] | None = None) -> Assessed:
        frames = [self.rows, self.proposals, self.places]
        if some is not None:
            frames = [frame.filter(pl.col("property_id").is_in(some)) for frame in frames]
        rows, proposals, places = frames
        marks = self.marks.join(rows.select("row_id"), on="row_id", how="semi")
        return assess(
            rows,
            marks,
            proposals,
            places,
            CLIMATE,
            [],
            POLICY,
            LIBRARY,
            AS_OF,
            list(CONTRACT.fields),
        )

    def shuffled(self, seed: int) -> "_Inputs":
        """Rows in another order and renumbered, as if the files had come in another order."""
        other = object.__new__(_Inputs)
        order = random.Random(seed).sample(range(self.rows.height), self.rows.height)
        moved = self.rows[order].rename({"row_id": "_old"}).with_row_index("row_id")
        numbers = moved.select(pl.col("_old").alias("row_id"), pl.col("row_id").alias("_new"))
        other.names = self.names
        other.rows = moved.drop("_old")
        other.marks = (
            self.marks.join(numbers, on="row_id")
            .select(pl.col("_new").alias("row_id"), "field", "grade")
            .sample(fraction=1.0, shuffle=True, seed=seed)
        )
        other.proposals = self.proposals.sample(fraction=1.0, shuffle=True, seed=seed)
        other.places = self.places.sample(fraction=1.0, shuffle=True, seed=seed)
        return other


def _bytes(frame: pl.DataFrame) -> str:
    file = io.BytesIO()
    frame.write_parquet(file)
    return hashlib.sha256(file.getvalue()).hexdigest()


def _same(one: pl.DataFrame, other: pl.DataFrame) -> None:
    assert one.columns == other.columns
    differing = [name for name in one.columns if not one[name].equals(other[name])]
    assert differing == []
    assert _bytes(one) == _bytes(other)


@few
@given(HOMES, st.integers(0, 9))
def test_a_second_call_and_another_order_change_nothing(homes: list[Home], seed: int) -> None:
    inputs = _Inputs(homes)
    first, again, second = inputs.judged(), inputs.judged(), inputs.shuffled(seed).judged()
    _same(first.current.table, again.current.table)
    _same(first.current.conflicts, again.current.conflicts)
    _same(first.queue, again.queue)
    _same(first.queue, second.queue)
    _same(first.results, second.results)
    _same(first.quantities, second.quantities)


@few
@given(HOMES, st.integers(1, 15))
def test_batches_change_nothing(homes: list[Home], cut: int) -> None:
    inputs = _Inputs(homes)
    whole = inputs.judged()
    parts = [inputs.judged(inputs.names[:cut]), inputs.judged(inputs.names[cut:])]
    _same(whole.queue, pl.concat([part.queue for part in parts]))
    _same(whole.results, pl.concat([part.results for part in parts]))


def test_a_batch_of_one_measure_asks_in_the_same_order_as_a_batch_of_all() -> None:
    # Homes with many gaps in every group, judged together and kind by kind.
    unasked = ("visible_mould", "roof_leak_evidence", "cavity_state", "embedded_timber")
    inputs = _Inputs([home.without(*unasked) for home in BASES.values()])
    whole = inputs.judged()
    groups = dict.fromkeys(home.group for home in BASES.values())
    kinds = [
        [n for n, home in zip(inputs.names, BASES.values(), strict=True) if home.group == group]
        for group in groups
    ]
    # The homes of a group stand together.
    assert [name for kind in kinds for name in kind] == inputs.names
    parts = [inputs.judged(names) for names in kinds]
    _same(whole.queue, pl.concat([part.queue for part in parts]))
    assert whole.queue["missing"].list.len().max() > 2


def test_no_homes_give_an_empty_queue() -> None:
    nothing = _Inputs([]).judged()
    assert nothing.queue.height == 0
    assert "queue" in nothing.queue.columns
