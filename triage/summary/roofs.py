"""Foamed roofs with their stratum and what openings found, stream by stream."""

from datetime import date

import polars as pl

from triage.contract.inspection import InspectionPolicy
from triage.learn.intervals import failing_range, wilson
from triage.learn.openings import DAMAGED, FAILING
from triage.learn.roofs import foamed_roofs
from triage.learn.strata import with_strata
from triage.store import Store

_OPENED = ("completed", "partial")
_NOT_DONE = ("no_access", "refused", "unsafe")
_FINDINGS = ("roof_id", "stratum", "stream", "status", "is_failing", "is_damaged")
CONFIDENCE = 0.95


def roof_tables(run: Store, policy: InspectionPolicy, as_of: date) -> dict[str, pl.DataFrame]:
    """Every foamed roof, and the findings of the streams that feed no rate.

    Parameters
    ----------
    run
        The run's store.
    policy
        Says what makes a stratum.
    as_of
        Inspections of a later day are not known yet.

    Returns
    -------
    dict
        `report_roof`: one row a roof, `roof_id`, `stratum` (as frozen in its inspection record,
        else as found now), `status` (opened, no foam found, not completed, not selected at
        random), `why_not`, `is_failing`, `is_damaged`. `report_finding`: one row an inspection
        of another stream, `stratum`, `stream`, `status`, `is_failing`, `is_damaged`.
    """
    roofs = foamed_roofs(run.table("queue"), run.table("current_evidence"), run.table("quantity"))
    placed = with_strata(roofs, policy) if roofs.height else roofs.with_columns(stratum=pl.lit(""))
    seen = _inspections(run, as_of)
    at = placed.select("roof_id", "building_part", "property_ids", now="stratum").explode(
        "property_ids", empty_as_null=True, keep_nulls=True
    )
    found = seen.join(
        at, left_on=["property_id", "building_part"], right_on=["property_ids", "building_part"]
    ).with_columns(pl.col("stratum").fill_null(pl.col("now")))
    random = found.filter(pl.col("stream") == "random")
    # Opened before not opened, then by date: a roof reached at the second try was reached.
    first = random.sort(
        "roof_id", pl.col("status") != "opened", "inspected_on", "inspection_id"
    ).unique("roof_id", keep="first", maintain_order=True)
    kept = ("roof_id", "stratum", "status", "why_not", "is_failing", "is_damaged")
    told = placed.select("roof_id", now="stratum").join(
        first.select(kept), on="roof_id", how="left", maintain_order="left"
    )
    return {
        "report_roof": told.select(
            "roof_id",
            pl.coalesce("stratum", "now").alias("stratum"),
            pl.col("status").fill_null("not selected at random"),
            "why_not",
            pl.col("is_failing", "is_damaged").fill_null(value=False),
        ),
        "report_finding": found.filter(pl.col("stream") != "random")
        .sort("inspection_id")
        .select(_FINDINGS),
    }


def known_inspections(run: Store, as_of: date) -> pl.DataFrame:
    """Rows of the table `inspection` that count, those included that came to nothing."""
    count = run.table("record_inspection").filter(pl.col("inspected_on") <= as_of)
    # That a roof could not be reached is a result, though no evidence of its state.
    came_to_nothing = pl.col("outcome_status").is_in(list(_NOT_DONE))
    told = run.table("inspection_told").filter(came_to_nothing, pl.col("inspected_on") <= as_of)
    lost = told.join(count, on="record_row", how="anti")
    return pl.concat([count, lost], how="diagonal")


def _inspections(run: Store, as_of: date) -> pl.DataFrame:
    kept, outcome = known_inspections(run, as_of), pl.col("outcome_status")
    opened = outcome.is_in(list(_OPENED)) & pl.col("verdict").is_not_null()
    return kept.select(
        *("inspection_id", "property_id", "building_part", "stratum", "inspected_on"),
        pl.col("selection_stream").alias("stream"),
        pl.when(opened)
        .then(pl.lit("opened"))
        .when(outcome == "not_foam")
        .then(pl.lit("no foam found"))
        .otherwise(pl.lit("not completed"))
        .alias("status"),
        pl.when(outcome.is_in(list(_NOT_DONE)))
        .then(outcome)
        .otherwise(pl.lit("no verdict"))
        .alias("why_not"),
        (opened & pl.col("verdict").is_in(list(FAILING))).alias("is_failing"),
        (opened & pl.col("decay_grade_max").is_in(list(DAMAGED)).fill_null(value=False)).alias(
            "is_damaged"
        ),
    )


def share_interval(failing: tuple[int, int], opened: tuple[int, int]) -> tuple[float, float] | None:
    """Wilson interval of a share of which printed counts leave a range possible.

    Parameters
    ----------
    failing, opened
        Least and most that each printed count may stand for; equal where it is exact.

    Returns
    -------
    tuple or None
        The widest that any of the possible counts gives; None where nothing was opened.
    """
    if opened[0] <= 0:
        return None
    few, many = min(failing[0], opened[1]), min(failing[1], opened[0])
    low = wilson(few, opened[1], CONFIDENCE)[0]
    high = wilson(many, opened[0], CONFIDENCE)[1]
    return float(low), float(high)


def roofs_range(failing: int, opened: int, roofs: int) -> tuple[int, int]:
    """Fewest and most failing roofs of a stratum (inverted hypergeometric)."""
    return failing_range(failing, opened, roofs, CONFIDENCE)
