"""The blank workbook, filled in by another program and run without a profile.

Queues are worked out by hand from the rule texts: a sound, fully surveyed loft is safe, a recent
leak seen in the loft fires W01, and a home of which nothing is known cannot be decided.
"""

from datetime import date
from pathlib import Path
from typing import Any

import openpyxl
import polars as pl
import pytest
from cli_helpers import PROGRAMME, Stock, triage

VISIT = date(2026, 3, 5)
GOOD = [
    "roof_covering_condition",
    "flashing_condition",
    "gutter_condition",
    "downpipe_condition",
    "penetration_condition",
    "opening_perimeter_condition",
    "pointing_condition",
]
ABSENT = ["valley_condition", "chimney_condition", "parapet_condition"]
DRY = [
    "roof_leak_evidence",
    "plumbing_leak",
    "wall_damp_evidence",
    "salt_evidence",
    "visible_mould",
    "frost_damage",
    "cavity_bridging",
    "roof_structure_concern",
    "wiring_hazard",
]
NONE = ["heritage_status", "high_moisture_use", "recessed_lights", "access_limits"]
SOUND: dict[str, Any] = {
    **dict.fromkeys(GOOD, "good"),
    **dict.fromkeys(ABSENT, "none_present"),
    **dict.fromkeys(DRY, "none_seen"),
    **dict.fromkeys(NONE, "none"),
    "property_id": "0042",  # keeps its zeros
    "building_part": "main",
    "country_code": "GB",
    "latitude": 54.5,
    "longitude": -3.0,
    "property_type": "house",
    "built_form": "semi_detached",
    "year_built": 1958,
    "construction_system": "masonry_cavity",
    "roof_form": "pitched_cold",
    "roof_pitch_deg": 35,
    "roof_covering": "tile_interlocking",
    "roof_underlay": "felt_bitumen_hr",
    "roof_deck": "battens_only",
    "insulation_plane": "ceiling",
    "ceiling_insulation_mm": 100,
    "eaves_vent_state": "clear",
    "ceiling_air_seal": "sealed",
    "exhaust_into_void": "no",
    "wall_construction": "cavity_brick",
    "exposure_class": "moderate",
    "foam_present": "no",
    "extract_kitchen": "ducted_working",
    "extract_bathroom": "ducted_working",
    "background_ventilation": "adequate",
    "combustion_appliance": "room_sealed",
    "timber_mc_pct": 13,
    "timber_decay_grade": "d0",
    "mc_location": "wall_plate",
    "mc_date": VISIT,
    "asbestos_status": "clear_survey",
    "flue_clearance": "ok",
    "protected_species": "checked_clear",
    "survey_id": "1",
    "survey_date": VISIT,
    "surveyor_competence": "building_surveyor",
    "survey_method": "internal_void",
    "survey_reach_inside": "internal_void",
    "survey_reach_outside": "external_close",
    "measure_code": "loft_topup",
    "measure_material": "mineral_wool",
    "measure_thickness_mm": 300,
}
WET = SOUND | {"property_id": "0043", "roof_leak_evidence": "recent"}
BARE = {"property_id": "0044", "building_part": "main", "measure_code": "loft_topup"}


@pytest.fixture(scope="module")
def filled(tmp_path_factory: pytest.TempPathFactory) -> Stock:
    stock = Stock(tmp_path_factory.mktemp("template")).write(PROGRAMME)
    path = stock.folder / "surveys" / "survey.xlsx"
    assert triage("template", path).code == 0
    book = openpyxl.load_workbook(path)
    page = book["Survey"]
    columns = {cell.value: cell.column for cell in page[3]}  # row 3 holds the field names
    for number, home in enumerate((SOUND, WET, BARE), start=4):
        for name, value in home.items():
            page.cell(number, columns[name], value)
    book.save(path)
    return stock


def test_filled_template_runs_without_a_profile(filled: Stock) -> None:
    answer = filled.run("--json")
    assert answer.code == 0, answer.err
    assert answer.json["rows"] == {"read": 3, "accepted": 3, "rejected": 0, "superseded": 0}
    queue = pl.read_parquet(filled.out / "queue.parquet")
    rows = {row["property_id"]: row for row in queue.iter_rows(named=True)}
    assert {home: (row["queue"], row["lane"]) for home, row in rows.items()} == {
        "0042": ("safe-to-insulate", None),
        "0043": ("fix-water-first", None),
        "0044": ("specialist-review", "evidence_gap"),
    }
    assert rows["0042"]["released"]
    assert rows["0043"]["fired"] == ["W01"]
    assert rows["0044"]["undecidable"]


def test_check_of_a_filled_template_finds_nothing_but_its_own_reading_pages(filled: Stock) -> None:
    answer = triage("check", filled.folder / "surveys" / "survey.xlsx", "--json")
    assert answer.code == 0
    (file,) = answer.json["files"]
    assert file["sheets"] == {"Survey": 3}
    assert sorted(file["sheets_left_out"]) == ["Codes", "Notes"]
    assert [problem["kind"] for problem in file["problems"]] == ["sheet_not_read"]


def test_blank_template_is_a_survey_of_no_homes(tmp_path: Path) -> None:
    stock = Stock(tmp_path).write()
    assert triage("template", tmp_path / "surveys" / "blank.xlsx").code == 0
    answer = stock.run("--json")
    assert answer.code == 0
    assert answer.json["rows"] == {"read": 0, "accepted": 0, "rejected": 0, "superseded": 0}
    assert answer.json["queues"] == {
        "safe-to-insulate": 0,
        "fix-water-first": 0,
        "specialist-review": 0,
    }


def test_template_does_not_overwrite(tmp_path: Path) -> None:
    path = tmp_path / "survey.xlsx"
    path.write_bytes(b"mine")
    answer = triage("template", path)
    assert answer.code == 2
    assert "TR101 the file exists already" in answer.err
    assert path.read_bytes() == b"mine"


def test_template_is_a_workbook_in_a_folder_that_is_there(tmp_path: Path) -> None:
    assert "TR101" in triage("template", tmp_path / "survey.csv").err
    assert "TR101" in triage("template", tmp_path / "gone" / "survey.xlsx").err
    assert list(tmp_path.iterdir()) == []
