"""What the page holds of a run: its homes, rows, calendar and ground, ready to be packed."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import polars as pl

from triage.report.labels import LANES, QUEUES, SURVEY_QUALITIES
from triage.report.page.columns import coded, coded_lists, days, flags, texts
from triage.report.page.ground import Ground

KEY = ("property_id", "building_part", "measure_code")
FOAM_WORDS = {"yes": "Foam", "no": "No foam", "unknown": "Not known"}
NO_AREA = "Postal code not on record"
COARSE = ("post_sector", "admin_area")  # such a home stands at the middle of a whole area
_WORDS = (
    *("building_part", "measure_name", "lane", "foam_present", "foam_type", "survey_quality"),
    *("evidence_quality", "reason", "next_action"),
)
_LISTS = (
    *("fired", "undecidable", "confirm_first", "disputed", "missing", "expired", "checks"),
    *("enabling", "stop_work", "decision_notes", "repair_notes", "notes", "cautions"),
    *("conflict_notes", "presumed"),
)
QUEUE_COLUMNS = (
    *(*KEY, "queue", "released", "asks_for_evidence", "survey_on", "expires_on"),
    *(name for name in (*_WORDS, *_LISTS) if name != "foam_type"),
)
"""Columns of table `queue` that the page reads."""
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
    return {
        "format": 1,
        "looks": [
            {"queue": look.queue, "title": look.title, "fill": look.fill, "ink": look.ink}
            for look in QUEUES
        ],
        "lanes": {lane: list(words) for lane, words in LANES.items()},
        "qualities": SURVEY_QUALITIES,
        "foam": FOAM_WORDS,
        "no_area": NO_AREA,
        "rules": dict(tables.rule_titles),
        "fields": dict(tables.field_labels),
        "homes": {
            "n": homes.height,
            "id": texts(homes["property_id"]),
            "area": coded(homes.select(area=postal_area())["area"]),
            "lat": _whole(homes["lat"], homes["lon"]),
            "lon": _whole(homes["lon"], homes["lat"]),
            "coarse": flags(homes["location_precision"].is_in(COARSE)),
            "rows": homes["rows"].fill_null(0).to_list(),
        },
        "rows": _rows(queue),
        "expiry": _expiry(tables.calendar, queue),
        "ground": ground.to_dict(),
    }


def _whole(values: pl.Series, other: pl.Series) -> list[int | None]:
    """Degrees times 100,000; null where either half of the place is not known."""
    known = values.is_finite() & other.is_finite()
    whole = (values * _SCALE).round().cast(pl.Int64, strict=False)
    return whole.set(~known.fill_null(value=False), None).to_list()


def _rows(queue: pl.DataFrame) -> dict[str, Any]:
    order = [look.queue for look in QUEUES]
    told: dict[str, Any] = {
        "queue": queue["queue"].replace_strict(order, [0, 1, 2], return_dtype=pl.Int8).to_list(),
        "released": flags(queue["released"]),
        "asks": flags(queue["asks_for_evidence"]),
        "survey_on": days(queue["survey_on"]),
        "expires_on": days(queue["expires_on"]),
    }
    return told | {n: coded(queue[n]) for n in _WORDS} | {n: coded_lists(queue[n]) for n in _LISTS}


def _expiry(calendar: pl.DataFrame | None, queue: pl.DataFrame) -> dict[str, Any]:
    """Answers that end, by row; in a run without a calendar the day on which a safe row ends."""
    numbered = queue.with_row_index("row")
    if calendar is None:
        ends = numbered.filter(
            (pl.col("queue") == QUEUES[0].queue) & pl.col("expires_on").is_not_null()
        ).with_columns(leaves_safe=pl.lit(value=True))
    else:
        ends = calendar.select(*KEY, "expires_on", "leaves_safe").join(
            numbered.select(*KEY, "row", "home"), on=KEY, how="inner"
        )
    ends = ends.sort("row", "expires_on")
    month = ends["expires_on"].dt.year() * 12 + ends["expires_on"].dt.month().cast(pl.Int32) - 1
    return {
        "calendar": calendar is not None,
        "row": ends["row"].to_list(),
        "home": ends["home"].to_list(),
        "month": month.to_list(),
        "leaves": flags(ends["leaves_safe"]),
    }
