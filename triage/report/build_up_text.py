"""The solved build-ups of one measure in words and tables, at most 100 characters a line."""

from __future__ import annotations

import textwrap
from collections.abc import Mapping
from typing import Any

from triage.report.labels import plain, visible

WIDTH = 100
Entry = Mapping[str, Any]
_TOUCHING = (
    "Air can hold vapour up to its saturation pressure; where the vapour pressure reaches it, "
    "water condenses."
)


def build_up_lines(build_up: Entry) -> list[str]:
    """Lines about one measure: layers and months before and after, checks, method limits.

    Parameters
    ----------
    build_up
        `build_up` of a part, as in `triage explain --json`.
    """
    before, after = build_up.get("before"), build_up.get("after")
    lines: list[str] = []
    if before and after and same_state(before, after):
        lines += _state("Before and after (the measure adds no layer)", after)
    else:
        for title, state in (("Before", before), ("After", after)):
            if state:
                lines += _state(title, state)
    if before or after:
        lines += _wrapped(_TOUCHING, 2)
    lines += ["", *_checks(build_up)]
    for text in build_up.get("limits") or []:
        lines += _wrapped(f"- {text}", 2, 4)
    return lines if lines[0] else lines[1:]


def same_state(before: Entry, after: Entry) -> bool:
    """Whether the measure leaves layers and months as they are."""
    told = ("layers", "months", "missing", "method_invalid_because")
    return all(before[key] == after[key] for key in told)


def _wrapped(text: str, indent: int = 0, hang: int | None = None) -> list[str]:
    rest = " " * (indent if hang is None else hang)
    return textwrap.wrap(visible(text), WIDTH, initial_indent=" " * indent, subsequent_indent=rest)


def _state(title: str, state: Entry) -> list[str]:
    u_value = state["u_w_m2k"]
    known = "U-value not known" if u_value is None else f"U {u_value:.2f} W/(m²K)"
    lines = _wrapped(f"{title}: {plain(state['element'])}, {known}")
    shift = state["climate_shift_k"]
    moved = f", shifted by {shift:+g} K since the join is doubtful" if shift else ""
    lines += _wrapped(f"climate {state['climate_id']}{moved}; inside: {state['indoor']}", 2)
    if state["alternatives"]:
        lines += _wrapped(f"worst of {state['alternatives']}", 2)
    if state["missing"]:
        return [*lines, *_wrapped(f"cannot be drawn up: {state['missing']}", 2), ""]
    return [*lines, *_layers(state), *_months(state), *_verdict(state), ""]


def _layers(state: Entry) -> list[str]:
    head = f"  {'#':>2}  {'layer from outside':<24}{'material':<40}"
    lines = [f"{head}{'mm':>8}{'R m²K/W':>10}{'sd m':>9}"]
    lines.append(f"      {'outer surface':<64}{'':>8}{state['r_se_m2k_w']:>10.2f}")
    for number, layer in enumerate(state["layers"], 1):
        name = _cut(plain(layer["name"]), 23)
        material = _cut(layer["title"] or "no name held", 39)
        numbers = f"{_number(layer['thickness_mm']):>8}{layer['r_m2k_w']:>10.3f}"
        text = f"  {number:>2}  {name:<24}{material:<40}{numbers}{_number(layer['sd_m']):>9}"
        lines.append(text)
    lines.append(f"      {'inner surface':<64}{'':>8}{state['r_si_m2k_w']:>10.2f}")
    return lines


def _months(state: Entry) -> list[str]:
    deck = any(month["deck_pct"] is not None for month in state["months"])
    where = state["critical_layer"]
    lines = _wrapped(f"month by month at the critical layer: {where or 'none, inner surface'}", 2)
    heads = ("outside °C", "there °C", "vapour Pa", "satur. Pa", "RH %", "water g/m²")
    head = "".join(f"{text:>12}" for text in heads)
    lines.append(f"  {'':<5}{head}{'deck %' if deck else '':>9}".rstrip())
    for month in state["months"]:
        values = (
            f"{month['outside_c']:.1f}",
            f"{month['t_c']:.1f}",
            f"{month['p_pa']:.0f}",
            f"{month['psat_pa']:.0f}",
            f"{month['rh_pct']:.0f}",
            f"{month['condensate_g_m2']:.1f}",
        )
        row = "".join(f"{value:>12}" for value in values)
        moist = f"{month['deck_pct']:>9.1f}" if month["deck_pct"] is not None else ""
        lines.append(f"  {month['month']:<5}{row}{moist}")
    lines += _wrapped("water: all condensate held in the build-up at the end of the month", 2)
    return lines


def verdict_words(state: Entry) -> str:
    """The year of a build-up in one sentence, without the question whether it may be judged."""
    peak, month = state["peak_g_m2"], state["peak_month"]
    if state["verdict"] is None:
        return f"The build-up cannot be drawn up: {state['missing']}"
    if month is None:
        return "No water condenses in an average year"
    if state["verdict"].startswith("builds up"):
        left = state["residual_g_m2"]
        return f"Water builds up: {left:,.0f} g/m² more is left every year"
    return f"Up to {peak:,.0f} g/m² condenses by {month} and dries within the year"


def _verdict(state: Entry) -> list[str]:
    text = f"verdict: {verdict_words(state)}."
    if state["method_invalid_because"]:
        text += f" It does NOT count: {state['method_invalid_because']}."
    return _wrapped(text, 2, 4)


def _checks(build_up: Entry) -> list[str]:
    lines: list[str] = []
    for text in (
        _change(build_up),
        _ratio(build_up["ratio"]),
        _code_r(build_up["ratio"]),
        _drying(build_up["drying"]),
        _deck(build_up["deck"]),
        _interface(build_up["interface"]),
        _frost(build_up["frost"]),
    ):
        if text:
            lines += _wrapped(text, 2, 4)
    return lines


def _change(build_up: Entry) -> str:
    values = [(build_up[s] or {}).get("u_w_m2k") for s in ("before", "after")]
    if values == [None, None]:
        return ""
    then, now = ("not known" if v is None else f"{v:.2f}" for v in values)
    return f"U-value: {then} before, {now} after [W/(m²K)]"


def _ratio(ratio: Entry) -> str:
    share, least = ratio["foam_ratio"], ratio["foam_ratio_required"]
    if share is None:
        return ""
    needed = "no share is required here or the zone is not known"
    if least is not None:
        word = "met" if ratio["meets_ratio"] else "NOT met"
        needed = f"{100 * least:.0f} % is required: {word}"
    return (
        f"ratio check: {100 * share:.0f} % of the insulation's R is air-impermeable and against "
        f"the deck; {needed}"
    )


def _code_r(ratio: Entry) -> str:
    r, least = ratio["foam_r_m2k_w"], ratio["foam_r_required_m2k_w"]
    if r is None or least is None:
        return ""
    word = "met" if ratio["meets_r"] else "NOT met"
    return (
        f"R of that insulation: {r:.2f} m²K/W; {least:.2f} is required: {word} ({ratio['edition']})"
    )


def _drying(drying: Entry) -> str:
    then, now, loss = (drying[k] for k in ("before_kg_m2", "after_kg_m2", "loss_pct"))
    if now is None:
        return ""
    before = "open to the air or not known" if then is None else f"{then:.2f}"
    lost = "" if loss is None else f"; {loss:.0f} % is lost"
    limit = drying["loss_limit_pct"]
    held = f" (limit {limit:g} %)" if limit is not None and loss is not None else ""
    return f"drying in the warm half-year: {before} before, {now:.2f} after [kg/m²]{lost}{held}"


def _deck(deck: Entry) -> str:
    most, swing = deck["max_pct"], deck["swing_pct"]
    coldest = deck["coldest_month_c"]
    cold = "" if coldest is None else f"coldest month at the critical layer {coldest:.1f} °C"
    if most is None or swing is None:
        return cold
    top, wide = deck["max_limit_pct"], deck["swing_limit_pct"]
    text = f"deck moisture: at most {most:.1f} %{'' if top is None else f' (limit {top:g})'}"
    text += f", yearly swing {swing:.1f} points{'' if wide is None else f' (limit {wide:g})'}"
    return f"{text}; {cold}" if cold else text


def _interface(interface: Entry) -> str:
    value, limit = interface["rh_screen_pct"], interface["rh_limit_pct"]
    if value is None:
        return ""
    held = "" if limit is None else f" (limit {limit:g} %)"
    return f"highest monthly humidity at the enclosed wood from 5 to 40 °C: {value:.0f} %{held}"


def _frost(frost: Entry) -> str:
    values = [frost[f"depth_{state}_mm"] for state in ("before", "after")]
    if values == [None, None]:
        return ""
    then, now = ("not known" if v is None else f"{v:.0f} mm" for v in values)
    return f"frost in the masonry, coldest month: {then} before, {now} after"


def _number(value: float | None) -> str:
    """Three digits that matter, no exponent: 0.20, 12.5, 340."""
    if value is None:
        return "-"
    if value >= 100:
        return f"{value:.0f}"
    return f"{value:.1f}" if value >= 10 else f"{value:.2f}"


def _cut(text: str, longest: int) -> str:
    return text if len(text) <= longest else text[: longest - 1] + "…"
