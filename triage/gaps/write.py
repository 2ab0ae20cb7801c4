"""Writes what a run waits for: tables for machines, a visit list to be filled in, and words."""

from collections.abc import Iterator
from pathlib import Path

import polars as pl

from triage.gaps.pictures import gap_figure
from triage.gaps.run import Gaps, Repairs
from triage.outputs import CAUTIONS
from triage.report.cells import inert
from triage.report.gap_workbook import write_gap_workbook
from triage.report.picture import write_picture
from triage.runs import new_run_folder

VISIT_LIST = "visit_list.xlsx"
_QUESTION = ("property_id", "building_part", "field", "survey_method")
_SHOWN = 12  # lines of a list in the terminal
_CAUTION = (
    "Counts of what good answers would do, judged by this policy on the evidence held. They are no "
    "forecast of what a visit will find."
)
_REPAIR_CAUTION = (
    "Counts of what repairs would do if each were shown to work. A home leaves fix-water-first by "
    "evidence of its own, never by this count."
)


def write_gaps(gaps: Gaps, out: Path) -> None:
    """Write tables as CSV, the visit list as a workbook and a picture into a new folder.

    Raises
    ------
    StoreError
        If the folder exists already, or its parent does not.
    """
    title = f"{gaps.name}: visit list, evidence as of {gaps.as_of}, run {gaps.run_id}"
    with new_run_folder(out) as folder:
        for name, frame in _tables(gaps).items():
            _csv(frame, folder / f"{name}.csv")
        write_gap_workbook(
            folder / VISIT_LIST,
            gaps.cells,
            gaps.visits.select("property_id", "building_part", "measures"),
            gaps.contract,
            gaps.measures,
            title,
        )
        # Beside the list, not in it: whoever looks should not know which answer is hoped for.
        figure = gap_figure(gaps)
        if figure is not None:
            stamp = f"{gaps.name}, evidence as of {gaps.as_of}, run {gaps.run_id}. {CAUTIONS[0]}"
            write_picture(folder, figure, stamp)


def write_repairs(repairs: Repairs, out: Path) -> None:
    """Write the repair tables as CSV into a new folder."""
    with new_run_folder(out) as folder:
        _csv(repairs.rules, folder / "repairs.csv")
        _csv(repairs.sets, folder / "repair_sets.csv")
        _csv(repairs.outcomes, folder / "repair_outcomes.csv")
        if repairs.plan is not None:
            _csv(repairs.plan.homes, folder / "repair_plan.csv")


def _tables(gaps: Gaps) -> dict[str, pl.DataFrame]:
    return {
        "fields": gaps.fields,
        "field_sets": gaps.sets,
        "outcomes": gaps.outcomes.drop("good_asks_for_evidence"),
        "visits": gaps.visits,
        "questions": gaps.cells.select("answer_id", *_QUESTION, pl.col("if_so").alias("assumed")),
        "not_for_a_visit": gaps.closed.select("property_id", "building_part", "field"),
    }


def _csv(frame: pl.DataFrame, path: Path) -> None:
    """A table that no office program runs; lists with ; between."""
    flat = frame.with_columns(
        pl.col(name).cast(pl.List(pl.String)).list.join("; ").alias(name)
        for name, kind in frame.schema.items()
        if isinstance(kind, pl.List)
    )
    texts = [name for name, kind in flat.schema.items() if kind == pl.String]
    flat.with_columns(inert(pl.col(name)).alias(name) for name in texts).write_csv(path)


def gap_lines(gaps: Gaps) -> Iterator[str]:
    """What a person wants to know first."""
    told = gaps.to_dict()
    yield (
        f"{told['homes_waiting']:,} homes wait for answers: {told['questions']:,} questions about "
        f"{told['rows_waiting']:,} measures"
    )
    yield f"good answers would release {told['rows_released_by_good_answers']:,} of these measures"
    yield ""
    yield f"{'field':<28}{'waiting':>9}{'alone':>8}{'released':>10}{'to repair':>11}"
    for name, waiting, alone, released, bad in gaps.fields.head(_SHOWN).iter_rows():
        yield f"{name:<28}{waiting:>9,}{alone:>8,}{released:>10,}{bad:>11,}"
    yield "homes waiting for the field; for it alone; released by it alone; sent to repair by it"
    yield ""
    yield "together, most homes released first:"
    for row in gaps.sets.head(_SHOWN // 2).iter_rows(named=True):
        yield f"  {row['homes_released']:>5,} of {row['homes']:,} homes: {row['fields']}"
    for item in told["not_for_a_visit"]:
        yield f"not for a visit: {item['field']}, {item['count']} home-parts; the programme says it"
    yield f"caution: {_CAUTION}"


def repair_lines(repairs: Repairs) -> Iterator[str]:
    """The same of repairs."""
    yield f"{'repair':<52}{'waiting':>9}{'alone':>8}{'released':>10}{'with others':>13}"
    for row in repairs.rules.head(2 * _SHOWN).iter_rows(named=True):
        title = f"{row['rule']} {row['title']}"[:50]
        yield (
            f"{title:<52}{row['homes_waiting']:>9,}{row['homes_waiting_for_it_alone']:>8,}"
            f"{row['homes_released_alone']:>10,}{row['homes_released_with_others']:>13,}"
        )
    yield "homes waiting; for it alone; released by it alone; released together with other repairs"
    if repairs.plan is not None:
        plan = repairs.plan
        yield ""
        yield f"the budget releases {plan.homes.height:,} homes for {plan.spent:,.0f}"
        yield (
            "no plan within it releases more"
            if plan.gap == 0
            else f"the search was stopped: at most {plan.gap:.1%} more could be released"
        )
        if plan.unpriced:
            yield f"no rate for: {', '.join(plan.unpriced)}; homes that need these were left out"
    yield f"caution: {_REPAIR_CAUTION}"
