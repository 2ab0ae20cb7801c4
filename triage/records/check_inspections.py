"""Checks of inspections, of their openings and of readings."""

import polars as pl

from triage.records.check_places import home_findings, visit_findings
from triage.records.findings import find, number, together
from triage.records.known import Known

PERCENT_SCALES = ("wood_pct", "wme_pct", "carbide_pct", "gravimetric_pct")
_OTHER_SCALES = ("rel", "colour")
_DONE = ("completed", "partial")


def inspection_findings(rows: pl.DataFrame, known: Known, openings: pl.DataFrame) -> pl.DataFrame:
    """Checks of inspections; `openings` are all that are held or arrive with them."""
    opened = openings.group_by("inspection_id").agg(
        pl.col("opened_on").max(), pl.len().alias("openings_there")
    )
    rows = rows.join(opened, on="inspection_id", how="left", maintain_order="left")
    return together(
        [
            home_findings(rows, known),
            find(
                rows,
                pl.col("inspected_on") < pl.col("opened_on"),
                "inspected_on",
                "before_opening",
                pl.format(
                    "the outcome is dated {}, before its opening of {}", "inspected_on", "opened_on"
                ),
                "correct inspected_on, or opened_on of the opening",
            ),
            find(
                rows,
                pl.col("next_due") < pl.col("inspected_on"),
                "next_due",
                "due_before_inspection",
                pl.format("the next look, {}, is before the inspection", "next_due"),
                "correct the day; leave the cell empty if none is planned",
                refused=False,
            ),
            find(
                rows,
                pl.col("openings_there") > pl.col("openings_count"),
                "openings_count",
                "more_openings",
                pl.format(
                    "{} openings are counted, {} are on record", "openings_count", "openings_there"
                ),
                "correct the count",
                refused=False,
            ),
            find(
                rows,
                pl.col("timber_mc_median_pct") > pl.col("timber_mc_max_pct"),
                "timber_mc_median_pct",
                "median_above_maximum",
                "the median reading is above the highest one",
                "correct one of the two",
                refused=False,
            ),
        ]
    )


def opening_findings(rows: pl.DataFrame, known: Known) -> pl.DataFrame:
    """Checks of openings, after the inspections that arrive with them were taken."""
    inspections = known.held["inspection"].select(
        "inspection_id", "inspected_on", pl.lit(value=True).alias("is_known")
    )
    rows = rows.join(inspections, on="inspection_id", how="left", maintain_order="left")
    return together(
        [
            find(
                rows,
                pl.col("inspection_id").is_not_null() & pl.col("is_known").is_null(),
                "inspection_id",
                "unknown_inspection",
                pl.format("there is no inspection {} on record", "inspection_id"),
                "record the inspection first, or in the same command; if it was refused, mend it",
            ),
            find(
                rows,
                pl.col("opened_on") > pl.col("inspected_on"),
                "opened_on",
                "after_outcome",
                pl.format("opened on {}, after the outcome of {}", "opened_on", "inspected_on"),
                "correct opened_on, or inspected_on of the inspection",
            ),
        ]
    )


def reading_findings(rows: pl.DataFrame, known: Known) -> pl.DataFrame:
    """Checks of readings; `rows` as `check_places.with_visit_home` gives them."""
    inspections = known.held["inspection"].select(
        pl.col("inspection_id").alias("survey_id"), "inspected_on"
    )
    rows = rows.join(inspections, on="survey_id", how="left", maintain_order="left")
    is_number = pl.col("value").is_not_null()
    is_percent = pl.col("scale").is_in(PERCENT_SCALES)
    return together(
        [
            home_findings(rows, known),
            visit_findings(rows),
            find(
                rows,
                is_percent & (pl.col("value") > 100),
                "value",
                "above_100",
                pl.format("a reading of {} % is no moisture of wood or wall", number("value")),
                "correct the value, or the scale if the meter showed another one",
            ),
            find(
                rows,
                is_number & pl.col("scale").is_in(_OTHER_SCALES),
                "value",
                "not_a_percentage",
                pl.format(
                    "{} on the scale {} is not a percentage; it is kept, and clears nothing",
                    number("value"),
                    "scale",
                ),
                "read again on a percent scale if it is to count",
                refused=False,
            ),
            find(
                rows,
                is_number & pl.col("scale").is_null(),
                "scale",
                "no_scale",
                "the scale is not known, so the reading clears nothing",
                "write the scale of the meter",
                refused=False,
            ),
            find(
                rows,
                pl.col("reading_date") < pl.col("inspected_on"),
                "reading_date",
                "before_inspection",
                pl.format(
                    "read on {}, before the inspection of {} that it belongs to",
                    "reading_date",
                    "inspected_on",
                ),
                "correct the day, or name the visit at which it was read",
            ),
            find(
                rows,
                (pl.col("method") == "pin_insulated_deep") & pl.col("depth_mm").is_null(),
                "depth_mm",
                "no_depth",
                "deep pins without a depth",
                "write the depth in mm",
                refused=False,
            ),
        ]
    )
