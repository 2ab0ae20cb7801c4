"""An invented stock of coastal homes: what is really there, before anybody surveys it."""

from typing import Final

import numpy as np

from making.draw import Score, Stock, chance, column, condition, pick, pick_by, rank, worst

ESTATE: Final = 50
# Post town areas along one coast, as outward codes with a coordinate nearby.
PLACES: Final = (
    ("TR11", 50.152, -5.078),
    ("TR26", 50.204, -5.488),
    ("PL13", 50.357, -4.468),
    ("PL5", 50.419, -4.156),
    ("EX8", 50.628, -3.402),
    ("EX10", 50.688, -3.243),
    ("TQ4", 50.431, -3.577),
    ("TQ5", 50.391, -3.522),
)
BANDS: Final = {
    "A": (1870, 1899),
    "B": (1900, 1929),
    "C": (1930, 1949),
    "D": (1950, 1966),
    "E": (1967, 1975),
    "F": (1976, 1982),
    "G": (1983, 1990),
    "I": (1996, 2002),
}
WALLS: Final = {
    "A": {"stone_dense": 5, "brick_solid": 4, "stone_soft": 1},
    "B": {"brick_solid": 6, "stone_dense": 2, "cavity_brick": 2},
    "C": {"cavity_brick": 5, "brick_solid": 2, "cavity_block_rendered": 3},
    "D": {"cavity_brick": 4, "cavity_block_rendered": 4, "concrete": 2},
    "*": {"cavity_brick": 5, "cavity_block_rendered": 5},
}
SYSTEMS: Final = {
    "cavity_brick": {"masonry_cavity": 1},
    "cavity_block_rendered": {"masonry_cavity": 1},
    "concrete": {"concrete_panel": 5, "concrete_insitu": 5},
    "*": {"masonry_solid": 1},
}


def uk_stock(rng: np.random.Generator, n: int) -> tuple[Stock, Score]:
    """The homes and their neglect score (0 cared for, 1 neglected)."""
    estate = np.arange(n) // ESTATE
    stock = _place_and_age(rng, n, estate)
    tendency = rng.random(int(estate.max()) + 1)[estate]
    age = 1 - (stock["year_built"].astype(float) - 1870) / 135
    neglect = rank(0.45 * tendency + 0.25 * age + 0.3 * rng.random(n))
    _forms(rng, stock)
    _roof(rng, stock, neglect)
    _water(rng, stock, neglect)
    _walls(rng, stock, neglect)
    _timber_and_floor(rng, stock, neglect)
    _inside(rng, stock, neglect)
    return stock, neglect


def _place_and_age(rng: np.random.Generator, n: int, estate: np.ndarray) -> Stock:
    estates = int(estate.max()) + 1
    place = rng.permutation(np.arange(estates) % len(PLACES))[estate]
    shares = {"A": 9, "B": 14, "C": 18, "D": 26, "E": 18, "F": 7, "G": 5, "I": 3}
    band = pick(rng, estates, shares)[estate]
    lows = np.array([BANDS[b][0] for b in band])
    highs = np.array([BANDS[b][1] for b in band])
    latitude = np.array([PLACES[p][1] for p in place]) + rng.normal(0, 0.004, n)
    longitude = np.array([PLACES[p][2] for p in place]) + rng.normal(0, 0.006, n)
    letters = np.array(list("ABDEFGHJLNPQRSTUWXYZ"))
    inward = [
        f"{rng.integers(1, 10)}{a}{b}" for a, b in zip(*rng.choice(letters, (2, n)), strict=True)
    ]
    return {
        "age_band": band,
        "year_built": rng.integers(lows, highs + 1).astype(object),
        "latitude": np.round(latitude, 5).astype(object),
        "longitude": np.round(longitude, 5).astype(object),
        "postal_code": np.array(
            [f"{PLACES[p][0]} {unit}" for p, unit in zip(place, inward, strict=True)], dtype=object
        ),
        "exposure_class": pick(
            rng, estates, {"sheltered": 1, "moderate": 5, "severe": 3, "very_severe": 1}
        )[estate],
        "archetype_code": np.array([f"T{1 + e % 9}" for e in estate], dtype=object),
    }


def _forms(rng: np.random.Generator, stock: Stock) -> None:
    n = len(stock["age_band"])
    kind = pick(rng, n, {"house": 68, "bungalow": 18, "flat": 11, "maisonette": 3})
    built = {
        "flat": {"within_block": 1},
        "maisonette": {"within_block": 1},
        "bungalow": {"semi_detached": 6, "detached": 2, "end_terrace": 1, "mid_terrace": 1},
        "*": {"semi_detached": 5, "mid_terrace": 3, "end_terrace": 2, "detached": 1},
    }
    roofs = {
        "flat": {"none_above": 5, "pitched_cold": 4, "low_slope_cold": 2},
        "*": {"pitched_cold": 88, "pitched_room": 5, "low_slope_cold": 4, "low_slope_unknown": 1},
    }
    heritage = {
        "A": {"listed": 4, "protected_area": 18, "traditional_unlisted": 60, "none": 18},
        "B": {"listed": 1, "protected_area": 10, "traditional_unlisted": 40, "none": 49},
        "*": {"none": 98, "protected_area": 2},
    }
    stock["property_type"] = kind
    stock["built_form"] = pick_by(rng, kind, built)
    block = np.array([f"BLK-{1 + k // 12:03d}" for k in range(n)], dtype=object)
    stock["building_id"] = np.where(stock["built_form"] == "within_block", block, None)
    stock["storeys"] = np.where(kind == "house", 2, 1).astype(object)
    stock["floor_area_m2"] = np.round(rng.normal(np.where(kind == "house", 86, 58), 9)).astype(
        object
    )
    stock["roof_form"] = pick_by(rng, kind, roofs)
    stock["heritage_status"] = pick_by(rng, stock["age_band"], heritage)


def _roof(rng: np.random.Generator, stock: Stock, neglect: Score) -> None:
    band, form, n = stock["age_band"], stock["roof_form"], len(neglect)
    low = np.isin(form.astype(str), ["low_slope_cold", "low_slope_unknown"])
    old = {"slate_natural": 6, "tile_plain": 2, "slate_manmade": 2}
    covering = pick_by(
        rng, band, {"A": old, "B": old, "*": {"tile_interlocking": 7, "tile_plain": 2}}
    )
    felt = pick_by(
        rng,
        band,
        {
            "A": {"none": 35, "torching": 20, "felt_bitumen_hr": 35, "membrane_lr": 10},
            "B": {"none": 30, "torching": 10, "felt_bitumen_hr": 48, "membrane_lr": 12},
            "*": {"none": 6, "felt_bitumen_hr": 74, "membrane_lr": 20},
        },
    )
    depth = rng.choice([0, 50, 75, 100, 100, 150, 200, 270, 300], n)
    stock["roof_covering"] = np.where(low, "felt_built_up", covering)
    stock["roof_pitch_deg"] = np.where(low, 3, rng.choice([30, 35, 35, 40, 45], n)).astype(object)
    stock["roof_underlay"] = np.where(low, None, felt)
    stock["roof_deck"] = np.where(low, "plywood", "battens_only")
    stock["ceiling_insulation_mm"] = depth.astype(object)
    stock["insulation_plane"] = np.where(depth > 0, "ceiling", "none").astype(object)
    stock["eaves_vent_state"] = worst(
        rng, neglect, [("none", 0.04), ("blocked", 0.06), ("partly_blocked", 0.08)], "clear", 0.4
    )
    stock["ceiling_air_seal"] = worst(rng, neglect, [("open", 0.1), ("partial", 0.4)], "sealed")
    stock["exhaust_into_void"] = np.where(chance(rng, n, 0.06), "yes", "no").astype(object)
    stock["roof_drainage"] = np.where(
        low, worst(rng, neglect, [("ponding", 0.2), ("blocked", 0.05)], "drains_free"), None
    )
    stock["roof_structure_concern"] = worst(
        rng, neglect, [("severe", 0.003), ("concern", 0.015), ("minor", 0.05)], "none_seen"
    )


def _water(rng: np.random.Generator, stock: Stock, neglect: Score) -> None:
    n = len(neglect)
    old = np.isin(stock["age_band"].astype(str), ["A", "B", "C"])
    stock["roof_covering_condition"] = condition(rng, neglect, 0.08)
    stock["penetration_condition"] = condition(rng, neglect, 0.02)
    stock["gutter_condition"] = worst(
        rng, neglect, [("poor", 0.05), ("blocked", 0.07), ("fair", 0.3)], "good"
    )
    stock["downpipe_condition"] = worst(
        rng, neglect, [("discharge_at_wall", 0.02), ("poor", 0.03), ("fair", 0.25)], "good"
    )
    lead = condition(rng, neglect, 0.07)
    stock["flashing_condition"] = np.where(old & chance(rng, n, 0.1), "mortar_fillet", lead)
    valley = chance(rng, n, 0.25)
    stock["valley_condition"] = np.where(valley, condition(rng, neglect, 0.06), "none_present")
    stack = worst(rng, neglect, [("poor", 0.08), ("disused_unvented", 0.06), ("fair", 0.3)], "good")
    stock["chimney_condition"] = np.where(
        chance(rng, n, np.where(old, 0.85, 0.3)), stack, "none_present"
    )
    stock["parapet_condition"] = np.where(
        stock["roof_covering"] == "felt_built_up", condition(rng, neglect, 0.1), "none_present"
    )
    defects = np.isin(stock["roof_covering_condition"].astype(str), ["poor", "failed"]) | np.isin(
        stock["flashing_condition"].astype(str), ["poor", "failed"]
    )
    leak = worst(
        rng,
        neglect + defects,
        [("active", 0.02), ("recent", 0.05), ("historic", 0.06)],
        "none_seen",
    )
    stock["roof_leak_evidence"] = leak
    stock["plumbing_leak"] = worst(rng, neglect, [("active", 0.01), ("recent", 0.01)], "none_seen")


def _walls(rng: np.random.Generator, stock: Stock, neglect: Score) -> None:
    n = len(neglect)
    wall = pick_by(rng, stock["age_band"], WALLS)
    cavity = np.isin(wall.astype(str), ["cavity_brick", "cavity_block_rendered"])
    rendered = (wall == "cavity_block_rendered") | chance(rng, n, 0.08)
    stock["wall_construction"] = wall
    stock["construction_system"] = pick_by(rng, wall, SYSTEMS)
    thick = np.where(cavity, 270, np.where(wall == "stone_dense", 500, 225))
    stock["wall_thickness_mm"] = thick.astype(object)
    stock["wall_finish_external"] = np.where(
        rendered, "render_cement", pick(rng, n, {"bare": 85, "paint_film": 15})
    )
    bare = ~rendered & (wall != "concrete")
    stock["pointing_condition"] = np.where(bare, condition(rng, neglect, 0.07), "not_applicable")
    stock["render_condition"] = np.where(
        rendered,
        worst(rng, neglect, [("hollow", 0.05), ("poor", 0.05), ("fair", 0.3)], "good"),
        "not_applicable",
    )
    stock["opening_perimeter_condition"] = condition(rng, neglect, 0.05)
    stock["frost_damage"] = worst(rng, neglect, [("moderate", 0.02), ("minor", 0.05)], "none_seen")
    modern = stock["year_built"].astype(int) >= 1925
    dpc = pick(rng, n, {"physical": 6, "chemical": 2, "none": 2})
    stock["dpc_presence"] = np.where(modern, "physical", dpc)
    ground = worst(rng, neglect, [("-30", 0.02), ("75", 0.1), ("100", 0.15)], "150")
    stock["ground_to_dpc_mm"] = ground.astype(int).astype(object)
    _cavities(rng, stock, neglect, cavity)
    _damp(rng, stock, neglect)


def _cavities(rng: np.random.Generator, stock: Stock, neglect: Score, cavity: np.ndarray) -> None:
    n = len(neglect)
    widths = rng.choice([40, 50, 50, 60, 65, 70, 75], n).astype(object)
    stock["cavity_width_mm"] = np.where(cavity, widths, None)
    states = {"clear": 62, "filled_sound": 28, "filled_voided": 4, "filled_wet": 2, "foam_uf": 4}
    state = pick(rng, n, states)
    stock["cavity_state"] = np.where(cavity, state, "not_applicable")
    filled = cavity & (state != "clear")
    stock["wall_insulation_existing"] = np.where(filled, "cavity_fill", "none").astype(object)
    stock["cavity_bridging"] = np.where(
        cavity, worst(rng, neglect, [("mortar", 0.06), ("rubble", 0.03)], "none_seen", 0.2), None
    )


def _damp(rng: np.random.Generator, stock: Stock, neglect: Score) -> None:
    salts = worst(
        rng, neglect, [("heavy", 0.01), ("source_known", 0.02), ("light", 0.1)], "none_seen"
    )
    stock["salt_evidence"] = salts
    face = np.isin(stock["pointing_condition"].astype(str), ["poor", "failed"])
    damp = [("rain", 0.03), ("ground", 0.02), ("undiagnosed", 0.02), ("condensation", 0.03)]
    stock["wall_damp_evidence"] = worst(rng, neglect + face, damp, "none_seen")


def _timber_and_floor(rng: np.random.Generator, stock: Stock, neglect: Score) -> None:
    n = len(neglect)
    solid = stock["construction_system"] == "masonry_solid"
    ends = pick(rng, n, {"joist_ends": 6, "bond_timber": 1, "none": 3})
    stock["embedded_timber"] = np.where(solid, ends, "none")
    aspect = pick(rng, n, {"N": 1, "E": 1, "S": 1, "W": 1})
    stock["embedded_timber_aspect"] = np.where(stock["embedded_timber"] == "none", None, aspect)
    stock["capillary_break"] = np.where(
        solid, pick(rng, n, {"no": 5, "partial": 2, "yes": 3}), "yes"
    )
    wet = np.isin(stock["roof_leak_evidence"].astype(str), ["active", "recent"])
    reading = np.round(np.where(wet, rng.normal(22, 3, n), rng.normal(14, 1.8, n)), 1)
    stock["timber_mc_pct"] = np.clip(reading, 8, 38).astype(object)
    decay = worst(rng, neglect + wet, [("d3", 0.005), ("d2", 0.015), ("d1", 0.08)], "d0")
    stock["timber_decay_grade"] = decay
    stock["mc_location"] = pick(rng, n, {"wall_plate": 3, "rafter_foot": 3, "rafter_mid": 4})
    timber = chance(rng, n, np.where(stock["year_built"].astype(int) < 1950, 0.7, 0.25))
    stock["floor_construction"] = np.where(timber, "suspended_timber", "solid_membrane")
    vents = worst(rng, neglect, [("blocked", 0.08), ("partly_blocked", 0.12)], "clear")
    stock["subfloor_vent_state"] = np.where(timber, vents, "not_applicable")
    soil = worst(rng, neglect, [("wet", 0.03), ("damp", 0.1)], "dry")
    stock["subfloor_moisture"] = np.where(timber, soil, None)


def _inside(rng: np.random.Generator, stock: Stock, neglect: Score) -> None:
    n = len(neglect)
    stock["occupants"] = rng.choice([1, 2, 2, 3, 4, 5], n).astype(object)
    stock["high_moisture_use"] = pick(rng, n, {"none": 88, "laundry": 9, "overcrowded": 3})
    fans = {
        "ducted_working": 66,
        "ducted_unmeasured": 12,
        "not_working": 8,
        "window_only": 8,
        "none": 6,
    }
    stock["extract_kitchen"] = pick(rng, n, {**fans, "recirculating": 10})
    stock["extract_bathroom"] = pick(rng, n, fans)
    stock["background_ventilation"] = pick(
        rng, n, {"adequate": 70, "partial": 20, "blocked": 5, "none": 5}
    )
    mould = [("extensive", 0.01), ("moderate", 0.06), ("void_only", 0.02), ("trace", 0.1)]
    stock["visible_mould"] = worst(rng, neglect, mould, "none_seen", 0.5)
    heat = {"room_sealed": 78, "none": 15, "open_flue": 4, "solid_fuel": 3}
    stock["combustion_appliance"] = pick(rng, n, heat)
    recent = stock["year_built"].astype(int) >= 2000
    acm = {"presumed": 80, "clear_survey": 14, "present": 3, "removed": 3}
    stock["asbestos_status"] = np.where(recent, "clear_survey", pick(rng, n, acm))
    stock["wiring_hazard"] = pick(rng, n, {"none_seen": 96, "unclipped_buried": 2, "perished": 2})
    stock["recessed_lights"] = pick(rng, n, {"none": 85, "ic": 8, "non_ic": 7})
    stock["flue_clearance"] = pick(rng, n, {"ok": 98, "short": 2})
    stock["protected_species"] = pick(rng, n, {"possible": 60, "checked_clear": 37, "evidence": 3})
    stock["foam_present"] = column(n, "no")
