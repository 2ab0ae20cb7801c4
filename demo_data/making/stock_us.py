"""An invented stock of homes on both sides of a zone boundary, and a few in a warmer area."""

from typing import Final

import numpy as np

from making.draw import Score, Stock, chance, column, condition, pick, pick_by, rank, worst

# ZIP area with a coordinate inside it, by the side of the zone line it lies on.
PLACES: Final = {
    "ridge": (
        ("25801", 37.8145, -81.2547),
        ("25827", 37.7385, -81.2536),
        ("25823", 37.6593, -81.1996),
        ("25832", 37.7255, -81.1088),
    ),
    "valley": (
        ("24701", 37.3010, -81.2065),
        ("24740", 37.3764, -81.0188),
        ("24731", 37.3980, -81.1510),
        ("24733", 37.4481, -81.2070),
    ),
    "piedmont": (("28214", 35.2749, -80.9685), ("28208", 35.2306, -80.9099)),
}
WALLS: Final = {"frame_clad": 72, "frame_brick_veneer": 14, "brick_solid": 8, "block_solid": 6}
SYSTEMS: Final = {
    "brick_solid": {"masonry_solid": 1},
    "block_solid": {"concrete_block": 1},
    "*": {"timber_frame_platform": 4, "timber_frame_balloon": 1},
}


def us_stock(rng: np.random.Generator, n: int) -> tuple[Stock, Score]:
    """The homes and their neglect score (0 cared for, 1 neglected)."""
    area = pick(rng, n, {"ridge": 48, "valley": 46, "piedmont": 6})
    year = np.clip(rng.normal(1955, 22, n), 1885, 2008).astype(int)
    neglect = rank(0.35 * (2008 - year) / 120 + 0.65 * rng.random(n))
    stock = place(rng, area)
    stock["year_built"] = year.astype(object)
    _forms(rng, stock)
    _roof(rng, stock, neglect)
    _water_and_walls(rng, stock, neglect)
    _below(rng, stock, neglect)
    _inside(rng, stock, neglect)
    _foam(rng, stock)
    return stock, neglect


def place(rng: np.random.Generator, area: np.ndarray) -> Stock:
    """ZIP and coordinates for homes of the named areas."""
    n = len(area)
    spot = [PLACES[a][rng.integers(len(PLACES[a]))] for a in area]
    shift = rng.normal(0, 0.006, (2, n)).clip(-0.015, 0.015)
    return {
        "postal_code": np.array([s[0] for s in spot], dtype=object),
        "latitude": np.round([s[1] for s in spot] + shift[0], 5).astype(object),
        "longitude": np.round([s[2] for s in spot] + shift[1], 5).astype(object),
    }


def _forms(rng: np.random.Generator, stock: Stock) -> None:
    n = len(stock["year_built"])
    kinds = {"house": 80, "mobile_home": 9, "small_block": 8, "flat": 3}
    stock["property_type"] = pick(rng, n, kinds)
    stock["built_form"] = np.where(stock["property_type"] == "flat", "within_block", "detached")
    stock["storeys"] = rng.choice([1, 1, 1.5, 2], n).astype(object)
    stock["floor_area_m2"] = np.round(rng.normal(112, 22, n).clip(55, 260)).astype(object)
    stock["heritage_status"] = pick(rng, n, {"none": 95, "protected_area": 4, "listed": 1})
    roofs = {"pitched_cold": 86, "pitched_cathedral": 5, "low_slope_unknown": 6, "pitched_room": 3}
    stock["roof_form"] = pick(rng, n, roofs)
    stock["exposure_class"] = pick(rng, n, {"sheltered": 5, "moderate": 4, "severe": 1})


def _roof(rng: np.random.Generator, stock: Stock, neglect: Score) -> None:
    n = len(neglect)
    low = stock["roof_form"] == "low_slope_unknown"
    steep = pick(rng, n, {"shingle_asphalt": 80, "metal_standing_seam": 8, "metal_profiled": 12})
    flat = pick(rng, n, {"felt_built_up": 6, "membrane_single_ply": 4})
    stock["roof_covering"] = np.where(low, flat, steep)
    slope = rng.choice([18.43, 22.62, 26.57, 26.57, 33.69], n)
    stock["roof_pitch_deg"] = np.where(low, 1.2, slope).astype(object)
    stock["roof_underlay"] = np.where(low, None, pick(rng, n, {"paper_15_30": 9, "membrane_hr": 1}))
    stock["roof_deck"] = pick(rng, n, {"plywood": 5, "boards_close": 3, "osb": 2})
    depth = rng.choice([0, 50, 85, 85, 150, 150, 232, 290], n)
    stock["ceiling_insulation_mm"] = depth.astype(object)
    stock["insulation_plane"] = np.where(depth > 0, "ceiling", "none").astype(object)
    stock["eaves_vent_state"] = worst(
        rng, neglect, [("none", 0.04), ("blocked", 0.08), ("partly_blocked", 0.08)], "clear", 0.4
    )
    stock["vent_free_area_ratio"] = rng.choice([150, 300, 300], n).astype(object)
    stock["ceiling_air_seal"] = worst(rng, neglect, [("open", 0.3), ("partial", 0.4)], "sealed")
    stock["exhaust_into_void"] = np.where(chance(rng, n, 0.12), "yes", "no").astype(object)
    leak = [("active", 0.03), ("recent", 0.07), ("historic", 0.08)]
    stock["roof_leak_evidence"] = worst(rng, neglect, leak, "none_seen")
    drain = worst(rng, neglect, [("ponding", 0.25), ("blocked", 0.05)], "drains_free")
    stock["roof_drainage"] = np.where(low, drain, None)
    stock["parapet_condition"] = np.where(low, condition(rng, neglect, 0.1), "none_present")
    stock["roof_structure_concern"] = worst(
        rng, neglect, [("concern", 0.015), ("minor", 0.05)], "none_seen"
    )
    stock["deck_moisture_survey"] = np.where(low, "dry", None)
    stock["edge_detail_drawings"] = np.where(low, "yes", None)


def _water_and_walls(rng: np.random.Generator, stock: Stock, neglect: Score) -> None:
    n = len(neglect)
    stock["roof_covering_condition"] = condition(rng, neglect, 0.09)
    stock["flashing_condition"] = condition(rng, neglect, 0.07)
    stock["penetration_condition"] = condition(rng, neglect, 0.03)
    stock["opening_perimeter_condition"] = condition(rng, neglect, 0.06)
    none = np.full(n, "none_present", dtype=object)
    stock["valley_condition"] = np.where(chance(rng, n, 0.3), condition(rng, neglect, 0.05), none)
    stock["chimney_condition"] = np.where(chance(rng, n, 0.3), condition(rng, neglect, 0.1), none)
    gutter = [("blocked", 0.12), ("poor", 0.08), ("fair", 0.3)]
    stock["gutter_condition"] = worst(rng, neglect, gutter, "good")
    spout = [("discharge_at_wall", 0.1), ("poor", 0.03), ("fair", 0.2)]
    stock["downpipe_condition"] = worst(rng, neglect, spout, "good")
    stock["plumbing_leak"] = worst(rng, neglect, [("active", 0.02), ("recent", 0.01)], "none_seen")
    wall = pick(rng, n, WALLS)
    frame = np.isin(wall.astype(str), ["frame_clad", "frame_brick_veneer"])
    stock["wall_construction"] = wall
    stock["construction_system"] = pick_by(rng, wall, SYSTEMS)
    stock["wall_thickness_mm"] = np.where(frame, 150, 250).astype(object)
    siding = pick(rng, n, {"cladding_drained": 5, "cladding_direct": 5})
    stock["wall_finish_external"] = np.where(wall == "frame_clad", siding, "bare")
    joints = condition(rng, neglect, 0.06)
    stock["pointing_condition"] = np.where(wall == "frame_clad", "not_applicable", joints)
    stock["render_condition"] = np.full(n, "not_applicable", dtype=object)
    stock["frost_damage"] = worst(rng, neglect, [("moderate", 0.02), ("minor", 0.05)], "none_seen")
    stock["dpc_presence"] = pick(rng, n, {"physical": 5, "none": 1})
    grade = worst(rng, neglect, [("-51", 0.02), ("51", 0.08), ("102", 0.2)], "203")
    stock["ground_to_dpc_mm"] = grade.astype(int).astype(object)
    stock["cavity_width_mm"] = np.where(frame, 88.9, None)
    filled = chance(rng, n, 0.35)
    stock["cavity_state"] = np.where(~frame, "not_applicable", np.where(filled, None, "clear"))
    stock["wall_insulation_existing"] = np.where(frame & filled, "frame_fill", "none")
    stock["salt_evidence"] = worst(rng, neglect, [("light", 0.05)], "none_seen")
    damp = [("rain", 0.02), ("ground", 0.02), ("undiagnosed", 0.02), ("condensation", 0.03)]
    stock["wall_damp_evidence"] = worst(rng, neglect, damp, "none_seen")


def _below(rng: np.random.Generator, stock: Stock, neglect: Score) -> None:
    n = len(neglect)
    floor = {"suspended_timber": 60, "basement_unheated": 22, "basement_heated": 8}
    stock["floor_construction"] = pick(rng, n, {**floor, "solid_membrane": 10})
    crawl = stock["floor_construction"] == "suspended_timber"
    vents = worst(rng, neglect, [("blocked", 0.2), ("partly_blocked", 0.15)], "clear")
    soil = [("standing_water", 0.04), ("wet", 0.08), ("damp", 0.2)]
    stock["subfloor_vent_state"] = np.where(crawl, vents, "not_applicable")
    stock["subfloor_moisture"] = np.where(crawl, worst(rng, neglect, soil, "dry"), None)
    stock["embedded_timber"] = np.where(
        stock["construction_system"] == "masonry_solid", "joist_ends", "none"
    )
    stock["capillary_break"] = pick(rng, n, {"yes": 7, "no": 2, "partial": 1})
    wet = np.isin(stock["subfloor_moisture"].astype(str), ["standing_water", "wet"])
    reading = np.round(np.where(wet, rng.normal(21, 3, n), rng.normal(13, 2, n)), 1)
    stock["timber_mc_pct"] = reading.clip(7, 36).astype(object)
    stock["mc_location"] = np.full(n, "subfloor_joist", dtype=object)
    stock["timber_decay_grade"] = worst(
        rng, neglect + wet, [("d3", 0.005), ("d2", 0.02), ("d1", 0.1)], "d0"
    )


def _inside(rng: np.random.Generator, stock: Stock, neglect: Score) -> None:
    n = len(neglect)
    stock["occupants"] = rng.choice([1, 2, 2, 3, 4, 6], n).astype(object)
    uses = {"none": 90, "laundry": 3, "humidifier": 5, "aquaria_plants": 1, "spa": 1}
    stock["high_moisture_use"] = pick(rng, n, uses)
    logged = chance(rng, n, 0.15)
    stock["rh_mean_pct"] = np.where(logged, np.round(rng.normal(44, 8, n)), None)
    stock["temp_mean_c"] = np.where(logged, np.round(rng.normal(20.5, 1, n), 1), None)
    stock["logger_days"] = np.where(logged, rng.choice([14, 21, 28], n), None)
    fans = {"ducted_working": 60, "ducted_unmeasured": 10, "not_working": 8, "window_only": 14}
    stock["extract_kitchen"] = pick(rng, n, {**fans, "recirculating": 14})
    stock["extract_bathroom"] = pick(rng, n, {**fans, "none": 8})
    stock["background_ventilation"] = pick(rng, n, {"adequate": 80, "partial": 15, "none": 5})
    mould = [("extensive", 0.01), ("moderate", 0.07), ("void_only", 0.04), ("trace", 0.08)]
    stock["visible_mould"] = worst(rng, neglect, mould, "none_seen", 0.5)
    heat = {"room_sealed": 60, "none": 20, "open_flue": 12, "solid_fuel": 5, "unvented": 3}
    stock["combustion_appliance"] = pick(rng, n, heat)
    acm = {"presumed": 82, "clear_survey": 10, "suspect_vermiculite": 5, "present": 3}
    recent = stock["year_built"].astype(int) >= 2000
    stock["asbestos_status"] = np.where(recent, "clear_survey", pick(rng, n, acm))
    old = stock["year_built"].astype(int) < 1945
    stock["wiring_hazard"] = np.where(old & chance(rng, n, 0.2), "knob_and_tube", "none_seen")
    stock["recessed_lights"] = pick(rng, n, {"none": 78, "ic": 8, "ic_airtight": 4, "non_ic": 10})
    stock["flue_clearance"] = pick(rng, n, {"ok": 96, "short": 4})
    stock["protected_species"] = np.full(n, "not_applicable", dtype=object)
    stock["foam_present"] = np.full(n, "no", dtype=object)


def _foam(rng: np.random.Generator, stock: Stock) -> None:
    """Foam at the deck in about one pitched roof in fifteen."""
    n = len(stock["foam_present"])
    homes = np.flatnonzero((stock["roof_form"] == "pitched_cold") & chance(rng, n, 0.07))
    m = len(homes)
    port = np.where(stock["latitude"][homes].astype(float) < 36, "no", None)
    values: Stock = {
        "foam_present": column(m, "yes"),
        "foam_type": pick(rng, m, {"open_cell": 6, "closed_cell": 4}),
        "foam_location": column(m, "underside_deck"),
        "foam_substrate": column(m, "timber_board"),
        "foam_thickness_mm": rng.choice([88.9, 139.7, 203.2], m).astype(object),
        "foam_coverage_pct": column(m, 100),
        "foam_air_gap_mm": column(m, 0),
        "foam_evidence": pick(rng, m, {"none_found": 5, "product_certificate; batch_log": 5}),
        "foam_defects": pick(rng, m, {"none_seen": 7, "gap_at_timber": 2, "wet_stained": 1}),
        "foam_fire_cover": pick(rng, m, {"ignition_barrier": 4, "none": 6}),
        "interior_vapour_control": pick(rng, m, {"none": 8, "class_2": 2}),
        "vapour_diffusion_port": port,
        "void_conditioning": port,
        "insulation_plane": column(m, "rafter_unvented"),
        "eaves_vent_state": column(m, "not_applicable"),
        "ceiling_insulation_mm": column(m, 0),
    }
    for name, drawn in values.items():
        stock.setdefault(name, column(n))[homes] = drawn
