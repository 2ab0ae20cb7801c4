"""Picture of one build-up: the cut in its worst month, and the water of the year."""

from __future__ import annotations

import textwrap
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

import numpy as np
from matplotlib import rc_context
from matplotlib.axes import Axes
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure

from triage.errors import FileError
from triage.report.build_up_facts import MONTHS
from triage.report.build_up_panel import write_panel
from triage.report.build_up_section import VAPOUR, draw_layers, draw_pressures, section_of
from triage.report.build_up_text import same_state, verdict_words
from triage.report.labels import plain, visible
from triage.report.map_frame import DPI, HEIGHT_IN, INK, LOOKS, SOFT_INK, WIDTH_IN

Entry = Mapping[str, Any]
FORMATS = (".png", ".svg")
_BOTH = "before and after"
_LEFT, _RIGHT, _PANEL = 0.065, 0.69, 0.715
_FULL_PCT = 100.0
_LIMIT = "#B8460E"
_FAR = 5.0  # a limit so many times above every value is named, not drawn
_LEAST_SPAN = 20.0  # of a humidity axis, so that small ripples look small [points]


def pick_measure(parts: Sequence[Entry], measure: str | None, where: str) -> Entry:
    """Which part and measure to draw.

    The measure asked for; else the first in which a computed quantity made a rule fire; else the
    first with a build-up that could be drawn up.

    Raises
    ------
    FileError
        If there is none, saying why.
    """
    asked = [part for part in parts if measure is None or part["measure"] == measure]
    if not parts:
        raise FileError("no measure is proposed for this home", where, "leave --figure out")
    if not asked:
        held = ", ".join(dict.fromkeys(str(part["measure"]) for part in parts)) or "none"
        what = f"the measure {measure!r} is not proposed for this home"
        raise FileError(what, where, f"name one of: {held}")
    drawn = [part for part in asked if _shown(part.get("build_up") or {}) is not None]
    if not drawn:
        told = [text for part in asked for text in (part.get("build_up") or {}).get("limits", [])]
        why = told[0] if told else "No build-up is held."
        raise FileError(f"there is no build-up to draw. {why}", where, "leave --figure out")
    deciding = [part for part in drawn if part["build_up"].get("decides")]
    return (deciding or drawn)[0]


def _shown(build_up: Entry) -> tuple[str, Entry] | None:
    """The state to draw: after the measure, else before."""
    for name in ("after", "before"):
        state = build_up.get(name)
        if state and state["months"] and state["layers"]:
            return name, state
    return None


def check_format(path: Path) -> None:
    """Refuse a file name that is no picture.

    Raises
    ------
    FileError
        If the name does not end in .png or .svg.
    """
    if path.suffix.lower() not in FORMATS:
        what = f"a figure cannot be written as {path.suffix or 'a file without an ending'!r}"
        raise FileError(what, str(path), "end its name in .png or .svg")


def write_build_up(path: Path, part: Entry, home: str) -> None:
    """Draw the build-up of one part and measure into a .png or .svg file.

    Parameters
    ----------
    path
        The file to write.
    part
        A part of `triage explain --json` whose `build_up` has a state with layers and months, as
        `pick_measure` gives it.
    home
        The property id, for the title.

    Raises
    ------
    FileError
        If the name is no picture's or the folder cannot be written to.
    """
    check_format(path)
    figure = draw_build_up(part, home)
    # No date in the file: the same build-up is the same bytes.
    meta = {"Date": None} if path.suffix.lower() == ".svg" else {"Software": None}
    try:
        with rc_context({**LOOKS, "svg.hashsalt": "triage"}):
            figure.savefig(path, dpi=DPI, metadata=meta)
    except OSError as problem:
        what = f"the figure cannot be written: {problem.strerror}"
        raise FileError(what, str(path), "name a folder that exists") from problem


@rc_context(LOOKS)
def draw_build_up(part: Entry, home: str) -> Figure:
    """Draw the page; see `write_build_up`."""
    build_up = part["build_up"]
    shown = _shown(build_up)
    if shown is None:
        raise ValueError("no state of this build-up has layers and months")
    name, state = shown
    section = section_of(state)
    figure = Figure(figsize=(WIDTH_IN, HEIGHT_IN))
    FigureCanvasAgg(figure)
    _titles(figure, part, home, name, state)
    width = _RIGHT - _LEFT
    month = MONTHS[section.month]
    why = "when most water condenses" if section.wet >= 0 else "the coldest month"
    figure.text(
        _LEFT,
        0.842,
        f"The cut in {month}, {why}",
        fontsize=10.5,
        fontweight="bold",
        color=INK,
    )
    draw_layers(figure.add_axes((_LEFT, 0.752, width, 0.078)), section, state["layers"])
    draw_pressures(figure.add_axes((_LEFT, 0.40, width, 0.345)), section, state["months"])
    half = width / 2 - 0.035
    _draw_water(figure.add_axes((_LEFT, 0.105, half, 0.20)), build_up)
    _draw_wood_or_air(figure.add_axes((_RIGHT - half, 0.105, half, 0.20)), build_up)
    write_panel(figure.add_axes((_PANEL, 0.105, 0.985 - _PANEL, 0.75)), state, section)
    _foot(figure, build_up)
    return figure


def _titles(figure: Figure, part: Entry, home: str, name: str, state: Entry) -> None:
    words = verdict_words(state)
    why = state["method_invalid_because"]
    title = (
        f"{name.capitalize()} the measure, {words[0].lower()}{words[1:]}"
        if not why
        else f"The monthly method cannot judge this {plain(state['element'])}"
    )
    figure.text(_LEFT, 0.972, title, fontsize=16, fontweight="bold", va="top", color=INK)
    lines = textwrap.wrap(visible(f"Because {why}. Drawn for information."), 125) if why else []
    place = f"Home {home}, {plain(part['part'])}, {part['measure']} ({state['element']})"
    lines.append(visible(f"{place}; climate {state['climate_id']}; inside: {state['indoor']}"))
    text = "\n".join(_cut(line, 140) for line in lines[-3:])
    figure.text(_LEFT, 0.928, text, fontsize=9.5, va="top", color=SOFT_INK, linespacing=1.35)


def _states(build_up: Entry) -> list[tuple[str, Entry]]:
    found = [(name, build_up.get(name)) for name in ("before", "after")]
    states = [(name, state) for name, state in found if state and state["months"]]
    if len(states) == len(found) and same_state(states[0][1], states[1][1]):
        return [(_BOTH, states[1][1])]
    return states


def _draw_water(axes: Axes, build_up: Entry) -> None:
    """Draw the store at the end of each month as bars, before and after."""
    _months_axes(axes, "Water held at the end of the month [g/m²]")
    states = _states(build_up)
    place = np.arange(12)
    top = 0.0
    for number, (name, state) in enumerate(states):
        values = [month["condensate_g_m2"] for month in state["months"]]
        after = name != "before"
        axes.bar(
            place + (number - (len(states) - 1) / 2) * 0.4,
            values,
            0.38,
            color=VAPOUR if after else "white",
            edgecolor=INK if after else SOFT_INK,
            hatch=None if after else "////",
            lw=0.7,
            label=name,
        )
        top = max(top, *values)
    if top > 0:
        limit = build_up["condensate"]["peak_limit_g_m2"]
        drawn = limit is not None and limit <= _FAR * top
        axes.set_ylim(0, max(top, limit if drawn else 0.0) * 1.3)
        if limit is not None:
            _limit_line(axes, limit, is_drawn=drawn)
        axes.legend(fontsize=8.5, frameon=False, ncols=3, loc="upper right", borderpad=0)
    else:
        axes.set(ylim=(0, 1), yticks=[0])
        words = " or ".join(name for name, _ in states)
        axes.text(5.5, 0.5, f"none in any month, {words}", ha="center", fontsize=9.5, color=INK)


def _limit_line(axes: Axes, limit: float, *, is_drawn: bool) -> None:
    """The largest store that a rule takes; in the legend alone where it would flatten the bars."""
    where = "" if is_drawn else ", above this scale"
    line = [limit, limit] if is_drawn else []
    at = [-0.6, 11.6] if is_drawn else []
    axes.plot(at, line, color=_LIMIT, lw=1.2, ls=":", label=f"limit {limit:,.6g}{where}")


def _draw_wood_or_air(axes: Axes, build_up: Entry) -> None:
    """Draw the moisture of a timber deck; without one, the humidity at the critical layer."""
    states = _states(build_up)
    deck = any(state["months"][0]["deck_pct"] is not None for _, state in states)
    key = "deck_pct" if deck else "rh_pct"
    limit = build_up["deck"]["max_limit_pct"] if deck else _humidity_limit(build_up["interface"])
    title = "Moisture of the timber deck [% of dry mass]"
    _months_axes(axes, title if deck else "Humidity at the critical layer [% RH]")
    shown = [limit] if limit is not None else []
    for name, state in states:
        values = [month[key] for month in state["months"]]
        if None in values:
            continue
        after = name != "before"
        axes.plot(
            np.arange(12),
            values,
            color=VAPOUR if after else SOFT_INK,
            ls="-" if after else "--",
            marker="o" if after else "s",
            mfc=VAPOUR if after else "white",
            ms=4.5 if after else 4,
            lw=1.8 if after else 1.3,
            label=name,
        )
        shown += values
    if limit is not None:
        axes.axhline(limit, color=_LIMIT, lw=1.2, ls=":", label=f"limit {limit:g} %")
    low, high = min(shown, default=0.0), max(shown, default=1.0)
    room = max(high - low, 4.0 if deck else _LEAST_SPAN)
    middle = (low + high) / 2
    least = max(0.0, middle - 0.62 * room)
    axes.set_ylim(least, middle + 0.88 * room)
    axes.set_yticks([tick for tick in axes.get_yticks() if least <= tick <= _FULL_PCT])
    axes.legend(fontsize=8.5, frameon=False, ncols=3, loc="upper right", borderpad=0)


def _humidity_limit(interface: Entry) -> float | None:
    """The limit at enclosed wood; None where it does not apply."""
    return interface["rh_limit_pct"] if interface["rh_screen_pct"] is not None else None


def _months_axes(axes: Axes, title: str) -> None:
    axes.set_title(title, fontsize=9.5, fontweight="bold", loc="left", color=INK)
    axes.set(xlim=(-0.6, 11.6))
    axes.yaxis.set_major_formatter("{x:,.6g}")
    axes.set_xticks(range(12), [month[0] for month in MONTHS])
    axes.tick_params(labelsize=9)
    axes.spines[["top", "right"]].set_visible(False)


def _foot(figure: Figure, build_up: Entry) -> None:
    states = dict(_states(build_up))
    values = [f"U {s['u_w_m2k']:.2f} {n}" for n, s in states.items() if s["u_w_m2k"] is not None]
    texts = [f"{', '.join(values)} [W/(m²K)]"] if values else []
    ratio, drying = build_up["ratio"], build_up["drying"]
    if ratio["foam_ratio"] is not None and ratio["foam_ratio_required"] is not None:
        word = "met" if ratio["meets_ratio"] else "NOT met"
        share, least = 100 * ratio["foam_ratio"], 100 * ratio["foam_ratio_required"]
        texts.append(
            f"air-tight share of the insulation {share:.0f} %, {least:.0f} % asked: {word}"
        )
    if drying["loss_pct"] is not None:
        texts.append(f"{drying['loss_pct']:.0f} % of the drying is lost")
    lines = textwrap.wrap("; ".join(texts), 150)[:2]
    figure.text(_LEFT, 0.052, "\n".join(lines), fontsize=8.5, va="top", color=SOFT_INK)


def _cut(text: str, longest: int) -> str:
    return text if len(text) <= longest else text[: longest - 1] + "…"
