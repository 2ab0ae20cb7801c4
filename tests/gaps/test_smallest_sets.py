"""The smallest set of answers that decides a home, against every other set that might.

Independent of the code that finds the sets: every set of open fields that is smaller is judged,
and none may decide; the set itself is judged, and it must.
"""

from itertools import combinations

import polars as pl
from gap_stock import HOMES

from triage.gaps.cells import answer_rows
from triage.gaps.questions import questions_of
from triage.gaps.whatif import VARIANT, WhatIf, judge_again
from triage.rules.table import ID
from triage.work import Work

CELL = ["property_id", "building_part", "field"]
MOST = 6  # open fields of one row: 2 to the power of 6 sets, and few rows have more


def test_no_smaller_set_of_answers_decides_any_of_a_thousand_homes(opened: Work) -> None:
    queue = opened.store.table("queue")
    assert queue["property_id"].n_unique() == HOMES
    asked = questions_of(opened)
    waiting = asked.asked.rows.filter(pl.col("missing").list.len().is_between(1, MOST))
    good = asked.cells.with_columns(pl.col("choices").list.first().alias("value_no"))
    sets = [
        (home, part, number, field, number == 2 ** len(fields) - 1)
        for home, part, fields in waiting.select(
            "property_id", "building_part", "missing"
        ).iter_rows()
        for number, chosen in enumerate(_every_set(fields))
        for field in chosen or [None]
    ]
    names = ["property_id", "building_part", VARIANT, "field", "whole"]
    tried = pl.DataFrame(sets, schema=names, orient="row").cast({VARIANT: pl.Int32})
    copies = tried.select("property_id", VARIANT).unique().sort("property_id", VARIANT)
    answers = tried.join(good.select(*CELL, "value_no", "survey_method"), on=CELL).with_columns(
        pl.lit(opened.programme.as_of).alias("survey_date")
    )
    assert answers.height == tried.drop_nulls("field").height
    rows = answer_rows(answers, asked.values, opened.store.table("evidence_row"))
    judged = judge_again(opened, WhatIf(copies, rows)).queue
    whole = tried.select("property_id", VARIANT, "whole").unique()
    told = judged.join(waiting.select(ID), on=ID, how="semi").join(
        whole, on=["property_id", VARIANT]
    )
    decided = ~pl.col("asks_for_evidence")
    assert waiting.height > 300
    assert told.filter(pl.col("whole") & ~decided).select(ID).rows() == []
    assert told.filter(~pl.col("whole") & decided).select(*ID, VARIANT).rows() == []


def _every_set(fields: list[str]) -> list[tuple[str, ...]]:
    """All sets of the fields, the whole one last."""
    return [chosen for n in range(len(fields) + 1) for chosen in combinations(sorted(fields), n)]


def test_a_field_that_no_answer_can_make_matter_is_never_asked(opened: Work) -> None:
    """Every question: answered badly or well, something about its home changes."""
    asked = questions_of(opened)
    queue = opened.store.table("queue")
    fields = set(queue.filter(~pl.col("asks_for_evidence")).explode("missing")["missing"])
    assert fields <= {None}  # a home that is decided is asked nothing
    leaking = queue.filter(pl.col("queue") == "fix-water-first")
    assert leaking.join(asked.cells, on=["property_id", "building_part"], how="semi").is_empty()
