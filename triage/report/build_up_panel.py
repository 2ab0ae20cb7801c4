"""The column beside the picture of a build-up: its numbered layers, and how to read it."""

from __future__ import annotations

import textwrap
from collections.abc import Mapping
from typing import Any

from matplotlib.axes import Axes

from triage.report.build_up_section import Section
from triage.report.labels import plain, visible
from triage.report.map_frame import INK, SOFT_INK

Entry = Mapping[str, Any]
_HEADING = 0.042  # height of a heading beside the picture, as a share of its column
_HOW_TO_READ = (
    "Air can hold vapour up to its saturation pressure. Where the vapour (dashed) touches it "
    "(solid), water condenses. Far apart is dry.",
    "Widths of the layers grow with thickness, but not in proportion. R: resistance to heat "
    "[m²K/W]. sd: resistance to vapour, as metres of still air.",
    "Diffusion in average months only: no leaks of air, rain, sun or storage.",
)


def write_panel(axes: Axes, state: Entry, section: Section) -> None:
    """Write the numbered layers and how to read the picture beside it."""
    axes.set(xlim=(0, 1), ylim=(1, 0))
    axes.axis("off")
    entries = [_layer_lines(layer) for layer in state["layers"]]
    notes = [line for text in _HOW_TO_READ for line in (*textwrap.wrap(text, 46), "")]
    count = sum(map(len, entries)) + 0.4 * len(entries) + len(notes) + 3
    step = min(0.0305, (1.0 - 2 * _HEADING) / count)
    size = min(9.0, 9.0 * step / 0.0265)
    y = 0.0
    axes.text(0, y, "Layers, outside to inside", fontsize=10.5, fontweight="bold", va="top")
    y += _HEADING
    for number, lines in enumerate(entries, 1):
        axes.text(0, y, f"{number}", fontsize=size, fontweight="bold", va="top", color=INK)
        for place, line in enumerate(lines):
            colour = SOFT_INK if place == len(lines) - 1 else INK
            axes.text(0.075, y, line, fontsize=size, va="top", color=colour)
            y += step
        y += 0.4 * step
    if section.critical >= 0 and state["critical_layer"]:
        for line in textwrap.wrap(f"Critical layer (dotted): {state['critical_layer']}", 46):
            axes.text(0, y, line, fontsize=size, va="top", color=INK)
            y += step
    y += 0.8 * step
    axes.text(0, y, "How to read it", fontsize=10.5, fontweight="bold", va="top")
    y += _HEADING
    for line in notes:
        if line:
            axes.text(0, y, line, fontsize=min(size, 8.5), va="top", color=SOFT_INK)
        y += step if line else 0.45 * step


def _layer_lines(layer: Entry) -> list[str]:
    title = layer["title"] or plain(layer["name"])
    title = title[0].upper() + title[1:]
    mm = layer["thickness_mm"]
    thick = f"{mm:.3g} mm, " if mm is not None and mm < 100 else f"{mm:.0f} mm, " if mm else ""
    numbers = f"{thick}R {layer['r_m2k_w']:.2f}, sd {layer['sd_m']:.3g} m"
    if layer["sd_m"] >= 1000:
        numbers = f"{thick}R {layer['r_m2k_w']:.2f}, sd {layer['sd_m']:.0f} m"
    return [*textwrap.wrap(visible(title), 42)[:2], numbers]
