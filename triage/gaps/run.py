"""What a run waits for, and what the answers would do: the whole of `triage gaps`."""

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import polars as pl

from triage.contract import Contract
from triage.gaps.opened import open_run
from triage.gaps.predict import Predicted, predict, released_alone
from triage.gaps.questions import Questions, questions_of
from triage.gaps.tables import field_table, home_places, outcome_table, set_table, visit_table
from triage.gaps.values import value_text
from triage.intake.answer_ids import answer_ids
from triage.rules.queue import FIX, SAFE
from triage.work import Work


@dataclass(frozen=True, slots=True)
class Gaps:
    """What is missing in a run.

    `fields`, `sets`, `outcomes` and `visits`: see `tables`. `cells` has one row a question of the
    visit list: answer_id, key, field, `area`, `surveyor_id`, `survey_method` (see it from here)
    and `if_so`, the good answer that the prediction takes. `closed` are questions that no visit
    answers.
    """

    run_id: str
    name: str
    as_of: str
    fields: pl.DataFrame
    sets: pl.DataFrame
    outcomes: pl.DataFrame
    visits: pl.DataFrame
    cells: pl.DataFrame
    closed: pl.DataFrame
    contract: Contract
    measures: dict[str, str]

    def to_dict(self) -> dict[str, Any]:
        """Counts and tables for a machine."""
        good, bad = self.outcomes["good_queue"], self.outcomes["bad_queue"]
        return {
            "format": 1,
            "run_id": self.run_id,
            "rows_waiting": self.outcomes.height,
            "homes_waiting": self.outcomes["property_id"].n_unique(),
            "questions": self.cells.height,
            "rows_released_by_good_answers": int((good == SAFE).sum()),
            "rows_to_repair_by_bad_answers": int((bad == FIX).sum()),
            "not_for_a_visit": self.closed["field"].value_counts(sort=True).to_dicts(),
            "fields": self.fields.to_dicts(),
            "sets": self.sets.head(50).to_dicts(),
        }


def find_gaps(run_folder: Path, programme_file: Path | None, say: Callable[[str], None]) -> Gaps:
    """Ask a finished run what it waits for.

    Raises
    ------
    StoreError
        If the folder is no finished run, or programme, policy or records are not those of it.
    """
    work, record = open_run(run_folder, programme_file, say)
    try:
        return _gaps(work, record)
    finally:
        work.store.close()


def _gaps(work: Work, record: dict[str, Any]) -> Gaps:
    work.say("weighing the answers that could be given")
    asked = questions_of(work)
    queue = work.store.table("queue")
    units = work.store.table("home").select(
        "property_id", pl.coalesce("building_id", "property_id").alias("unit")
    )
    waiting = asked.asked.rows
    work.say(f"judging {waiting['property_id'].n_unique():,} waiting homes with the answers in")
    predicted = predict(work, asked.cells, asked.values, units, queue)
    alone = released_alone(work, predicted, asked.values, units, waiting)
    outcomes = outcome_table(waiting, predicted, work.policy)
    survey = work.store.ask(
        "SELECT property_id, survey_date, surveyor_id, postal_code FROM clean_survey"
    )
    homes = home_places(survey, work.store.table("placed_home"))
    return Gaps(
        run_id=str(record["run_id"]),
        name=work.programme.name,
        as_of=work.programme.as_of.isoformat(),
        fields=field_table(outcomes, alone, work.policy, list(work.contract.fields)),
        sets=set_table(outcomes),
        outcomes=outcomes,
        visits=visit_table(predicted.cells, outcomes, homes),
        cells=_listed(predicted, asked, homes, str(record["run_id"])),
        closed=asked.closed,
        contract=work.contract,
        measures={m.code: m.name for m in work.policy.measures.values()},
    )


def _listed(
    predicted: Predicted, asked: Questions, homes: pl.DataFrame, run_id: str
) -> pl.DataFrame:
    """The questions with their ids, in the order of a visit list."""
    told = []
    for (name,), part in predicted.cells.group_by("field", maintain_order=True):
        field = str(name)
        series = asked.values.values[field].gather(part["value_no"])
        text = series.to_frame(field).select(value_text(field, series.dtype)).to_series()
        told.append(part.with_columns(text.alias("if_so")))
    cells = pl.concat(told) if told else predicted.cells.with_columns(if_so=pl.lit(""))
    placed = cells.join(homes, on="property_id", how="left", maintain_order="left")
    named = placed.with_columns(answer_ids(placed, run_id).alias("answer_id"))
    return named.select(
        *("answer_id", "property_id", "building_part", "field", "area", "surveyor_id"),
        *("survey_method", "groups", "disputed", "if_so"),
    ).sort("area", "surveyor_id", "property_id", "building_part", "field", nulls_last=True)
