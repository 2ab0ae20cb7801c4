"""The questions of a run: one for each home-part and field that waits for an answer."""

from collections.abc import Sequence
from dataclasses import dataclass

import polars as pl

from triage.contract import Contract
from triage.gaps.methods import Methods
from triage.gaps.values import Values, value_text
from triage.gaps.whatif import VARIANT
from triage.records.answers import graded_visits
from triage.rules.codes import KEY
from triage.rules.frames import NOT_EVIDENCE

CELL = (*KEY, "field")
PLACE_FIELDS = ("postal_code",)  # they move a home to another climate, which is not judged here


@dataclass(frozen=True, slots=True)
class Asked:
    """What is asked.

    `rows` has the queue rows that wait for evidence; `cells` one row a question: key, field,
    `groups` (measure groups that wait for it) and `answerable`, whether a survey can answer it.
    """

    rows: pl.DataFrame
    cells: pl.DataFrame


def asked_cells(queue: pl.DataFrame, contract: Contract) -> Asked:
    """The questions of a queue table.

    Parameters
    ----------
    queue
        One row per home, part and measure, with `asks_for_evidence` and `missing`.
    contract
        A question that is no field of the survey, or one that only a programme can answer, cannot
        be answered by a survey.
    """
    rows = queue.filter(pl.col("asks_for_evidence") & (pl.col("missing").list.len() > 0)).sort(
        *KEY, "measure_code"
    )
    each = rows.explode("missing").rename({"missing": "field"})
    cells = each.group_by(CELL).agg(pl.col("measure_group").unique().sort().alias("groups"))
    texts = [n for n, f in contract.fields.items() if f.type in ("text", "texts")]
    closed = [*NOT_EVIDENCE, *PLACE_FIELDS, *texts]
    known = list(contract.fields)
    answerable = pl.col("field").is_in(known) & ~pl.col("field").is_in(closed)
    return Asked(rows, cells.with_columns(answerable.alias("answerable")).sort(CELL))


def said_before(
    cells: pl.DataFrame, evidence: pl.DataFrame, marks: pl.DataFrame, weak: Sequence[str]
) -> pl.DataFrame:
    """What the asked home-parts said already, by firm word, about what they are asked.

    Parameters
    ----------
    cells
        Questions.
    evidence, marks
        Evidence rows with `base_grade`, and the cells that have a grade of their own.
    weak
        Grades that are not firm.

    Returns
    -------
    pl.DataFrame
        Key, field and `text`, one row for each different answer.
    """
    own = marks.filter(pl.col("grade").is_in(list(weak))).select("row_id", "field")
    found = []
    for name in cells["field"].unique().sort():
        mine = cells.filter(pl.col("field") == name).select(CELL)
        rows = evidence.filter(
            pl.col(name).is_not_null() & ~pl.col("base_grade").is_in(list(weak))
        ).select(*KEY, "row_id", value_text(name, evidence.schema[name]).alias("text"))
        doubted = own.filter(pl.col("field") == name).select("row_id")
        firm = rows.join(doubted, on="row_id", how="anti")
        found.append(mine.join(firm, on=KEY, how="inner").select(*CELL, "text"))
    empty = pl.DataFrame(schema=dict.fromkeys((*CELL, "text"), pl.String))
    return pl.concat([empty, *found]).unique().sort(*CELL, "text")


def ranked_choices(cells: pl.DataFrame, said: pl.DataFrame, values: Values) -> pl.DataFrame:
    """For each question the values that may answer it, the best first, and the worst one.

    Best is: no rule of any group that waits for it fires; then what was said before, which
    contradicts nobody; then what clears most rules, asks for least work, and is found most often.

    Returns
    -------
    pl.DataFrame
        The cells that have any value, with `choices` (list of value numbers) and `adverse` (a
        value that calls for a repair; null where none does).
    """
    texts = said.group_by(CELL).agg(pl.col("text").sort().alias("said"))
    nothing = pl.lit([], pl.List(pl.String))
    each = cells.join(texts, on=CELL, how="left", maintain_order="left").with_columns(
        pl.coalesce("said", nothing).alias("said")
    )
    kinds = each.select("field", "groups", "said").unique(maintain_order=True).with_row_index("_k")
    weighed = kinds.explode("groups").join(
        values.table, left_on=["field", "groups"], right_on=["field", "measure_group"]
    )
    per_value = weighed.group_by("_k", "value_no").agg(
        pl.col("bad").sum(),
        pl.col("good").sum(),
        pl.col("open").sum(),
        pl.col("found").first(),
        pl.col("repairs").sum(),
        pl.col("text").is_in(pl.col("said").first()).first().alias("again"),
    )
    order = ["bad", "again", "good", "open", "found", "value_no"]
    ranked = per_value.sort("_k", *order, descending=[False, False, True, True, False, True, False])
    worst = per_value.filter(pl.col("repairs") > 0).sort(
        "_k", "repairs", "again", "value_no", descending=[False, True, True, False]
    )
    best = ranked.group_by("_k", maintain_order=True).agg(
        pl.col("value_no").filter(pl.col("bad") == pl.col("bad").first()).alias("choices")
    )
    adverse = worst.unique("_k", keep="first").select("_k", pl.col("value_no").alias("adverse"))
    told = kinds.join(best, on="_k").join(adverse, on="_k", how="left").drop("_k")
    return each.join(told, on=["field", "groups", "said"], how="inner", maintain_order="left")


def with_methods(cells: pl.DataFrame, methods: Methods) -> pl.DataFrame:
    """Add to each question the way in which the what-if answers it, `survey_method`.

    A question that is asked because answers contradict each other takes the way of the highest
    grade, for only a better answer settles it; any other takes the least demanding visit. One that
    no way could settle has null.
    """
    each = cells.select(*CELL, "groups", "disputed").explode("groups")
    able = each.join(
        methods.table, left_on=["field", "groups"], right_on=["field", "measure_group"]
    )
    needed = pl.col("groups").n_unique().over(*CELL, "survey_method")
    whole = able.filter(needed == pl.col("groups").n_unique().over(CELL))
    strength = pl.when(pl.col("disputed")).then(pl.col("rank")).otherwise(0)
    chosen = (
        whole.with_columns(strength.alias("_strength"))
        .sort(*CELL, "_strength", "place", descending=[False] * 3 + [True, False])
        .unique(CELL, keep="first", maintain_order=True)
    )
    return cells.join(
        chosen.select(*CELL, "survey_method"), on=CELL, how="left", maintain_order="left"
    )


def answer_rows(answers: pl.DataFrame, values: Values, evidence: pl.DataFrame) -> pl.DataFrame:
    """Evidence rows made of single answers: one for each home-part, variant and way of seeing.

    Parameters
    ----------
    answers
        Key, field, `variant_no`, `value_no`, `survey_method` and `survey_date`.
    values
        What the value numbers stand for.
    evidence
        Evidence rows, for the types of their columns.
    """
    at = [*KEY, VARIANT, "survey_method", "survey_date"]
    parts = [
        part.select(*at, values.values[name].gather(part["value_no"]).alias(name))
        for (name,), part in answers.group_by("field", maintain_order=True)
        if isinstance(name, str)
    ]
    kinds = {name: evidence.schema[name] for name in (*KEY, "survey_method", "survey_date")}
    empty = pl.DataFrame(schema={**kinds, VARIANT: pl.Int32()})
    wide = pl.concat([empty, *parts], how="diagonal")
    fields = [name for name in wide.columns if name not in at]
    rows = wide.group_by(at, maintain_order=True).agg(
        pl.col(n).drop_nulls().first() for n in fields
    )
    return graded_visits(rows).sort(at)
