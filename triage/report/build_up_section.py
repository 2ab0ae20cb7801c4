"""The cut through a build-up: layers, and vapour pressure against saturation in one month."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from matplotlib.axes import Axes
from matplotlib.patches import Rectangle
from numpy.typing import NDArray

from triage.physics.monthly import Boundaries, Profile, condensation_profile
from triage.physics.vapour import saturation_pressure_pa
from triage.report.build_up_facts import MONTHS
from triage.report.map_frame import INK, SOFT_INK

Floats = NDArray[np.float64]
Entry = Mapping[str, Any]
AIR = 0.13  # width of the air drawn on either side, as a share of the layers
THINNEST = 0.042  # width of a membrane: room for its number
_NARROW = 0.045
VAPOUR, FULL, WATER = "#0072B2", "#B8460E", "#56B4E9"
_AIR_FILL = "#F4F7F9"
_TOUCH = 0.999  # vapour pressure over saturation that counts as touching
_WET_G_M2 = 0.05  # less is not drawn: it is below what the method is checked to

# Fill and hatch by kind of layer: the hatch repeats what the colour says.
_LOOKS: dict[str, tuple[str, str]] = {
    "insulation": ("#F3E3B3", "xx"),
    "wood": ("#D9B48F", "--"),
    "masonry": ("#D8A79A", "//"),
    "film": ("#3B434B", ""),
    "air": ("#FFFFFF", ""),
    "board": ("#D5D9DC", ".."),
}
_KINDS = {
    "covering": "film",
    "old_covering": "film",
    "underlay": "film",
    "vapour_control": "film",
    "finish": "film",
    "above_deck": "insulation",
    "foam": "insulation",
    "rafter_existing": "insulation",
    "rafter_insulation": "insulation",
    "ceiling_over": "insulation",
    "ceiling_between": "insulation",
    "outer_insulation": "insulation",
    "inner_insulation": "insulation",
    "frame_fill": "insulation",
    "insulation": "insulation",
    "cavity": "air",
    "void": "air",
    "deck": "wood",
    "sheathing": "wood",
    "outer_leaf": "masonry",
    "inner_leaf": "masonry",
}


@dataclass(frozen=True, slots=True)
class Section:
    """A build-up solved again in full from its stored layers, ready to draw.

    `edges` are the faces of the layers on the page, 0 outside to 1 inside, shape (L + 1,); `x`
    are the points of the profile on it. `month` is the one shown, 0 for January. `wet` is the point
    with the largest store, -1 if no month wets the build-up; `critical` the watched interface.
    """

    edges: Floats
    x: Floats
    profile: Profile
    month: int
    wet: int
    critical: int


def section_of(state: Entry) -> Section:
    """Solve the stored build-up in full and lay it out.

    The month shown is the one in which most water condenses; without any, the coldest.

    Parameters
    ----------
    state
        before or after of a part's `build_up`, with layers and months.
    """
    layers, months = state["layers"], state["months"]
    edges = _monthly(months, ("outside_c", "outside_pa", "inside_c", "inside_pa"))
    profile = condensation_profile(
        np.array([layer["r_m2k_w"] for layer in layers], dtype=np.float64),
        np.array([layer["sd_m"] for layer in layers], dtype=np.float64),
        state["r_se_m2k_w"],
        state["r_si_m2k_w"],
        Boundaries(*(edge[np.newaxis] for edge in edges)),
    )
    faces = layer_edges([layer["thickness_mm"] for layer in layers])
    store = profile.store_g_m2
    wet = int(store.max(axis=0).argmax()) if store.max() > _WET_G_M2 else -1
    month = _month_to_show(profile, wet >= 0)
    return Section(faces, _places(profile, faces), profile, month, wet, _critical(profile, months))


def layer_edges(thickness_mm: Sequence[float | None]) -> Floats:
    """Faces of the layers on the page, from 0 to 1: wide for thick, never too thin for a number.

    Widths grow with the root of the thickness, so that a brick and a board fit on one page.
    """
    root = np.sqrt([max(mm or 0.0, 0.0) for mm in thickness_mm])
    least = THINNEST * max(float(root.sum()), 1.0)
    width = np.maximum(root, least)
    return np.concatenate([[0.0], np.cumsum(width) / width.sum()])


def _monthly(months: Sequence[Entry], names: Sequence[str]) -> list[Floats]:
    return [np.array([month[name] for month in months], dtype=np.float64) for name in names]


def _month_to_show(profile: Profile, wets: bool) -> int:
    if wets:
        return int(profile.rate_g_m2.max(axis=1).argmax())
    return int(profile.t_c[:, 0].argmin())


def _places(profile: Profile, faces: Floats) -> Floats:
    """Where the points of the profile are: slices of one layer share its width evenly."""
    layer = np.minimum(profile.layer, len(faces) - 1)
    counts = np.bincount(layer, minlength=len(faces))
    first = np.concatenate([[0], np.cumsum(counts)[:-1]])
    share = (np.arange(len(layer)) - first[layer]) / counts[layer]
    width = np.append(np.diff(faces), 0.0)
    return np.asarray(faces[layer] + share * width[layer])


def _critical(profile: Profile, months: Sequence[Entry]) -> int:
    """The point whose pressures are the stored ones of the critical layer; -1 if none is."""
    p, full = _monthly(months, ("p_pa", "psat_pa"))
    off = np.abs(profile.p_pa - p[:, np.newaxis]) + np.abs(profile.psat_pa - full[:, np.newaxis])
    most = off.max(axis=0)
    at = int(most.argmin())
    return at if most[at] < 1.0 else -1


def draw_layers(axes: Axes, section: Section, layers: Sequence[Entry]) -> None:
    """Draw the strip of numbered layers with air on both sides."""
    axes.set(xlim=(-AIR, 1 + AIR), ylim=(0, 1))
    axes.axis("off")
    for left, word in ((-AIR, "OUTSIDE"), (1.0, "INSIDE")):
        axes.add_patch(Rectangle((left, 0), AIR, 1, fc=_AIR_FILL, ec="none"))
        axes.text(left + AIR / 2, 0.5, word, ha="center", va="center", fontsize=10, color=SOFT_INK)
    for number, layer in enumerate(layers):
        left, right = section.edges[number : number + 2]
        fill, hatch = _LOOKS[_KINDS.get(layer["name"], "board")]
        box = (left, 0.0), right - left, 1.0
        axes.add_patch(Rectangle(*box, fc=fill, ec="#8A9198", hatch=hatch or None, lw=0.0))
        axes.add_patch(Rectangle(*box, fc="none", ec=INK, lw=0.9))
        axes.text(
            (left + right) / 2,
            0.5,
            str(number + 1),
            ha="center",
            va="center",
            fontsize=9 if right - left > _NARROW else 7,
            fontweight="bold",
            color=INK,
            bbox={"boxstyle": "circle,pad=0.15", "fc": "white", "ec": INK, "lw": 0.7},
        )


def draw_pressures(axes: Axes, section: Section, months: Sequence[Entry]) -> None:
    """Draw both pressures of the worst month over the cut, and where they touch."""
    month, now = section.month, months[section.month]
    p, full = section.profile.p_pa[month], section.profile.psat_pa[month]
    x = np.concatenate([[-AIR, -AIR / 3], section.x, [1 + AIR / 3, 1 + AIR]])
    air = saturation_pressure_pa(np.array([now["outside_c"], now["inside_c"]]))
    saturation = np.concatenate([[air[0]] * 2, full, [air[1]] * 2])
    vapour = np.concatenate([[p[0]] * 2, p, [p[-1]] * 2])
    for face in section.edges:
        axes.axvline(float(face), color="#D5D9DC", lw=0.8, zorder=1)
    axes.fill_between(x, vapour, saturation, color="#FBEFE6", lw=0, zorder=0.5)
    axes.plot(x, saturation, color=FULL, lw=2.4, label="saturation: the most the air can hold")
    axes.plot(x, vapour, color=VAPOUR, lw=2.4, ls=(0, (4, 1.6)), label="vapour that is there")
    _mark_wet(axes, section, p, full)
    top = float(max(saturation.max(), vapour.max()))
    axes.set(xlim=(-AIR, 1 + AIR), ylim=(0, top * 1.30), xticks=[])
    axes.set_ylabel("Vapour pressure [Pa]", fontsize=9.5, color=INK)
    if section.critical >= 0:
        at = float(section.x[section.critical])
        axes.plot(
            [at, at], [0, top * 1.03], color=INK, lw=1.2, ls=":", zorder=2, label="critical layer"
        )
    axes.legend(
        loc="upper left",
        fontsize=9,
        facecolor="white",
        edgecolor="none",
        framealpha=1.0,
        ncols=2,
        columnspacing=1.6,
        handlelength=2.6,
    )
    for x_at, side in ((0.0, "outside"), (1.0, "inside")):
        _air(axes, x_at, side, now)
    axes.tick_params(labelsize=9)
    axes.spines[["top", "right"]].set_visible(False)


def _air(axes: Axes, x: float, side: str, month: Entry) -> None:
    """Write temperature and humidity of the air below its end of the cut."""
    t_c, p = month[f"{side}_c"], month[f"{side}_pa"]
    rh = 100.0 * p / float(saturation_pressure_pa(np.array([t_c]))[0])
    text = f"{side} air: {t_c:.1f} °C, {rh:.0f} % RH, {p:.0f} Pa"
    align = "left" if side == "outside" else "right"
    axes.annotate(
        text,
        (x, 0),
        xycoords="axes fraction",
        xytext=(0, -6),
        textcoords="offset points",
        ha=align,
        va="top",
        fontsize=9,
        color=SOFT_INK,
    )


def _mark_wet(axes: Axes, section: Section, p: Floats, full: Floats) -> None:
    """Mark every point where vapour touches saturation while water condenses or is stored."""
    store = section.profile.store_g_m2[section.month]
    points = np.flatnonzero((store > _WET_G_M2) & (p >= _TOUCH * full))
    if points.size:
        axes.plot(
            section.x[points],
            p[points],
            ls="none",
            marker="v",
            ms=11,
            mfc=WATER,
            mec=INK,
            zorder=5,
            label=f"water condenses here ({MONTHS[section.month]})",
        )
