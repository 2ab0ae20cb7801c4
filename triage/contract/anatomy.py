"""How one element is built: its layer table, read and checked."""

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Literal

from triage.contract.materials import Material
from triage.contract.section import Section
from triage.contract.text import did_you_mean
from triage.errors import Place, SchemaError

Element = Literal["roof", "wall", "floor"]
ELEMENTS: tuple[Element, ...] = ("roof", "wall", "floor")
DIRECTIONS = ("upward", "horizontal", "downward")
_TABLES: Mapping[Element, tuple[str, ...]] = {
    "roof": (
        *("roof_covering", "roof_outer_class", "roof_underlay", "roof_deck"),
        *("interior_vapour_control",),
    ),
    "wall": ("wall_construction", "wall_finish_external"),
    "floor": ("floor_construction",),
}
"""Tables by survey field."""
_ENTRIES: Mapping[Element, tuple[str, ...]] = {
    "roof": (
        *("new_cover.sheet.covering", "new_cover.coating.covering", "space.void.void"),
        *("ceiling.board.lining", "existing.rafters.rafter_existing"),
        *("existing.above_deck.above_deck", "joists.depth.ceiling_between"),
    ),
    "wall": (
        *("new_render.thin.outer_render", "new_lining.board.lining"),
        *("existing.internal.inner_insulation", "existing.external.outer_insulation"),
        *("existing.frame_fill.frame_fill", "frame.depth.frame_fill"),
    ),
    "floor": (),
}
"""Layers that a measure or an old insulation adds, as table, code and slot."""
_HEAD = ("slots", "surfaces", "bridging")
_MARKS = ("SEEN", "MEMORY", "COMPUTED", "POLICY", "PRACTICE")


@dataclass(frozen=True, slots=True)
class LayerSpec:
    """One layer: a material with a thickness, or values of its own, or a ventilated one.

    `mm_of` names the field that gives the thickness. Values given here stand before those of the
    material. [mm, m²K/W, m]
    """

    material: str | None = None
    mm: float | None = None
    mm_of: str | None = None
    r: float | None = None
    sd: float | None = None
    ventilated: bool = False


@dataclass(frozen=True, slots=True)
class Meaning:
    """What one code means: a layer in each of some slots, with its source."""

    layers: Mapping[str, LayerSpec]
    source: str
    mark: str


@dataclass(frozen=True, slots=True)
class Bridging:
    """Timber between the insulation of some slots: share of the area and its material."""

    slots: tuple[str, ...]
    share: float
    material: str


@dataclass(frozen=True, slots=True)
class Anatomy:
    """One element: its slots outside to inside, surfaces, bridging, and tables of meanings."""

    element: Element
    slots: tuple[str, ...]
    direction: str
    r_se: float
    r_si: float
    bridging: tuple[Bridging, ...]
    tables: Mapping[str, Mapping[str, Meaning]]


def read_anatomy(element: Element, top: Section, materials: Mapping[str, Material]) -> Anatomy:
    """One element from its file; what is wrong is added to the errors of the section."""
    slots = top.texts("slots")
    surfaces = top.table("surfaces")
    surfaces.only("direction", "r_se", "r_si", "source", "mark")
    _sourced(surfaces)
    for slot, count in Counter(slots).items():
        if count > 1:
            top.blame(f"the slot {slot!r} is there twice", "take one of them out", "slots")
    for name in (*_TABLES[element], *_ENTRIES[element]):
        if not _holds(top.data, name):
            top.blame(f"[{name}] is missing", "describe which layer it means")
    tables = {
        name: {code: _meaning(top.table(name).table(code), slots, materials) for code in codes}
        for name, codes in top.data.items()
        if name not in _HEAD and isinstance(codes, dict)
    }
    bridging = top.table("bridging")
    return Anatomy(
        element=element,
        slots=slots,
        direction=surfaces.choice("direction", DIRECTIONS) or "horizontal",
        r_se=surfaces.need("r_se", float, "0.04") or 0.04,
        r_si=surfaces.need("r_si", float, "0.13") or 0.13,
        bridging=tuple(_bridging(bridging.table(name), slots, materials) for name in bridging.data),
        tables=tables,
    )


def _holds(data: object, name: str) -> bool:
    for key in name.split("."):
        if not isinstance(data, Mapping) or key not in data:
            return False
        data = data[key]
    return True


def _bridging(s: Section, slots: Sequence[str], materials: Mapping[str, Material]) -> Bridging:
    s.only("slots", "share", "material", "source", "mark")
    _sourced(s)
    share = s.need("share", float, "0.1") or 0.0
    if not 0 < share < 0.5:
        s.blame(f"a share of {share:g}", "write a share of the area, 0 to 0.5", "share")
    for slot in s.texts("slots"):
        _known(s, slot, slots, "slot", "slots")
    material = s.need("material", str, '"softwood"') or ""
    _known(s, material, materials, "material", "material")
    return Bridging(s.texts("slots"), share, material)


def _meaning(s: Section, slots: Sequence[str], materials: Mapping[str, Material]) -> Meaning:
    s.only(*slots, "source", "mark")
    _sourced(s)
    layers = {slot: _layer(s.table(slot), materials) for slot in slots if slot in s.data}
    return Meaning(layers, s.get("source", str) or "", s.get("mark", str) or "")


def _layer(s: Section, materials: Mapping[str, Material]) -> LayerSpec:
    s.only("material", "mm", "mm_of", "r", "sd", "ventilated")
    spec = LayerSpec(
        material=s.get("material", str),
        mm=s.get("mm", float),
        mm_of=s.get("mm_of", str),
        r=s.get("r", float),
        sd=s.get("sd", float),
        ventilated=s.get("ventilated", bool) or False,
    )
    if spec.material is not None:
        _known(s, spec.material, materials, "material", "material")
    elif not spec.ventilated and (spec.r is None or spec.sd is None):
        s.blame("a layer without a material", "name a material, or give both r and sd")
    for name, value in (("mm", spec.mm), ("r", spec.r), ("sd", spec.sd)):
        if value is not None and (value < 0 or (name == "mm" and value == 0)):
            s.blame(f"{name} = {value:g}", "write a value above zero", name)
    if spec.mm_of is not None and (spec.r is not None or spec.sd is not None or not spec.material):
        s.blame("a thickness from a field with values of its own", "give mm_of and a material only")
    held = materials.get(spec.material or "")
    problem = held.thickness_problem(spec.mm) if held and spec.mm else None
    if problem is not None:
        s.blame(problem, "correct the thickness", "mm")
    return spec


def _known(
    s: Section, name: str, pool: Sequence[str] | Mapping[str, object], what: str, key: str
) -> None:
    if name not in pool:
        s.errors.append(
            SchemaError(f"{name!r} is no {what}", _place(s, key), did_you_mean(name, list(pool)))
        )


def _place(s: Section, key: str) -> Place:
    return s.file.place(*s.under, key)


def _sourced(s: Section) -> None:
    s.need("source", str, '"where it is from"')
    mark = s.need("mark", str, '"PRACTICE"') or "PRACTICE"
    if mark.split()[0] not in _MARKS:
        s.blame(f"the mark {mark!r}", f"begin it with one of {', '.join(_MARKS)}", "mark")
