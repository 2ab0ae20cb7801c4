"""Answers to a visit list as evidence: survey rows that hold what was asked and seen."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date

import polars as pl

from triage.contract import Contract
from triage.records.check_answers import typed_answers
from triage.rules.codes import KEY

DESK = "desk"
AT_DESK, ON_SITE = "documented", "observed"
"""Grade of an answer from records, and of one that somebody went to see (as intake grades rows)."""
_VISIT = (*KEY, "observed_on", "surveyor_id", "survey_method")
_CELLS = {"visit": pl.UInt32, "field": pl.String, "record_row": pl.UInt32}


@dataclass(frozen=True, slots=True)
class AnswerRows:
    """Answers as evidence.

    `rows` has one row a home-part, day, surveyor and way of seeing: survey fields, `base_grade`,
    `kind`, `record_id`, `record_row` of the first answer. `cells` has one row an answer: `visit`
    (place in `rows`), `field`, `record_row`. `unread` are answers that the field cannot hold:
    `record_id`, `why_not`.
    """

    rows: pl.DataFrame
    cells: pl.DataFrame
    unread: pl.DataFrame


def base_grade(method: pl.Expr) -> pl.Expr:
    """Grade of an answer row: records at best are documents; what was visited was observed."""
    at_desk = method.is_null() | (method == DESK)
    return pl.when(at_desk).then(pl.lit(AT_DESK)).otherwise(pl.lit(ON_SITE)).alias("base_grade")


def answer_evidence(
    answers: pl.DataFrame, contract: Contract, measures: Mapping[str, str], as_of: date
) -> AnswerRows:
    """Turn the answers on record into evidence rows.

    A reading of timber is dated by the day on which it was answered, unless its date is an answer
    of its own.

    Parameters
    ----------
    answers
        Latest version of each answer: the contract's columns and `record_row`.
    contract, measures, as_of
        As for reading a survey.
    """
    # By id, so that the order in which answers came in decides nothing.
    ordered = answers.sort("answer_id").with_row_index("at")
    visits = (
        ordered.group_by(_VISIT, maintain_order=True)
        .agg(
            pl.first("answer_id").alias("record_id"),
            pl.first("record_row"),
            pl.col("photo_refs").explode().drop_nulls().unique(maintain_order=True),
        )
        .sort(_VISIT, nulls_last=True)
        .with_row_index("visit")
    )
    placed = ordered.join(
        visits.select("visit", *_VISIT), on=_VISIT, nulls_equal=True, maintain_order="left"
    )
    rows, unread, cells = visits, [], []
    for (field,), group in placed.group_by("field", maintain_order=True):
        name = str(field)
        if name not in contract.fields:
            unread.append(group.select("answer_id", pl.lit(f"{name} is no survey field now")))
            continue
        values, _ = typed_answers(group, name, contract, measures, as_of)
        said = group.select("visit", "answer_id", "record_row").with_columns(values.alias(name))
        lost = said.filter(pl.col(name).is_null())
        unread.append(lost.select("answer_id", pl.lit(f"{name} cannot hold this answer now")))
        told = said.drop_nulls(name).unique("visit", keep="first", maintain_order=True)
        cells.append(told.select("visit", pl.lit(name).alias("field"), "record_row"))
        mine = told.select("visit", name)
        rows = rows.drop(name, strict=False).join(
            mine, on="visit", how="left", maintain_order="left"
        )
    rows = rows.rename({"observed_on": "survey_date"}).with_columns(
        pl.lit("answer").alias("kind"), pl.col("record_id").alias("survey_id")
    )
    told_cells = pl.concat([pl.DataFrame(schema=_CELLS), *cells]).sort("visit", "field")
    return AnswerRows(graded_visits(rows), told_cells, _unread(unread))


def graded_visits(rows: pl.DataFrame) -> pl.DataFrame:
    """Answers of one visit each, as a survey row is graded: a reading has the day of the visit.

    Parameters
    ----------
    rows
        `survey_date`, `survey_method` and survey fields.

    Returns
    -------
    pl.DataFrame
        The same with `base_grade`, and `mc_date` where timber was read and no other day is told.
    """
    graded = rows.with_columns(base_grade(pl.col("survey_method")))
    if "timber_mc_pct" not in rows.columns:
        return graded
    told = "mc_date" if "mc_date" in rows.columns else pl.lit(None, pl.Date)
    read = pl.when(pl.col("timber_mc_pct").is_not_null()).then("survey_date")
    return graded.with_columns(pl.coalesce(told, read).alias("mc_date"))


def _unread(parts: list[pl.DataFrame]) -> pl.DataFrame:
    names = ["record_id", "why_not"]
    schema = dict.fromkeys(names, pl.String)
    renamed = [part.rename(dict(zip(part.columns, names, strict=True))) for part in parts]
    return pl.concat([pl.DataFrame(schema=schema), *renamed]).sort("record_id")
