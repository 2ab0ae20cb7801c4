"""Which layers count, where the monthly table looks, and where the method cannot judge.

Expected answers: the scope of ISO 13788 (SEEN S30) as the project's references put it (climate and
codes 4.3, job and survey 4.2), and the acceptance roofs of the calculation's brief.
"""

import pytest
from layer_stacks import BRICK, FOAMED, LOFT, frame_of, layer, stack, told

from triage.assemblies.layers import build_ups
from triage.contract.assemblies import load_library

SHINGLES = {
    **FOAMED,
    "foam_class": "open_cell",
    "foam_thickness_mm": 200.0,
    "roof_covering": "shingle_asphalt",
    "roof_underlay": "paper_15_30",
    "roof_deck": "osb",
}


def test_a_roof_sealed_outside_is_not_for_the_monthly_method() -> None:
    # Metal over a bonded sheet, plywood, closed-cell foam.
    assert "vapour-tight" in (told(FOAMED, "invalid") or "")
    got = stack(FOAMED)
    assert layer(got, "covering")[1] >= 1000.0
    assert layer(got, "deck")[1] == pytest.approx(200 * 0.015)  # plywood dry, on the outer side
    assert got.slots[got.deck_slot[0]] == "deck"
    assert got.deck_kg_m2[0] == pytest.approx(500 * 0.015)
    assert got.critical[0] == got.deck_slot[0] + 0.5
    assert got.watch[0] == got.deck_slot[0] + 1
    assert got.described["watch_name"].item() == "inner face of the deck"


def test_open_cell_under_shingles_and_paper_is_for_the_monthly_method() -> None:
    assert told(SHINGLES, "invalid") is None
    assert told(SHINGLES, "missing") is None
    got = stack(SHINGLES)
    # Shingles 2.0, paper 0.7, board 50 x 0.011 dry: class 3 outside the foam, without the deck.
    outer = [layer(got, slot)[1] for slot in ("covering", "underlay", "deck")]
    assert outer == pytest.approx([2.0, 0.7, 0.55])
    assert layer(got, "foam") == pytest.approx((5.0, 0.60))
    assert got.r_se[0] == 0.04


def test_a_ventilated_loft_drops_what_lies_outside_its_air() -> None:
    got = stack(LOFT)
    assert told(LOFT, "invalid") is None
    assert [layer(got, slot) for slot in ("covering", "underlay", "deck")] == [(0.0, 0.0)] * 3
    assert got.r_se[0] == got.r_si[0] == 0.10
    assert got.slots[got.watch[0]] == "ceiling_over"
    assert got.deck_slot[0] == got.critical[0] == -1
    assert got.described["covering"].item() is None


@pytest.mark.parametrize(
    ("change", "reason"),
    [
        ({"vapour_diffusion_port": "yes"}, "port"),
        ({"foam_cracked": True}, "cracks"),
        ({"foam_thickness_mm": 50.0}, "lets air through"),  # under 76 mm no open-cell product
        ({"foam_thickness_mm": 100.0}, "some products only"),  # 76 to 140 mm by product
        ({"foam_thickness_mm": 140.0}, None),
        ({"roof_covering": "felt_built_up"}, "vapour-tight"),
        ({"roof_underlay": "self_adhered"}, "vapour-tight"),
        ({"roof_underlay": "felt_bitumen_hr"}, None),
        ({"roof_outer_class": "class_1"}, "vapour-tight"),
        ({"roof_outer_class": "class_2"}, None),
    ],
)
def test_what_a_roof_cannot_be_judged_for(change: dict[str, object], reason: str | None) -> None:
    got = told({**SHINGLES, **change}, "invalid")
    assert got is None if reason is None else reason in (got or "")


def test_a_port_in_a_ventilated_loft_is_no_matter() -> None:
    assert told({**LOFT, "vapour_diffusion_port": "yes"}, "invalid") is None


@pytest.mark.parametrize(
    ("change", "reason"),
    [
        ({}, "takes up rain"),
        ({"wall_finish_external": "paint_film"}, "stores moisture"),
        ({"wall_construction": "stone_soft", "wall_thickness_mm": 500.0}, "takes up rain"),
        ({"measure_group": "EWI"}, None),
        (
            {
                "measure_group": "CWI",
                "wall_construction": "cavity_brick",
                "cavity_width_mm": 65.0,
                "measure_material": "eps_bead",
            },
            "takes up rain",
        ),
        ({"wall_construction": "frame_clad", "wall_finish_external": "cladding_direct"}, None),
        ({"wall_construction": "steel_clad"}, "vapour-tight"),
    ],
)
def test_what_a_wall_cannot_be_judged_for(change: dict[str, object], reason: str | None) -> None:
    case = {**BRICK, **change}
    assert told(case, "missing") is None
    got = told(case, "invalid")
    assert got is None if reason is None else reason in (got or "")


def test_bare_brick_without_insulation_can_be_judged_today() -> None:
    assert told(BRICK, "invalid", "before") is None


def test_where_the_table_looks_in_a_wall() -> None:
    inside, outside = stack(BRICK), stack({**BRICK, "measure_group": "EWI"})
    assert inside.slots[inside.watch[0]] == "inner_insulation"
    assert outside.slots[outside.watch[0]] == "finish"  # the outer face of the old wall
    cavity = {**BRICK, "measure_group": "CWI", "wall_construction": "cavity_brick"}
    filled = stack({**cavity, "measure_material": "mineral_wool", "cavity_width_mm": 50.0})
    assert filled.slots[filled.watch[0]] == "cavity"
    assert layer(filled, "cavity")[0] == pytest.approx(0.05 / 0.038)


def test_insulation_over_slates_lets_them_be_laid_again() -> None:
    above = {
        **LOFT,
        "measure_group": "EXTR",
        "measure_material": "wood_fibre",
        "measure_thickness_mm": 120.0,
        "plane_before": "none",
        "plane_after": "above_deck",
        "roof_form": "pitched_room",
        "roof_deck": "boards_close",
        "roof_underlay": "membrane_lr",
    }
    got = stack(above)
    assert layer(got, "above_deck") == pytest.approx((0.12 / 0.045, 0.60))
    assert layer(got, "old_covering") == layer(got, "covering") == (0.0, 0.0)
    assert got.r_se[0] == 0.10  # the batten space is ventilated
    assert told(above, "invalid") is None
    on_felt = {**above, "roof_covering": "felt_built_up", "roof_form": "low_slope_warm"}
    assert layer(stack(on_felt), "old_covering")[1] == pytest.approx(500.0)  # M4: 10 mm of felt
    assert "cover is vapour-tight" in (told(on_felt, "invalid") or "")


def test_a_bare_roof_without_a_loft_counts_its_covering() -> None:
    # Felt 10/0.23, boards 19/0.13, still air 0.16, board 12.5/0.21, 0.14 on the surfaces.
    case = {
        **LOFT,
        "plane_before": "none",
        "roof_form": "low_slope_cold",
        "roof_covering": "felt_built_up",
        "roof_underlay": "none",
        "roof_deck": "boards_close",
    }
    parts = 0.14 + 0.0434783 + 0.1461538 + 0.16 + 0.0595238
    assert stack(case, "before").u_w_m2k[0] == pytest.approx(1 / parts, rel=1e-6)


def test_boards_noted_as_the_underlay_are_the_deck_once() -> None:
    case = {**SHINGLES, "roof_underlay": "boards"}
    for deck in ("battens_only", None, "boards_close"):
        got = stack({**case, "roof_deck": deck})
        assert got.deck_kg_m2[0] == pytest.approx(500 * 0.019)
        assert layer(got, "underlay") == (0.0, 0.0)


def test_shares_of_insulation_by_what_stops_air() -> None:
    got = stack({**SHINGLES, "foam_class": "closed_cell", "foam_thickness_mm": 50.0})
    assert got.described["air_impermeable_r"].item() == pytest.approx(0.05 / 0.026)
    assert got.described["air_permeable_r"].item() == 0.0
    batts = {"measure_group": "RAFT", "measure_material": "mineral_wool"}
    flash = {**SHINGLES, "foam_class": "closed_cell", "foam_thickness_mm": 50.0, **batts}
    got = stack({**flash, "measure_thickness_mm": 150.0})
    assert got.described["air_permeable_r"].item() == pytest.approx(0.15 / 0.038)
    unsure = stack({**SHINGLES, "foam_thickness_mm": 100.0}).described
    assert unsure["air_impermeable_r"].item() is None
    assert unsure["air_permeable_r"].item() is None


def test_order_of_the_cases_changes_nothing() -> None:
    library, cases = load_library(), frame_of(LOFT, FOAMED, SHINGLES)
    got = build_ups(cases, library, "after", "roof")
    turned = build_ups(cases[::-1], library, "after", "roof")
    assert got.described.equals(turned.described[::-1])
    assert (got.sd_m == turned.sd_m[::-1]).all()


def test_more_cases_than_are_drawn_at_once(monkeypatch: pytest.MonkeyPatch) -> None:
    library, cases = load_library(), frame_of(LOFT, FOAMED, SHINGLES, LOFT)
    whole = build_ups(cases, library, "after", "roof")
    monkeypatch.setattr("triage.assemblies.layers._AT_ONCE", 3)
    pieces = build_ups(cases, library, "after", "roof")
    assert pieces.described.equals(whole.described)
    for name in ("r_m2k_w", "sd_m", "r_se", "r_si", "u_w_m2k", "watch", "critical", "deck_slot"):
        assert (getattr(pieces, name) == getattr(whole, name)).all()
