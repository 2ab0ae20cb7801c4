"""The materials of schemas/materials: heat, vapour and moisture values, each with its source."""

import hashlib
from bisect import bisect_left
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from types import MappingProxyType
from typing import Literal

from triage.contract.materials_read import Amounts, read_material
from triage.contract.section import Section
from triage.contract.tomlfile import read_toml
from triage.errors import FileError, SchemaError, TriageError, raise_all
from triage.resources import resource_dir

Vapour = Literal["dry", "wet"]
FOAM_MATERIALS: Mapping[str, str] = MappingProxyType(
    {
        "open_cell": "spf_open",
        "closed_cell": "spf_closed",
        "closed_cell_roofing": "spf_roofing",
    }
)


@dataclass(frozen=True, slots=True)
class Material:
    """One material or product. A value that no source gives is None; none is guessed.

    Attributes
    ----------
    code, title
        Its name in the data files, and in words.
    conductivity_w_mk
        Design value; None for a film that counts for vapour only. [W/(m·K)]
    conductivity_range_w_mk
        Lowest and highest value on sale, where products differ. [W/(m·K)]
    density_kg_m3, heat_capacity_j_kgk
        [kg/m³, J/(kg·K)]
    mu_dry, mu_wet
        Vapour resistance factor, dry cup and wet cup; None where `fixed_sd_m` is given. [-]
    fixed_sd_m, fixed_sd_wet_m
        Equivalent air layer of a film or of a whole product, whatever its thickness. [m]
    facings_sd_m
        What the facings of a board add to its core. [m]
    sorption
        (relative humidity 0-1, water content) in rising order. [-, kg/m³]
    mu_by_humidity
        (relative humidity 0-1, vapour resistance factor), for wood measured so. [-]
    porosity, free_saturation_kg_m3, a_value_kg_m2_s05
        Open porosity, capillary saturation and water absorption. [-, kg/m³, kg/(m²·s^0.5)]
    mould_class
        Sensitivity: very_sensitive, sensitive, medium_resistant or resistant.
    air_impermeable_from_mm, air_impermeable_sure_mm
        Thickness from which some products, and from which all, count as air-impermeable. [mm]
    thickness_range_mm
        Thinnest and thickest layer that is plausible in a building. [mm]
    timber
        Wood or a board made of wood, whose moisture content is followed.
    source, mark
        Where the heat values come from. `vapour_*`, `storage_*` and `air_*` are the same for the
        vapour, storage and air-tightness values; None where the material has no such values.
    doubt
        What two sources disagree about, and which was taken; None where nothing is known.
    """

    code: str
    title: str
    conductivity_w_mk: float | None
    conductivity_range_w_mk: tuple[float, float] | None
    density_kg_m3: float | None
    heat_capacity_j_kgk: float | None
    mu_dry: float | None
    mu_wet: float | None
    fixed_sd_m: float | None
    fixed_sd_wet_m: float | None
    facings_sd_m: float
    sorption: Amounts
    mu_by_humidity: Amounts
    porosity: float | None
    free_saturation_kg_m3: float | None
    a_value_kg_m2_s05: float | None
    mould_class: str | None
    air_impermeable_from_mm: float | None
    air_impermeable_sure_mm: float | None
    thickness_range_mm: tuple[float, float] | None
    timber: bool
    source: str
    mark: str
    vapour_source: str
    vapour_mark: str
    storage_source: str | None
    storage_mark: str | None
    air_source: str | None
    air_mark: str | None
    doubt: str | None

    def sd_m(self, thickness_mm: float, vapour: Vapour = "dry") -> float:
        """Equivalent air layer of a layer of this thickness, mm to m.

        Raises
        ------
        ValueError
            If the thickness is not a positive number.
        """
        _positive(self.code, thickness_mm)
        if self.fixed_sd_m is not None:
            wet = self.fixed_sd_wet_m
            return wet if vapour == "wet" and wet is not None else self.fixed_sd_m
        mu = self.mu_dry if vapour == "dry" else self.mu_wet
        assert mu is not None  # the loader wants mu or sd
        return mu * thickness_mm / 1000 + self.facings_sd_m

    def r_m2k_w(self, thickness_mm: float) -> float:
        """Thermal resistance of a layer of this thickness; 0 for a film; mm to m²K/W.

        Raises
        ------
        ValueError
            If the thickness is not a positive number.
        """
        _positive(self.code, thickness_mm)
        if self.conductivity_w_mk is None:
            return 0.0
        return thickness_mm / 1000 / self.conductivity_w_mk

    def air_impermeable(self, thickness_mm: float) -> bool | None:
        """Whether a layer stops air; None between what some and what all products need."""
        if self.air_impermeable_from_mm is None or thickness_mm < self.air_impermeable_from_mm:
            return False
        sure = self.air_impermeable_sure_mm
        return True if sure is None or thickness_mm >= sure else None

    def thickness_problem(self, thickness_mm: float) -> str | None:
        """Why no layer of this material is that thick; None where one may be."""
        if not 0 < thickness_mm < float("inf"):
            return f"a thickness of {thickness_mm:g} mm"
        if self.thickness_range_mm is None:
            return None
        low, high = self.thickness_range_mm
        if thickness_mm < low:
            return (
                f"{thickness_mm:g} mm of {self.title.lower()} is thinner than any made "
                f"({low:g} mm): a thermal resistance, or another unit?"
            )
        if thickness_mm > high:
            return (
                f"{thickness_mm:g} mm of {self.title.lower()} is thicker than any built "
                f"({high:g} mm): another unit?"
            )
        return None

    def water_kg_m3(self, relative_humidity: float) -> float:
        """Water held at a relative humidity, between the points of the sorption table.

        Raises
        ------
        ValueError
            If the material has no table, or the humidity lies outside it.
        """
        if not self.sorption:
            raise ValueError(f"{self.code} has no sorption table")
        return between(self.sorption, relative_humidity)


def between(points: Amounts, x: float) -> float:
    """Linear interpolation in a table of points whose x rises.

    Raises
    ------
    ValueError
        If x lies outside the table: nothing is extrapolated.
    """
    first, last = points[0][0], points[-1][0]
    if not first <= x <= last:
        raise ValueError(f"{x:g} lies outside the table, which runs from {first:g} to {last:g}")
    above = max(bisect_left([at for at, _ in points], x), 1)
    (x0, y0), (x1, y1) = points[above - 1], points[above]
    return y0 + (y1 - y0) * (x - x0) / (x1 - x0)


def materials_dir() -> Path:
    """Folder of the material files that ship."""
    return resource_dir("schemas") / "materials"


@cache
def load_materials(folder: Path | None = None) -> Mapping[str, Material]:
    """Read every material file of a folder, by default those that ship.

    Raises
    ------
    FileError, SchemaError or ManyErrors
        Everything wrong in all files at once, with file and line.
    """
    errors: list[TriageError] = []
    found: dict[str, Material] = {}
    for path in _files(folder or materials_dir()):
        file = read_toml(path, SchemaError)
        top = Section(file, dict(file.data), SchemaError, errors=errors)
        for code in file.data:
            if code in found:
                top.blame(f"the material {code!r} is there twice", "take one of them out", code)
            values = read_material(top.table(code))
            if values is not None:
                found[code] = Material(code=code, **values)
    raise_all(errors)
    return MappingProxyType(found)


@cache
def materials_digest(folder: Path | None = None) -> str:
    """SHA-256 over the material files, the same on every machine and line ending."""
    total = hashlib.sha256()
    for path in _files(folder or materials_dir()):
        total.update(path.name.encode())
        total.update(path.read_bytes().replace(b"\r\n", b"\n"))
    return total.hexdigest()


def _files(folder: Path) -> list[Path]:
    paths = sorted(folder.glob("*.toml"))
    if not paths:
        raise FileError("there are no material files", str(folder), "install the product again")
    return paths


def _positive(code: str, thickness_mm: float) -> None:
    if not 0 < thickness_mm < float("inf"):  # also refuses NaN
        raise ValueError(f"a layer of {code} cannot be {thickness_mm!r} mm thick")
