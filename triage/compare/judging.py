"""Judges stored or mixed inputs again, some homes or all, into a store that is thrown away."""

import tempfile
from collections.abc import Callable, Sequence
from dataclasses import replace
from pathlib import Path

import polars as pl

from triage.compare.sides import Inputs
from triage.contract import load_contract
from triage.contract.assemblies import load_library
from triage.programme_run import STAGES, known_measures
from triage.record_stages import keep_records
from triage.rules.table import ID
from triage.runs import STORE
from triage.steps import Pipeline, Step, load_pipeline, run_pipeline
from triage.store import Store
from triage.work import Work

STATE = ("queue", "lane", "released")
"""What a home-part-measure is in; a row has moved where any of these is another."""
TOLD = ("main_rule", "reason")


def judge_again(
    inputs: Inputs,
    homes: pl.DataFrame | None,
    tables: Sequence[str] = ("queue",),
    say: Callable[[str], None] | None = None,
) -> dict[str, pl.DataFrame]:
    """Judge inputs with this tool.

    Parameters
    ----------
    inputs
        What to judge.
    homes
        `property_id` of the homes to judge; None for all. A home is judged by itself and its
        building, so that its neighbours in the building must be among them.
    tables
        Tables to bring back.
    say
        Told what is about to happen; None: nothing.

    Returns
    -------
    dict
        The tables by name; empty ones where none of the homes is in the inputs.

    Raises
    ------
    TriageError
        If the inputs cannot be judged together, such as a measure that the policy does not know.
    """
    programme, policy = inputs.programme, inputs.policy
    known_measures(programme, policy)
    pipeline = load_pipeline("stock_triage", STAGES)
    stages = {**STAGES, "read_records": lambda work: keep_records(work, inputs.records)}
    # Checks promise something of whole portfolios, and these inputs passed them in their runs.
    steps = [replace(step, check=None) for step in pipeline.steps]
    names = [step.name for step in steps]
    homes_at, last = names.index("home") + 1, names.index("assess") + 1
    with (
        tempfile.TemporaryDirectory(prefix="triage-") as folder,
        Store(Path(folder) / STORE) as store,
    ):
        library = load_library(programme.products)
        quiet = say or (lambda _: None)
        contract = load_contract()
        work = Work(programme, contract, policy, library, store, Path(folder), quiet)

        def run(some: Sequence[Step]) -> None:
            part = Pipeline(pipeline.name, pipeline.title, tuple(some))
            run_pipeline(part, work, store, stages, {"as_of": programme.as_of}, quiet)

        run(steps[:homes_at])
        if homes is not None:
            mine = store.table("home").join(homes, on="property_id", how="semi")
            store.put("home", mine)
            if mine.is_empty():
                return {}
        run(steps[homes_at:last])
        return {name: store.table(name) for name in tables}


def states(found: dict[str, pl.DataFrame]) -> pl.DataFrame:
    """Key and state of every row of a queue; none where no home was there to be judged."""
    if "queue" not in found:
        text = dict.fromkeys((*ID, "queue", "lane"), pl.String)
        return pl.DataFrame(schema={**text, "released": pl.Boolean})
    return found["queue"].select(*ID, *STATE)
