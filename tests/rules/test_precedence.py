"""Which queue and lane wins (survey dictionary 5.2 and 5.3; dry run D5, D7, 6.5)."""

import pytest
from rule_cases import FOAMED
from rule_homes import BASES, FIX, HELD, REVIEW, SAFE, Answer, judge, judge_one

LOFT, RAFTER, CAVITY = BASES["loft"], BASES["rafter"], BASES["cavity"]
LEAK: dict[str, Answer] = {"roof_leak_evidence": "active"}
# A fault of each kind for a rafter measure: rules W01, R13, S02, and an unknown mould.
SLOPE: dict[str, Answer] = {"roof_form": "low_slope_cold", "roof_pitch_deg": 3.0}
WIRES: dict[str, Answer] = {"wiring_hazard": "knob_and_tube"}
GAP: dict[str, Answer] = {"visible_mould": None}


ORDER: list[tuple[dict[str, Answer], str, str | None, str | None]] = [
    ({}, SAFE, None, None),
    (GAP, REVIEW, "evidence_gap", "V04"),
    (WIRES, REVIEW, "safety", "S02"),
    ({**WIRES, **GAP}, REVIEW, "safety", "S02"),
    (SLOPE, REVIEW, "technical", "R13"),
    ({**SLOPE, **WIRES, **GAP}, REVIEW, "technical", "R13"),
    (LEAK, FIX, None, "W01"),
    ({**LEAK, **GAP}, FIX, None, "W01"),
    ({**LEAK, **WIRES, **SLOPE, **GAP}, FIX, None, "W01"),
]


def test_repair_before_review_before_gaps_before_safe() -> None:
    rows = judge([RAFTER.but(**faults) for faults, *_ in ORDER]).rows()
    for (faults, *expected), row in zip(ORDER, rows, strict=True):
        assert [row["queue"], row["lane"], row["main_rule"]] == expected, faults


def test_open_review_reasons_travel_with_a_repair() -> None:
    row = judge_one(RAFTER.but(**LEAK, **SLOPE))
    assert (row["queue"], row["fired"]) == (FIX, ["W01", "R13"])


_FAILING: dict[str, Answer] = {
    "foam_location": ["underside_covering"],
    "roof_covering_condition": "failed",
}


BEFORE_REPAIR = [
    (LOFT.but(**LEAK, heritage_status="listed"), "M09h"),
    (CAVITY.but(wall_damp_evidence="ground", construction_system="steel_frame"), "M09"),
    (LOFT.but(**LEAK, asbestos_status="present"), "S01"),
    (LOFT.but(**LEAK, protected_species="evidence"), "S05"),
    (LOFT.but(**LEAK, roof_structure_concern="severe"), "S06"),
    (BASES["over_deck_foam_below"].but(**_FAILING, foam_substrate="slate_tile"), "F06"),
    (BASES["over_deck_foam_below"].but(**_FAILING, roof_structure_concern="concern"), "F06"),
]


def test_some_reviews_come_before_repair() -> None:
    rows = judge([home for home, _ in BEFORE_REPAIR]).rows()
    for (_, first), row in zip(BEFORE_REPAIR, rows, strict=True):
        assert row["queue"] == REVIEW, first
        assert first in row["fired"]
        assert row["lane"] == ("safety" if first.startswith("S") else "technical")


def test_foam_behind_a_failing_covering_is_repaired_where_nothing_is_bonded() -> None:
    row = judge_one(BASES["over_deck_foam_below"].but(**_FAILING))
    assert (row["queue"], row["main_rule"]) == (FIX, "F06")


@pytest.mark.parametrize("hazard", [{"wiring_hazard": "perished"}, {"flue_clearance": "short"}])
def test_other_hazards_do_not_hold_a_repair_but_stay_on_it(hazard: dict[str, Answer]) -> None:
    row = judge_one(LOFT.but(**LEAK, **hazard))
    assert row["queue"] == FIX
    assert [flag for flag in row["stop_work"] if flag.endswith(": known")]


HAZARDS: dict[str, dict[str, Answer]] = {
    "asbestos": {"asbestos_status": "present"},
    "electrical": {"wiring_hazard": "overheating"},
    "flue": {"flue_clearance": "short"},
    "protected species": {"protected_species": "evidence"},
    "structure": {"roof_structure_concern": "concern"},
}
QUEUES: dict[str, dict[str, Answer]] = {
    "alone": {},
    "repair": LEAK,
    "review": {"high_moisture_use": ["pool"]},
    "gap": {"visible_mould": None},
}


def test_a_known_hazard_is_flagged_whatever_the_queue() -> None:
    pairs = [(hazard, queue) for hazard in HAZARDS for queue in QUEUES]
    rows = judge([LOFT.but(**HAZARDS[hazard], **QUEUES[queue]) for hazard, queue in pairs]).rows()
    for (hazard, queue), row in zip(pairs, rows, strict=True):
        assert f"{hazard}: known" in row["stop_work"], queue
        assert row["queue"] != SAFE
        assert not row["released"]


def test_an_unknown_hazard_changes_no_queue_and_holds_the_release() -> None:
    row = judge_one(LOFT.without("wiring_hazard", "flue_clearance", "protected_species"))
    assert (row["queue"], row["released"]) == (SAFE, False)
    assert set(row["stop_work"]) == {
        "electrical: to be checked",
        "flue: to be checked",
        "protected species: to be checked",
    }


@pytest.mark.parametrize(
    ("change", "why"),
    [
        ({"chimney_condition": None}, "checks"),  # a presumption
        ({"ceiling_air_seal": "open"}, "enabling"),  # N1
        ({"wiring_hazard": None}, "stop_work"),
    ],
)
def test_safe_is_not_released_while_something_is_outstanding(
    change: dict[str, Answer], why: str
) -> None:
    assert judge_one(LOFT)["released"]
    row = judge_one(LOFT.but(**change))
    assert (row["queue"], row["released"]) == (SAFE, False)
    assert row[why]


def test_only_safe_rows_are_released() -> None:
    for home in (LOFT.but(**LEAK), LOFT.but(**GAP), FOAMED):
        assert not judge_one(home)["released"]


def test_foam_rows_go_to_inspection_until_it_is_shown_dry() -> None:
    row = judge_one(FOAMED)
    assert (row["queue"], row["lane"]) == (REVIEW, "inspection")
    assert judge_one(FOAMED.but(**LEAK))["queue"] == FIX
    cracked = judge_one(FOAMED.but(foam_defects=["crack"]))
    assert (cracked["queue"], cracked["lane"]) == (REVIEW, "inspection")


def test_sound_roofing_foam_meets_its_clearance() -> None:
    deck = BASES["foam_on_deck"]
    assert judge_one(deck)["queue"] == SAFE  # R14
    unsurveyed = judge_one(deck.but(deck_moisture_survey="not_done"))
    assert (unsurveyed["queue"], unsurveyed["lane"]) == (REVIEW, "inspection")
    assert judge_one(deck.but(roofing_foam_coating_condition="failed"))["queue"] == FIX


def test_a_right_port_clears_the_want_of_an_outlet_and_nothing_else() -> None:
    warm = BASES["rafter_open_foam_warm"].but(void_conditioning="no")
    assert judge_one(warm)["queue"] == SAFE  # R06 met
    assert judge_one(warm.but(vapour_diffusion_port="no"))["fired"] == ["R05"]
    no_photo = judge_one(warm.but(vapour_diffusion_port="wrong_detail", photo_refs=None))
    assert no_photo["fired"] == ["R05"]
    for fault, rule in (
        (LEAK, "W01"),
        ({"roof_underlay": "none"}, "R01"),
        ({"exhaust_into_void": "yes"}, "R12"),
    ):
        assert judge_one(warm.but(**fault))["fired"] == [rule]


def test_a_met_clearance_never_clears_a_water_rule() -> None:
    deck = BASES["foam_on_deck"]
    for fault, rule in (
        ({"roof_leak_evidence": "recent"}, "W01"),
        ({"gutter_condition": "failed"}, "W04"),
        ({"parapet_condition": "poor"}, "W06"),
    ):
        row = judge_one(deck.but(**fault))
        assert (row["queue"], row["fired"]) == (FIX, [rule])


def test_a_clearance_that_is_not_answered_is_a_gap_and_one_not_met_a_review() -> None:
    foam = BASES["roofing_foam"]
    open_row = judge_one(foam.without("deck_moisture_survey"))
    assert (open_row["queue"], open_row["lane"]) == (REVIEW, "evidence_gap")
    assert open_row["missing"] == ["deck_moisture_survey"]
    unmet = judge_one(foam.but(roof_drainage="no_fall"))
    assert (unmet["queue"], unmet["lane"]) == (REVIEW, "technical")


def test_every_foamed_part_gets_a_row_of_its_own() -> None:
    # Dry run H8: an AIR measure in a home with foam under the roof says nothing of the foam.
    foamed = BASES["air"].but(**{k: v for k, v in FOAMED.facts.items() if k.startswith("foam_")})
    queue = judge([foamed, BASES["air"]]).whole.queue
    assert queue["measure_code"].to_list() == ["air_sealing", "foam_check", "air_sealing"]


def test_nobody_is_sent_to_look_for_what_could_not_change_the_queue() -> None:
    row = judge_one(LOFT.but(**LEAK, visible_mould=None))
    assert row["missing"] == []  # 5.4


def test_an_absent_gutter_is_a_fault_only_where_it_rains() -> None:
    bare = LOFT.but(gutter_condition="absent")
    assert judge_one(bare)["fired"] == ["W04"]
    assert judge_one(bare.but(place="arid"))["queue"] == SAFE
    assert judge_one(bare.but(place="unplaced"))["fired"] == ["W04"]


def test_a_home_near_the_cold_line_is_judged_as_cold() -> None:
    home, held = HELD["rafter_closed_foam"]
    closed = home.but(roof_outer_class="class_1")
    assert held == "R10 M03"  # under a class 1 face R09d takes the place of R10
    assert judge_one(closed)["fired"] == ["R09d", "M03"]
    assert judge_one(closed.but(place="line"))["fired"] == ["R03", "R09d", "M03"]


def test_an_unplaced_home_waits_where_climate_decides() -> None:
    row = judge_one(BASES["inside_wall"].but(place="unplaced"))
    assert (row["queue"], row["lane"]) == (REVIEW, "evidence_gap")  # E04
    assert judge_one(LOFT.but(place="unplaced"))["queue"] == SAFE  # nothing of climate is needed
