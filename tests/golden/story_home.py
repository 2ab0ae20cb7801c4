"""The home of the story: what its surveys say, one row of a survey sheet each. All invented."""

from collections.abc import Mapping
from datetime import date
from typing import Any

from sound_home import SOUND_HOME

HOME = "TERN-7"
SOUND: dict[str, Any] = {
    "property_id": HOME,
    **SOUND_HOME,
    "latitude": 51.45,
    "longitude": -0.6,
    "measure_code": "loft_topup",
    "measure_material": "mineral_wool",
    "measure_thickness_mm": 200,
    "survey_method": "internal_void",
    "survey_reach_inside": "internal_void",
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
