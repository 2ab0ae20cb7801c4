"""Programme files: which spreadsheets, read how, judged as of when, for which measures."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from pathlib import Path
from types import MappingProxyType

from triage.contract.loader import Contract, load_contract
from triage.contract.materials import load_materials
from triage.contract.products import Product, read_products
from triage.contract.profile import Profile, load_profile
from triage.contract.references import relocated
from triage.contract.section import Section
from triage.contract.text import did_you_mean
from triage.contract.tomlfile import read_toml
from triage.errors import ManyErrors, ProfileError, TriageError, raise_all

_KEYS = (
    "name",
    "programme_id",
    "country_code",
    "as_of",
    "policy",
    "stock_total",
    "sources",
    "measures",
    "climate",
    "exposure",
    "areas",
    "products",
)
_LOCK_PREFIX = "~$"  # what office programs leave beside a workbook that is open


@dataclass(frozen=True, slots=True)
class Source:
    """Some files read the same way. Without a profile they are read by field names."""

    files: tuple[Path, ...]
    profile: Profile | None


@dataclass(frozen=True, slots=True)
class Proposal:
    """A measure proposed for every home-part for which `where` is not false; None means all."""

    code: str
    where: str | None
    material: str | None
    thickness_mm: float | None


@dataclass(frozen=True, slots=True)
class ClimateFiles:
    """The programme's own climate tables; None where those that ship are used."""

    stations: Path | None
    zones: Path | None
    zone_column: str | None


@dataclass(frozen=True, slots=True)
class ExposureFile:
    """A map of exposure to wind-driven rain, and the column that holds the class."""

    zones: Path
    column: str


@dataclass(frozen=True, slots=True)
class AreaFile:
    """A map of the areas that reports count by, and the column that holds their names."""

    shapes: Path
    column: str


@dataclass(frozen=True, slots=True)
class Programme:
    """One programme. `folder` holds `path`; source files lie inside it, in a stable order."""

    path: Path
    folder: Path
    name: str
    programme_id: str
    country_code: str
    as_of: date
    policy: str
    stock_total: int | None
    sources: tuple[Source, ...]
    measures: tuple[Proposal, ...]
    climate: ClimateFiles | None
    exposure: ExposureFile | None
    areas: AreaFile | None = None
    products: tuple[Product, ...] = ()

    @property
    def profiles(self) -> Mapping[Path, Profile]:
        """Each profile in use once, by its path."""
        used = (source.profile for source in self.sources)
        return MappingProxyType({p.path: p for p in used if p is not None})


def load_programme(
    path: Path, contract: Contract | None = None, moved: Mapping[str, str] | None = None
) -> Programme:
    """Read a programme file and the profiles that it names.

    `moved` says of files that the programme names where copies of them stand, see `relocated`.

    Raises
    ------
    FileError, ProfileError, HeadingError, ManyErrors
        Everything wrong with the programme and its profiles in one go, each naming file and line.
    """
    schemas = contract or load_contract()
    file = read_toml(path, ProfileError)
    top = Section(file, relocated(file.data, moved) if moved else dict(file.data), ProfileError)
    top.only(*_KEYS)
    programme = Programme(
        path=path,
        folder=path.parent,
        name=top.need("name", str, '"North estate 2026"') or "",
        programme_id=top.need("programme_id", str, '"north-2026"') or "",
        country_code=_country(top, schemas),
        as_of=top.need("as_of", date, "2026-10-31") or date.min,
        policy=top.get("policy", str) or "default",
        stock_total=_stock_total(top),
        sources=_sources(top, schemas),
        measures=tuple(_proposal(entry, schemas) for entry in top.tables("measures")),
        climate=_climate(top),
        exposure=_exposure(top),
        areas=_areas(top),
        products=read_products(top, load_materials()),
    )
    raise_all(top.errors)
    return programme


def _country(top: Section, contract: Contract) -> str:
    top.need("country_code", str, '"GB"')
    return top.choice("country_code", [code.code for code in contract.codes["COUNTRY"]]) or ""


def _stock_total(top: Section) -> int | None:
    total = top.get("stock_total", int)
    if total is not None and total < 1:
        top.blame(f"'stock_total' is {total}", "write how many homes the stock has", "stock_total")
    return total


def _sources(top: Section, contract: Contract) -> tuple[Source, ...]:
    entries = top.tables("sources")
    if not entries and "sources" not in top.data:
        fix = 'add [[sources]] with files = "surveys/*.xlsx"'
        top.blame("the programme names no spreadsheets", fix, "sources")
    profiles: dict[Path, Profile | None] = {}
    owner: dict[Path, str] = {}
    return tuple(_source(entry, contract, profiles, owner) for entry in entries)


def _source(
    section: Section,
    contract: Contract,
    profiles: dict[Path, Profile | None],
    owner: dict[Path, str],
) -> Source:
    section.only("files", "profile")
    pattern = section.inside("files", '"surveys/*.xlsx"')
    files = () if pattern is None else _matching(section, pattern)
    for path in files:
        first = owner.setdefault(path, str(pattern))
        if first != pattern:
            what = f"{path.name!r} is in two sources: {first!r} and {pattern!r}"
            section.blame(what, "narrow one of the two, or every row is there twice", "files")
    path_of_profile = section.existing("profile")
    if path_of_profile is None:
        return Source(files, None)
    if path_of_profile not in profiles:
        profiles[path_of_profile] = _profile(path_of_profile, contract, section.errors)
    return Source(files, profiles[path_of_profile])


def _matching(section: Section, pattern: str) -> tuple[Path, ...]:
    folder = section.file.path.parent
    found = [
        path
        for path in folder.glob(pattern)
        if path.is_file() and not path.name.startswith(_LOCK_PREFIX)
    ]
    if not found:
        fix = f"looked in {folder}; correct the path, or take the source out"
        section.blame(f"no file matches {pattern!r}", fix, "files")
    return tuple(sorted(found, key=lambda path: path.relative_to(folder).as_posix()))


def _profile(path: Path, contract: Contract, errors: list[TriageError]) -> Profile | None:
    try:
        return load_profile(path, contract)
    except ManyErrors as many:
        errors.extend(many.errors)
    except TriageError as error:
        errors.append(error)
    return None


def _proposal(section: Section, contract: Contract) -> Proposal:
    section.only("code", "where", "material", "thickness_mm")
    materials = [code.code for code in contract.codes["MM"]]
    material = section.choice("material", materials)
    thickness = _thickness(section, material, contract)
    return Proposal(
        section.need("code", str, '"loft_topup"') or "",
        _condition(section, contract),
        material,
        thickness,
    )


def _thickness(section: Section, material: str | None, contract: Contract) -> float | None:
    """A thickness in millimetres that a layer of the material can have."""
    field = contract.fields["measure_thickness_mm"]
    fix = f"write millimetres, {field.range_text}"
    said = section.data.get("thickness_mm")
    if isinstance(said, str):
        section.blame(f"'thickness_mm' is the text {said!r}", fix, "thickness_mm")
        return None
    thickness = section.get("thickness_mm", float)
    if thickness is None:
        return None
    known = load_materials().get(material or "")
    problem = known.thickness_problem(thickness) if known is not None else None
    if not field.in_range(thickness):
        problem = problem or f"a thickness of {thickness:g} mm"
    if problem is not None:
        section.blame(problem, fix, "thickness_mm")
    return thickness


def _condition(section: Section, contract: Contract) -> str | None:
    """The condition, if Polars can read it as one over survey fields."""
    import polars as pl  # noqa: PLC0415  (only needed where a measure has a condition)

    where = section.get("where", str)
    if where is None:
        return None
    try:
        expression = pl.sql_expr(where)
    except (pl.exceptions.PolarsError, ValueError) as problem:
        fix = "write it as SQL, such as roof_form = 'pitched_cold'"
        section.blame(f"cannot read the condition: {problem}", fix, "where")
        return None
    for name in sorted(set(expression.meta.root_names()) - contract.fields.keys()):
        what = f"the condition names {name!r}, which is no survey field"
        section.blame(what, did_you_mean(name, contract.fields), "where")
    return where


def _climate(top: Section) -> ClimateFiles | None:
    if "climate" not in top.data:
        return None
    section = top.table("climate")
    section.only("stations", "zones", "zone_column")
    zones, column = section.existing("zones"), section.get("zone_column", str)
    if ("zones" in section.data) != ("zone_column" in section.data):
        fix = "name both the file of zones and the column that holds the zone, or neither"
        section.blame("'zones' and 'zone_column' go together", fix)
    return ClimateFiles(section.existing("stations"), zones, column)


def _exposure(top: Section) -> ExposureFile | None:
    found = _map_file(top, "exposure", "zones", '"class"')
    return ExposureFile(*found) if found else None


def _areas(top: Section) -> AreaFile | None:
    found = _map_file(top, "areas", "shapes", '"name"')
    return AreaFile(*found) if found else None


def _map_file(top: Section, table: str, key: str, column: str) -> tuple[Path, str] | None:
    """File and column of a map; `column` is an example of one."""
    if table not in top.data:
        return None
    section = top.table(table)
    section.only(key, "column")
    section.need(key, str, f'"{table}.gpkg"')
    path, name = section.existing(key), section.need("column", str, column)
    return (path, name) if path is not None and name is not None else None
