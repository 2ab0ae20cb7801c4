"""The home of the story: what its surveys say, one row of a survey sheet each. All invented."""

from collections.abc import Mapping
from datetime import date
from typing import Any

HOME = "TERN-7"
SOUND: dict[str, Any] = {
    "property_id": HOME,
    "building_part": "main",
    "latitude": 51.45,
    "longitude": -0.6,
    "measure_code": "loft_topup",
    "measure_material": "mineral_wool",
    "measure_thickness_mm": 200,
    "survey_method": "internal_void",
    "survey_reach_inside": "internal_void",
    "survey_reach_outside": "external_close",
    "access_limits": "none",
    "property_type": "house",
    "built_form": "detached",
    "year_built": 2004,
    "heritage_status": "none",
    "exposure_class": "moderate",
    "construction_system": "masonry_cavity",
    "wall_construction": "cavity_brick",
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
    "timber_decay_grade": "d0",
}


def survey(number: int, on: date, **found: Any) -> list[list[Any]]:
    """A survey sheet of the home alone: sound but for what was found."""
    row: Mapping[str, Any] = {
        **SOUND,
        "survey_id": f"V{number}",
        "surveyor_id": "N3",
        "survey_date": on,
        "timber_mc_pct": 14,
        "mc_date": on,
        "mc_location": "rafter_mid",
        "photo_refs": f"v{number}.jpg",
        **found,
    }
    return [list(row), list(row.values())]
