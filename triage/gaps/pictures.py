"""The picture of the answers that would release most homes."""

from collections.abc import Mapping
from typing import Any

import polars as pl

from triage.gaps.run import Gaps
from triage.report.document import Bar, Figure, Look
from triage.report.labels import FIX, LOOK, MEASURE_GROUPS, REVIEW, SAFE
from triage.report.template import label_text

MOST = 10
_AGAIN = ("Specialist review, asks again", "#DDBFD1", "")
_LABEL_LINES = 3


def gap_outcomes(outcomes: pl.DataFrame) -> pl.DataFrame:
    """Each set of answers by the queue that its homes would go to.

    Parameters
    ----------
    outcomes
        See `outcome_table`.

    Returns
    -------
    pl.DataFrame
        `missing` (a list), `measure_group`, `homes`; after good answers `safe`, `fix`, `review`
        and `again` (review that asks for evidence again), which add up to `homes`: a home is safe
        if any of its measures is released, as in `set_table`, else it counts by the worst of them;
        after answers that call for a repair `bad_fix`, `bad_review` and `bad_safe`, by the worst
        of its measures. Most released first.
    """
    good, bad = pl.col("good_queue"), pl.col("bad_queue")
    again = pl.col("good_asks_for_evidence").fill_null(value=True)
    homes = outcomes.group_by("missing", "measure_group", "property_id").agg(
        (good == SAFE).fill_null(value=False).any().alias("safe"),
        (good == FIX).fill_null(value=False).any().alias("fix"),
        again.any().alias("again"),
        (bad == FIX).fill_null(value=False).any().alias("bad_fix"),
        (bad == SAFE).fill_null(value=False).all().alias("bad_safe"),
    )
    safe, fix, asks = pl.col("safe"), pl.col("fix"), pl.col("again")
    return (
        homes.group_by("missing", "measure_group")
        .agg(
            pl.len().cast(pl.Int64).alias("homes"),
            *(
                test.sum().cast(pl.Int64).alias(name)
                for name, test in {
                    "safe": safe,
                    "fix": ~safe & fix,
                    "review": ~safe & ~fix & ~asks,
                    "again": ~safe & ~fix & asks,
                    "bad_fix": pl.col("bad_fix"),
                    "bad_review": ~pl.col("bad_fix") & ~pl.col("bad_safe"),
                    "bad_safe": pl.col("bad_safe"),
                }.items()
            ),
        )
        .sort(
            *("safe", "homes", pl.col("missing").list.len(), pl.col("missing").list.join(", ")),
            "measure_group",
            descending=[True, True, False, False, False],
        )
    )


def gap_figure(gaps: Gaps) -> Figure | None:
    """Bars of the sets of answers that would release most homes; None where none would."""
    table = gap_outcomes(gaps.outcomes).filter(pl.col("safe") > 0)
    if not table.height:
        return None
    shown = table.head(MOST)
    labels = {name: label_text(field).lower() for name, field in gaps.contract.fields.items()}
    bars = tuple(_bar(row, labels) for row in shown.iter_rows(named=True))
    waiting = gaps.outcomes["property_id"].n_unique()
    released = gaps.outcomes.filter(pl.col("good_queue") == SAFE)["property_id"].n_unique()
    first = shown.row(0, named=True)
    asked = len(first["missing"])
    answers = "a good answer to 1 question" if asked == 1 else f"good answers to {asked} questions"
    group = MEASURE_GROUPS.get(first["measure_group"], first["measure_group"])
    unit = (
        f"Homes that wait for a set of answers, by the queue to which the answers would take them; "
        f"n = {waiting:,} homes wait, good answers would release {released:,}. Upper bar: good "
        "answers. Lower bar: answers that call for a repair. Judged by this policy on the evidence "
        "held; no forecast of what a visit will find."
    )
    more = table.height - shown.height
    note = f"The {MOST} sets that release most; {more} more are in field_sets.csv. " if more else ""
    return Figure(
        "gaps_by_homes_released",
        f"{group}: {answers} would release {first['safe']:,} homes, the most of any set",
        unit,
        "; ".join(_told(bar) for bar in bars) + ".",
        bars,
        _legend(),
        label_lines=_LABEL_LINES,
        says_all=True,
        note=f"{note}A home can wait with several measures, and then counts for each.",
    )


def _legend() -> tuple[Look, ...]:
    looks = [(LOOK[q].title, LOOK[q].fill, LOOK[q].hatch) for q in (SAFE, FIX, REVIEW)]
    return (*looks, _AGAIN)


def _bar(row: Mapping[str, Any], labels: Mapping[str, str]) -> Bar:
    fields = [labels.get(name, name) for name in row["missing"]]
    group = MEASURE_GROUPS.get(row["measure_group"], row["measure_group"])
    return Bar(
        label=f"{group}: {', '.join(fields)}",
        parts=tuple(row[name] for name in ("safe", "fix", "review", "again")),
        shown=f"{row['safe']:,} of {row['homes']:,} safe; {row['bad_fix']:,} to repair if bad",
        under=tuple(row[name] for name in ("bad_safe", "bad_fix", "bad_review")),
    )


def _told(bar: Bar) -> str:
    return f"{bar.label}: {bar.shown}"
