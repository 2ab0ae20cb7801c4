"""The county weatherisation programme: about 400 homes in two workbooks, inches and °F."""

from datetime import date
from pathlib import Path
from typing import Final

import numpy as np

from making import writers
from making.draw import Stock, chance, column, pick
from making.forms import Form, Row, fill, join
from making.slips import remarks, spoil
from making.stock_us import place, us_stock
from making.stories import Stories, write_expected
from making.survey import record, subset
from making.teams import COUNTY

SEED: Final = 51_2026
AUDITED, VISITED, AGAIN = 190, 190, 24
NOTES: Final = ["gate code 4411", "owner home after 4", "photos uploaded", "needs ladder stab"]
UNITS: Final = {"in": "in", "R": "h·ft²·°F/Btu", "ft2": "sq ft", "degF": "°F", "%": "%"}


def build(folder: Path, lists: dict[str, str]) -> None:
    """Write the surveys and the expected queues of this programme into its folder."""
    rng = np.random.default_rng(SEED)
    stories, computed = Stories("county"), Stories("county", "computed")
    stock, _ = us_stock(rng, AUDITED + VISITED)
    n = AUDITED + VISITED
    free = (f"TR-{k}" for k in range(2001, 2001 + 2 * n) if f"TR-{k}" not in stories.ids)
    stock["property_id"] = np.array([next(free) for _ in range(n)], dtype=object)
    order = rng.permutation(n)
    audited, visited = np.sort(order[:AUDITED]), np.sort(order[AUDITED:])
    surveys = folder / "surveys"
    surveys.mkdir(parents=True, exist_ok=True)
    form = Form.load(folder, "1_energy_audit", lists, COUNTY["audit"])
    _audit(rng, form, subset(stock, audited), (stories, computed), surveys)
    again = np.sort(rng.choice(audited, AGAIN, replace=False))
    homes = subset(stock, np.concatenate([visited, again]))
    form = Form.load(folder, "2_attic_and_crawl_visits", lists, COUNTY["visit"])
    _visits(rng, form, homes, stories, surveys)
    write_expected((stories, computed), folder / "expected_queues.csv")


def _audit(
    rng: np.random.Generator,
    form: Form,
    homes: Stock,
    told_homes: tuple[Stories, Stories],
    out: Path,
) -> None:
    stories, computed = told_homes
    rows = record(rng, homes, form.habits)
    n = len(rows["property_id"])
    rows["surveyor_competence"] = pick(rng, n, {"quality_inspector": 4, "retrofit_assessor": 6})
    rows["measure_code"] = _measures(rng, rows)
    low = rows["measure_code"] == "roofing_foam"
    rows["measure_material"] = np.where(low, "spf_roofing", None)
    rows["measure_thickness_mm"] = np.where(low, 76.2, None)
    for field in ("latitude", "longitude"):
        rows[field][:3] = None  # ZIP only
    rows = join(rows, _placed(rng, stories, first=3001))
    rows = subset(rows, np.argsort(rows["property_id"].astype(str), kind="stable"))
    table = fill(rng, form, rows, stories)
    table = spoil(rng, table, form.position("property_id"), lost=2, damaged=1, twice=3)
    remarks(rng, table, NOTES, len(form.ignored))
    table += _computed(form, computed)
    units = [UNITS.get(_unit(form, title), "") for title in form.titles]
    sheet = writers.Sheet("Audit", [*form.titles, *form.ignored], table, units=units)
    writers.write_xlsx(out / "energy_audit_2026.xlsx", [sheet])


def _placed(rng: np.random.Generator, stories: Stories, first: int) -> Stock:
    """Composed homes in the areas that their stories name, with audit numbers."""
    told = stories.stock()
    areas = np.array([story["area"] for story in stories.told], dtype=object)
    told.update(place(rng, areas))
    told["survey_id"] = np.array([f"A{first + k}" for k in range(len(areas))], dtype=object)
    return told


def _computed(form: Form, stories: Stories) -> list[Row]:
    """Homes for which a computed quantity decides: audited last, drawn from their own source."""
    rng = np.random.default_rng([SEED, 2])
    table = fill(rng, form, _placed(rng, stories, first=3201), stories)
    remarks(rng, table, NOTES, len(form.ignored))
    return table


def _unit(form: Form, title: str) -> str:
    entry = form.profile["columns"][title]
    return str(entry.get("unit", "")) if isinstance(entry, dict) else ""


def _measures(rng: np.random.Generator, rows: Stock) -> np.ndarray:
    """What auditors propose besides attic insulation."""
    n = len(rows["property_id"])
    frame = np.isin(rows["wall_construction"].astype(str), ["frame_clad", "frame_brick_veneer"])
    walls = frame & (rows["wall_insulation_existing"] == "none") & chance(rng, n, 0.7)
    crawl = (rows["floor_construction"] == "suspended_timber") & chance(rng, n, 0.3)
    low = rows["roof_form"] == "low_slope_unknown"
    brick = (rows["wall_construction"] == "brick_solid") & chance(rng, n, 0.6)
    asked = (
        (walls, "frame_wall_fill"),
        (crawl, "floor_insulation"),
        (chance(rng, n, 0.35), "air_sealing"),
        (brick, "internal_wall"),
    )
    lists = [[name for mask, name in asked if mask[k]] for k in range(n)]
    lists = [["roofing_foam"] if low[k] else names for k, names in enumerate(lists)]
    return np.array(["; ".join(names) or None for names in lists], dtype=object)


def _visits(
    rng: np.random.Generator, form: Form, homes: Stock, stories: Stories, out: Path
) -> None:
    rows = record(rng, homes, form.habits)
    n = len(rows["property_id"])
    placed = chance(rng, n, 0.85)
    for field in ("latitude", "longitude"):
        rows[field] = np.where(placed, rows[field], None)
    turned = np.flatnonzero(placed)[:2]
    rows["longitude"][turned] = -rows["longitude"][turned]  # lost minus sign
    rows["foam_type"] = np.where(chance(rng, n, 0.3), None, rows["foam_type"])
    tight, crawl = chance(rng, n, 0.25), chance(rng, n, 0.15)
    rows["measure_code"] = np.where(tight, "air_sealing", np.where(crawl, "floor_insulation", None))
    years = np.array([day.year for day in rows["survey_date"]])
    sheets = []
    for name in form.profile["layout"]["sheets"]:
        part = subset(rows, np.flatnonzero((years >= 2026) == (name == "2026")))
        if name == "2026":
            part = join(part, _told_again(stories))
        table = fill(rng, form, part, stories)
        if name == "2026":
            table = spoil(rng, table, form.position("property_id"), lost=2, damaged=0, twice=0)
        remarks(rng, table, NOTES, len(form.ignored))
        title = ("ATTIC + CRAWL VISITS", f"Year {name}")
        sheets.append(writers.Sheet(name, [*form.titles, *form.ignored], table, title))
    writers.write_xlsx(out / "attic_and_crawl_visits.xlsx", sheets)


def _told_again(stories: Stories) -> Stock:
    again = stories.second()
    fields = sorted({field for row in again for field in row})
    told = {field: np.array([row.get(field) for row in again], dtype=object) for field in fields}
    n = len(again)
    told["survey_date"] = column(n, date(2026, 8, 12))
    told["surveyor_id"] = column(n, "crew B")
    told["survey_method"] = column(n, "internal_void")
    return told
