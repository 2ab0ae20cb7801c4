"""The smallest set of answers that decides a home, against every set that there is.

Each generated home is sound and its survey leaves a few answers out. Every set of these is answered
as the home is and judged: the smallest that decides must be as small as the one that is asked for,
and that one must decide.
"""

from datetime import date
from itertools import combinations
from typing import Any

import polars as pl
from gap_stock import HOMES, WRITTEN, drawn

from triage.gaps.questions import questions_of
from triage.gaps.whatif import VARIANT, WhatIf, judge_again
from triage.rules.table import ID
from triage.work import Work

AS_OF = date(2026, 10, 31)
_SEEN: dict[str, Any] = {
    "building_part": "main",
    "survey_date": AS_OF,
    "survey_method": "opened_up",
    "survey_reach_inside": "opened_up",
    "survey_reach_outside": "external_close",
    "access_limits": ["none"],
    "base_grade": "observed",
}


def test_the_set_that_is_asked_is_the_smallest_of_all_that_decide(opened: Work) -> None:
    queue = opened.store.table("queue")
    assert queue["property_id"].n_unique() == HOMES
    sets = [
        (facts["property_id"], number, sorted(chosen))
        for facts, left_out in drawn()
        if facts["survey_date"] == WRITTEN["survey_date"]
        for number, chosen in enumerate(_every_set(left_out))
    ]
    schema = {"property_id": pl.String, VARIANT: pl.Int32, "answered": pl.List(pl.String)}
    tried = pl.DataFrame(sets, schema=schema, orient="row")
    judged = judge_again(
        opened, WhatIf(tried.select("property_id", VARIANT), _answers(sets, opened))
    )
    told = judged.queue.join(tried, on=["property_id", VARIANT])
    decides = told.filter(~pl.col("asks_for_evidence"))
    waiting = queue.filter(pl.col("asks_for_evidence")).join(tried, on="property_id", how="semi")
    fewest = decides.group_by(ID).agg(
        pl.col("answered").list.len().min().alias("fewest"), pl.col("answered")
    )
    found = waiting.select(*ID, "missing").join(fewest, on=ID, how="left")
    asked = pl.col("missing").list.sort()
    assert found.height > 250
    assert found["fewest"].n_unique() >= 4
    assert found.filter(pl.col("fewest").ne_missing(asked.list.len())).select(ID).rows() == []
    among = [set(m) in [set(d) for d in every] for m, every in found["missing", "answered"].rows()]
    assert all(among)


def _every_set(fields: list[str]) -> list[tuple[str, ...]]:
    return [chosen for n in range(len(fields) + 1) for chosen in combinations(fields, n)]


def _answers(sets: list[tuple[str, int, list[str]]], work: Work) -> pl.DataFrame:
    """What somebody would see who looked at the fields of each set."""
    kinds = work.contract.polars_schema()
    rows = [
        {"property_id": home, VARIANT: number, **_SEEN, **{name: WRITTEN[name] for name in chosen}}
        for home, number, chosen in sets
        if chosen
    ]
    names = dict.fromkeys(name for row in rows for name in row)
    schema = {name: kinds.get(name, pl.String()) for name in names} | {VARIANT: pl.Int32()}
    return pl.DataFrame(rows, schema=schema)


def test_a_home_that_is_decided_is_asked_nothing(opened: Work) -> None:
    queue = opened.store.table("queue")
    decided = queue.filter(~pl.col("asks_for_evidence"))
    assert decided.height > 300
    asked = questions_of(opened).cells
    assert decided.join(asked, on=["property_id", "building_part"], how="semi").is_empty()
