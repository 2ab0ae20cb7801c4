"""The sheets about evidence over time: records that disagree, and what expires next."""

from collections.abc import Mapping

import polars as pl

from triage.report.workbook import PlainSheet

_SHOWN = (
    *("property_id", "building_part", "field", "measures"),
    *("value", "raw", "grade", "survey_date", "surveyor_id", "home"),
    *("file", "sheet", "row", "column", "record"),
)
_HEADINGS: Mapping[str, tuple[str, float]] = {
    "property_id": ("Home", 15),
    "building_part": ("Part", 11),
    "field": ("Field", 26),
    "measures": ("Measures that hang on it", 26),
    "value": ("Taken", 18),
    "raw": ("Taken: as written", 20),
    "grade": ("Taken: grade", 12),
    "survey_date": ("Taken: survey date", 12),
    "surveyor_id": ("Taken: surveyor", 12),
    "home": ("Taken: surveyed at home", 15),
    "file": ("Taken: file", 26),
    "sheet": ("Taken: sheet", 14),
    "row": ("Taken: row", 8),
    "column": ("Taken: column", 18),
    "record": ("Taken: record", 18),
}


_CALENDAR: Mapping[str, tuple[str, float]] = {
    "expires_on": ("Last good day", 12),
    "property_id": ("Home", 15),
    "building_part": ("Part", 11),
    "measure_code": ("Measure", 22),
    "field": ("What expires", 30),
    "queue": ("Queue today", 18),
    "lane": ("Lane today", 14),
    "leaves_safe": ("Leaves safe-to-insulate", 14),
    "becomes": ("Then goes to", 18),
    "becomes_lane": ("Lane then", 14),
}


def calendar_sheet(calendar: pl.DataFrame) -> PlainSheet:
    """What expires in the days to come, the first first.

    Parameters
    ----------
    calendar
        See `rules.calendar.expiry_calendar`.
    """
    leaving = calendar.filter("leaves_safe")["property_id"].n_unique()
    title = (
        f"Evidence that expires soon: {calendar.height:,} answers; "
        f"{leaving:,} homes would leave safe-to-insulate"
    )
    yes = pl.when("leaves_safe").then(pl.lit("yes")).alias("leaves_safe")
    spaced = pl.col("field", "building_part", "measure_code", "lane", "becomes_lane")
    frame = calendar.with_columns(yes, spaced.str.replace_all("_", " ", literal=True))
    return PlainSheet("Expiry calendar", title, frame, _CALENDAR)


def contradiction_sheet(contradictions: pl.DataFrame) -> PlainSheet:
    """Both cells of every disagreement that a queue hangs on, one row each.

    Parameters
    ----------
    contradictions
        As `55_contradiction.sql` writes them; those that no measure hangs on are left out.
    """
    shown = contradictions.filter(pl.col("measures").is_not_null())
    fixed, told = _SHOWN[:4], _SHOWN[4:]
    other = {f"other_{name}": _HEADINGS[name] for name in told}
    headings = dict(_HEADINGS) | {
        name: (words.replace("Taken", "Other"), width) for name, (words, width) in other.items()
    }
    frame = shown.select(*fixed, *told, *other).with_columns(
        pl.col("field").str.replace_all("_", " ", literal=True)
    )
    frame = frame.select(name for name in frame.columns if name in fixed or _any(frame, name))
    title = f"Records that disagree where a queue hangs on it: {frame.height:,}"
    return PlainSheet("Contradictions", title, frame, headings)


def _any(frame: pl.DataFrame, name: str) -> bool:
    """A column that says nothing anywhere is left out, but never the place of a cell."""
    return frame[name].null_count() < frame.height or not name.endswith(("raw", "record"))
