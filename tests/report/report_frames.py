"""Invented frames for the tests of the outputs. No result of the program is in here."""

from datetime import date

import numpy as np
import polars as pl

from triage.report.context import RunContext

HOSTILE = [
    '=HYPERLINK("http://example.invalid","x")',
    "+1+1",
    "-2+3",
    "@SUM(A1)",
    "\tcmd",
    "\r=1",
    "<b>&amp;</b> ]]>",
    "null\x00byte\x0bvertical",
    "_x0041_",
    "ends with space ",
    "Zoë’s loft – 100 mm ≥ 4″",
]

TEXT_LISTS = [
    "fired",
    "undecidable",
    "missing",
    "presumed",
    "checks",
    "stop_work",
    "enabling",
    "notes",
    "cautions",
    "confirm_first",
    "disputed",
    "conflict_notes",
    "expired",
    "overridden",
    "decision_notes",
    "repair_notes",
]
SCHEMA: dict[str, pl.DataType] = {
    **dict.fromkeys(
        ["property_id", "building_part", "building_id", "measure_code", "measure_name"], pl.String()
    ),
    "measure_group": pl.String(),
    "queue": pl.String(),
    "lane": pl.String(),
    "released": pl.Boolean(),
    "severity": pl.Int8(),
    **dict.fromkeys(TEXT_LISTS, pl.List(pl.String)),
    "main_rule": pl.String(),
    "reason": pl.String(),
    "next_action": pl.String(),
    "evidence_quality": pl.String(),
    "survey_on": pl.Date(),
    "expires_on": pl.Date(),
    "lat": pl.Float64(),
    "lon": pl.Float64(),
    "region_name": pl.String(),
    "zone": pl.String(),
    "zone_join": pl.String(),
    "exposure": pl.String(),
    "foam_present": pl.String(),
    "survey_quality": pl.String(),
}
TITLES = {
    "W02": "Gutter or downpipe leaks",
    "W09": "Timber is wet",
    "R12": "Ceiling is not sealed",
    "F06": "Foam bonds the covering",
    "M05": "Indoor humidity unknown",
    "R07": "Too little outer insulation for the zone",
}
LANES = ["technical", "safety", "contradiction", "expired", "evidence_gap", "inspection"]


def context(**changes: object) -> RunContext:
    values: dict[str, object] = {
        "name": "Invented Coast Homes",
        "country_code": "GB",
        "as_of": date(2026, 10, 31),
        "policy_name": "default",
        "policy_version": "1.0",
        "policy_hash": "0123456789abcdef",
        "run_id": "r-0001",
        "rows_read": 10,
        "rows_accepted": 7,
        "rows_rejected": 2,
        "rows_superseded": 1,
        "not_evaluated": ("R07",),
        "cautions": ("Two climates were modelled; elsewhere is extrapolation.",),
        "sources": ("Climate: invented table.",),
        "rule_titles": TITLES,
    }
    return RunContext(**(values | changes))  # type: ignore[arg-type]


def queue(rows: int, seed: int = 1) -> pl.DataFrame:
    """A queue table that looks like a real one: three queues, all lanes, long lists."""
    rng = np.random.default_rng(seed)
    names = np.array(["safe-to-insulate", "fix-water-first", "specialist-review"])
    kind = rng.choice(3, rows, p=[0.2, 0.4, 0.4])
    released = rng.random(rows) < 0.5
    lane = rng.choice(LANES, rows)
    quality = rng.choice(["thorough", "typical", "poor"], rows)
    measures = [("loft_topup", "Loft top-up", "CEIL"), ("cavity_fill", "Cavity fill", "CWI")]
    pick = rng.choice(2, rows)
    main = rng.choice(["W02", "W09", "F06"], rows)
    start = date(2024, 1, 1).toordinal()
    days = rng.integers(0, 900, rows)
    data = {
        "property_id": [f"H{i // 2:06d}" for i in range(rows)],
        "building_part": ["main" if i % 2 else "ext1" for i in range(rows)],
        "building_id": [f"B{i // 8}" for i in range(rows)],
        "measure_code": [measures[p][0] for p in pick],
        "measure_name": [measures[p][1] for p in pick],
        "measure_group": [measures[p][2] for p in pick],
        "queue": names[kind].tolist(),
        "lane": [lane[i] if kind[i] == 2 else None for i in range(rows)],
        "released": [bool(released[i]) if kind[i] == 0 else False for i in range(rows)],
        "severity": rng.integers(1, 6, rows).tolist(),
        "fired": [[str(main[i]), "R12"] if kind[i] else [] for i in range(rows)],
        "undecidable": [["M05"] if i % 3 == 0 else [] for i in range(rows)],
        "missing": [["gutter_condition", "loft_rh"] if i % 3 == 0 else [] for i in range(rows)],
        "presumed": [["flue"] if i % 4 == 0 else [] for i in range(rows)],
        **{
            name: [[] for _ in range(rows)]
            for name in ("overridden", "decision_notes", "repair_notes")
        },
        "checks": [["Look at the disused flue."] if i % 4 == 0 else [] for i in range(rows)],
        "stop_work": [["asbestos: known"] if i % 50 == 0 else [] for i in range(rows)],
        "enabling": [["Seal the ceiling."] if i % 5 == 0 else [] for i in range(rows)],
        "notes": [[] for _ in range(rows)],
        "cautions": [["Keep the eaves open."] if i % 2 else [] for i in range(rows)],
        "confirm_first": [[] for _ in range(rows)],
        "disputed": [[] for _ in range(rows)],
        "conflict_notes": [[] for _ in range(rows)],
        "expired": [[] for _ in range(rows)],
        "main_rule": [str(main[i]) if kind[i] else None for i in range(rows)],
        "reason": [
            f"{TITLES[str(main[i])]} at the rear slope" if kind[i] else None for i in range(rows)
        ],
        "next_action": ["Repair the gutter, then read the wall plate again." for _ in range(rows)],
        "evidence_quality": ["measured/seen"] * rows,
        "survey_on": [date.fromordinal(start + int(d)) for d in days],
        "expires_on": [date.fromordinal(start + int(d) + 700) if d % 2 else None for d in days],
        "lat": rng.normal(50.7, 0.05, rows).tolist(),
        "lon": rng.normal(-3.5, 0.08, rows).tolist(),
        "region_name": ["South West"] * rows,
        "zone": ["4A"] * rows,
        "zone_join": ["region"] * rows,
        "exposure": ["severe"] * rows,
        "foam_present": ["no"] * rows,
        "survey_quality": quality.tolist(),
    }
    return pl.DataFrame(data, schema=SCHEMA)


def gaps() -> pl.DataFrame:
    return pl.DataFrame(
        {
            "field": ["gutter_condition", "loft_rh"],
            "label": ["condition of the gutters", "humidity in the loft"],
            "measure_group": ["CEIL", "CEIL"],
            "homes_blocked": [40, 12],
            "alone": [30, 2],
        }
    )


def problems(raw: list[str]) -> pl.DataFrame:
    return pl.DataFrame(
        {
            "kind": ["not_a_number"] * len(raw),
            "field": ["pitch_deg"] * len(raw),
            "raw": raw,
            "file": ["north.xlsx"] * len(raw),
            "sheet": ["Roofs"] * len(raw),
            "row": list(range(5, 5 + len(raw))),
            "column": ["Pitch"] * len(raw),
            "message": ["write a number, or leave the cell empty"] * len(raw),
        },
        schema_overrides={"row": pl.UInt32},
    )


def explanation() -> dict[str, object]:
    """One home as `triage explain --json` gives it."""
    gutter = {
        "field": "gutter_condition",
        "value": "leaking",
        "grade": "observed",
        "file": "surveys/north.xlsx",
        "sheet": "Roofs",
        "row": 214,
        "column": "Gutters",
        "raw": "leaks at joint \x1b[31m",
        "counts": True,
        "why_not": None,
    }
    depth = {
        "field": "ceiling_insulation_mm",
        "value": 101.6,
        "unit": "mm",
        "grade": "assumed",
        "file": "surveys/north.xlsx",
        "sheet": "Roofs",
        "row": 214,
        "column": "Loft ins",
        "raw": '4"',
        "counts": False,
        "why_not": "assumed values never clear a rule",
    }
    wet = {
        "rule": "W02",
        "title": TITLES["W02"],
        "severity": 4,
        "values": {"gutter_condition": "leaking"},
        "next_action": "Repair the gutter joint at the rear; look again after rain.",
        "cautions": ["Do not seal the eaves vents."],
        "source": "invented source",
    }
    loft = {
        "part": "main",
        "measure": "loft_topup",
        "queue": "fix-water-first",
        "lane": None,
        "released": False,
        "fired": [wet],
        "undecidable": [{"rule": "M05", "title": TITLES["M05"], "missing": ["loft_rh_pct"]}],
        "clear": ["W09"],
        "presumed": ["flue"],
        "checks": ["Look at the disused flue."],
        "enabling": ["Seal the ceiling."],
        "not_applicable": ["F06"],
        "not_evaluated": ["R07"],
        "next_action": "Repair the gutter joint at the rear.",
        "evidence_that_would_change": ["gutter_condition, seen after the repair"],
    }
    cavity = loft | {
        "part": "ext1",
        "measure": "cavity_fill",
        "queue": "safe-to-insulate",
        "released": True,
        "fired": [],
        "undecidable": [],
        "checks": [],
        "enabling": [],
        "evidence_that_would_change": [],
    }
    return {
        "home": "H000214",
        "as_of": "2026-10-31",
        "policy": "default 1.0",
        "place": {"region_name": "South West England", "distance_km": 12.345678, "zone": None},
        "facts": [gutter, depth],
        "parts": [loft, cavity],
        "limits": ["Hidden parts may differ."],
    }
