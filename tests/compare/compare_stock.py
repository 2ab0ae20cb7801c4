"""Small programmes of sound homes, run through the command line, and ways to change them.

Every home is one that a surveyor would call sound, for a filled cavity: nothing blocks it, so it is
safe until one named thing is changed. Homes, people and places are invented.
"""

import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from pathlib import Path
from typing import Any

import polars as pl
from cli_helpers import Answer, Grid, triage, write_book
from sound_home import SOUND_HOME

SAFE, FIX, REVIEW = "safe-to-insulate", "fix-water-first", "specialist-review"
MEASURE = "cavity_fill"
SOUND: dict[str, Any] = {
    **SOUND_HOME,
    "survey_method": "intrusive",
    "latitude": 53.4,
    "longitude": -1.4,
    "measure_code": MEASURE,
    "measure_material": "eps_bead",
    "measure_thickness_mm": 75,
}
REPAIR: dict[str, Any] = {
    "repair_id": "R-1",
    "building_part": "main",
    "trigger_rule_ids": "W04",
    "defect_location": "rear gutter",
    "repair_type": "gutter_valley",
    "ordered_on": date(2026, 4, 20),
    "started_on": date(2026, 5, 28),
    "completed_on": date(2026, 6, 1),
    "contractor_id": "C-7",
    "evidence_before": "before.jpg",
    "evidence_after": "after.jpg",
    "water_test": "rain_event",
    "rain_event_mm": 14,
    "mc_before_pct": None,
    "mc_after_pct": None,
    "mc_after_date": None,
    "repair_verified": "yes",
    "verified_by": "S-2",
    "verified_on": date(2026, 7, 10),
    "reopened_count": 0,
}
# What a surveyor sees who goes back for the gutter alone.
LOOK: dict[str, Any] = {
    "building_part": "main",
    "survey_date": date(2026, 7, 10),
    "survey_method": "external_close",
    "survey_reach_inside": "none",
    "survey_reach_outside": "external_close",
    "gutter_condition": "good",
}
DECISION: dict[str, Any] = {
    "decision_id": "D-1",
    "building_part": "main",
    "measure_code": MEASURE,
    "decision": "accept",
    "reason_code": "opening",
    "reason": "the wall was opened in two places and is dry",
    "evidence_refs": "report-14.pdf",
    "conditions": None,
    "decided_by": "S-1",
    "competence": "damp_timber",
    "second_person": None,
    "decided_on": date(2026, 5, 4),
    "expires_on": date(2027, 5, 3),
}


def home(name: str, **other: Any) -> dict[str, Any]:
    """One survey row of a sound home, some answers changed."""
    return {"property_id": name, **SOUND, **other}


def grid(rows: Sequence[Mapping[str, Any]]) -> Grid:
    """Rows under their headings."""
    heads = list(dict.fromkeys(key for row in rows for key in row))
    return [heads, *([row.get(head) for head in heads] for row in rows)]


@dataclass(frozen=True)
class Estate:
    """A programme in a folder of its own, and the runs made of it."""

    folder: Path

    @property
    def programme(self) -> Path:
        return self.folder / "programme.toml"

    def write(self, as_of: str = "2026-10-31", more: str = "") -> "Estate":
        (self.folder / "surveys").mkdir(parents=True, exist_ok=True)
        self.programme.write_text(
            f"""name = "Small estate"
programme_id = "small"
country_code = "GB"
as_of = {as_of}
{more}
[[sources]]
files = "surveys/*.xlsx"
""",
            encoding="utf-8",
        )
        return self

    def survey(self, name: str, *rows: Mapping[str, Any]) -> "Estate":
        write_book(self.folder / "surveys" / name, {"Homes": grid(rows)})
        return self

    def record(self, **kinds: Mapping[str, Any]) -> "Estate":
        number = len(list(self.folder.glob("records_*.xlsx")))
        sheets = {kind: grid([row]) for kind, row in kinds.items()}
        path = write_book(self.folder / f"records_{number}.xlsx", sheets)
        taken = triage("record", path, "--programme", self.programme)
        assert taken.code == 0, taken.out + taken.err
        return self

    def run(self, name: str) -> Path:
        out = self.folder / name
        done = triage("run", self.programme, "--out", out)
        assert done.code == 0, done.err
        return out

    def pack(self, name: str, old: str, new: str, file: str = "parameters.toml") -> Path:
        """A copy of the default pack with one text of one file replaced."""
        from shutil import copytree

        from triage.contract.policy_load import policy_dir

        folder = self.folder / name
        copytree(policy_dir("default"), folder)
        path = folder / file
        text = path.read_text(encoding="utf-8")
        assert text.count(old) == 1
        path.write_text(text.replace(old, new), encoding="utf-8")
        return folder


def queues(run: Path) -> dict[str, tuple[str, str | None]]:
    """Queue and lane of each home of a run."""
    frame = pl.read_parquet(run / "queue.parquet")
    return {r["property_id"]: (r["queue"], r["lane"]) for r in frame.iter_rows(named=True)}


def compared(*words: object) -> tuple[Answer, Any]:
    """`triage compare … --json` and its object."""
    answer = triage("compare", *words, "--json")
    assert answer.code in (0, 1), answer.err
    return answer, json.loads(answer.out)


def moves(told: Any) -> dict[str, tuple[str, str, list[str], str]]:
    """From, to, causes and how, by home."""
    return {
        m["property_id"]: (m["from_state"], m["to_state"], m["cause"], m["how"])
        for m in told["moved"]
    }
