"""What survey answers mean as layers: schemas/assemblies, read and checked, with the materials."""

import hashlib
from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from types import MappingProxyType
from typing import Literal

from triage.contract.materials import Material, load_materials, materials_digest
from triage.contract.products import Product, with_products
from triage.contract.section import Section
from triage.contract.text import did_you_mean
from triage.contract.tomlfile import read_toml
from triage.errors import FileError, Place, SchemaError, TriageError, raise_all
from triage.resources import resource_dir

Element = Literal["roof", "wall", "floor"]
ELEMENTS: tuple[Element, ...] = ("roof", "wall", "floor")
DIRECTIONS = ("upward", "horizontal", "downward")
_TRIED = "alternatives.toml"
_TABLES: Mapping[Element, tuple[str, ...]] = {
    "roof": (
        *("roof_covering", "roof_outer_class", "roof_underlay", "roof_deck"),
        *("interior_vapour_control", "new_cover", "space", "ceiling", "existing", "joists"),
    ),
    "wall": (
        *("wall_construction", "wall_finish_external"),
        *("new_render", "new_lining", "existing", "frame"),
    ),
    "floor": ("floor_construction",),
}
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


@dataclass(frozen=True, slots=True)
class Alternatives:
    """What is tried for a field that is not known, in cases of which `when` holds."""

    field: str
    when: str
    values: tuple[str | float, ...]


@dataclass(frozen=True, slots=True)
class Library:
    """Materials, with the programme's products in their places, and how elements are built.

    `digest` changes with any material, product or layer table.
    """

    materials: Mapping[str, Material]
    anatomies: Mapping[str, Anatomy]
    alternatives: tuple[Alternatives, ...]
    most_combinations: int
    digest: str


def load_library(products: Sequence[Product] = ()) -> Library:
    """The library that ships, with a programme's declared products.

    Raises
    ------
    FileError, SchemaError or ManyErrors
        Everything wrong in the files at once, with file and line.
    """
    materials = load_materials()
    anatomies = load_anatomies()
    alternatives, most = _alternatives(None)
    total = hashlib.sha256(materials_digest().encode())
    for path in (*_files(None).values(), _folder(None) / _TRIED):
        total.update(path.read_bytes().replace(b"\r\n", b"\n"))
    for product in products:
        total.update(repr(product).encode())
    told = with_products(materials, products)
    return Library(told, anatomies, alternatives, most, total.hexdigest())


@cache
def load_anatomies(folder: Path | None = None) -> Mapping[str, Anatomy]:
    """How roofs, walls and floors are built, by element, from the files of a folder.

    Raises
    ------
    FileError, SchemaError or ManyErrors
        Everything wrong in the files at once, with file and line.
    """
    errors: list[TriageError] = []
    materials = load_materials()
    found: dict[str, Anatomy] = {}
    for element, path in _files(folder).items():
        file = read_toml(path, SchemaError)
        top = Section(file, dict(file.data), SchemaError, errors=errors)
        found[element] = _anatomy(element, top, materials)
    raise_all(errors)
    return MappingProxyType(found)


def _files(folder: Path | None) -> dict[Element, Path]:
    where = _folder(folder)
    paths = {element: where / f"{element}.toml" for element in ELEMENTS}
    missing = [path.name for path in (*paths.values(), where / _TRIED) if not path.is_file()]
    if missing:
        what = f"the layer tables lack {', '.join(missing)}"
        raise FileError(what, str(where), "install the product again")
    return paths


def _folder(folder: Path | None) -> Path:
    return folder or resource_dir("schemas") / "assemblies"


@cache
def _alternatives(folder: Path | None) -> tuple[tuple[Alternatives, ...], int]:
    file = read_toml(_folder(folder) / _TRIED, SchemaError)
    top = Section(file, dict(file.data), SchemaError)
    top.only("most_combinations", "try")
    most = top.need("most_combinations", int, "64") or 1
    found = tuple(_tried(entry) for entry in top.tables("try"))
    raise_all(top.errors)
    return found, most


def _tried(s: Section) -> Alternatives:
    s.only("field", "when", "values")
    values = tuple(s.get("values", list) or ())
    if len({type(value) for value in values}) != 1 or not isinstance(values[0], str | float):
        s.blame(
            "'values' should hold texts, or numbers with a point", "write [50.0, 100.0]", "values"
        )
    return Alternatives(
        s.need("field", str, '"roof_deck"') or "", s.need("when", str, '"TRUE"') or "TRUE", values
    )


def _anatomy(element: Element, top: Section, materials: Mapping[str, Material]) -> Anatomy:
    slots = top.texts("slots")
    surfaces = top.table("surfaces")
    surfaces.only("direction", "r_se", "r_si", "source", "mark")
    _sourced(surfaces)
    for slot, count in Counter(slots).items():
        if count > 1:
            top.blame(f"the slot {slot!r} is there twice", "take one of them out", "slots")
    for name in _TABLES[element]:
        if name not in top.data:
            top.blame(f"the table [{name}.…] is missing", f"describe what {name} means as layers")
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
    if spec.mm is not None and spec.material is not None and spec.material in materials:
        problem = materials[spec.material].thickness_problem(spec.mm)
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
