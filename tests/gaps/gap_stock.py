"""A generated stock of a thousand homes in which answers are missing. All invented."""

import random
from collections.abc import Mapping
from datetime import date
from typing import Any

from cli_helpers import Stock
from sound_home import SOUND_HOME

HOMES = 1000
OUT_OF_DATE = 0.1  # share of the homes
WRITTEN: Mapping[str, Any] = {
    **SOUND_HOME,
    "latitude": 51.45,
    "longitude": -0.6,
    "survey_method": "internal_void",
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
