"""What a wave of inspections will and will not be able to say, on one page."""

import polars as pl

from triage.learn.selection import Selection
from triage.report.document import Document, Grid, Section, Words

_CAUTIONS = (
    "Random openings alone say how many roofs of a stratum fail. What the targeted ones find is "
    "told for each roof and never as a rate.",
    "A roof that refuses or cannot be reached stays in the account as not completed. The next roof "
    "of the reserve of its stratum takes its place, in the order given.",
    "One clean opening does not clear a roof. Hidden parts may differ from those that are opened.",
    "Openings are made by people licensed and insured for the work, after the checks for asbestos, "
    "wiring, flues and protected species that the law and local codes ask for.",
)


def plan_document(selection: Selection, name: str, stamp: str, thorough: bool) -> Document:
    """The plan of a wave as a short document.

    Parameters
    ----------
    selection
        What was drawn.
    name
        The programme.
    stamp
        Where it comes from, at the foot of every page.
    thorough
        Whether five openings or more are made in every roof.
    """
    return Document(
        title=name,
        subtitle="Roofs that carry foam: plan of a wave of inspections",
        stamp=stamp,
        sections=(
            Section("What is to be opened", _counts(selection)),
            Section("What it will be able to say", _can(selection, thorough)),
            Section("What it will not", tuple(Words(text) for text in _CAUTIONS)),
            Section("By stratum", (_strata(selection.strata),)),
            Section("How to draw it again", _again(selection)),
        ),
    )


def _counts(selection: Selection) -> tuple[Words, ...]:
    streams = dict(selection.chosen["stream"].value_counts().iter_rows())
    return (
        Words(
            f"{selection.chosen.height:,} of {selection.roofs.height:,} roofs: "
            f"{streams.get('random', 0):,} by chance, {streams.get('targeted', 0):,} because risk "
            f"is expected there. {selection.reserve.height:,} stand in reserve.",
            strong=True,
        ),
    )


def _can(selection: Selection, thorough: bool) -> tuple[Words, ...]:
    found = selection.detection
    share, sure = f"{found.share:.0%}", f"{found.confidence:.0%}"
    how = "at least five" if thorough else "fewer than five"
    assumed = (
        f"Assumed: an inspection with {how} openings finds a failing roof with a chance of "
        f"{found.sensitivity:.0%}; design effect of clusters {found.design_effect:.2f}."
    )
    drawn = int(selection.strata["random_n"].sum())
    if found.openings is None:
        said = (
            f"Even if every roof were opened, the chance of finding one failing roof, should "
            f"{share} fail, would be {found.reached:.0%}, not {sure}: an inspection may miss it."
        )
    elif drawn >= found.openings:
        said = (
            f"If {share} of all roofs or more are failing, the {drawn:,} random openings find at "
            f"least one with a chance of {sure} or more ({found.openings:,} are needed)."
        )
    else:
        said = (
            f"{drawn:,} random openings are fewer than the {found.openings:,} that would find one "
            f"failing roof with a chance of {sure}, should {share} fail. Finding none says less."
        )
    return (Words(said), Words(assumed))


def _strata(strata: pl.DataFrame) -> Grid:
    rows = tuple(
        (
            str(row["stratum"]),
            f"{row['roofs']:,}",
            f"{row['random_n']:,}",
            f"{row['targeted_n']:,}",
            f"{row['reserve_n']:,}",
            f"{row['refused_before_n']:,}",
            "–" if row["at_most_if_none"] is None else f"{row['at_most_if_none']:,}",
        )
        for row in strata.iter_rows(named=True)
    )
    return Grid(
        name="strata",
        title="Roofs, openings and reserve by stratum",
        columns=(
            *("Stratum", "Roofs", "Random", "Targeted", "Reserve", "Refused before"),
            "At most failing, if none is found",
        ),
        rows=rows,
        notes=(
            "The last column holds for the random openings of the stratum, all of them completed, "
            "by exact (hypergeometric) counts. –: none is drawn there, so nothing can be said.",
        ),
        widths=(0.40, 0.08, 0.09, 0.10, 0.09, 0.10, 0.14),
        most=24,
    )


def _again(selection: Selection) -> tuple[Words, ...]:
    return (
        Words(
            f"Seed {selection.seed}; {selection.method}; roofs and strata sha256 "
            f"{selection.frame_digest[:16]}; rules of inspection sha256 "
            f"{selection.policy_digest[:16]}. The same run and seed give the same list, in "
            "whatever order the surveys come.",
        ),
    )
