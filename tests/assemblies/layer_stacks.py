"""One case at a time for the tests of layers."""

from collections.abc import Mapping

import polars as pl

from triage.assemblies.build_up import BuildUps, State
from triage.assemblies.layers import CASE_FIELDS, build_ups
from triage.contract.assemblies import Element, Library, load_library

LOFT = {
    "element": "roof",
    "measure_group": "CEIL",
    "measure_material": "mineral_wool",
    "measure_thickness_mm": 300.0,
    "plane_before": "ceiling",
    "plane_after": "ceiling",
    "foam_class": "none",
    "ceiling_insulation_mm": 100.0,
    "interior_vapour_control": "none",
    "vapour_control_after": "none",
    "roof_form": "pitched_cold",
    "roof_covering": "slate_natural",
    "roof_underlay": "felt_bitumen_hr",
    "roof_deck": "battens_only",
}
FOAMED = {
    **LOFT,
    "measure_group": "FOAM",
    "measure_material": None,
    "measure_thickness_mm": None,
    "plane_before": "rafter_unvented",
    "plane_after": "rafter_unvented",
    "foam_class": "closed_cell",
    "foam_thickness_mm": 100.0,
    "foam_at_rafters": True,
    "ceiling_insulation_mm": None,
    "roof_form": "pitched_cathedral",
    "roof_covering": "metal_standing_seam",
    "roof_underlay": "self_adhered",
    "roof_deck": "plywood",
}
BRICK = {
    "element": "wall",
    "measure_group": "IWI",
    "measure_material": "pir_pur_board",
    "measure_thickness_mm": 60.0,
    "wall_construction": "brick_solid",
    "wall_thickness_mm": 228.0,
    "wall_finish_external": "bare",
    "wall_insulation_existing": "none",
    "cavity_state": "not_applicable",
}
FLOOR = {
    "element": "floor",
    "measure_group": "FLR",
    "measure_material": "mineral_wool",
    "measure_thickness_mm": 150.0,
    "floor_construction": "suspended_timber",
}


def frame_of(*cases: Mapping[str, object]) -> pl.DataFrame:
    """Cases as the frame that `build_ups` takes; fields that are not named are null."""
    return pl.DataFrame(
        [{name: case.get(name) for name in CASE_FIELDS} for case in cases], schema=CASE_FIELDS
    )


def stack(
    case: Mapping[str, object], state: State = "after", library: Library | None = None
) -> BuildUps:
    """The layers of one case."""
    element: Element = case["element"]  # type: ignore[assignment]
    return build_ups(frame_of(case), library or load_library(), state, element)


def told(case: Mapping[str, object], name: str, state: State = "after") -> str | None:
    """One cell of what is described."""
    text: str | None = stack(case, state).described[name].item()
    return text


def layer(built: BuildUps, slot: str) -> tuple[float, float]:
    """R and sd of a slot. [m²K/W, m]."""
    n = built.slots.index(slot)
    return float(built.r_m2k_w[0, n]), float(built.sd_m[0, n])
