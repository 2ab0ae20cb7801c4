"""Quantities that the rules name, by hand from survey dictionary 4.2 and dry run H2, H9, Q7."""

from datetime import date

import pytest
from rule_cases import HOMES
from rule_homes import POLICY, Answer, judge

Facts = dict[str, Answer]
NO_FOAM: Facts = {"foam_present": None}
Row = tuple[str, Facts, object]


def _check(quantity: str, rows: list[Row]) -> None:
    homes = [HOMES[name].but(**facts) for name, facts, _ in rows]
    judged = judge(homes)
    table = judged.whole.quantities
    for number, ((name, facts, expected), home) in enumerate(zip(rows, homes, strict=True)):
        own = table.filter(property_id=f"H{number:06d}", measure_code=home.measure)
        assert own[quantity].to_list() == [expected], (quantity, name, facts)


def test_foam_is_there_when_anything_says_so() -> None:
    _check(
        "foam_now",
        [
            ("loft", {}, False),
            ("loft", {"foam_present": "suspected"}, True),
            ("loft", {"foam_present": "yes"}, True),
            ("loft", NO_FOAM, None),  # a missing answer is unknown, not no (5.4)
            ("loft", {**NO_FOAM, "foam_type": "open_cell"}, True),
            ("loft", {"foam_present": "no", "foam_thickness_mm": 60.0}, True),
            ("loft", {**NO_FOAM, "foam_location": ["gable_wall"]}, True),
        ],
    )


def test_foam_on_the_deck_or_the_walls_is_not_in_the_roof() -> None:
    _check(
        "foam_in_roof",
        [
            ("foam_under_roof", {}, True),
            ("foam_under_roof", {"foam_location": None}, True),
            ("foam_under_roof", {"foam_location": ["deck_top"]}, False),
            ("foam_under_roof", {"foam_location": ["wall_internal", "floor_underside"]}, False),
            ("foam_under_roof", {"foam_location": ["deck_top", "underside_deck"]}, True),
            ("loft", {}, False),
            ("loft", NO_FOAM, None),
        ],
    )


def test_a_weighed_sample_outranks_the_recorded_type() -> None:
    # Open-cell near 8 kg/m3 (B08), closed-cell near 32 (B06), roofing foam 40 to 64 (B09).
    _check(
        "foam_class_resolved",
        [
            ("foam_under_roof", {}, "closed_cell"),
            ("foam_under_roof", {"foam_density_kg_m3": 8.0}, "open_cell"),
            (
                "foam_under_roof",
                {"foam_type": "open_cell", "foam_density_kg_m3": 32.0},
                "closed_cell",
            ),
            ("foam_under_roof", {"foam_type": None}, None),
            ("foam_under_roof", {"foam_type": None, "foam_density_kg_m3": 20.0}, None),
            ("foam_under_roof", {"foam_type": "mixed", "foam_density_kg_m3": 32.0}, "mixed"),
            (
                "foam_on_deck",
                {"foam_type": None, "foam_density_kg_m3": 48.0},
                "closed_cell_roofing",
            ),
        ],
    )


def test_the_foam_class_is_the_one_after_the_measure() -> None:
    under: Facts = {"measure_material": "spf_open"}
    _check(
        "foam_class_after",
        [
            ("rafter", {}, "none"),
            ("rafter", {"measure_material": "spf_open"}, "open_cell"),
            ("rafter_closed_foam", {}, "closed_cell"),
            ("rafter_under_foam", {}, "closed_cell"),
            ("rafter_under_foam", under, "mixed"),
            ("rafter", {"measure_material": None}, None),
            ("loft", {}, "none"),
        ],
    )


def test_the_plane_is_the_one_after_the_measure() -> None:
    bare: Facts = {"insulation_plane": "none", "ceiling_insulation_mm": 0.0}
    foamed: Facts = {"foam_location": ["underside_deck"]}
    _check(
        "plane_after",
        [
            ("loft", bare, "ceiling"),  # H2: an uninsulated loft that gets a ceiling layer
            ("loft_gable_foam", foamed, "mixed"),  # H2: a ceiling layer under rafter foam
            ("loft", {"insulation_plane": "rafter_unvented"}, "mixed"),
            ("rafter", bare, "rafter_ventilated"),
            ("rafter_closed_foam", bare, "rafter_unvented"),  # H2: foam proposed on a bare deck
            ("rafter_closed_foam", {"ceiling_insulation_mm": 50.0}, "mixed"),
            ("over_deck", {"insulation_plane": "none"}, "above_deck"),
            ("over_deck", {"insulation_plane": "ceiling"}, "mixed"),
            ("foam_under_roof", {}, "rafter_unvented"),
            ("foam_under_roof", {"ceiling_insulation_mm": 50.0}, "mixed"),
            ("foam_under_roof", {"foam_location": ["between_rafters_gap"]}, "rafter_ventilated"),
            ("air", {"insulation_plane": "ceiling"}, "ceiling"),
        ],
    )


def test_foam_proposed_without_an_inner_layer_has_none() -> None:
    _check(
        "vapour_control_after",
        [
            ("rafter_open_foam_warm", {"interior_vapour_control": None}, "none"),
            ("rafter_open_foam_warm", {"interior_vapour_control": "class_2"}, "class_2"),
            ("foam_under_roof", {"interior_vapour_control": None}, None),
        ],
    )


def test_the_outer_class_is_recorded_or_follows_from_the_layers() -> None:
    def roof(covering: Answer, underlay: Answer, recorded: Answer = None) -> Facts:
        return {
            "roof_covering": covering,
            "roof_underlay": underlay,
            "roof_outer_class": recorded,
        }

    _check(
        "roof_outer_class_resolved",
        [
            ("loft", roof("metal_standing_seam", None), "class_1"),
            ("loft", roof("membrane_single_ply", "membrane_lr"), "class_1"),
            ("loft", roof("slate_natural", "self_adhered"), "class_1"),
            ("loft", roof("slate_natural", "felt_bitumen_hr"), "class_2"),
            ("loft", roof("tile_plain", "torching"), "open"),
            ("loft", roof("slate_natural", None), None),
            ("loft", roof("other", "boards"), None),
            ("loft", roof("slate_natural", "self_adhered", "class_3"), "class_3"),
        ],
    )


def test_the_wall_face_is_the_one_that_the_finish_calls_for() -> None:
    def face(finish: Answer, pointing: Answer, render: Answer) -> Facts:
        return {
            "wall_finish_external": finish,
            "pointing_condition": pointing,
            "render_condition": render,
        }

    _check(
        "wall_face_condition",
        [
            ("cavity", face("bare", "fair", None), "fair"),
            ("cavity", face("bare", None, "good"), None),
            ("cavity", face("render_lime", None, "fair"), "fair"),
            ("cavity", face("render_cement", "good", None), None),
            ("cavity", face("tile_hung", None, None), "not_applicable"),
            ("cavity", face(None, "good", None), None),  # nobody said what the face is
            ("cavity", face(None, "good", "not_applicable"), "good"),
            ("cavity", face(None, None, "hollow"), "hollow"),  # adverse is enough
        ],
    )


def test_a_roof_is_low_slope_by_form_or_by_pitch() -> None:
    _check(
        "low_slope",
        [
            ("loft", {}, False),
            ("loft", {"roof_form": "low_slope_cold", "roof_pitch_deg": None}, True),
            ("loft", {"roof_form": "mixed", "roof_pitch_deg": None}, True),
            ("loft", {"roof_pitch_deg": 9.9}, True),
            ("loft", {"roof_pitch_deg": 10.0}, False),
            ("loft", {"roof_form": None, "roof_pitch_deg": None}, None),
            ("loft", {"roof_form": "none_above", "roof_pitch_deg": 3.0}, False),
        ],
    )


def test_the_cold_side_decides_within_a_tenth_of_the_line() -> None:
    # 4.2: near the line within 10 % of 3000 K.day; H9: then both sides are judged.
    _check(
        "cold_side",
        [
            ("loft", {"place": "mild"}, False),  # zone 4, 2400 K.day
            ("loft", {"place": "line"}, True),  # zone 4, 3200 K.day
            ("loft", {"place": "cold"}, True),
            ("loft", {"place": "unplaced"}, None),
        ],
    )


def test_exposure_is_recorded_or_computed() -> None:
    _check(
        "exposure_resolved",
        [
            ("cavity", {"exposure_class": "very_severe"}, "very_severe"),
            ("cavity", {"exposure_class": None}, "moderate"),
            ("cavity", {"exposure_class": None, "place": "exposed"}, "severe"),
            ("cavity", {"exposure_class": None, "place": "unplaced"}, None),
        ],
    )


@pytest.mark.parametrize(
    ("year", "band", "before"),
    [
        (1999, None, True),
        (2000, None, False),
        (None, "H", True),  # before 1996
        (None, "I", None),  # 1996 to 2002 tells nothing
        (None, "J", False),
        (None, None, None),
        (2004, "A", False),
    ],
)
def test_the_year_or_else_the_band_tells_the_age(
    year: int | None, band: str | None, before: bool | None
) -> None:
    _check("built_before_2000", [("loft", {"year_built": year, "age_band": band}, before)])


def test_humid_use_gives_a_class_that_never_decides_alone() -> None:
    _check(
        "humidity_class",
        [
            ("loft", {}, 3),
            ("loft", {"high_moisture_use": ["laundry"]}, 4),
            ("loft", {"high_moisture_use": ["laundry", "pool"]}, 5),  # a pool is class 5 (6.5)
            ("loft", {"high_moisture_use": None}, None),
        ],
    )


def test_the_season_is_that_of_the_reading() -> None:
    # The wetting half-year of the north: October to March.
    _check(
        "mc_season",
        [
            ("loft", {"mc_date": date(2026, 3, 31)}, "wetting"),
            ("loft", {"mc_date": date(2026, 4, 1)}, "drying"),
            ("loft", {"mc_date": date(2025, 9, 30)}, "drying"),
            ("loft", {"mc_date": date(2025, 10, 1)}, "wetting"),
            ("loft", {"mc_date": None, "survey_date": date(2026, 7, 1)}, "drying"),
        ],
    )


def test_timber_is_sound_at_the_clear_level_of_its_season() -> None:
    # 4.1: 18 % in the wetting half-year, 16 % in the drying one; d0 and d1 by probe (N2).
    summer, winter = {"mc_date": date(2026, 7, 1)}, {"mc_date": date(2026, 2, 1)}
    ungraded: Facts = {"timber_decay_grade": None}
    _check(
        "timber_seen_sound",
        [
            ("loft", {**ungraded, **winter, "timber_mc_pct": 18.0}, True),
            ("loft", {**ungraded, **winter, "timber_mc_pct": 18.1}, False),
            ("loft", {**ungraded, **summer, "timber_mc_pct": 16.0}, True),
            ("loft", {**ungraded, **summer, "timber_mc_pct": 16.1}, False),
            ("loft", {"timber_mc_pct": None, "timber_decay_grade": "d1"}, True),
            ("loft", {"timber_mc_pct": None, "timber_decay_grade": None}, False),
            ("loft", {"visible_mould": "void_only"}, False),
        ],
    )


def test_what_was_seen_and_what_was_not() -> None:
    _check("void_seen", [("loft", {}, True), ("loft", {"roof_leak_evidence": None}, False)])
    _check(
        "void_seen_dry",
        [
            ("loft", {"roof_leak_evidence": "historic"}, True),
            ("loft", {"roof_leak_evidence": "recent"}, False),
            ("loft", {"survey_reach_inside": "internal"}, False),  # not seen from the rooms
        ],
    )
    _check(
        "void_fabric_seen",
        [
            ("loft", {**NO_FOAM}, True),
            ("loft", {**NO_FOAM, "roof_underlay": None, "roof_deck": None}, False),
            ("loft", {"foam_present": "yes"}, False),
            ("loft", {**NO_FOAM, "access_limits": ["foam_covered"]}, False),
        ],
    )
    unwalked: Facts = dict.fromkeys(("visible_mould", "wall_damp_evidence", "extract_bathroom"))
    _check("rooms_walked", [("loft", {}, True), ("loft", unwalked, False)])
    _check(
        "fans_ducted_or_none",
        [
            ("loft", {}, True),
            ("loft", {"extract_bathroom": "window_only"}, True),
            ("loft", {"extract_bathroom": "not_working"}, False),
            ("loft", {"extract_kitchen": None}, False),
        ],
    )
    _check(
        "is_dwelling",
        [
            ("loft", {"property_type": "large_block"}, True),
            ("loft", {"property_type": "non_dwelling"}, False),
            ("loft", {"property_type": None}, False),
        ],
    )


def test_nothing_counts_as_opened_before_there_are_opening_records() -> None:
    _check("opened_recently", [("foam_under_roof", {"survey_reach_inside": "opened_up"}, False)])


def test_every_quantity_of_the_pack_is_computed_or_waits() -> None:
    table = judge([HOMES["loft"]]).whole.quantities
    absent = [name for name in POLICY.quantities if name not in table.columns]
    assert [name for name in absent if POLICY.quantities[name].awaits is None] == []
