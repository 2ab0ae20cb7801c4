"""Invented foamed roofs, and what inspectors found in them."""

from datetime import date

import numpy as np
import polars as pl

from triage.contract.inspection import NAMES, InspectionPolicy, load_inspection
from triage.contract.policy_load import policy_dir

POLICY: InspectionPolicy = load_inspection(policy_dir("default"))


def roof(roof_id: str, **known: object) -> dict[str, object]:
    """A roof of which nothing is known but what is said."""
    blank: dict[str, object] = dict.fromkeys(NAMES)
    own = {"roof_id": roof_id, "property_id": roof_id, "building_part": "main", "dwellings": 1}
    return {**blank, **own, "property_ids": [roof_id], "area": "North", **known}


def frame(roofs: list[dict[str, object]]) -> pl.DataFrame:
    """Roofs as `foamed_roofs` gives them."""
    kinds = {
        **dict.fromkeys(("roof_id", "property_id", "building_part"), pl.String),
        "property_ids": pl.List(pl.String),
        **dict.fromkeys(("area", "building_id"), pl.String),
        **dict.fromkeys(("lat", "lon"), pl.Float64),
        **NAMES,
    }
    return pl.DataFrame([{k: r.get(k) for k in kinds} for r in roofs], schema=kinds)


def stock(roofs: int, seed: int = 1) -> pl.DataFrame:
    """A stock of foamed roofs, three ways of building in unequal shares."""
    rng = np.random.default_rng(seed)
    kinds = rng.choice(3, size=roofs, p=[0.2, 0.5, 0.3])
    substrates = ("slate_tile", "felt_hr", "membrane_lr")
    return frame(
        [
            roof(
                f"P{n:05d}",
                foam_type=("closed_cell", "open_cell", None)[int(rng.integers(3))],
                foam_substrate=substrates[kind],
                roof_covering="slate_natural",
                roof_covering_condition=str(rng.choice(["good", "poor"])),
                area=f"Area {rng.integers(4)}",
                cold_side=True,
                refused_before=bool(rng.random() < 0.05),
            )
            for n, kind in enumerate(kinds)
        ]
    )


def inspections(rows: list[dict[str, object]]) -> pl.DataFrame:
    """Rows of the inspection table; a sound completed random opening unless said otherwise."""
    usual = {
        "building_part": "main",
        "selection_stream": "random",
        "stratum": "as written on the sheet",
        "inspected_on": date(2026, 6, 1),
        "outcome_status": "completed",
        "foam_type_found": None,
        "decay_grade_max": "d0",
        "verdict": "sound_monitor",
    }
    full = [{"inspection_id": f"I{n:04d}", **usual, **row} for n, row in enumerate(rows)]
    return pl.DataFrame(full, schema_overrides={"foam_type_found": pl.String, "verdict": pl.String})
