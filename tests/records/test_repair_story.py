"""A run takes the newest version of a record: a repair releases its home once it is verified."""

from datetime import date
from typing import Any

import polars as pl
from cli_helpers import Stock, triage
from record_rows import REPAIR, Shelf

SOUND: dict[str, Any] = {
    "building_part": "main",
    "measure_code": "loft_topup",
    "measure_material": "mineral_wool",
    "measure_thickness_mm": 100,
    "latitude": 51.5,
    "longitude": -0.4,
    "survey_date": date(2026, 2, 16),
    "survey_method": "opened_up",
    "surveyor_id": "N3",
    "survey_reach_inside": "opened_up",
    "survey_reach_outside": "external_close",
    "access_limits": "none",
    "photo_refs": "p1.jpg",
    "property_type": "house",
    "built_form": "detached",
    "year_built": 2004,
    "heritage_status": "none",
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
    "mc_date": date(2026, 2, 16),
    "timber_decay_grade": "d0",
    "roof_form": "pitched_cold",
    "roof_pitch_deg": 35,
    "roof_covering": "slate_natural",
    "roof_covering_condition": "good",
    "roof_underlay": "membrane_lr",
    "roof_deck": "boards_close",
    "insulation_plane": "ceiling",
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
    "ceiling_insulation_mm": 100,
    "foam_present": "no",
    "protected_species": "checked_clear",
    "interior_vapour_control": "class_2",
    "construction_system": "masonry_cavity",
    "wall_construction": "cavity_brick",
    "wall_damp_evidence": "none_seen",
}
LOOK: dict[str, Any] = {
    "building_part": "main",
    "survey_date": date(2026, 7, 10),
    "survey_method": "opened_up",
    "surveyor_id": "N3",
    "survey_reach_inside": "opened_up",
    "survey_reach_outside": "external_close",
    "gutter_condition": "good",
}
MADE: dict[str, Any] = REPAIR | {
    "repair_type": "gutter_valley",
    "trigger_rule_ids": "W04",
    "defect_location": "rear gutter",
    "ordered_on": date(2026, 4, 20),
    "started_on": date(2026, 5, 28),
    "completed_on": date(2026, 6, 1),
    "mc_before_pct": None,
    "mc_after_pct": None,
    "mc_after_date": None,
    "repair_verified": "no",
    "verified_by": None,
    "verified_on": None,
}
VERIFIED = {"repair_verified": "yes", "verified_by": "Q7", "verified_on": date(2026, 7, 10)}
SAFE, FIX = "safe-to-insulate", "fix-water-first"


def _queues(stock: Stock, name: str) -> dict[str, str]:
    out = stock.folder / "runs" / name
    answer = triage("run", stock.programme, "--out", out)
    assert answer.code == 0, answer.err
    table = pl.read_parquet(out / "queue.parquet")
    return dict(table.select("property_id", "queue").iter_rows())


def _survey(stock: Stock, name: str, rows: dict[str, dict[str, Any]]) -> None:
    heads = list(next(iter(rows.values())))
    lines = [[home, *(row[head] for head in heads)] for home, row in rows.items()]
    stock.survey([["property_id", *heads], *lines], name=name)


def test_a_repair_that_is_verified_in_a_second_record_moves_the_home(shelf: Shelf) -> None:
    stock = shelf.stock
    failed = SOUND | {"gutter_condition": "failed"}
    (stock.folder / "surveys" / "survey.xlsx").unlink()
    _survey(stock, "first.xlsx", {"H1": failed, "H2": SOUND, "H3": failed})
    assert _queues(stock, "first") == {"H1": FIX, "H2": SAFE, "H3": FIX}
    _survey(stock, "look.xlsx", {"H1": LOOK})

    def record(name: str, row: dict[str, Any]) -> None:
        file = shelf.file(name, repair=[row])
        answer = triage("record", file, "--programme", stock.programme, "--json")
        assert answer.code == 0, answer.err
        assert answer.json["rows"]["kept"] == 1

    record("made.xlsx", MADE)
    made = _queues(stock, "made")
    assert made["H1"] != SAFE
    record("verified.xlsx", MADE | VERIFIED)
    assert _queues(stock, "verified") == {"H1": SAFE, "H2": SAFE, "H3": FIX}
    record("failed.xlsx", MADE | VERIFIED | {"repair_verified": "failed", "reopened_count": 1})
    assert _queues(stock, "failed")["H1"] != SAFE
    assert shelf.load().tables["repair"]["version"].to_list() == [3]
