"""What the page holds of a run: its homes, rows, calendar and ground, ready to be packed."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import polars as pl

from triage.report.labels import LANES, QUEUES, SURVEY_QUALITIES
from triage.report.page.columns import Column, coded, coded_lists, texts
from triage.report.page.ground import Ground

KEY = ("property_id", "building_part", "measure_code")
FOAM_WORDS = {"yes": "Foam", "no": "No foam", "unknown": "Not known"}
NO_AREA = "Postal code not on record"
COARSE = ("post_sector", "admin_area")  # such a home stands at the middle of a whole area
SAFE, FIX, REVIEW = (look.queue for look in QUEUES)
STEPS = {
    "Safe, released": SAFE,
    "Safe, checks outstanding": SAFE,
    "Fix water first": FIX,
    **{f"Review: {title} ({who})": REVIEW for title, who in LANES.values()},
    "Review: no lane": REVIEW,
}
"""Where a home-part-measure stands, on whom it waits, and its queue."""
PANEL = (
    ("State", "step"),
    ("Reason", "reason"),
    ("Next action", "next_action"),
    ("Survey date", "survey_on"),
    ("Survey quality", "survey_quality"),
    ("Rests on, at least", "evidence_quality"),
    ("Evidence good until", "good_until"),
    ("Rules that fire", "fired"),
    ("To be confirmed first", "confirm_first"),
    ("Disputed between sources", "disputed"),
    ("Conflicting records", "conflict_notes"),
    ("Cannot be decided yet", "undecidable"),
    ("Missing evidence", "missing"),
    ("Expired evidence", "expired"),
    ("Taken as usual, to be checked", "presumed"),
    ("Stop-work flags", "stop_work"),
    ("Checks before start", "checks"),
    ("Enabling work", "enabling"),
    ("Accepted by a specialist", "decision_notes"),
    ("Repairs on record", "repair_notes"),
    ("Notes", "notes"),
    ("Cautions", "cautions"),
)
"""What is told of a home-part-measure when its home is opened: a title, a column."""
_WORDS = (
    *("building_part", "measure_name", "foam_present", "survey_quality", "evidence_quality"),
    *("reason", "next_action"),
)
_RULES = ("fired", "undecidable", "confirm_first", "disputed")
_FIELDS = ("missing", "expired")
_LISTS = (
    *(*_RULES, *_FIELDS, "checks", "enabling", "stop_work", "decision_notes", "repair_notes"),
    *("notes", "cautions", "conflict_notes", "presumed"),
)
QUEUE_COLUMNS = (
    *(*KEY, "queue", "lane", "released", "asks_for_evidence", "survey_on", "expires_on"),
    *(name for name in (*_WORDS, *_LISTS) if name not in KEY),
)
"""Columns of table `queue` that the page reads."""
_MONTH, _DAY = "%B %Y", "%-d %B %Y"
_SCALE = 1e5  # degrees to whole numbers, about a metre


@dataclass(frozen=True, slots=True)
class RunTables:
    """Tables of one run, as its store holds them.

    homes: one row a home; property_id, postal_code, country_code, lat, lon, location_precision
    queue: one row a home, part and measure, as table `queue`, with `foam_type`
    calendar: as expiry_calendar.parquet, None where the run holds none
    rule_titles, field_labels: words for ids; an id without words is shown as it is
    """

    homes: pl.DataFrame
    queue: pl.DataFrame
    calendar: pl.DataFrame | None
    rule_titles: Mapping[str, str]
    field_labels: Mapping[str, str]


def postal_area() -> pl.Expr:
    """Area of a home: the first half of a British postcode, five digits of a ZIP code."""
    code = pl.col("postal_code").str.strip_chars().str.to_uppercase()
    british = code.str.extract(r"^([A-Z]{1,2}[0-9][A-Z0-9]?)\s*[0-9][A-Z]{2}$")
    american = code.str.extract(r"^([0-9]{5})(?:-?[0-9]{4})?$")
    return (
        pl.when(pl.col("country_code") == "GB")
        .then(british)
        .when(pl.col("country_code") == "US")
        .then(american)
        .otherwise(pl.when(code != "").then(code))
    )


def page_data(tables: RunTables, ground: Ground) -> dict[str, Any]:
    """Everything that the page's script reads, as plain lists and dictionaries."""
    homes = tables.homes.sort("property_id").with_row_index("home")
    queue = tables.queue.sort(KEY).join(homes.select("property_id", "home"), on="property_id")
    counts = queue.group_by("home").len("rows")
    homes = homes.join(counts, on="home", how="left", maintain_order="left")
    lat, lon = _whole(homes["lat"], homes["lon"]), _whole(homes["lon"], homes["lat"])
    return {
        "format": 2,
        "looks": [
            {"queue": look.queue, "title": look.title, "fill": look.fill, "ink": look.ink}
            for look in QUEUES
        ],
        "panel": PANEL,
        "homes": {
            "n": homes.height,
            "id": texts(homes["property_id"]),
            "area": _areas(homes),
            "lat": lat.to_list(),
            "lon": lon.to_list(),
            "place": coded(homes.with_columns(lat=lat).select(_place_words())["place"]),
            "rows": homes["rows"].fill_null(0).to_list(),
        },
        "rows": _rows(queue, tables),
        "ground": ground.to_dict(),
    }


def _areas(homes: pl.DataFrame) -> Column:
    """Areas of the homes; the last word is of those without one."""
    areas = homes.select(area=postal_area())["area"]
    known = areas.drop_nulls().unique().sort()
    return coded(areas.fill_null(NO_AREA), [*known, NO_AREA])


def _whole(values: pl.Series, other: pl.Series) -> pl.Series:
    """Degrees times 100,000; null where either half of the place is not known."""
    known = values.is_finite() & other.is_finite()
    whole = (values * _SCALE).round().cast(pl.Int64, strict=False)
    return whole.set(~known.fill_null(value=False), None)


def _place_words() -> pl.Expr:
    return (
        pl.when(pl.col("lat").is_null())
        .then(pl.lit("not on the map: no usable place"))
        .when(pl.col("location_precision").is_in(COARSE))
        .then(pl.lit("on the map only at the middle of a wider area"))
        .alias("place")
    )


def _rows(queue: pl.DataFrame, tables: RunTables) -> dict[str, Any]:
    order = [look.queue for look in QUEUES]
    told: dict[str, Any] = {
        "queue": queue["queue"].replace_strict(order, [0, 1, 2], return_dtype=pl.Int8).to_list(),
        "foam": home_foam(queue),
    }
    ends = _ends(tables.calendar, queue)
    told |= {name: _months(ends[name]) for name in ("ends", "leaving")}
    worded = _worded(queue, tables)
    told["step"] = coded(worded["step"], [*STEPS, *worded["step"].unique().sort()])
    told["asked"] = coded_lists(worded["asked"])
    told |= {name: coded(worded[name]) for name in (*_WORDS, "survey_on", "good_until", "alone")}
    return told | {name: coded_lists(worded[name]) for name in _LISTS}


def _worded(queue: pl.DataFrame, tables: RunTables) -> pl.DataFrame:
    """The queue in the words that a reader sees."""
    rules = {rule: f"{rule} {title}" for rule, title in tables.rule_titles.items()}
    lanes = {lane: f"{title} ({who})" for lane, (title, who) in LANES.items()}
    safe, of_rule, of_field = pl.col("queue") == SAFE, pl.col(_RULES), pl.col(_FIELDS)
    lane = pl.col("lane").replace(lanes).fill_null("no lane")
    asked = pl.when("asks_for_evidence").then("missing")
    return queue.with_columns(
        of_rule.list.eval(pl.element().replace(rules)),
        of_field.list.eval(pl.element().replace(dict(tables.field_labels))),
        pl.col("foam_present").replace(FOAM_WORDS),
        pl.col("survey_quality").replace(SURVEY_QUALITIES),
        pl.col("evidence_quality").str.replace_all("_", " "),
        pl.col("survey_on").dt.strftime(_DAY),
        good_until=pl.when(safe).then(pl.col("expires_on").dt.strftime(_DAY)),
        step=pl.when(safe & pl.col("released"))
        .then(pl.lit("Safe, released"))
        .when(safe)
        .then(pl.lit("Safe, checks outstanding"))
        .when(pl.col("queue") == FIX)
        .then(pl.lit("Fix water first"))
        .otherwise("Review: " + lane),
    ).with_columns(
        asked=asked, alone=pl.when(asked.list.len() == 1).then(pl.col("missing").list.first())
    )


def home_foam(queue: pl.DataFrame) -> Column:
    """Foam of a home, the best known of its parts, on those rows of it that have or may have some.

    `queue` has columns home, foam_present, foam_type.
    """
    has, kind = (
        pl.col("foam_present").eq_missing("yes"),
        pl.col("foam_type").str.replace_all("_", " "),
    )
    maybe = "Not known whether foam" + pl.coalesce("; on record: " + kind, pl.lit(""))
    found = (
        queue.with_row_index("row")
        .filter(pl.col("foam_present").ne_missing("no"))
        .with_columns(
            foam=pl.when(has).then("Foam: " + kind.fill_null("type not known")).otherwise(maybe)
        )
        .sort(has, kind.is_null(), kind, descending=[True, False, False])
    )
    order = found["foam"].unique(maintain_order=True).to_list()
    best = found.select("row", foam=pl.col("foam").first().over("home"))
    rows = queue.with_row_index("row").join(best, on="row", how="left", maintain_order="left")
    return coded(rows["foam"], order)


def _ends(calendar: pl.DataFrame | None, queue: pl.DataFrame) -> pl.DataFrame:
    """Months in which answers end (their first days), as two lists a row: all, and what moves it.

    In a run without a calendar: the day on which a safe row ends.
    """
    if calendar is None:
        ending = (pl.col("queue") == SAFE) & pl.col("expires_on").is_not_null()
        calendar = queue.filter(ending).select(*KEY, "expires_on", leaves_safe=pl.lit(value=True))
    month = pl.col("expires_on").dt.truncate("1mo").sort()
    by_row = (
        calendar.sort(*KEY, "expires_on")
        .group_by(KEY)
        .agg(ends=month, leaving=month.filter("leaves_safe"))
    )
    return queue.select(KEY).join(by_row, on=KEY, how="left", maintain_order="left")


def _months(ends: pl.Series) -> Column:
    """Lists of dates as lists of months, earliest first."""
    column = coded_lists(ends.cast(pl.List(pl.String)))
    names = pl.Series(column["words"], dtype=pl.String).str.to_date().dt.strftime(_MONTH)
    return column | {"words": names.to_list()}
