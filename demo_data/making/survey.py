"""What surveyors write down of a stock: where they looked, what they missed, what they assumed."""

from datetime import timedelta
from typing import Final

import numpy as np

from making.draw import Column, Stock, chance, column, pick
from making.teams import Habits
from making.wording import Cell

Mask = np.ndarray

# Where one has to stand to answer.
ROOMS: Final = [
    "visible_mould",
    "wall_damp_evidence",
    "extract_kitchen",
    "extract_bathroom",
    "background_ventilation",
    "combustion_appliance",
    "high_moisture_use",
    "occupants",
    "plumbing_leak",
    "wiring_hazard",
    "recessed_lights",
    "flue_clearance",
    "rh_mean_pct",
    "temp_mean_c",
    "logger_days",
]
HATCH: Final = [
    "roof_leak_evidence",
    "roof_underlay",
    "roof_deck",
    "insulation_plane",
    "ceiling_insulation_mm",
    "eaves_vent_state",
    "ceiling_air_seal",
    "exhaust_into_void",
    "foam_present",
    "foam_type",
    "foam_location",
    "foam_substrate",
    "foam_thickness_mm",
    "foam_coverage_pct",
    "foam_install_date",
    "foam_air_gap_mm",
    "foam_evidence",
    "foam_defects",
    "foam_fire_cover",
    "interior_vapour_control",
    "vapour_diffusion_port",
    "void_conditioning",
    "roof_structure_concern",
    "vent_free_area_ratio",
]
VOID: Final = ["timber_mc_pct", "mc_location", "mc_date", "timber_decay_grade"]
OPENING: Final = [
    "cavity_state",
    "cavity_bridging",
    "cavity_width_mm",
    "embedded_timber",
    "embedded_timber_aspect",
    "capillary_break",
]
OUTSIDE: Final = [
    "roof_covering_condition",
    "flashing_condition",
    "valley_condition",
    "gutter_condition",
    "downpipe_condition",
    "chimney_condition",
    "parapet_condition",
    "penetration_condition",
    "opening_perimeter_condition",
    "pointing_condition",
    "render_condition",
    "frost_damage",
    "salt_evidence",
    "ground_to_dpc_mm",
    "roof_drainage",
]
HIDDEN_FROM_GROUND: Final = [
    "roof_covering_condition",
    "flashing_condition",
    "valley_condition",
    "chimney_condition",
    "gutter_condition",
    "penetration_condition",
]
NEVER_BLANK: Final = [
    "property_id",
    "building_id",
    "building_part",
    "latitude",
    "longitude",
    "postal_code",
    "property_type",
    "roof_form",
]
GUESSED: Final = ["construction_system", "wall_construction", "floor_construction", "roof_underlay"]
# Stands for an answer that exists but was not got; an empty cell means there was nothing to answer.
UNSEEN: Final = "\0"
INSIDE: Final = ("none", "internal", "void_hatch", "internal_void", "opened_up")
METHOD: Final = dict(
    zip(
        INSIDE,
        ("external_ground", "internal", "void_hatch", "internal_void", "opened_up"),
        strict=True,
    )
)


def record(rng: np.random.Generator, truth: Stock, habits: Habits) -> Stock:
    """One survey row a home, still in codes; UNSEEN where there was something to find out."""
    seen = {field: values.copy() for field, values in truth.items()}
    n = len(truth["property_id"])
    reach = pick(rng, n, habits.inside)
    level = np.array([INSIDE.index(r) for r in reach])
    close = chance(rng, n, habits.close)
    seen["survey_reach_inside"] = reach
    seen["survey_reach_outside"] = np.where(close, "external_close", "external_ground")
    seen["survey_method"] = np.array([METHOD[r] for r in reach], dtype=object)
    for fields, needed in ((ROOMS, 1), (HATCH, 2), (VOID, 3), (OPENING, 4)):
        _forget(seen, fields, level < needed)
    _miss(rng, seen, ~close, habits.missed)
    for field in sorted(seen):
        if field not in NEVER_BLANK and not field.startswith("survey_") and habits.blank:
            _forget(seen, [field], chance(rng, n, habits.blank))
    _visit(rng, seen, habits)
    return seen


def _forget(seen: Stock, fields: list[str], where: Mask) -> None:
    for field in fields:
        if field in seen:
            asked = np.array([value is not None for value in seen[field]])
            seen[field] = np.where(where & asked, UNSEEN, seen[field])


def _miss(rng: np.random.Generator, seen: Stock, from_ground: Mask, share: float) -> None:
    n = len(from_ground)
    for field in HIDDEN_FROM_GROUND:
        bad = np.isin(seen[field].astype(str), ["poor", "failed", "blocked"])
        missed = bad & from_ground & chance(rng, n, share)
        seen[field] = np.where(missed, "fair", seen[field])


def _visit(rng: np.random.Generator, seen: Stock, habits: Habits) -> None:
    n = len(seen["property_id"])
    span = (habits.last_day - habits.first_day).days
    early = chance(rng, n, habits.stale) * rng.integers(400, 760, n)
    offsets = rng.integers(0, span + 1, n) - early
    days = [habits.first_day + timedelta(days=int(k)) for k in offsets]
    # nobody surveys on a Sunday
    days = [day - timedelta(days=1) if day.weekday() == 6 else day for day in days]
    seen["survey_date"] = np.array(days, dtype=object)
    seen["surveyor_id"] = rng.choice(list(habits.initials), n).astype(object)
    numbers = rng.permutation(n) + 1001
    visits = [f"{habits.visit}{k}" for k in numbers] if habits.visit else [None] * n
    seen["survey_id"] = np.array(visits, dtype=object)
    read = seen["timber_mc_pct"] if "timber_mc_pct" in seen else column(n)
    have = np.array([value is not None and value is not UNSEEN for value in read])
    seen["mc_date"] = np.where(have, seen["survey_date"], None)
    if "mc_location" in seen:
        seen["mc_location"] = np.where(have, seen["mc_location"], None)


def unseen_word(rng: np.random.Generator, field: str, habits: Habits) -> str | None:
    """What stands in a cell that the team could not answer."""
    looked = field in HATCH or field in VOID or field in OPENING or field in OUTSIDE
    return habits.unseen[rng.integers(len(habits.unseen))] if looked else None


def guess(rng: np.random.Generator, field: str, cell: Cell, habits: Habits) -> Cell:
    """Mark some construction facts as assumed, as forms with a default do."""
    if field in GUESSED and isinstance(cell, str) and rng.random() < habits.guessed:
        return f"{cell.strip()} (assumed)"
    return cell


def subset(stock: Stock, homes: np.ndarray) -> Stock:
    """The given homes of a stock, by position."""
    return {field: values[homes] for field, values in stock.items()}


def proposed(rows: Stock, field: str = "measure_code") -> Column:
    """The measures of each row, empty where nobody proposed any."""
    return rows.get(field, column(len(rows["property_id"])))
