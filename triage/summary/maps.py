"""Maps by area of a report: drawn from printed counts alone, so that they tell nothing more."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from triage.report.document import Grid
from triage.report.labels import QUEUES
from triage.summary.content import shares_of
from triage.summary.counts import COVERAGE, EXPOSURES
from triage.summary.facts import Facts
from triage.summary.told import Told

if TYPE_CHECKING:
    from triage.report.area_map import AreaMap

Rows = Sequence[tuple[str, list[int | None], int | None]]
FOLDER = "maps"
WITHHELD = ("Withheld", "#B4B6B3", "xxxx")
_UNKNOWN = "not known"
_NO_COUNT = "withheld"
_QUEUE_LOOKS = {look.queue: (look.title, look.fill, look.hatch) for look in QUEUES}
# Lightness falls in even steps in each scale, so that the order survives in grey.
_GAP_LOOKS = {
    COVERAGE[0]: ("Decidable", "#E3E8DC", ""),
    COVERAGE[1]: ("Not decidable", "#B59B57", "////"),
    COVERAGE[2]: ("Out of date", "#5E4B2B", ""),
}
_EXPOSURE_LOOKS = {
    "very_severe": ("Very severe", "#14304F", ""),
    "severe": ("Severe", "#4C7796", "////"),
    "moderate": ("Moderate", "#A3B8C4", ""),
    "sheltered": ("Sheltered", "#E9EBE4", ""),
    _UNKNOWN: ("Not known", "#FFFFFF", "...."),
}
_FOAM_FILLS = (
    *(("#3B2030", ""), ("#6E4158", "////"), ("#9C6C85", ""), ("#C19AAE", "....")),
    *(("#DFC7D3", ""), ("#F6EEF2", "")),
)


@dataclass(frozen=True, slots=True)
class Spec:
    """A map: its table, the classes with their looks, and whose share its title tells.

    `told` names the classes whose share, together, the title is about, and `finding` calls it.
    `counted` is what is counted, in the plural.
    """

    name: str
    table: str
    dimension: str
    looks: Mapping[str, tuple[str, str, str]]
    told: tuple[str, ...]
    finding: str
    heading: str
    counted: str
    place: str


def specs(told: Told, foam_classes: Mapping[str, str]) -> list[Spec]:
    """The maps of a report, in order; those without a table are left out."""
    numbers = sorted(foam_classes)
    fills = {n: _FOAM_FILLS[k % len(_FOAM_FILLS)] for k, n in enumerate(numbers)}
    foam = {n: (f"{n}: {foam_classes[n]}", *fills[n]) for n in numbers}
    homes = "homes with a measure proposed"
    every = (
        Spec(
            *("queues_by_area", "areas", "queue", _QUEUE_LOOKS, (QUEUES[1].queue,)),
            *("Fix water first", "Homes by their worst queue", homes, "of homes in"),
        ),
        Spec(
            *("foam_by_area", "area_foam", "foam_class", foam, tuple(numbers[:2])),
            *(
                "Foam on the covering",
                "Foamed roofs by starting class",
                "roofs that carry foam or may",
            ),
            "of foamed roofs in",
        ),
        Spec(
            *("gaps_by_area", "area_gaps", "coverage", _GAP_LOOKS, COVERAGE[1:3]),
            *("Not decidable or out of date", "Homes by what their evidence decides", homes),
            "of homes in",
        ),
        Spec(
            *("exposure_by_area", "area_exposure", "exposure", _EXPOSURE_LOOKS, EXPOSURES[:2]),
            *("Severe or very severe rain", "Homes by rain exposure", homes),
            "of homes in",
        ),
    )
    return [spec for spec in every if told.has(spec.table)]


def _names(told: Told, table: str) -> set[str]:
    return set(told.release.tables[table]["area"]) - {"all"}


def _placed(told: Told, facts: Facts) -> list[tuple[str, tuple[float, float]]]:
    """Areas whose homes are printed and placed, the largest first: the same on every map."""
    places = {area: (lat, lon) for area, lat, lon in facts.places.iter_rows()}
    homes = {area: told.homes("areas", area=area) or 0 for area in _names(told, "areas")}
    ordered = sorted(homes, key=lambda area: (-homes[area], area))
    return [(area, places[area]) for area in ordered if homes[area] and area in places]


def areas_told(told: Told, spec: Spec) -> Rows:
    """Areas with their printed counts by class and in all, the largest first."""
    rows = [
        (
            area,
            [told.homes(spec.table, area=area, **{spec.dimension: key}) for key in spec.looks],
            told.homes(spec.table, area=area),
        )
        for area in _names(told, spec.table)
    ]
    return sorted(rows, key=lambda row: (-(row[2] or 0), row[0]))


def area_grid(told: Told, spec: Spec, notes: tuple[str, ...]) -> Grid:
    """The table that says the same as the map."""
    rows = [
        (area, *map(told.text, parts), told.text(total))
        for area, parts, total in areas_told(told, spec)
    ]
    heads = tuple(title for title, _, _ in spec.looks.values())
    words = ("Area", *heads, "All")
    return Grid(spec.table, spec.heading, words, tuple(rows), notes=notes, on_paper=False)


def write_maps(folder: Path, told: Told, facts: Facts) -> list[str]:
    """Draw the maps by area into a new folder.

    Returns
    -------
    list of str
        Names of the files; none where no area can be shown.
    """
    from triage.report.area_map import Ground, draw_area_map  # noqa: PLC0415  heavy libraries

    made: list[str] = []
    sources = (f"Areas: {facts.area_words}.",)
    ground = Ground(facts.country_code, facts.stamp, sources, facts.outlines)
    for spec in drawn_specs(told, facts):
        folder.mkdir(exist_ok=True)
        made += draw_area_map(folder, spec.name, map_of(told, facts, spec), ground)
    return made


def drawn_specs(told: Told, facts: Facts) -> list[Spec]:
    """The maps on which any area has a count to show."""
    areas = [area for area, _ in _placed(told, facts)] if told.has("areas") else []
    return [
        spec
        for spec in specs(told, facts.foam_classes)
        if any(told.homes(spec.table, area=area) is not None for area in areas)
    ]


def map_of(told: Told, facts: Facts, spec: Spec) -> AreaMap:
    """What a map shows."""
    from triage.report.area_map import Area, AreaMap, Look  # noqa: PLC0415

    rows = areas_told(told, spec)
    counted = {area: (parts, total) for area, parts, total in rows}
    areas = []
    for area, place in _placed(told, facts):
        parts, total = counted.get(area, ([0] * len(spec.looks), 0))
        if total is None:  # its homes are printed, these are not
            areas.append(Area(area, *place, (*(0.0 for _ in parts), 1.0), _NO_COUNT))
        else:
            areas.append(Area(area, *place, shares_of(parts, total), f"n {total:,}"))
    hidden = sum(area.shown == _NO_COUNT for area in areas)
    return AreaMap(
        title=map_title(told, spec, rows),
        heading=spec.heading,
        unit=f"Shares of the {spec.counted}, by area; n = {told.text(told.homes(spec.table))} in "
        "all.",
        looks=tuple(Look(*look) for look in (*spec.looks.values(), WITHHELD)),
        rows=_lines(told, spec),
        areas=tuple(areas),
        notes=_notes(told, hidden),
        alt=map_alt(told, spec, rows),
    )


def _lines(told: Told, spec: Spec) -> tuple[tuple[str, str, str], ...]:
    """Class, count and share, as they stand beside the map."""
    whole = told.homes(spec.table)
    counts = [told.homes(spec.table, **{spec.dimension: key}) for key in spec.looks]
    lines = [
        (title, told.text(n), told.share(n, whole))
        for (title, *_), n in zip(spec.looks.values(), counts, strict=True)
    ]
    if told.rule.withholds:
        lines.append((WITHHELD[0], "", ""))
    lines.append(("All", told.text(whole), ""))
    unknown = told.homes(spec.table, area=_UNKNOWN)
    if unknown:
        lines.append(("area not known", told.text(unknown), ""))
    return tuple(lines)


def _notes(told: Told, hidden: int) -> tuple[str, ...]:
    """What is not drawn; `hidden` areas are, without a count."""
    if not told.rule.withholds:
        return ()
    names = _names(told, "areas") - {_UNKNOWN}
    left_out = sum(told.homes("areas", area=area) is None for area in names)
    notes = []
    if left_out:
        one = "1 area is" if left_out == 1 else f"{left_out:,} areas are"
        notes.append(f"{one} withheld and not drawn.")
    if hidden:
        notes.append(f"{hidden:,} of those drawn show no count: it is withheld.")
    rule = told.rule
    notes.append(
        f"{rule.sign.capitalize()}: grey, crossed. Every count is rounded to {rule.rounding} by "
        "itself; parts may not add."
    )
    return tuple(notes)


def map_title(told: Told, spec: Spec, rows: Rows) -> str:
    """The area with the largest share of what the map is about, where it may be told."""
    keys = list(spec.looks)
    found = []
    for area, parts, total in rows:
        mine = [parts[keys.index(key)] for key in spec.told]
        if area == _UNKNOWN or not total or total < told.rule.percent_min or None in mine:
            continue
        found.append((min(1.0, sum(n or 0 for n in mine) / total), area))
    if not found:
        return f"{spec.finding}: no area has a share that can be shown"
    if max(found)[0] == 0:
        return f"{spec.finding}: in no area whose share can be shown"
    share, area = max(found, key=lambda f: (f[0], f[1]))
    return f"{spec.finding}: {share:.0%} {spec.place} {area}, the largest share shown"


def map_alt(told: Told, spec: Spec, rows: Rows, keys: Sequence[str] = ()) -> str:
    """The counts of each area in words, of some classes or of all."""
    named = {key: (place, look[0].lower()) for place, (key, look) in enumerate(spec.looks.items())}
    said = [
        ", ".join(
            [
                f"{area}: n {told.text(total)}",
                *(f"{named[k][1]} {told.text(parts[named[k][0]])}" for k in keys or spec.looks),
            ]
        )
        for area, parts, total in rows
    ]
    return "; ".join(said) + "."
