"""Foam that is already under roofs of the coastal stock."""

from typing import Final

import numpy as np

from making.draw import Stock, column, pick

PAPERS: Final = {
    "none_found": 55,
    "guarantee": 20,
    "product_certificate; batch_log": 13,
    "product_certificate": 12,
}
FAULTS: Final = {
    "none_seen": 70,
    "gap_at_timber": 10,
    "shrinkage": 6,
    "uneven_thin": 5,
    "soft_sticky": 3,
    "wet_stained": 4,
    "blocks_vents": 2,
}


def add_foam(rng: np.random.Generator, stock: Stock, homes: np.ndarray) -> None:
    """Turn the given homes (positions) into homes with foam under a pitched roof."""
    n = len(homes)
    bare = np.isin(stock["roof_underlay"][homes].astype(str), ["none", "torching"])
    against = pick(rng, n, {"felt_hr": 6, "membrane_lr": 3, "spacer": 1})
    where = np.where(against == "spacer", "between_rafters_gap", "underside_underlay")
    days = rng.integers(0, 365 * 12, n)
    dates = np.datetime64("2012-03-01") + days.astype("timedelta64[D]")
    values: Stock = {
        "foam_present": column(n, "yes"),
        "foam_type": pick(rng, n, {"open_cell": 62, "closed_cell": 33, "mixed": 5}),
        "foam_substrate": np.where(bare, "slate_tile", against),
        "foam_location": np.where(bare, "underside_covering", where),
        "foam_evidence": pick(rng, n, PAPERS),
        "foam_defects": pick(rng, n, FAULTS),
        "foam_thickness_mm": rng.choice([75, 100, 100, 130, 150], n).astype(object),
        "foam_coverage_pct": rng.choice([80, 95, 100, 100, 100], n).astype(object),
        "foam_install_date": dates.astype(object),
        "foam_fire_cover": pick(rng, n, {"none": 75, "coating": 25}),
        "interior_vapour_control": pick(rng, n, {"none": 92, "class_2": 8}),
        "eaves_vent_state": pick(rng, n, {"blocked": 6, "none": 2, "clear": 2}),
    }
    values["foam_air_gap_mm"] = np.where(values["foam_location"] == "between_rafters_gap", 50, 0)
    loft = stock["ceiling_insulation_mm"][homes].astype(int)
    values["insulation_plane"] = np.where(loft >= 50, "mixed", "rafter_unvented")
    for name, drawn in values.items():
        stock.setdefault(name, column(len(stock["foam_present"])))[homes] = drawn.astype(object)
