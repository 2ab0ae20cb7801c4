"""Reads the code tables of a policy pack; every slip is kept with its line."""

from collections.abc import Mapping
from pathlib import Path
from types import MappingProxyType
from typing import TypeGuard

from triage.contract.code_rows import (
    LETTERS,
    PERMISSIONS,
    RETARDERS,
    ZONES,
    CodeTables,
    DiffusionPort,
    UnventedRoof,
    ZoneRow,
    ZoneTable,
)
from triage.contract.loader import load_contract
from triage.contract.materials_read import MARKS
from triage.contract.section import Section
from triage.contract.tomlfile import read_toml
from triage.errors import PolicyError, raise_all

__all__ = ["CodeTables", "load_code_tables"]

FILE = "code_tables.toml"
_TABLES: Mapping[str, tuple[str, ...]] = MappingProxyType(
    {
        "foam_r": ("r_us",),
        "foam_share": ("share",),
        "inside_retarder": RETARDERS,
        "class_3": ("r_2x4_us", "r_2x6_us"),
        "class_2": ("r_2x4_us", "r_2x6_us"),
        "insulation": ("ceiling", "frame_wall", "mass_wall", "floor"),
    }
)
_WHOLE = ("foam_r", "foam_share", "inside_retarder", "insulation")  # hold every zone


def load_code_tables(folder: Path) -> CodeTables:
    """Read `code_tables.toml` of a policy pack.

    Raises
    ------
    FileError, PolicyError or ManyErrors
        Everything wrong with the file at once, each with its line.
    """
    file = read_toml(folder / FILE, PolicyError)
    top = Section(file, dict(file.data), PolicyError)
    sections = ("retarder", "unvented_roof", "diffusion_port")
    top.only("edition", "editions", "edition_in_force", *_TABLES, *sections)
    coverings = tuple(code.code for code in load_contract().codes["RC"])
    editions = top.texts("editions")
    top.need("edition_in_force", str, '"2021"')
    found = {name: _zone_table(top, name, coverings, editions) for name in _TABLES}
    tables = CodeTables(
        edition=top.need("edition", str, '"US model codes, 2021"') or "",
        editions=editions,
        edition_in_force=top.choice("edition_in_force", editions) or "",
        foam_r=found["foam_r"],
        foam_share=found["foam_share"],
        inside_retarder=found["inside_retarder"],
        class_3=found["class_3"],
        class_2=found["class_2"],
        insulation=found["insulation"],
        retarder_max_perm=_retarders(top),
        unvented_roof=_unvented_roof(top.table("unvented_roof")),
        diffusion_port=_diffusion_port(top.table("diffusion_port")),
    )
    raise_all(top.errors)
    return tables


def _zone_table(
    top: Section, name: str, coverings: tuple[str, ...], editions: tuple[str, ...]
) -> ZoneTable:
    entries = top.tables(name)
    table = ZoneTable(tuple(_row(entry, name, coverings, editions) for entry in entries))
    for zone in ZONES if name in _WHOLE else ():
        if None in table.candidates(zone):
            what = f"{name!r} has no row for some place in zone {zone}"
            top.blame(what, f"add a [[{name}]] row with zones = [{zone}]", name)
    return table


def _row(s: Section, name: str, coverings: tuple[str, ...], editions: tuple[str, ...]) -> ZoneRow:
    extra = ("vented_over",) if name == "class_3" else ()
    s.only("zones", "letters", "coverings", "source", "mark", *_TABLES[name], *extra)
    figures = {key: _figures(s, key) for key in _TABLES[name] if key != "frame_wall"}
    if name == "insulation" and len(figures["ceiling"]) != len(editions):
        s.blame("'ceiling' should hold one figure an edition", "see `editions`", "ceiling")
    if name == "insulation" and len(figures["mass_wall"]) != 2:
        s.blame("'mass_wall' should hold two figures", "write [outside, inside]", "mass_wall")
    source, mark = _source(s)
    return ZoneRow(
        zones=_zones(s),
        letters=_some(s, "letters", LETTERS),
        coverings=_some(s, "coverings", coverings),
        figures=MappingProxyType(figures),
        vented_over=s.texts("vented_over"),
        wall_alternatives=_alternatives(s) if name == "insulation" else (),
        source=source,
        mark=mark,
    )


def _figures(s: Section, key: str) -> tuple[float, ...]:
    """One figure, several, or the index of a permission; never none."""
    if key in RETARDERS:
        s.need(key, str, '"permitted"')
        word = s.choice(key, PERMISSIONS)
        return (float(PERMISSIONS.index(word)),) if word is not None else (0.0,)
    value: object = s.data.get(key)
    values: list[object] = value if isinstance(value, list) else [value]
    if not values or not all(_is_number(v) and 0 <= v < float("inf") for v in values):
        s.blame(f"{key!r} should be a number, not below zero", f"write {key} = 5.0", key)
        return (0.0,)
    return tuple(float(v) for v in values if _is_number(v))


def _alternatives(s: Section) -> tuple[tuple[float, float], ...]:
    pairs = s.get("frame_wall", list) or []
    good = [
        (float(pair[0]), float(pair[1]))
        for pair in pairs
        if isinstance(pair, list) and len(pair) == 2 and all(map(_is_number, pair))
    ]
    if not pairs or len(good) != len(pairs):
        fix = "write frame_wall = [[20, 0], [13, 5]]: cavity, continuous"
        s.blame("'frame_wall' should hold pairs of numbers", fix, "frame_wall")
    return tuple(good)


def _zones(s: Section, key: str = "zones") -> tuple[int, ...]:
    values = s.get(key, list) or []
    zones = tuple(v for v in values if type(v) is int and v in ZONES)
    if not values or len(zones) != len(values):
        s.blame(f"{key!r} should hold whole numbers from 1 to 8", f"write {key} = [5, 6]", key)
    return zones


def _some(s: Section, key: str, known: tuple[str, ...]) -> tuple[str, ...]:
    values = s.texts(key)
    for value in values:
        if value not in known:
            s.blame(f"{value!r} is none of {key!r}", f"use {', '.join(known)}", key)
    return values


def _source(s: Section) -> tuple[str, str]:
    source = s.need("source", str, '"table of R806.5, 2021"') or ""
    mark = s.need("mark", str, '"MEMORY"') or ""
    if mark and not any(word in mark for word in MARKS):
        s.blame(f"{mark!r} is no mark", f"use one of {', '.join(MARKS)}", "mark")
    return source, mark


def _retarders(top: Section) -> Mapping[str, float]:
    limits: dict[str, float] = {}
    for entry in top.tables("retarder"):
        entry.only("class", "permeance_max_perm", "source", "mark")
        _source(entry)
        entry.need("class", str, '"class_1"')
        name = entry.choice("class", RETARDERS)
        if name is not None:
            limits[name] = _above_zero(entry, "permeance_max_perm")
    if tuple(limits) != RETARDERS or list(limits.values()) != sorted(limits.values()):
        fix = "write [[retarder]] for class_1, class_2 and class_3, each limit above the last"
        top.blame("the vapour retarder classes are not three rising limits", fix, "retarder")
    return MappingProxyType(limits)


def _unvented_roof(s: Section) -> UnventedRoof:
    keys = ("wood_shingle_gap_mm", "deck_month_min_c", "deck_indoor_c")
    s.only("class_2_zones", "no_class_1_inside", *keys, "source", "mark")
    _source(s)
    zones = _zones(s, "class_2_zones")
    inside = s.need("no_class_1_inside", bool, "true")
    return UnventedRoof(zones, bool(inside), *(_above_zero(s, key) for key in keys))


def _diffusion_port(s: Section) -> DiffusionPort:
    keys = (
        *("from_top_max_mm", "ceiling_area_share_min", "permeance_min_perm"),
        *("pitch_min_deg", "clearance_min_mm"),
    )
    s.only("zones", *keys, "source", "mark")
    _source(s)
    return DiffusionPort(_zones(s), *(_above_zero(s, key) for key in keys))


def _above_zero(s: Section, key: str) -> float:
    value = s.need(key, float, "1.0")
    if value is not None and not 0 < value < float("inf"):
        s.blame(f"{key!r} is {value:g}", "write a number above zero", key)
    return value or 0.0


def _is_number(value: object) -> TypeGuard[int | float]:
    return type(value) in (int, float)  # not bool
