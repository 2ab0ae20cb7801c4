"""One sound record of each kind, written by hand, and short ways to take rows in.

Homes and people are invented. The surveys hold H1 (main and extension) and H2 (main).
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from pathlib import Path
from typing import Any

import polars as pl
from cli_helpers import Stock, write_book

from triage.contract import load_contract, load_programme
from triage.intake.answer_ids import answer_id
from triage.records import Appended, Records, load_records, record_files

Row = dict[str, Any]

READING: Row = {
    "reading_id": "M-1",
    "survey_id": "V1",
    "location": "wall_plate",
    "spot": "north-east corner",
    "aspect": "N",
    "value": 17.5,
    "scale": "wme_pct",
    "method": "pin_surface",
    "depth_mm": None,
    "material": "softwood",
    "species_corrected": "no",
    "temp_c": 9,
    "treated_or_salty": "no",
    "reading_date": date(2026, 2, 11),
    "meter_check": "yes",
    "property_id": None,
    "building_part": None,
}
INSPECTION: Row = {
    "inspection_id": "I-1",
    "property_id": "H1",
    "building_part": "main",
    "selection_stream": "random",
    "stratum": "cold roof, felt",
    "selection_weight": 12,
    "inspected_on": date(2026, 4, 20),
    "inspector_id": "Q7",
    "inspector_competence": "damp_timber",
    "outcome_status": "completed",
    "openings_count": 4,
    "foam_type_found": "open_cell",
    "foam_sample_ref": "S-1",
    "foam_density_found_kg_m3": 9.5,
    "foam_thickness_min_mm": 60,
    "foam_thickness_typ_mm": 110,
    "substrate_found": "felt_hr",
    "underlay_found": "felt_bitumen_hr",
    "air_gap_found_mm": 0,
    "defects_found": "none_seen",
    "timber_mc_max_pct": 19,
    "timber_mc_median_pct": 15,
    "readings_n": 8,
    "readings_shaded_n": 4,
    "decay_grade_max": "d0",
    "decay_extent_m": None,
    "leak_found": "none",
    "verdict": "sound_monitor",
    "verdict_confidence": "high",
    "stop_work_flags": None,
    "reinstated": "yes",
    "photos": "i1-a.jpg; i1-b.jpg",
    "samples": "S-1",
    "next_due": date(2027, 1, 20),
}
OPENING: Row = {
    "opening_id": "O-1",
    "inspection_id": "I-1",
    "slope_aspect": "N",
    "zone": "eaves",
    "size_mm": 150,
    "foam_type": "open_cell",
    "thickness_mm": 105,
    "bonded": "yes",
    "timber_mc_pct": 18,
    "decay_grade": "d0",
    "free_water": "no",
    "photo": "o1.jpg",
    "opened_on": date(2026, 4, 20),
}
REPAIR: Row = {
    "repair_id": "R-1",
    "property_id": "H1",
    "building_part": "main",
    "trigger_rule_ids": "W01; W03",
    "defect_location": "north slope, chimney",
    "repair_type": "flashing",
    "ordered_on": date(2026, 3, 2),
    "started_on": date(2026, 3, 9),
    "completed_on": date(2026, 3, 12),
    "contractor_id": "C4",
    "cost_amount": 640,
    "cost_currency": "GBP",
    "evidence_before": "r1-before.jpg",
    "evidence_after": "r1-after.jpg",
    "water_test": "rain_event",
    "rain_event_mm": 14,
    "mc_before_pct": 27,
    "mc_after_pct": 15,
    "mc_after_date": date(2026, 4, 20),
    "repair_verified": "yes",
    "verified_by": "Q7",
    "verified_on": date(2026, 4, 21),
    "warranty_until": date(2031, 3, 12),
    "reopened_count": 0,
}
EVENT: Row = {
    "event_id": "E-1",
    "event_type": "storm",
    "event_on": date(2026, 1, 14),
    "property_id": "H1; H2",
    "building_part": None,
    "postal_code": None,
    "latitude": None,
    "longitude": None,
    "radius_km": None,
    "reported_by": "D2",
    "note": "gusts over the ridge",
}
DECISION: Row = {
    "decision_id": "D-1",
    "property_id": "H1",
    "building_part": "main",
    "measure_code": "loft_topup",
    "rule_ids": "R08",
    "decision": "accept_with_conditions",
    "reason_code": "monitoring",
    "reason": "two winters of readings",
    "evidence_refs": "report-14.pdf",
    "conditions": "keep the eaves open; read again in January",
    "decided_by": "S1",
    "competence": "damp_timber",
    "second_person": None,
    "decided_on": date(2026, 5, 4),
    "expires_on": date(2027, 5, 3),
}
ANSWER: Row = {
    "answer_id": answer_id("0123456789ab", "H1", "main", "gutter_condition"),
    "property_id": "H1",
    "building_part": "main",
    "field": "gutter_condition",
    "value": "good",
    "observed_on": date(2026, 9, 9),
    "surveyor_id": "N3",
    "survey_method": "external_close",
    "photo_refs": "g1.jpg",
}
SOUND: dict[str, Row] = {
    "reading": READING,
    "inspection": INSPECTION,
    "opening": OPENING,
    "repair": REPAIR,
    "event": EVENT,
    "decision": DECISION,
    "answer": ANSWER,
}
SURVEYS = [
    ["property_id", "building_part", "survey_id", "survey_date", "gutter_condition"],
    ["H1", "main", "V1", date(2026, 1, 10), "good"],
    ["H1", "extension_1", "V2", date(2026, 1, 10), "poor"],
    ["H2", "main", "V3", date(2026, 1, 11), "good"],
]


@dataclass(frozen=True)
class Shelf:
    """A programme with a records store, and the folder that its files lie in."""

    stock: Stock

    @property
    def folder(self) -> Path:
        return self.stock.folder

    def file(self, name: str, **kinds: Sequence[Mapping[str, Any]]) -> Path:
        """A workbook with one sheet per kind; its columns are those of the first row."""
        sheets = {
            kind: [list(rows[0]), *([row.get(name) for name in rows[0]] for row in rows)]
            for kind, rows in kinds.items()
        }
        return write_book(self.folder / name, sheets)

    def take(self, *files: Path) -> Appended:
        return record_files(self.stock.programme, files, _silent, date(2026, 10, 30))

    def rows(self, *, name: str = "records.xlsx", **kinds: Sequence[Mapping[str, Any]]) -> Appended:
        """Take rows in, from a file written for them."""
        return self.take(self.file(name, **kinds))

    def load(self) -> Records:
        contract = load_contract()
        return load_records(load_programme(self.stock.programme), contract)


def refusals(done: Appended) -> list[tuple[Any, ...]]:
    """Problem, sheet, row, column and field of every refusal."""
    told = done.problems.filter("refused")
    return list(told.select("problem", "sheet", "row", "column", "field").iter_rows())


def notes(done: Appended) -> list[tuple[Any, ...]]:
    """The same of every note."""
    told = done.problems.filter(~pl.col("refused"))
    return list(told.select("problem", "sheet", "row", "column", "field").iter_rows())


def _silent(_: str) -> None:
    return
