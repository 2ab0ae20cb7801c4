"""What a run waits for, and what answers and repairs would do: the whole of `triage gaps`."""

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import polars as pl

from triage.contract import Contract
from triage.gaps.budget import Plan, best_plan, options
from triage.gaps.opened import open_run
from triage.gaps.predict import Predicted, homes_units, predict, released_alone
from triage.gaps.questions import Questions, questions_of
from triage.gaps.rates import read_planned, read_rates
from triage.gaps.repairs import repair_outcomes, repair_sets, repair_table
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


def find_gaps(run_folder: Path, say: Callable[[str], None]) -> Gaps:
    """Ask a finished run what it waits for.

    Raises
    ------
    StoreError
        If the folder is no finished run, or cannot be judged again as it was.
    """
    work, record = open_run(run_folder, say)
    try:
        return _gaps(work, record)
    finally:
        work.store.close()


def _gaps(work: Work, record: dict[str, Any]) -> Gaps:
    work.say("weighing the answers that could be given")
    asked = questions_of(work)
    queue = work.store.table("queue")
    units = homes_units(work)
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


@dataclass(frozen=True, slots=True)
class Repairs:
    """What repairs would do; see `repairs`. `plan` is there if a budget was given."""

    run_id: str
    rules: pl.DataFrame
    sets: pl.DataFrame
    outcomes: pl.DataFrame
    plan: Plan | None

    def to_dict(self) -> dict[str, Any]:
        """Counts and tables for a machine."""
        told: dict[str, Any] = {
            "format": 1,
            "run_id": self.run_id,
            "rows_waiting": self.outcomes.height,
            "rows_released": int((self.outcomes["then_queue"] == SAFE).sum()),
            "repairs": self.rules.to_dicts(),
            "sets": self.sets.head(50).to_dicts(),
        }
        if self.plan is not None:
            plan = self.plan
            told["plan"] = {
                "homes_released": plan.homes.height,
                "spent": plan.spent,
                "gap": plan.gap,
                "no_rate_for": list(plan.unpriced),
            }
        return told


@dataclass(frozen=True, slots=True)
class Money:
    """What a programme has to spend on repairs: its rates, its planned works, its budget."""

    rates: Path
    budget: float
    planned: Path | None = None


def find_repairs(run_folder: Path, money: Money | None, say: Callable[[str], None]) -> Repairs:
    """Ask a finished run what repairs would release.

    Raises
    ------
    StoreError
        As for `find_gaps`.
    HeadingError, CellError or ManyErrors
        If the rates or the planned works cannot be used.
    """
    work, record = open_run(run_folder, say)
    try:
        prices = None if money is None else read_rates(money.rates, work.policy)
        work.say("judging the homes with their repairs shown to work")
        outcomes = repair_outcomes(work)
        titles = {rule.id: rule.title for rule in work.policy.rules.values()}
        plan = None
        if money is not None and prices is not None:
            plan = _plan(work, outcomes, prices, money)
        return Repairs(
            run_id=str(record["run_id"]),
            rules=repair_table(outcomes).select(
                "rule", pl.col("rule").replace_strict(titles).alias("title"), pl.exclude("rule")
            ),
            sets=repair_sets(outcomes),
            outcomes=outcomes,
            plan=plan,
        )
    finally:
        work.store.close()


def _plan(work: Work, outcomes: pl.DataFrame, prices: pl.DataFrame, money: Money) -> Plan:
    homes = work.store.table("home")["property_id"]
    planned = (
        pl.DataFrame(schema={"property_id": pl.String, "rule": pl.String, "year": pl.Int32})
        if money.planned is None
        else read_planned(money.planned, work.policy, homes)
    )
    wanted = outcomes.explode("repairs")["repairs"].unique().sort()
    unpriced = tuple(rule for rule in wanted if rule not in set(prices["rule"]))
    work.say("searching for the repairs that release most homes")
    return best_plan(options(outcomes, prices, planned, homes_units(work)), money.budget, unpriced)
