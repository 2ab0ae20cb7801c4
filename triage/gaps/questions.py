"""Everything that a run waits for, with the answers that could be given and how to get them."""

from dataclasses import dataclass

import polars as pl

from triage.gaps.cells import (
    CELL,
    Asked,
    asked_cells,
    ranked_choices,
    said_before,
    with_methods,
)
from triage.gaps.methods import Methods, clearing_methods
from triage.gaps.values import Values, possible_values
from triage.rules.codes import KEY
from triage.work import Work


@dataclass(frozen=True, slots=True)
class Questions:
    """The questions of a run.

    `cells` has one row a question that a survey can answer: key, field, `groups`, `disputed`,
    `choices` and `adverse` (value numbers) and `survey_method`, null where no visit could settle
    it. `closed` are the questions that no survey can answer.
    """

    asked: Asked
    cells: pl.DataFrame
    closed: pl.DataFrame
    values: Values
    methods: Methods


def questions_of(work: Work) -> Questions:
    """List the questions of an open run.

    Parameters
    ----------
    work
        The run, its store open.
    """
    policy, contract, as_of = work.policy, work.contract, work.programme.as_of
    queue, evidence = work.store.table("queue"), work.store.table("evidence_row")
    asked = asked_cells(queue, contract)
    open_cells = asked.cells.filter("answerable").drop("answerable")
    weak = policy.evidence.grades[: policy.evidence.rank(policy.evidence.firm_from) - 1]
    said = said_before(open_cells, evidence, work.store.table("evidence_mark"), weak)
    fields = open_cells["field"].unique().sort().to_list()
    groups = open_cells.explode("groups").rename({"groups": "measure_group"})
    values = possible_values(
        policy,
        contract,
        groups.select("field", "measure_group"),
        evidence,
        _said_values(said, evidence),
        as_of,
    )
    methods = clearing_methods(policy, contract, fields, as_of)
    disputed = (
        asked.rows.explode("disputed_fields")
        .select(*KEY, pl.col("disputed_fields").alias("field"))
        .drop_nulls()
        .unique()
        .with_columns(pl.lit(value=True).alias("disputed"))
    )
    marked = open_cells.join(disputed, on=CELL, how="left", maintain_order="left").with_columns(
        pl.col("disputed").fill_null(value=False)
    )
    choices = ranked_choices(marked, said, values)
    return Questions(
        asked=asked,
        cells=with_methods(choices, methods),
        closed=asked.cells.filter(~pl.col("answerable")).drop("answerable"),
        values=values,
        methods=methods,
    )


def _said_values(said: pl.DataFrame, evidence: pl.DataFrame) -> dict[str, pl.Series]:
    """By field, every value that somebody who is asked again gave before."""
    homes = said.select(*KEY, "field").unique()
    found = {}
    for (name,), part in homes.group_by("field", maintain_order=True):
        field = str(name)
        rows = evidence.join(part, on=KEY, how="semi")
        found[field] = rows[field].drop_nulls()
    return found
