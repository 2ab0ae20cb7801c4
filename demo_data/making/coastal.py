"""The coastal association: about 1,200 homes in five workbooks of different surveyors."""

from dataclasses import dataclass
from datetime import date
from pathlib import Path
from typing import Final

import numpy as np

from making import writers
from making.draw import Stock, chance, column, pick
from making.foam import add_foam
from making.forms import Form, Row, fill, join
from making.grid import grid_metres, grid_reference
from making.slips import describe, remarks, slips, spoil
from making.stock_uk import uk_stock
from making.stories import Stories, write_expected
from making.survey import UNSEEN, record, subset
from making.teams import COASTAL

SEED: Final = 20261031
FOAMED: Final = 196
TEAMS: Final = {"fabric": 290, "lofts": 300, "estate": 240, "records": 330}
REVISITS: Final = 96
NOTES: Final = [
    "tenant keen",
    "key safe by back door",
    "dog!",
    "photos in folder 3",
    "call before visit",
    "rear scaffold needed",
]


@dataclass(frozen=True)
class Job:
    """What every part of the writing needs."""

    rng: np.random.Generator
    folder: Path
    lists: dict[str, str]
    stock: Stock
    teams: dict[str, np.ndarray]
    stories: Stories
    computed: Stories

    @property
    def out(self) -> Path:
        return self.folder / "surveys"

    def form(self, stem: str, team: str) -> Form:
        return Form.load(self.folder, stem, self.lists, COASTAL[team])

    def homes(self, team: str) -> Stock:
        return subset(self.stock, self.teams[team])


def build(folder: Path, lists: dict[str, str]) -> None:
    """Write the surveys and the expected queues of this programme into its folder."""
    rng = np.random.default_rng(SEED)
    stories, computed = Stories("coastal"), Stories("coastal", "computed")
    stock, neglect = uk_stock(rng, sum(TEAMS.values()))
    stock["property_id"] = _numbers(stock, stories.ids)
    teams = _share_out(rng, neglect)
    seen_by_people = np.concatenate([teams["fabric"], teams["lofts"], teams["estate"]])
    old = 1 + 2 * (np.array([b in "AB" for b in stock["age_band"]])[seen_by_people])
    weights = old * (stock["roof_form"][seen_by_people] == "pitched_cold")
    foamed = rng.choice(seen_by_people, FOAMED, replace=False, p=weights / weights.sum())
    add_foam(rng, stock, np.sort(foamed))
    job = Job(rng, folder, lists, stock, teams, stories, computed)
    job.out.mkdir(parents=True, exist_ok=True)
    for part in (_fabric, _lofts, _estate, _records, _second):
        part(job)
    write_expected((stories, computed), folder / "expected_queues.csv")


def _numbers(stock: Stock, taken: set[str]) -> np.ndarray:
    n = len(stock["age_band"])
    free = (f"KC-{k:04d}" for k in range(1, 2 * n) if f"KC-{k:04d}" not in taken)
    return np.array([next(free) for _ in range(n)], dtype=object)


def _share_out(rng: np.random.Generator, neglect: np.ndarray) -> dict[str, np.ndarray]:
    order, teams, start = rng.permutation(len(neglect)), {}, 0
    for team, count in TEAMS.items():
        teams[team] = np.sort(order[start : start + count])
        start += count
    return teams


def _wall_measures(rng: np.random.Generator, rows: Stock) -> np.ndarray:
    """What the surveyor proposes for the walls: fill clear cavities, insulate solid walls."""
    n = len(rows["property_id"])
    wall = rows["wall_construction"].astype(str)
    empty = rows.get("wall_insulation_existing", column(n)) == "none"
    cavity = np.isin(wall, ["cavity_brick", "cavity_block_rendered"]) & empty
    solid = np.isin(wall, ["brick_solid", "stone_dense", "stone_soft", "concrete"])
    side = pick(rng, n, {"internal_wall": 5, "external_wall": 5})
    asked = chance(rng, n, 0.75)
    return np.where(asked & cavity, "cavity_fill", np.where(asked & solid, side, None))


def _story_places(rng: np.random.Generator, told: Stock, stock: Stock, first: int = 3001) -> None:
    like = rng.choice(len(stock["property_id"]), len(told["property_id"]), replace=False)
    for field in ("latitude", "longitude", "postal_code"):
        told[field] = stock[field][like]
    told["survey_id"] = np.array([f"F-{first + k}" for k in range(len(like))], dtype=object)


def _fabric(job: Job) -> None:
    rng, form = job.rng, job.form("1_fabric_survey", "fabric")
    rows = record(rng, job.homes("fabric"), form.habits)
    rows["surveyor_competence"] = column(len(rows["property_id"]), "building_surveyor")
    rows["access_limits"] = np.where(rows["survey_reach_inside"] == "internal", "no_void", "none")
    covered = (rows["foam_present"] == "yes") & chance(rng, len(rows["property_id"]), 0.4)
    rows["access_limits"] = np.where(covered, "foam_covered", rows["access_limits"])
    rows["measure_code"] = _wall_measures(rng, rows)
    rows["edge_detail_drawings"] = np.where(
        rows["measure_code"] == "external_wall", pick(rng, len(covered), {"yes": 3, "no": 2}), None
    )
    lost = rng.choice(len(covered), 8, replace=False)
    rows["longitude"][lost[:5]] = -rows["longitude"][lost[:5]]  # lost minus sign
    for field in ("latitude", "longitude", "postal_code"):
        rows[field][lost[5:]] = None
    told = job.stories.stock()
    _story_places(rng, told, job.stock)
    rows = join(_with_extensions(rng, rows), told)
    order = np.argsort(rows["property_id"].astype(str), kind="stable")
    table = fill(rng, form, subset(rows, order), job.stories)
    table = spoil(rng, table, form.position("property_id"), lost=3, damaged=0, twice=4)
    remarks(rng, table, NOTES, len(form.ignored))
    table += _computed(job, form)
    title = ("Kittiwake Coast Homes", "Fabric survey, roofs and walls, all dates dd/mm/yyyy", "")
    sheet = writers.Sheet(
        "Fabric survey", [*form.titles, *form.ignored], table, title, two_lines=True
    )
    notes = writers.Sheet("Read me", ["Conditions G F P, N/I = not inspected"], [])
    writers.write_xlsx(job.out / "fabric_survey_2025-26.xlsx", [sheet, notes])


def _computed(job: Job, form: Form) -> list[Row]:
    """Homes for which a computed quantity decides: surveyed last, drawn from their own source."""
    rng = np.random.default_rng([SEED, 2])
    told = job.computed.stock()
    _story_places(rng, told, job.stock, first=3201)
    table = fill(rng, form, told, job.computed)
    remarks(rng, table, NOTES, len(form.ignored))
    return table


def _with_extensions(rng: np.random.Generator, rows: Stock) -> Stock:
    """A few homes have a rear extension with a low-slope roof of its own, on a row of its own."""
    houses = np.flatnonzero(rows["property_type"] == "house")
    extra = subset(rows, rng.choice(houses, 14, replace=False))
    n = 14
    rows["building_part"] = column(len(rows["property_id"]))
    extra["building_part"] = column(n, "ext1")
    for field, value in (
        ("roof_form", "low_slope_cold"),
        ("roof_pitch_deg", 3),
        ("roof_covering", "felt_built_up"),
        ("roof_underlay", None),
        ("roof_deck", "plywood"),
        ("foam_present", "no"),
        ("insulation_plane", "ceiling"),
        ("ceiling_insulation_mm", 100),
    ):
        extra[field] = column(n, value)
    extra["roof_drainage"] = pick(rng, n, {"drains_free": 7, "ponding": 3})
    extra["measure_code"] = column(n, "loft_topup")
    for field in [name for name in extra if name.startswith("foam_") and name != "foam_present"]:
        extra[field] = column(n)
    extra["survey_id"] = np.array([f"{visit}b" for visit in extra["survey_id"]], dtype=object)
    return join(rows, extra)


def _lofts(job: Job) -> None:
    rng, form = job.rng, job.form("2_loft_programme", "lofts")
    rows = record(rng, job.homes("lofts"), form.habits)
    n = len(rows["property_id"])
    place = grid_reference(rows["latitude"], rows["longitude"])
    rows["grid_reference"] = np.where(chance(rng, n, 0.75), place, None)
    unplaced = np.array([p is None for p in rows["grid_reference"]])
    rows["postal_code"] = np.where(unplaced | chance(rng, n, 0.5), rows["postal_code"], None)
    rows["postal_code"][rng.choice(np.flatnonzero(unplaced), 3, replace=False)] = None
    rows["foam_present"] = np.where(
        (rows["foam_present"] == "yes") & chance(rng, n, 0.12), "suspected", rows["foam_present"]
    )
    rows["foam_type"] = np.where(chance(rng, n, 0.35), None, rows.get("foam_type", column(n)))
    rows["ceiling_insulation_mm"] = np.where(
        rows["survey_reach_inside"] == "internal", 0, rows["ceiling_insulation_mm"]
    )
    top_up = rows["roof_form"] == "pitched_cold"
    rows["measure_code"] = np.where(top_up & chance(rng, n, 0.4), "loft_topup", None)
    table = fill(rng, form, rows, None)
    slips(rng, form, table)
    table = spoil(rng, table, form.position("property_id"), lost=2, damaged=2, twice=3)
    remarks(rng, table, NOTES, len(form.ignored))
    sheet = writers.Sheet("LOFTS", [*form.titles, *form.ignored], table)
    writers.write_xls(job.out / "loft_programme_2024-26.xls", sheet)


def _estate(job: Job) -> None:
    rng, form = job.rng, job.form("3_estate_walk", "estate")
    rows = record(rng, job.homes("estate"), form.habits)
    n = len(rows["property_id"])
    east, north = grid_metres(rows["latitude"], rows["longitude"])
    known = chance(rng, n, 0.9)
    rows["easting_m"] = np.where(known, east, None)
    rows["northing_m"] = np.where(known, north, None)
    rows["postal_code"] = np.where(~known | chance(rng, n, 0.2), rows["postal_code"], None)
    rows["measure_code"] = _wall_measures(rng, rows)
    wall = np.isin(rows["measure_code"].astype(str), ["internal_wall", "external_wall"])
    rows["measure_material"] = np.where(wall, pick(rng, n, {"wood_fibre": 4, "eps_xps": 6}), None)
    rows["measure_thickness_mm"] = np.where(wall, 90, None)
    table = fill(rng, form, rows, None)
    remarks(rng, table, NOTES, len(form.ignored))
    parts = zip(form.profile["layout"]["sheets"], (table[: n // 2], table[n // 2 :]), strict=True)
    sheets = [
        writers.Sheet(name, form.titles + form.ignored, part, (f"{name}, estate walk 2026",))
        for name, part in parts
    ]
    writers.write_ods(job.out / "estate_walk_2026.ods", sheets)


def _records(job: Job) -> None:
    rng, form = job.rng, job.form("4_certificate_extract", "records")
    homes = job.homes("records")
    truth = {**homes, "u_value_w_m2k": column(len(homes["property_id"]), 1.7)}
    rows = record(rng, truth, form.habits)
    # an extract holds what the certificate says, although nobody looked on the day
    for field in ("ceiling_insulation_mm", "combustion_appliance"):
        rows[field] = homes[field]
    simple = {
        "cavity_block_rendered": "cavity_brick",
        "stone_soft": "stone_dense",
        "block_solid": "brick_solid",
    }
    rows["wall_construction"] = np.array(
        [simple.get(str(wall), wall) for wall in homes["wall_construction"]], dtype=object
    )
    rows["roof_form"] = np.array(
        [{"low_slope_cold": "low_slope_unknown"}.get(str(r), r) for r in homes["roof_form"]],
        dtype=object,
    )
    gas = {"open_flue": "room_sealed"}
    rows["combustion_appliance"] = np.array(
        [gas.get(str(a), a) for a in homes["combustion_appliance"]], dtype=object
    )
    table = fill(rng, form, rows, None)
    table = spoil(rng, table, form.position("property_id"), lost=1, damaged=2, twice=0)
    describe(form, table)
    for row in table:
        row += [int(rng.integers(38, 84)), int(rng.integers(70, 92)), int(rng.integers(600, 1900))]
    sheet = writers.Sheet("", [*form.titles, *form.ignored], table)
    writers.write_csv(job.out / "certificate_extract.csv", sheet)


def _second(job: Job) -> None:
    """Most second visits confirm; about one in three finds something else than the first."""
    rng, form = job.rng, job.form("5_second_visit", "second")
    pool = np.concatenate([job.teams["fabric"], job.teams["lofts"], job.teams["records"][::4]])
    homes = subset(job.stock, np.sort(rng.choice(pool, REVISITS, replace=False)))
    rows = record(rng, homes, form.habits)
    n = len(rows["property_id"])
    for field, good, bad in (
        ("gutter_condition", "good", "blocked"),
        ("roof_leak_evidence", "none_seen", "recent"),
        ("wall_damp_evidence", "none_seen", "rain"),
        ("visible_mould", "none_seen", "moderate"),
    ):
        turned = chance(rng, n, 0.14)
        other = np.where(rows[field] == good, bad, good)
        rows[field] = np.where(
            turned & ~np.isin(rows[field].astype(str), ["None", UNSEEN]), other, rows[field]
        )
    told = _told_again(job.stories)
    rows = join(rows, told)
    table = fill(rng, form, rows, job.stories)
    remarks(rng, table, ["sample", "complaint", "tenant reported leak"], len(form.ignored))
    sheet = writers.Sheet("Revisits", [*form.titles, *form.ignored], table)
    writers.write_xlsx(job.out / "second_visit_2026.xlsx", [sheet])


def _told_again(stories: Stories) -> Stock:
    again = stories.second()
    fields = sorted({field for row in again for field in row})
    told = {field: np.array([row.get(field) for row in again], dtype=object) for field in fields}
    n = len(again)
    told["survey_id"] = np.array([f"R{2001 + k}" for k in range(n)], dtype=object)
    told["survey_date"] = column(n, date(2026, 8, 20))
    told["surveyor_id"] = column(n, "ow")
    told["survey_reach_inside"] = column(n, "opened_up")
    told["survey_reach_outside"] = column(n, "external_close")
    return told
