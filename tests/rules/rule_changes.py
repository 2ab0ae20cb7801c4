"""What may happen to an answer: it goes missing, or it gets worse. Written by hand.

`WORSE` orders the codes of each condition by the lists of survey dictionary 3.5, best first; two
codes that are not clearly one worse than the other stand in different chains. Fan codes stop at
a fan that does not work: no fan at all is another case (dry run Q7 lets it stand for no duct).
"""

from dataclasses import replace
from datetime import date

from rule_homes import CONTRACT, POLICY, Answer, Home

CONDITION = ("good", "fair", "poor", "failed")
_EXTENT = ("none_seen", "minor", "moderate", "extensive")
_LEAK = ("none_seen", "historic", "recent", "active")
WORSE: dict[str, tuple[tuple[Answer, ...], ...]] = {
    **dict.fromkeys(
        (
            *("roof_covering_condition", "valley_condition", "parapet_condition"),
            *("penetration_condition", "opening_perimeter_condition"),
            "roofing_foam_coating_condition",
        ),
        (CONDITION,),
    ),
    "flashing_condition": (CONDITION, ("good", "mortar_fillet", "failed")),
    "gutter_condition": (CONDITION, ("good", "blocked"), ("good", "fair", "absent")),
    "downpipe_condition": (CONDITION, ("good", "discharge_at_wall")),
    "chimney_condition": (CONDITION, ("good", "disused_unvented", "failed")),
    "pointing_condition": (CONDITION, ("good", "fair", "cement_hard")),
    "render_condition": (CONDITION, ("good", "fair", "hollow")),
    "roof_leak_evidence": (_LEAK,),
    "plumbing_leak": (_LEAK,),
    "eaves_vent_state": (("clear", "partly_blocked", "blocked"),),
    "subfloor_vent_state": (("clear", "partly_blocked", "blocked"), ("clear", "none")),
    "ceiling_air_seal": (("sealed", "partial", "open"),),
    "exhaust_into_void": (("no", "yes"),),
    "roof_drainage": (("drains_free", "no_fall", "ponding", "blocked"),),
    "deck_moisture_survey": (("dry", "wet"),),
    "roof_structure_concern": (("none_seen", "minor", "concern", "severe"),),
    "frost_damage": (_EXTENT,),
    "cavity_state": (("clear", "part_filled", "filled_voided", "filled_wet"),),
    "cavity_bridging": tuple(
        ("none_seen", code) for code in ("mortar", "rubble", "element", "dpc_level")
    ),
    "exposure_class": (("sheltered", "moderate", "severe", "very_severe"),),
    "salt_evidence": (("none_seen", "light", "heavy", "confirmed"),),
    "wall_damp_evidence": tuple(
        ("none_seen", code)
        for code in ("rain", "ground", "condensation", "plumbing", "undiagnosed")
    ),
    "embedded_timber": tuple(
        ("none", code)
        for code in ("joist_ends", "beam_ends", "bond_timber", "wall_plate", "several")
    ),
    "capillary_break": (("yes", "partial", "no"),),
    "timber_decay_grade": (("d0", "d1", "d2", "d3", "d4"), ("d0", "d1", "dx")),
    "subfloor_moisture": (("dry", "damp", "wet", "standing_water"),),
    "foam_present": (("no", "suspected", "yes"),),
    "foam_defects": tuple(
        (["none_seen"], [code], [code, "wet_stained"])
        for code in ("crack", "delaminated", "soft_sticky", "unfinished", "blocks_vents")
    ),
    "foam_evidence": ((["product_certificate", "batch_log"], ["product_certificate"]),),
    "foam_fire_cover": (("thermal_barrier", "ignition_barrier", "none"),),
    "access_limits": ((["none"], ["foam_covered"]), (["none"], ["no_void"])),
    "high_moisture_use": (
        (["none"], ["laundry"], ["laundry", "overcrowded"], ["laundry", "overcrowded", "pool"]),
        (["none"], ["spa"]),
    ),
    "extract_kitchen": (("ducted_working", "ducted_unmeasured", "not_working"),),
    "extract_bathroom": (("ducted_working", "ducted_unmeasured", "not_working"),),
    "background_ventilation": (("adequate", "partial", "blocked"), ("adequate", "none")),
    "visible_mould": (
        ("none_seen", "trace", "moderate", "extensive"),
        ("none_seen", "void_only"),
    ),
    "combustion_appliance": (("none", "room_sealed", "open_flue", "unvented"),),
    "asbestos_status": (
        ("clear_survey", "presumed", "present"),
        ("clear_survey", "suspect_vermiculite"),
    ),
    "wiring_hazard": (("none_seen", "perished"), ("none_seen", "overheating")),
    "recessed_lights": (("none", "ic", "non_ic"),),
    "flue_clearance": (("ok", "short"),),
    "protected_species": (("checked_clear", "possible", "evidence"),),
    "heritage_status": (("none", "traditional_unlisted", "protected_area", "listed"),),
    "edge_detail_drawings": (("yes", "no"),),
    "void_conditioning": (("yes", "no"),),
    # Readings: up is worse, but for the height of the damp-proof course and the cavity's width.
    "timber_mc_pct": ((14.0, 17.0, 18.5, 20.0, 22.0, 30.0),),
    "rh_mean_pct": ((52.0, 64.9, 65.0, 80.0),),
    "vent_free_area_ratio": ((150.0, 300.0, 301.0, 1000.0),),
    "ground_to_dpc_mm": ((200.0, 149.0, 10.0, -10.0),),
    "cavity_width_mm": ((75.0, 50.0, 49.0, 20.0),),
}

FOAM_DETAILS = (
    *("foam_type", "foam_density_kg_m3", "foam_location", "foam_substrate"),
    *("foam_thickness_mm", "foam_coverage_pct", "foam_defects", "foam_evidence"),
)
_FOAM = ("foam_present", *FOAM_DETAILS)
_ROOF_LAYERS = (
    *("roof_form", "roof_covering", "roof_underlay", "roof_deck", "roof_outer_class"),
    *("insulation_plane", "ceiling_insulation_mm", "interior_vapour_control"),
    *("vapour_diffusion_port", "foam_present", "foam_type", "foam_density_kg_m3"),
    *("foam_location", "foam_thickness_mm", "foam_defects"),
)
_WALL_LAYERS = (
    *("wall_construction", "wall_thickness_mm", "wall_finish_external"),
    *("wall_insulation_existing", "cavity_width_mm", "cavity_state"),
)
_PROPOSED = ("measure_material", "measure_thickness_mm")
# Layers, proposal, indoor air and climate: what a calculated quantity is calculated from.
_CALCULATED = (
    *(*_ROOF_LAYERS, *_WALL_LAYERS, "floor_construction"),
    *(*_PROPOSED, "high_moisture_use", "place"),
)
_FOAM_LAYERS = (*_PROPOSED, *_ROOF_LAYERS)
# What stands behind a quantity that a rule needs or that decides whether it applies (4.2).
_PLANE = ("insulation_plane", "foam_location", "ceiling_insulation_mm")
BEHIND: dict[str, tuple[str, ...]] = {
    "wall_face_condition": ("pointing_condition", "render_condition", "wall_finish_external"),
    "exposure_resolved": ("exposure_class",),
    "foam_now": _FOAM,
    "foam_in_roof": _FOAM,
    "foam_deck_top_only": ("foam_location",),
    "foam_measure": ("measure_material",),
    "foam_class_resolved": ("foam_type", "foam_density_kg_m3"),
    "foam_class_after": ("foam_type", "foam_density_kg_m3"),
    "plane_after": _PLANE,
    "vapour_control_after": ("interior_vapour_control",),
    "roof_outer_class_resolved": ("roof_outer_class", "roof_covering", "roof_underlay"),
    "low_slope": ("roof_form", "roof_pitch_deg"),
    "air_open_roof": ("roof_underlay", "roof_deck"),
    "cold_side": ("place",),
    "zone_num": ("place",),
    "rain_mm_year": ("place",),
    "foam_ratio": _FOAM_LAYERS,
    "foam_r_m2k_w": _FOAM_LAYERS,
    "foam_ratio_required": ("place",),
    "foam_r_required_m2k_w": ("place",),
    **dict.fromkeys(
        (
            *("monthly_method_valid", "condensate_peak_g_m2", "condensate_residual_g_m2"),
            *("interface_rh_screen_pct", "sheathing_mc_swing_pct", "sheathing_mc_max_pct"),
            *("drying_potential", "drying_loss_pct", "deck_coldest_month_c", "surface_factor"),
        ),
        _CALCULATED,
    ),
    "hourly_result_required": ("exposure_class",),
    "port_counts": ("vapour_diffusion_port",),
    "layer_enclosed": (*_PLANE, "floor_construction"),
    "interface_is_wood": (*_PLANE, "floor_construction", "roof_deck", "wall_construction"),
    # What the programme proposes is never a question of the survey.
    **dict.fromkeys(("measure_group", "measure_element", "tightening"), ()),
}
CALCULATED = tuple(name for name, behind in BEHIND.items() if behind in (_CALCULATED, _FOAM_LAYERS))


def fields_behind(names: tuple[str, ...]) -> tuple[str, ...]:
    """Everything to blank so that none of the names is known."""
    fields = [f for name in names for f in BEHIND.get(name, (name,))]
    assert all(f in CONTRACT.fields or f == "place" for f in fields), names
    return tuple(dict.fromkeys(fields))


def alone_behind(names: tuple[str, ...]) -> list[tuple[str, ...]]:
    """Each field behind a calculated quantity by itself: the others still bound the result."""
    return [(f,) for name in names if name in CALCULATED for f in BEHIND[name]]


def blanked(home: Home, fields: tuple[str, ...]) -> Home:
    """The home with these answers unknown; an unknown place is one that could not be found."""
    values: dict[str, Answer] = dict.fromkeys(fields)
    if "place" in values:
        values["place"] = "unplaced"
    return home.but(**values)


def presumable(group: str) -> dict[str, list[str]]:
    """Field -> texts of the checks that stand in for it, for a measure group."""
    found: dict[str, list[str]] = {}
    for item in POLICY.presumptions:
        if group in item.groups:
            found.setdefault(item.field, []).append(item.check)
    return found


def worse(home: Home, steps: int = 99) -> list[tuple[str, Answer, Home]]:
    """The home with one answer worse, for each answer that has a place in a chain."""
    found = []
    for name, chains in WORSE.items():
        for chain in chains:
            if home.answers(name) in chain:
                start = chain.index(home.answers(name)) + 1
                found += [(name, v, home.but(**{name: v})) for v in chain[start : start + steps]]
    return found


def older(home: Home, on: date) -> Home:
    """The home as surveyed on another day, readings included."""
    first = home.surveys[0].but(survey_date=on, mc_date=on)
    return replace(home, surveys=(first, *home.surveys[1:]))
