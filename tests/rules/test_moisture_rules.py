"""Which rule judges a build-up, and what the calculated quantities make of known cases.

The first part is the behaviour that the survey reference asks of the calculated rules (4.2 to 4.4:
R03, R04, R05, R07, R08, R09 with its hand-over where the monthly method cannot judge, M01, M03).
The second is the triage behaviour R1 to R6 of the durability reference, section 7.4 (its marks:
R1, R2 SEEN PCA1 and PCA2; R3 SEEN IMA; R4 SEEN RPSA; R5 SEEN PCA1; R6 SEEN RDH).
"""

from functools import cache
from typing import Any

import pytest
from rule_cases import FOAMED, HOMES
from rule_homes import REVIEW, SAFE, Answer, Home, judge

from triage.rules.codes import RESULT_WORDS

Facts = dict[str, Answer]
DECIDED = ("fires", "clear")
# Metal on a self-adhered membrane: nothing leaves outwards, whatever its class is recorded as.
METAL: Facts = {
    "place": "cold",
    "roof_covering": "metal_standing_seam",
    "roof_underlay": "self_adhered",
    "roof_deck": "plywood",
    "roof_outer_class": None,
}
OPEN_CELL: Facts = {"roof_deck": "plywood", "vapour_diffusion_port": "no"}
BRICK: Facts = {"measure_material": "spf_closed", "exposure_class": "severe"}

TOLD: dict[str, tuple[str, Facts]] = {
    "sealed, foam there": ("foam_under_roof", METAL),
    "sealed, foam proposed": ("rafter_closed_foam", METAL),
    "sealed, foam and wool": (
        "rafter_under_deck_foam",
        {**METAL, "foam_thickness_mm": 50.0, "measure_thickness_mm": 200.0},
    ),
    "sealed, thickness unknown": ("foam_under_roof", {**METAL, "foam_thickness_mm": None}),
    "open-cell, none": (
        "rafter_open_foam_warm",
        {**OPEN_CELL, "place": "cold", "interior_vapour_control": "none"},
    ),
    "open-cell, class 3": (
        "rafter_open_foam_warm",
        {**OPEN_CELL, "place": "cold", "interior_vapour_control": "class_3"},
    ),
    "open-cell, class 2": (
        "rafter_open_foam_warm",
        {**OPEN_CELL, "place": "cold", "interior_vapour_control": "class_2"},
    ),
    "open-cell, cold port": (
        "rafter_open_foam_warm",
        {**OPEN_CELL, "place": "cold", "vapour_diffusion_port": "yes"},
    ),
    "open-cell, port": (
        "rafter_open_foam_warm",
        {
            **OPEN_CELL,
            "place": "warm",
            "interior_vapour_control": "none",
            "vapour_diffusion_port": "yes",
            "void_conditioning": "no",
        },
    ),
    "open-cell, no port": (
        "rafter_open_foam_warm",
        {
            **OPEN_CELL,
            "place": "warm",
            "interior_vapour_control": "none",
            "void_conditioning": "no",
        },
    ),
    "brick, cold": ("inside_wall", {**BRICK, "place": "cold"}),
    "brick, open foam": (
        "inside_wall",
        {**BRICK, "place": "cold", "measure_material": "spf_open"},
    ),
    "loft": ("loft", {}),
    "loft, layers unknown": ("loft", {"roof_underlay": None, "interior_vapour_control": None}),
    "metal, underlay unknown": (
        "over_deck",
        {"roof_covering": "metal_standing_seam", "roof_underlay": None},
    ),
    "slate, underlay unknown": ("rafter_under_foam", {"roof_underlay": None}),
    "low slope, foam below": (
        "foam_under_roof",
        {"roof_form": "low_slope_cold", "roof_pitch_deg": 3.0},
    ),
    "foam": ("foam_under_roof", {}),
    "foam, old ceiling": ("foam_under_roof", {"ceiling_insulation_mm": 100.0}),
    "foam, timber unread": (
        "foam_under_roof",
        {
            "timber_mc_pct": None,
            "timber_decay_grade": None,
            "access_limits": ["foam_covered"],
        },
    ),
    "felt, no papers": (
        "foam_under_roof",
        {"foam_substrate": "felt_hr", "foam_evidence": ["none_found"]},
    ),
    "felt, papers": ("foam_under_roof", {"foam_substrate": "felt_hr"}),
    "gap, membrane": (
        "foam_under_roof",
        {
            "foam_type": "open_cell",
            "foam_thickness_mm": 150.0,
            "foam_location": ["between_rafters_gap"],
            "foam_substrate": "membrane_lr",
            "interior_vapour_control": "class_2",
        },
    ),
}
_SLATES: Facts = {"foam_location": ["underside_covering"], "foam_substrate": "slate_tile"}
TOLD |= {
    f"slates, {name}, {mc} %": (name, {**_SLATES, "timber_mc_pct": mc})
    for name in ("foam_under_roof", "rafter_under_foam", "loft_gable_foam")
    for mc in (8.0, 14.0, 19.0)
}


@cache
def _judged() -> dict[str, tuple[Home, dict[str, Any], dict[str, str], dict[str, Any]]]:
    homes = [HOMES[name].but(**facts) for name, facts in TOLD.values()]
    judged = judge(homes)
    found = {}
    for number, (label, home) in enumerate(zip(TOLD, homes, strict=True)):
        own = judged.whole.quantities.filter(
            property_id=f"H{number:06d}", measure_code=home.measure
        )
        answers = {
            rule: RESULT_WORDS[code]
            for rule, code in judged.answers()[number].items()
            if isinstance(code, int) and rule[0].isupper()
        }
        found[label] = (home, judged.rows()[number], answers, own.row(0, named=True))
    return found


def _row(label: str) -> dict[str, Any]:
    return _judged()[label][1]


def _answer(label: str, rule: str) -> str:
    return _judged()[label][2][rule]


def _quantity(label: str, name: str) -> object:
    return _judged()[label][3][name]


@pytest.mark.parametrize(
    "label", ["sealed, foam there", "sealed, foam proposed", "sealed, foam and wool"]
)
def test_a_roof_sealed_outside_is_not_judged_by_the_monthly_method(label: str) -> None:
    assert _quantity(label, "monthly_method_valid") is False
    assert _quantity(label, "condensate_peak_g_m2") is None
    assert (_answer(label, "R09"), _answer(label, "R10")) == ("not_applicable", "not_applicable")
    # Ratio, swing and what the board takes up decide in its place, and closed-cell foam under a
    # class 1 face in the cold asks for a look.
    assert _answer(label, "R03") == "fires"
    for rule in ("R07", "R08q", "R09d"):
        assert _answer(label, rule) in DECIDED, rule
    assert _row(label)["queue"] == REVIEW


def test_foam_under_a_sealed_face_waits_for_an_inspection() -> None:
    assert _row("sealed, foam there")["lane"] == "inspection"


def test_the_share_of_foam_is_judged_under_a_sealed_face_too() -> None:
    # 50 mm: 1.92; 200 mm of wool: 5.26; share 0.27 under 0.50 of zone 6. All foam: share 1.
    assert _quantity("sealed, foam and wool", "foam_ratio") == pytest.approx(0.268, abs=1e-3)
    assert _answer("sealed, foam and wool", "R07") == "fires"
    assert _answer("sealed, foam proposed", "R07") == "clear"


def test_a_thickness_of_foam_is_never_guessed() -> None:
    for rule in ("R07", "R08q", "R09d"):
        assert _answer("sealed, thickness unknown", rule) == "undecidable"
    assert _quantity("sealed, thickness unknown", "sheathing_mc_swing_pct") is None


@pytest.mark.parametrize("label", ["open-cell, none", "open-cell, class 3"])
def test_open_cell_foam_without_a_retarder_fires_in_the_cold(label: str) -> None:
    assert _answer(label, "R04") == "fires"
    assert _answer(label, "R09") == "fires"  # the calculation agrees with the rule of thumb
    assert _row(label)["queue"] == REVIEW


def test_a_retarder_lessens_what_condenses() -> None:
    labels = ("open-cell, class 2", "open-cell, class 3", "open-cell, none")
    peaks = [_quantity(label, "condensate_peak_g_m2") for label in labels]
    assert peaks == sorted(peaks)  # type: ignore[type-var]
    assert peaks[0] != peaks[2]
    assert _answer(labels[0], "R04") == "clear"


def test_a_port_in_a_warm_zone_lets_open_cell_foam_pass() -> None:
    assert _row("open-cell, port")["queue"] == SAFE
    assert "R05" in _row("open-cell, no port")["fired"]


def test_a_port_outside_its_zones_hides_no_condensate() -> None:
    # Ports are for zones 1 to 3 (SEEN B07): in zone 6 a recorded one answers nothing.
    assert "R09" in _row("open-cell, class 2")["fired"]
    assert _row("open-cell, cold port")["queue"] == REVIEW


def test_tight_foam_inside_exposed_brick_fires_on_drying_and_frost() -> None:
    assert {"M01", "M03", "M04"} <= set(_row("brick, cold")["fired"])
    assert _answer("brick, cold", "R09") == "not_applicable"  # masonry that takes up rain
    # Frost hangs on the wall and its weather; drying also on what is put inside it.
    assert _answer("brick, open foam", "M01") == "fires"
    lost = [_quantity(label, "drying_loss_pct") for label in ("brick, cold", "brick, open foam")]
    assert lost[0] > lost[1]  # type: ignore[operator]


def test_insulation_inside_brings_frost_deeper_into_the_wall() -> None:
    before = _quantity("brick, cold", "frost_depth_before_mm")
    assert _quantity("brick, cold", "frost_depth_after_mm") > before  # type: ignore[operator]


@pytest.mark.parametrize("label", ["loft", "loft, layers unknown"])
def test_a_vented_loft_with_ceiling_insulation_clears(label: str) -> None:
    row = _row(label)
    assert (row["queue"], row["fired"], row["missing"]) == (SAFE, [], [])
    assert _quantity(label, "condensate_peak_g_m2") == 0.0
    assert _quantity(label, "monthly_method_valid") is True


def test_an_unknown_underlay_that_decides_nothing_is_not_asked_for() -> None:
    # Under metal every underlay leaves the face class 1.
    label = "metal, underlay unknown"
    assert _quantity(label, "monthly_method_valid") is False
    assert _quantity(label, "moisture_missing") is None
    assert (_row(label)["queue"], _row(label)["missing"]) == (SAFE, [])


def test_an_unknown_underlay_that_decides_is_asked_for() -> None:
    # Under slates it is the difference between a face open to vapour and one of class 1.
    label = "slate, underlay unknown"
    assert _quantity(label, "monthly_method_valid") is None
    assert "roof underlay" in str(_quantity(label, "moisture_missing"))
    assert _answer(label, "R09") == "undecidable"
    assert (_row(label)["lane"], _row(label)["missing"]) == ("evidence_gap", ["roof_underlay"])


@pytest.mark.parametrize("label", [label for label in TOLD if label.startswith("slates")])
def test_foam_on_slates_is_never_safe_to_insulate(label: str) -> None:  # R1
    row = _row(label)
    assert row["queue"] == REVIEW
    # A layer at the ceiling under it makes two planes of it (F07).
    assert ("F07" if "loft" in label else "R01") in row["fired"]


def test_foam_on_a_gap_with_papers_is_the_least_of_the_foam_risks() -> None:  # R2
    least = _row("gap, membrane")
    assert (least["fired"], least["lane"]) == ([], "inspection")
    others = [label for label, (name, _) in TOLD.items() if name == FOAMED.name]
    assert all(_severity(label) >= _severity("gap, membrane") for label in others)


def test_papers_lessen_the_risk_of_foam_on_felt() -> None:  # R3
    assert {"R02", "F05"} <= set(_row("felt, no papers")["fired"])
    assert "R02" in _row("felt, papers")["fired"]
    assert set(_row("felt, papers")["fired"]) < set(_row("felt, no papers")["fired"])


def test_timber_that_nobody_read_or_saw_is_inspected_not_dry() -> None:  # R4
    row = _row("foam, timber unread")
    assert (row["queue"], row["lane"]) == (REVIEW, "inspection")
    assert _answer("foam, timber unread", "W09") == "undecidable"


def test_old_ceiling_insulation_left_under_foam_ranks_no_lower() -> None:  # R5
    assert "F07" in _row("foam, old ceiling")["fired"]
    assert _severity("foam, old ceiling") >= _severity("foam")


def test_foam_below_a_low_slope_deck_is_flagged() -> None:  # R6
    assert _answer("low slope, foam below", "R13") == "fires"
    assert _answer("foam", "R13") == "clear"


def _severity(label: str) -> int:
    return int(_row(label)["severity"] or 0)
