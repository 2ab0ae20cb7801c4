"""Checks of answers from a visit list: a question that was asked, a value the field can hold."""

from collections.abc import Mapping
from datetime import date

import polars as pl

from triage.contract import Contract, did_you_mean
from triage.intake.answer_ids import answer_id_problems
from triage.intake.columns import type_column
from triage.intake.field_rules import field_reader, new_context
from triage.records.check_places import home_findings
from triage.records.findings import find, together
from triage.records.known import Known

_TYPED_SCHEMA: dict[str, pl.DataType] = {
    "at": pl.UInt32(),
    "flag": pl.String(),
    "unknown": pl.String(),
    "grade": pl.String(),
    "problem": pl.String(),
    "message": pl.String(),
}


def answer_findings(rows: pl.DataFrame, known: Known, measures: Mapping[str, str]) -> pl.DataFrame:
    """Checks of answers."""
    fields = list(known.contract.fields)
    strange = rows.filter(pl.col("field").is_not_null() & ~pl.col("field").is_in(fields))
    hints = {name: did_you_mean(name, fields) for name in strange["field"].unique().sort().head(20)}
    hint = (
        pl.col("field").replace_strict(hints, default="", return_dtype=pl.String)
        if hints
        else pl.lit("")
    )
    return together(
        [
            home_findings(rows, known),
            *_id_findings(rows, known),
            find(
                strange.with_columns(hint.alias("hint")),
                pl.lit(value=True),
                "field",
                "unknown_field",
                pl.format("{} is no survey field; {}", "field", "hint"),
                "take the visit list as it was written; `triage fields` prints the fields",
            ),
            _value_findings(rows, known, measures),
        ]
    )


def typed_answers(
    rows: pl.DataFrame, name: str, contract: Contract, measures: Mapping[str, str], as_of: date
) -> tuple[pl.Series, pl.DataFrame]:
    """The answers to one survey field, in the type of that field.

    Parameters
    ----------
    rows
        Answers with `at` and `value`, the text as written.
    name
        The survey field.
    contract, measures, as_of
        As for reading a survey.

    Returns
    -------
    tuple
        One typed value per row, and a row for each cell that is more than a plain value: `at`,
        flag, kind of unknown, grade, problem and message.
    """
    asked = contract.fields[name]
    reader = field_reader(asked, asked.unit, new_context(contract, None, measures, as_of))
    typed = type_column(rows["value"], contract.polars_schema()[name], reader, "blank", None)
    ats = rows.select("at").with_row_index("row")
    odd = typed.odd.join(ats, on="row", how="left", maintain_order="left")
    return typed.values, odd.select(
        pl.col(column).cast(kind) for column, kind in _TYPED_SCHEMA.items()
    )


def _id_findings(rows: pl.DataFrame, known: Known) -> list[pl.DataFrame]:
    """Ids that do not belong to their key columns, or that another run gave."""
    rows = rows.filter(pl.col("answer_id").is_not_null())
    rows = rows.hstack(answer_id_problems(rows))
    fix = "put the question's cells back as the visit list had them; only the answer may be written"
    edited = find(
        rows, pl.col("told").is_not_null(), "answer_id", "edited_key", pl.col("told"), fix
    )
    sound = rows.filter(pl.col("told").is_null())
    return [edited, _of_other_run(sound, known) if known.runs else _of_two_runs(sound)]


def _of_other_run(rows: pl.DataFrame, known: Known) -> pl.DataFrame:
    """Answers to questions that none of the runs asked."""
    return find(
        rows,
        ~pl.col("run").is_in(list(known.runs)),
        "answer_id",
        "other_run",
        pl.format("the question is of the run {}, which is not {}", "run", pl.lit(known.runs_told)),
        "take the visit list of this run, or name the folder of the run that asked with --run",
    )


def _of_two_runs(rows: pl.DataFrame) -> pl.DataFrame:
    """Without a run to compare with: a sheet is the visit list of the run of its first row."""
    rows = rows.with_columns(pl.col("run").first().over("sheet_no").alias("first_run"))
    strange = find(
        rows,
        pl.col("run") != pl.col("first_run"),
        "answer_id",
        "other_run",
        pl.format("the question is of the run {}, those above of {}", "run", "first_run"),
        "record each visit list as a sheet of its own",
    )
    firsts = rows.unique("sheet_no", keep="first", maintain_order=True)
    unchecked = find(
        firsts,
        pl.lit(value=True),
        "answer_id",
        "run_not_checked",
        pl.format("no run is at hand to compare with the run {} that asked", "run"),
        "name its folder with --run to have the questions checked",
        refused=False,
    )
    return together([strange, unchecked])


def _value_findings(rows: pl.DataFrame, known: Known, measures: Mapping[str, str]) -> pl.DataFrame:
    found: list[pl.DataFrame] = []
    asked = rows.filter(
        pl.col("field").is_in(list(known.contract.fields)) & pl.col("value").is_not_null()
    )
    for (name,), group in asked.group_by("field", maintain_order=True):
        _, odd = typed_answers(group, str(name), known.contract, measures, known.as_of)
        told = group.join(
            odd.filter(pl.col("problem").is_not_null()), on="at", maintain_order="left"
        )
        found.append(
            find(
                told,
                pl.col("unknown").is_not_null(),
                "value",
                "not_a_value",
                pl.format("{} cannot hold this: {}", "field", "message"),
                "write what the question allows",
            )
        )
        found.append(
            find(
                told,
                pl.col("unknown").is_null(),
                "value",
                "read_with_care",
                pl.format("{}: {}", "field", "message"),
                "check the answer",
                refused=False,
            )
        )
    return together(found)
