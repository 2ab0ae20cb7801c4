"""Invented build-ups as rows of the store's table of solved cases, solved by the kernels."""

from typing import Any

import numpy as np

from triage.physics.monthly import VERDICTS, Boundaries, condensation_year
from triage.physics.vapour import saturation_pressure_pa
from triage.report.build_up_facts import LAYER, build_up_facts

Layer = tuple[str, str, float | None, float, float]
WAVE = np.cos(2 * np.pi * (np.arange(12) - 0.5) / 12)
TITLES = {
    "bitumen_felt": "Bitumen felt in several layers",
    "osb": "Oriented strand board",
    "spf_open": "Sprayed foam, open-cell",
    "plasterboard": "Gypsum plasterboard",
    "brick": "Brick, ordinary, of an outer leaf or a solid wall in old masonry",
    "mineral_wool": "Mineral wool",
    "polyethylene": "Polyethylene sheet",
}
LIMITS = {
    "interface_rh_limit_pct": 80.0,
    "mc_act_pct": 20.0,
    "condensate_peak_limit_g_m2": 200.0,
    "deck_swing_limit_pct": 6.0,
    "drying_loss_limit_pct": 50.0,
}
EDITION = "US model residential and energy codes, 2021"


def case_row(state: str, layers: list[Layer], watch: int, **more: Any) -> dict[str, Any]:
    """One row of the table; `mean` and `swing` of the outside air in °C, `moist` in Pa."""
    mean, swing = more.pop("mean", 8.0), more.pop("swing", 12.0)
    t_out = mean - swing * WAVE
    p_out = 0.8 * saturation_pressure_pa(t_out)
    t_in = np.full(12, 20.0)
    p_in = np.minimum(p_out + more.pop("moist", 600.0), 0.9 * saturation_pressure_pa(t_in))
    edges = Boundaries(t_out[None], p_out[None], t_in[None], p_in[None])
    r, sd = (np.array([[layer[n] for layer in layers]]) for n in (3, 4))
    one = np.ones(1)
    zero = np.zeros(1, dtype=np.int64)
    year = condensation_year(r, sd, 0.04 * one, 0.10 * one, zero + watch, edges, zero)
    return {
        "case": f"{state}01",
        "state": state,
        "element": "roof",
        "climate_id": "example-1",
        "climate_shift_k": 0.0,
        "indoor": "ISO 13788 humidity class 3, 20 degC, margin 1.1",
        "slots": [dict(zip(LAYER, layer, strict=True)) for layer in layers],
        "r_se": 0.04,
        "r_si": 0.10,
        "u_w_m2k": 1 / (r.sum() + 0.14),
        "method": None,
        "missing": None,
        "watch_name": "inner face of the deck",
        "verdict": VERDICTS[year.verdict[0]],
        "peak_g_m2": year.peak_g_m2[0],
        "residual_g_m2": year.residual_g_m2[0],
        "peak_month": int(year.peak_month[0]),
        "alternatives": None,
        "t_out_c": t_out.tolist(),
        "p_out_pa": p_out.tolist(),
        "t_in_c": t_in.tolist(),
        "p_in_pa": p_in.tolist(),
        "watch_t_c": year.watch_t_c[0].tolist(),
        "watch_p_pa": year.watch_p_pa[0].tolist(),
        "watch_psat_pa": year.watch_psat_pa[0].tolist(),
        "condensate_g_m2": year.condensate_g_m2[0].tolist(),
        "deck_mc_pct": None,
    } | more


def part_of(before: Any, after: Any, **quantities: Any) -> dict[str, Any]:
    """A part of `triage explain --json` with only what the build-up needs."""
    rows = {row["case"]: row for row in (before, after) if row}
    names = {f"case_{row['state']}": row["case"] for row in rows.values()}
    facts = build_up_facts(rows, names | quantities, TITLES, LIMITS, EDITION)
    build_up = facts | {"decides": []}
    return {"part": "main", "measure": "RAFT", "queue": "specialist-review", "build_up": build_up}


def flat_roof() -> dict[str, Any]:
    """Felt roof whose ceiling insulation has no vapour control: water builds up."""
    tail: list[Layer] = [("lining", "plasterboard", 12.5, 0.05, 0.1)]
    head: list[Layer] = [
        ("covering", "bitumen_felt", 8.0, 0.035, 400.0),
        ("deck", "osb", 18.0, 0.138, 0.9),
    ]
    wool: Layer = ("rafter_insulation", "mineral_wool", 160.0, 4.2, 0.16)
    return part_of(
        case_row("before", head + tail, 2, mean=6.0, swing=10.0, deck_mc_pct=list(11 + 2 * WAVE)),
        case_row(
            "after",
            [*head, wool, *tail],
            2,
            mean=6.0,
            swing=10.0,
            deck_mc_pct=list(19 + 6 * WAVE),
        ),
        drying_potential_before=2.6,
        drying_potential=0.9,
        drying_loss_pct=65.4,
        sheathing_mc_max_pct=25.0,
        sheathing_mc_swing_pct=12.0,
        deck_coldest_month_c=-3.5,
    )


def foamed_roof() -> dict[str, Any]:
    """Open-cell foam against the deck under felt in a cold climate; the measure adds no layer."""
    layers: list[Layer] = [
        ("covering", "bitumen_felt", 4.0, 0.017, 80.0),
        ("deck", "osb", 12.0, 0.09, 0.6),
        ("foam", "spf_open", 150.0, 4.0, 0.5),
        ("lining", "plasterboard", 12.5, 0.05, 0.1),
    ]
    tight = "the outer face is vapour-tight, so the deck dries by storage and sun only"
    rows = [
        case_row(s, layers, 2, mean=8.0, swing=14.0, method=tight, deck_mc_pct=list(20 + 8 * WAVE))
        for s in ("before", "after")
    ]
    return part_of(
        *rows,
        foam_ratio=1.0,
        foam_ratio_required=0.41,
        foam_r_m2k_w=4.0,
        foam_r_required_m2k_w=3.52,
        sheathing_mc_max_pct=28.0,
        sheathing_mc_swing_pct=16.0,
    )


def brick_wall() -> dict[str, Any]:
    """Solid brick insulated inside, with many layers, two of them as thin as a sheet."""
    brick: list[Layer] = [
        ("finish", "masonry_paint", 0.3, 0.0, 0.4),
        ("outer_leaf", "brick", 220.0, 0.286, 2.2),
        ("old_lining", "plaster", 13.0, 0.023, 0.13),
    ]
    inside: list[Layer] = [
        ("inner_insulation", "wood_fibre", 80.0, 2.0, 0.4),
        ("vapour_control", "polyethylene", 0.2, 0.0, 50.0),
        ("lining", "plasterboard", 12.5, 0.05, 0.1),
    ]
    wet = "masonry outside the insulation takes up rain"
    return part_of(
        case_row("before", brick, 2, element="wall", watch_name="inner face of the masonry"),
        case_row(
            "after",
            [*brick, *inside],
            3,
            element="wall",
            watch_name="inner face of the masonry",
            method=wet,
            alternatives="4 tried, since not known: interior_vapour_control, wall_finish_external",
        ),
    )


def cold_loft() -> dict[str, Any]:
    """Ventilated loft with thick ceiling insulation: nothing condenses."""
    layers: list[Layer] = [("lining", "plasterboard", 12.5, 0.05, 0.1)]
    more: list[Layer] = [
        ("ceiling_over", "mineral_wool", 200.0, 5.0, 0.2),
        ("ceiling_between", "mineral_wool", 100.0, 2.5, 0.1),
    ]
    name = "outer face of the ceiling insulation"
    return part_of(
        case_row("before", [more[1], *layers], 0, watch_name=name, moist=300.0),
        case_row("after", [*more, *layers], 0, watch_name=name, moist=300.0),
    )


def full_roof() -> dict[str, Any]:
    """Every slot of a roof in use, with a void far thicker than the rest: the worst to lay out."""
    layers: list[Layer] = [
        ("covering", "bitumen_felt", 4.0, 0.02, 80.0),
        ("above_deck", "mineral_wool", 100.0, 2.5, 0.2),
        ("old_covering", "bitumen_felt", 8.0, 0.03, 400.0),
        ("underlay", "underlay_with_a_very_long_name_that_no_column_can_hold", 0.5, 0.0, 0.2),
        ("deck", "osb", 18.0, 0.138, 0.9),
        ("foam", "spf_open", 76.0, 2.0, 0.3),
        ("rafter_existing", "mineral_wool", 50.0, 1.2, 0.05),
        ("rafter_insulation", "brick", 50.0, 1.2, 0.05),
        ("void", "air_layer", 1500.0, 0.16, 0.01),
        ("ceiling_over", "mineral_wool", 100.0, 2.5, 0.1),
        ("ceiling_between", "mineral_wool", 100.0, 2.5, 0.1),
        ("vapour_control", "polyethylene", None, 0.0, 50.0),
        ("lining", "plasterboard", 12.5, 0.05, 0.1),
    ]
    return part_of(
        case_row("before", layers[5:], 0, moist=900.0),
        case_row("after", layers, 5, moist=900.0),
        foam_ratio=0.2,
        foam_ratio_required=0.41,
        interface_rh_screen_pct=91.0,
    )


EXAMPLES = {
    "full": full_roof,
    "flat": flat_roof,
    "foam": foamed_roof,
    "brick": brick_wall,
    "loft": cold_loft,
}
