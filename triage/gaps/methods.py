"""How a question may be answered so that the answer counts: from where, and which way is asked."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

import polars as pl

from triage.contract import Contract
from triage.contract.policy import Policy
from triage.records.answers import DESK, base_grade
from triage.rules.events import with_events
from triage.rules.grading import CLOSE, COUNTS, QUALITY, RANK_BITS, grade_rows
from triage.rules.records import no_records


@dataclass(frozen=True, slots=True)
class Methods:
    """Ways of seeing, by field and measure group.

    `table` has one row for each way that can clear: field, measure_group, survey_method, `place`
    (0 is the least demanding visit; records alone come last) and `rank`, strength of the grade.
    """

    table: pl.DataFrame

    def first(self) -> pl.DataFrame:
        """The least demanding way for each field and measure group."""
        return self.table.sort("place").unique(["field", "measure_group"], keep="first")

    def allowed(self, field: str, groups: Sequence[str]) -> list[str]:
        """Ways that clear the field for every one of the groups, the least demanding first."""
        mine = self.table.filter(
            (pl.col("field") == field) & pl.col("measure_group").is_in(list(groups))
        )
        each = mine.group_by("survey_method").agg(pl.len().alias("n"), pl.col("place").first())
        whole = each.filter(pl.col("n") == len(set(groups))).sort("place")
        return [str(method) for method in whole["survey_method"]]


def clearing_methods(
    policy: Policy, contract: Contract, fields: Sequence[str], as_of: date
) -> Methods:
    """Which survey methods make an answer of today good enough to clear a rule.

    Parameters
    ----------
    policy
        Its evidence standard says what counts.
    contract
        The survey's fields.
    fields
        Fields that may be asked.
    as_of
        Day of the answer and of judging.
    """
    ways = list(policy.evidence.from_method)
    graded = _graded(policy, contract, ways, fields, as_of)
    order = {way: place for place, way in enumerate([*(w for w in ways if w != DESK), DESK])}
    rows = []
    for name in fields:
        view = policy.evidence.views[policy.evidence.of(name).view]
        for way, quality in zip(ways, graded[QUALITY + name].to_list(), strict=True):
            if not quality & COUNTS:
                continue
            rows += [
                (name, group, way, order[way], quality & RANK_BITS)
                for group in policy.groups
                if group not in view.close_for or quality & CLOSE
            ]
    schema = {
        **dict.fromkeys(("field", "measure_group", "survey_method"), pl.String),
        "place": pl.Int32,
        "rank": pl.Int32,
    }
    return Methods(pl.DataFrame(rows, schema=schema, orient="row"))


def _graded(
    policy: Policy, contract: Contract, ways: Sequence[str], fields: Sequence[str], as_of: date
) -> pl.DataFrame:
    """Every field answered today, once by each method; what the answers are does not matter."""
    something = {pl.String(): "x", pl.List(pl.String()): ["x"], pl.Date(): as_of}
    rows = pl.DataFrame({"survey_method": ways}).select(
        "survey_method",
        pl.int_range(pl.len(), dtype=pl.UInt32).alias("row_id"),
        base_grade(pl.col("survey_method")),
        pl.lit(value=False).alias("exposed"),
        *(
            pl.lit(something.get(kind, 1), dtype=kind).alias(name)
            for name, kind in contract.polars_schema().items()
            if name != "survey_method"
        ),
    )
    marks = pl.DataFrame(schema={"row_id": pl.UInt32, "field": pl.String, "grade": pl.String})
    ready = with_events(rows, no_records().events, policy)
    return grade_rows(ready, marks, list(fields), policy, as_of)
