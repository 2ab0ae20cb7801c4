"""What survey answers mean as layers: schemas/assemblies, read and checked, with the materials."""

import hashlib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from types import MappingProxyType

from triage.contract.anatomy import (
    ELEMENTS,
    Anatomy,
    Bridging,
    Element,
    LayerSpec,
    Meaning,
    read_anatomy,
)
from triage.contract.materials import Material, load_materials, materials_digest
from triage.contract.products import Product, with_products
from triage.contract.section import Section
from triage.contract.tomlfile import read_toml
from triage.errors import FileError, SchemaError, TriageError, raise_all
from triage.resources import resource_dir

__all__ = [
    "ELEMENTS",
    "Alternatives",
    "Anatomy",
    "Bridging",
    "Element",
    "LayerSpec",
    "Library",
    "Meaning",
    "load_anatomies",
    "load_library",
]

_TRIED = "alternatives.toml"


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
        found[element] = read_anatomy(element, top, materials)
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
