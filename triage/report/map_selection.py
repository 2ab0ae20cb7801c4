"""Map of the foamed roofs of a wave of inspections, for whoever makes the visits."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import numpy as np
import polars as pl
import shapely
from matplotlib import rc_context

from triage.report.labels import visible
from triage.report.map_compose import Composed, compose
from triage.report.map_frame import INK, LOOKS, SOFT_INK, Floats, View, free_side, in_view
from triage.report.map_marks import MarkClass
from triage.report.map_panel import Panel, draw_locator, draw_scale, write_titles
from triage.report.map_save import save_both

RANDOM, TARGETED, RESERVE = "random", "targeted", "reserve"
# Lightness 20, 55 and 97: apart in grey; the shapes and the words repeat it.
STREAMS = (
    MarkClass(RANDOM, "By chance", "#14304F", "o", ""),
    MarkClass(TARGETED, "By expected risk", "#B7791F", "^", "////"),
    MarkClass(RESERVE, "In reserve", "#F7F7F4", "s", ""),
)
_MOST_AREAS = 9  # lines of the panel
_AROUND_IN = 0.24  # from a mark to the line around its area
_LETTERS = 26
_LEAST_APART = 2  # areas: around a single one a line says nothing


@dataclass(frozen=True, slots=True)
class WaveWords:
    """What stands around the map: finding, identity of the run, how it was drawn, country."""

    title: str
    stamp: str
    notes: tuple[str, ...]
    country_code: str


@rc_context(LOOKS)
def draw_selection_map(folder: Path, roofs: pl.DataFrame, words: WaveWords) -> str:
    """Write `map.png` and `map.svg` into a folder and return what they show, in words.

    Parameters
    ----------
    folder
        Where to; it exists.
    roofs
        One row a roof: lat, lon [degrees, WGS 84; null: not placed], `stream` (random, targeted,
        reserve), `visit_area` and `visit_order` (null in reserve).
    words
        Title, stamp and notes.

    Notes
    -----
    For the programme and its inspectors alone: a mark shows where a roof is.
    """
    drawn = compose(
        roofs.with_columns(flag=pl.lit(value=False)),
        "stream",
        STREAMS,
        None,
        words.country_code,
        noun="roofs",
    )
    areas = _areas(roofs)
    has_letters = _outline_areas(drawn, roofs, areas)
    _write_numbers(drawn, roofs)
    panel = Panel(drawn.view)
    _write_panel(panel, drawn, areas, has_letters)
    if drawn.placed:
        draw_locator(panel, words.country_code)
        draw_scale(panel, with_miles=words.country_code == "US")
    left_out = _left_out(drawn)
    caption = [*left_out, *words.notes, drawn.ground, f"Projection: {drawn.view.crs_name}."]
    write_titles(drawn.view, words.title, words.stamp, " ".join(text for text in caption if text))
    told = " ".join([_in_words(drawn, areas), *left_out, *words.notes])
    save_both(drawn.view.figure, folder / "map", words.title, told)
    return told


def _areas(roofs: pl.DataFrame) -> pl.DataFrame:
    """One row an area, in the order of the visits: letter, name and roofs of each stream."""
    counts = (
        roofs.group_by("visit_area")
        .agg((pl.col("stream") == look.key).sum().alias(look.key) for look in STREAMS)
        .sort("visit_area")
    )
    letters = pl.Series("letter", [_letter(n) for n in range(counts.height)], dtype=pl.String)
    return counts.with_columns(letters)


def _letter(number: int) -> str:
    """A to Z, then AA, AB and so on."""
    rest, last = divmod(number, _LETTERS)
    return (_letter(rest - 1) if rest else "") + chr(ord("A") + last)


def _outline_areas(drawn: Composed, roofs: pl.DataFrame, areas: pl.DataFrame) -> bool:
    """Draw a dashed line around the roofs of each area, with its letter; true if it was drawn.

    Areas that lie across each other get none: the lines would tell nothing apart.
    """
    view = drawn.view
    known = roofs.drop_nulls(["lat", "lon"])
    x, y = view.to_map.transform(known["lon"].to_numpy(), known["lat"].to_numpy())
    seen = in_view(view, x, y)
    names = known["visit_area"].to_numpy()
    around = {}
    for name, letter in areas.select("visit_area", "letter").iter_rows():
        mine = seen & (names == name)
        if mine.any():
            points = shapely.multipoints(np.column_stack([x[mine], y[mine]]))
            reach = _AROUND_IN * view.metres_per_inch
            around[letter] = shapely.buffer(shapely.convex_hull(points), reach)
    if len(around) < _LEAST_APART or _lie_across(list(around.values())):
        return False
    taken = drawn.obstacles
    for letter, shape in around.items():
        edge = shapely.get_coordinates(shape)
        view.axes.plot(*edge.T, color=SOFT_INK, lw=1.1, ls=(0, (5, 3)), zorder=4)
        taken = _write_letter(view, letter, edge, taken)
    return True


def _lie_across(shapes: list[shapely.Geometry]) -> bool:
    """Whether an area shares a third or more of its room with another."""
    return any(
        one.intersection(other).area > min(one.area, other.area) / 3
        for place, one in enumerate(shapes)
        for other in shapes[:place]
    )


def _write_letter(view: View, letter: str, edge: Floats, taken: Floats) -> Floats:
    """The letter on the line, where it is farthest from all marks and other letters."""
    west, south, east, north = view.bounds
    room = 0.15 * view.metres_per_inch
    inside = (
        (edge[:, 0] > west + room)
        & (edge[:, 0] < east - room)
        & (edge[:, 1] > south + room)
        & (edge[:, 1] < north - room)
    )
    tries = edge[inside] if inside.any() else edge
    gaps = np.hypot(*(tries[:, None, :] - taken[None, :, :]).transpose(2, 0, 1)).min(axis=1)
    spot = tries[int(np.argmax(gaps))]
    view.axes.text(
        float(spot[0]),
        float(spot[1]),
        letter,
        ha="center",
        va="center",
        fontsize=10,
        fontweight="bold",
        color=INK,
        bbox={"boxstyle": "square,pad=0.2", "fc": "white", "ec": SOFT_INK, "lw": 0.8},
        zorder=11,
        clip_on=True,
    )
    return np.vstack([taken, spot])


def _write_numbers(drawn: Composed, roofs: pl.DataFrame) -> None:
    """The number of the visit beside each mark that has room for it."""
    view = drawn.view
    inch = view.metres_per_inch
    alone, taken = drawn.obstacles[: len(drawn.alone)], drawn.obstacles
    orders = roofs["visit_order"].gather(drawn.alone.tolist()).to_list()
    for order, at in zip(orders, alone, strict=True):
        if order is None:
            continue
        others = taken[np.any(taken != at, axis=1)]
        beside = (float(at[0]) + 0.15 * inch, float(at[1]) + 0.09 * inch)
        spot, is_free = free_side(beside, (0.12 * inch,), others, 0.13 * inch)
        if is_free:
            view.axes.text(
                *spot, f"{order}", fontsize=7, color=INK, ha="center", va="center", zorder=9.5
            )
            taken = np.vstack([taken, spot])


def _write_panel(panel: Panel, drawn: Composed, areas: pl.DataFrame, has_letters: bool) -> None:
    panel.heading("Roofs of this wave")
    for look in STREAMS:
        panel.row(look, drawn.counts[look.key], drawn.homes)
    panel.total("All", drawn.homes)
    panel.total("of these not placed", drawn.homes - drawn.placed)
    panel.gap(0.06)
    if len(drawn.marks.centres):
        shown = tuple(look for look in STREAMS if drawn.counts[look.key])
        panel.ring(shown, "Where marks would touch: roofs in the ring, parts by stream.")
    panel.words("Number at a single mark: its visit in inspections.xlsx, where there is room.")
    panel.gap(0.06)
    panel.heading("Area: by chance · by risk · reserve")
    rows = areas.select("letter", "visit_area", *(look.key for look in STREAMS)).rows()
    fit = rows if len(rows) <= _MOST_AREAS else rows[: _MOST_AREAS - 1]
    for letter, name, *counts in fit:
        head = f"{letter}  " if has_letters else ""
        panel.pair(head + _short(visible(name), 24), " · ".join(f"{n:,}" for n in counts))
    if len(fit) < len(rows):
        panel.pair(f"{len(rows) - len(fit):,} more areas", "see the list")


def _short(text: str, longest: int) -> str:
    return text if len(text) <= longest else text[: longest - 1] + "…"


def _left_out(drawn: Composed) -> list[str]:
    missing, parts = drawn.homes - drawn.placed, []
    if missing:
        are = "has no usable location and is" if missing == 1 else "have no usable location and are"
        parts.append(f"{missing:,} of {drawn.homes:,} roofs {are} in the list alone.")
    if drawn.outside:
        parts.append(f"{drawn.outside:,} far from the others, outside this view.")
    return parts


def _in_words(drawn: Composed, areas: pl.DataFrame) -> str:
    """The same as the picture for whoever cannot see it."""
    each = [
        f"{visible(name)}: {chance:,} by chance, {risk:,} by expected risk, {spare:,} in reserve"
        for name, chance, risk, spare in areas.select(
            "visit_area", *(look.key for look in STREAMS)
        ).iter_rows()
    ]
    total = ", ".join(f"{look.title.lower()} {drawn.counts[look.key]:,}" for look in STREAMS)
    return f"Roofs, n = {drawn.homes:,}: {total}. By area: {'; '.join(each)}."
