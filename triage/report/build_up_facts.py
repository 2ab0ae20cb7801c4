"""The solved build-ups of one measure as facts: layers, months, verdict, checks, limits."""

from __future__ import annotations

import calendar
from collections.abc import Mapping
from typing import Any

Entry = Mapping[str, Any]
MONTHS = tuple(calendar.month_abbr[1:])
LAYER = ("name", "material", "thickness_mm", "r_m2k_w", "sd_m")
_NO_CASE = "No build-up was drawn up for this measure: the moisture quantities are not known."
_HANDED_OVER = {
    "roof": "the share of air-tight foam, the moisture of a timber deck, the drying lost",
    "wall": "the drying lost, the depth of frost in masonry",
    "floor": "the drying lost, the moisture of the deck",
}
_DIFFUSION_ONLY = (
    "The monthly method knows diffusion of vapour in steady months only: no leaks of air, no rain, "
    "no sun, no storage. It compares build-ups; it does not predict a moisture content."
)
_ROUNDING = 1e-9  # a share that meets the table exactly must not fail by its last bit


def build_up_facts(
    cases: Mapping[str, Entry],
    quantities: Entry,
    titles: Mapping[str, str],
    limits: Mapping[str, float],
    edition: str,
) -> dict[str, Any]:
    """Everything computed about the build-up of one part and measure.

    Parameters
    ----------
    cases
        Rows of the store's table of solved cases by their `case`.
    quantities
        The computed quantities of the row, with `case_before` and `case_after`.
    titles
        Words for the codes of materials.
    limits
        Numbers of the policy pack by name; those that are absent are left out.
    edition
        The edition of the code tables.

    Returns
    -------
    dict
        before, after: a state, or None where no case is held. ratio, drying, condensate, deck,
        frost, interface: numbers, None where not known. limits: sentences.
    """
    states = {
        state: _state(cases.get(str(quantities.get(f"case_{state}"))), titles)
        for state in ("before", "after")
    }
    return {
        **states,
        "ratio": _ratio(quantities, edition),
        "drying": {
            "before_kg_m2": quantities.get("drying_potential_before"),
            "after_kg_m2": quantities.get("drying_potential"),
            "loss_pct": quantities.get("drying_loss_pct"),
            "loss_limit_pct": limits.get("drying_loss_limit_pct"),
        },
        "condensate": {
            "peak_limit_g_m2": limits.get("condensate_peak_limit_g_m2"),
            "residual_limit_g_m2": limits.get("condensate_residual_limit_g_m2"),
        },
        "deck": {
            "max_pct": quantities.get("sheathing_mc_max_pct"),
            "swing_pct": quantities.get("sheathing_mc_swing_pct"),
            "coldest_month_c": quantities.get("deck_coldest_month_c"),
            "max_limit_pct": limits.get("mc_act_pct"),
            "swing_limit_pct": limits.get("deck_swing_limit_pct"),
        },
        "frost": {
            "depth_before_mm": quantities.get("frost_depth_before_mm"),
            "depth_after_mm": quantities.get("frost_depth_after_mm"),
        },
        "interface": {
            "rh_screen_pct": quantities.get("interface_rh_screen_pct"),
            "rh_limit_pct": limits.get("interface_rh_limit_pct"),
        },
        "limits": _limits(states, quantities),
    }


def _state(case: Entry | None, titles: Mapping[str, str]) -> dict[str, Any] | None:
    if case is None:
        return None
    drawn = case["missing"] is None
    return {
        "case": case["case"],
        "element": case["element"],
        "climate_id": case["climate_id"],
        "climate_shift_k": case.get("climate_shift_k") or 0.0,
        "indoor": str(case["indoor"]).replace("degC", "°C"),
        "layers": [_layer(slot, titles) for slot in case["slots"] or []],
        "r_se_m2k_w": case["r_se"],
        "r_si_m2k_w": case["r_si"],
        "u_w_m2k": case["u_w_m2k"] if drawn else None,
        "critical_layer": case["watch_name"],
        "verdict": case["verdict"] if drawn else None,
        "peak_g_m2": case["peak_g_m2"] if drawn else None,
        "residual_g_m2": case["residual_g_m2"] if drawn else None,
        "peak_month": _month_name(case["peak_month"]) if drawn else None,
        "months": _months(case) if drawn else [],
        "method_invalid_because": case["method"],
        "missing": case["missing"],
        "alternatives": case["alternatives"],
    }


def _layer(slot: Entry, titles: Mapping[str, str]) -> dict[str, Any]:
    """One layer; a survey's code that is no material is named together with its slot."""
    code = slot["material"]
    own = ": ".join(name.replace("_", " ") for name in (slot["name"], code) if name)
    return {**{key: slot[key] for key in LAYER}, "title": titles.get(code, own)}


def _month_name(month: int | None) -> str | None:
    return MONTHS[month] if month is not None and month >= 0 else None


def _months(case: Entry) -> list[dict[str, Any]]:
    names = {
        "outside_c": "t_out_c",
        "outside_pa": "p_out_pa",
        "inside_c": "t_in_c",
        "inside_pa": "p_in_pa",
        "t_c": "watch_t_c",
        "p_pa": "watch_p_pa",
        "psat_pa": "watch_psat_pa",
        "condensate_g_m2": "condensate_g_m2",
    }
    deck = case["deck_mc_pct"] or [None] * len(MONTHS)
    rows = [
        {"month": month, **{name: case[column][n] for name, column in names.items()}}
        for n, month in enumerate(MONTHS)
    ]
    return [
        row | {"rh_pct": 100.0 * row["p_pa"] / row["psat_pa"], "deck_pct": moisture}
        for row, moisture in zip(rows, deck, strict=True)
    ]


def _ratio(quantities: Entry, edition: str) -> dict[str, Any]:
    share, least = quantities.get("foam_ratio"), quantities.get("foam_ratio_required")
    r, least_r = quantities.get("foam_r_m2k_w"), quantities.get("foam_r_required_m2k_w")
    return {
        "foam_ratio": share,
        "foam_ratio_required": least,
        "meets_ratio": _meets(share, least),
        "foam_r_m2k_w": r,
        "foam_r_required_m2k_w": least_r,
        "meets_r": _meets(r, least_r),
        "edition": edition,
    }


def _meets(value: float | None, least: float | None) -> bool | None:
    return None if value is None or least is None else value >= least * (1.0 - _ROUNDING)


def _limits(states: Mapping[str, dict[str, Any] | None], quantities: Entry) -> list[str]:
    """Why something is missing or not judged, and what the method cannot see."""
    told: list[str] = []
    if all(state is None for state in states.values()):
        why = quantities.get("moisture_missing")
        return [f"No build-up was drawn up: {why}." if why else _NO_CASE]
    for state, facts in states.items():
        if facts is not None and facts["missing"]:
            told.append(f"The build-up {state} the measure cannot be drawn up: {facts['missing']}.")
    told += [f"No build-up {s} the measure is held." for s, facts in states.items() if not facts]
    after = states["after"]
    if after is not None and after["method_invalid_because"]:
        why, judges = after["method_invalid_because"], _HANDED_OVER[after["element"]]
        text = f"The monthly method does not judge this build-up: {why}. What judges instead: "
        told.append(f"{text}{judges}, and the rules that ask for an inspection.")
    lacking = quantities.get("moisture_missing")
    if lacking and not any(lacking in text for text in told):
        told.append(f"Not all quantities are known: {lacking}.")
    if after is not None and after["months"]:
        told.append(_DIFFUSION_ONLY)
    return told
