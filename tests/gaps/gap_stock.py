"""A generated stock of a thousand homes in which answers are missing. All invented."""

import random
from collections.abc import Mapping
from datetime import date
from typing import Any

from cli_helpers import Stock

HOMES = 1000
OUT_OF_DATE = 0.1  # share of the homes
WRITTEN: Mapping[str, Any] = {
    "building_part": "main",
    "latitude": 51.45,
    "longitude": -0.6,
    "survey_date": date(2026, 2, 16),
    "mc_date": date(2026, 2, 16),
    "survey_method": "internal_void",
    "survey_reach_inside": "opened_up",
    "survey_reach_outside": "external_close",
    "access_limits": "none",
    "photo_refs": "p1.jpg",
    "property_type": "house",
    "built_form": "detached",
    "year_built": 2004,
    "heritage_status": "none",
    "exposure_class": "moderate",
    "construction_system": "masonry_cavity",
    "wall_construction": "cavity_brick",
    "wall_finish_external": "bare",
    "wall_thickness_mm": 275,
    "wall_insulation_existing": "none",
    "pointing_condition": "good",
    "render_condition": "not_applicable",
    "opening_perimeter_condition": "good",
    "frost_damage": "none_seen",
    "dpc_presence": "physical",
    "ground_to_dpc_mm": 200,
    "cavity_width_mm": 75,
    "cavity_state": "clear",
    "cavity_bridging": "none_seen",
    "salt_evidence": "none_seen",
    "wall_damp_evidence": "none_seen",
    "embedded_timber": "none",
    "edge_detail_drawings": "yes",
    "floor_construction": "suspended_timber",
    "subfloor_vent_state": "clear",
    "subfloor_moisture": "dry",
    "roof_form": "pitched_cold",
    "roof_pitch_deg": 35,
    "roof_covering": "slate_natural",
    "roof_covering_condition": "good",
    "roof_underlay": "membrane_lr",
    "roof_deck": "boards_close",
    "insulation_plane": "ceiling",
    "ceiling_insulation_mm": 100,
    "eaves_vent_state": "clear",
    "vent_free_area_ratio": 150,
    "ceiling_air_seal": "sealed",
    "exhaust_into_void": "no",
    "roof_leak_evidence": "none_seen",
    "roof_drainage": "drains_free",
    "roof_structure_concern": "none_seen",
    "flashing_condition": "good",
    "valley_condition": "good",
    "gutter_condition": "good",
    "downpipe_condition": "good",
    "chimney_condition": "good",
    "parapet_condition": "good",
    "penetration_condition": "good",
    "foam_present": "no",
    "protected_species": "checked_clear",
    "interior_vapour_control": "class_2",
    "plumbing_leak": "none_seen",
    "visible_mould": "none_seen",
    "high_moisture_use": "none",
    "extract_kitchen": "ducted_working",
    "extract_bathroom": "ducted_working",
    "background_ventilation": "adequate",
    "combustion_appliance": "room_sealed",
    "flue_clearance": "ok",
    "asbestos_status": "clear_survey",
    "wiring_hazard": "none_seen",
    "recessed_lights": "none",
    "rh_mean_pct": 52,
    "temp_mean_c": 19,
    "logger_days": 30,
    "timber_mc_pct": 14,
    "timber_decay_grade": "d0",
}
MEASURES = ("loft_topup", "cavity_fill", "external_wall", "air_sealing")
# What surveys often leave out; blank cells, now and then one that is bad or merely told.
LEFT_OUT = (
    *("roof_leak_evidence", "roof_covering_condition", "flashing_condition", "chimney_condition"),
    *("visible_mould", "eaves_vent_state", "exhaust_into_void", "gutter_condition"),
    *("plumbing_leak", "cavity_state", "cavity_bridging", "cavity_width_mm", "pointing_condition"),
    *("wall_damp_evidence", "opening_perimeter_condition", "extract_kitchen", "foam_present"),
    *(
        "ground_to_dpc_mm",
        "floor_construction",
        "background_ventilation",
        "parapet_condition",
        "penetration_condition",
    ),
)


def drawn(homes: int = HOMES, seed: int = 20261125) -> list[tuple[dict[str, Any], list[str]]]:
    """Homes as their surveys have them, each with the fields that were left out or merely assumed.

    What is left out is known all the same: every home is as `WRITTEN`.
    """
    draw = random.Random(seed)
    materials = {"cavity_fill": "eps_bead", "external_wall": "mineral_wool"}
    stock = []
    for number in range(homes):
        measure = draw.choice(MEASURES)
        facts: dict[str, Any] = {
            "property_id": f"G{number:04}",
            "survey_id": f"V{number}",
            "surveyor_id": f"S{number % 7}",
            "measure_code": measure,
            "measure_material": materials.get(measure),
            **WRITTEN,
        }
        left_out = draw.sample(LEFT_OUT, draw.choice((0, 1, 2, 3, 4, 5, 6)))
        for name in left_out:
            facts[name] = draw.choice((None, None, None, f"{facts[name]} (assumed)"))
        if draw.random() < OUT_OF_DATE:
            facts["survey_date"] = facts["mc_date"] = date(2023, 2, 16)
        stock.append((facts, left_out))
    return stock


def generated(stock: Stock) -> None:
    """Write the survey of the homes."""
    homes = [facts for facts, _ in drawn()]
    stock.survey([list(homes[0]), *(list(facts.values()) for facts in homes)])
