"""How a policy pack picks foamed roofs to inspect (inspection.toml)."""

import hashlib
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from types import MappingProxyType

import polars as pl

from triage.contract.expressions import check_condition
from triage.contract.materials_read import MARKS
from triage.contract.section import Section
from triage.contract.text import did_you_mean
from triage.contract.tomlfile import read_toml
from triage.errors import PolicyError, raise_all

FILE = "inspection.toml"
_TEXT, _LIST, _FLOAT, _FLAG = pl.String(), pl.List(pl.String), pl.Float64(), pl.Boolean()

EVIDENCE: Mapping[str, pl.DataType] = MappingProxyType(
    {
        **dict.fromkeys(("foam_type", "foam_substrate", "roof_underlay", "roof_covering"), _TEXT),
        **dict.fromkeys(("roof_covering_condition", "interior_vapour_control"), _TEXT),
        **dict.fromkeys(("foam_defects", "foam_evidence", "high_moisture_use"), _LIST),
        "access_limits": _LIST,
        **dict.fromkeys(("foam_air_gap_mm", "foam_thickness_mm", "foam_coverage_pct"), _FLOAT),
        "timber_mc_pct": _FLOAT,
    }
)
"""Survey fields that a condition may name."""

QUANTITIES: Mapping[str, pl.DataType] = MappingProxyType(
    {"cold_side": _FLAG, "roof_outer_class_resolved": _TEXT}
)
"""Computed quantities that a condition may name."""

FACTS: Mapping[str, pl.DataType] = MappingProxyType(
    {
        "exposure": _TEXT,
        "dwellings": pl.Int64(),
        "storeys": _FLOAT,
        "foam_install_year": pl.Int64(),
        **dict.fromkeys(("water_rule_fires", "roof_rule_fires", "refused_before"), _FLAG),
        **dict.fromkeys(("public_below", "heavy_load", "sale_or_lender_due"), _FLAG),
        **dict.fromkeys(("scaffold_planned", "reroof_planned", "shaded_slope"), _FLAG),
    }
)
"""Facts of a roof that a condition may name; the last six come from the programme, if at all."""

NAMES: Mapping[str, pl.DataType] = MappingProxyType({**EVIDENCE, **QUANTITIES, **FACTS})

NUMBERS: Mapping[str, tuple[float, float]] = MappingProxyType(
    {
        **dict.fromkeys(("targeted_share", "detect_share", "sensitivity"), (0.0, 1.0)),
        **dict.fromkeys(("sensitivity_thorough", "cluster_correlation"), (0.0, 1.0)),
        **dict.fromkeys(("confidence", "type_differs_share"), (0.0, 1.0)),
        **dict.fromkeys(("likelihood_min", "likelihood_max"), (0.0, 1.0)),
        **dict.fromkeys(("random_stratum_min", "merge_below", "few_openings"), (1.0, 1e6)),
        "reserve_share": (0.0, 10.0),
        "prior_weight": (0.0, 1e6),
        "consequence_max": (1.0, 100.0),
    }
)
"""Numbers that the selection itself uses, with their ranges; conditions may use others."""


@dataclass(frozen=True, slots=True)
class Number:
    """A named number of the selection."""

    value: float
    unit: str
    mark: str
    source: str


@dataclass(frozen=True, slots=True)
class Case:
    """Something that holds for a roof or not, and what it then adds, multiplies or starts from."""

    name: str
    value: float
    when: str


@dataclass(frozen=True, slots=True)
class Dimension:
    """One part of a stratum's key: the first of `values` (name, condition) that holds."""

    name: str
    apart: float
    values: tuple[tuple[str, str], ...]


@dataclass(frozen=True, slots=True)
class InspectionPolicy:
    """The whole of inspection.toml, read and checked.

    `classes` are tried in order, `class_numbers` beside them; `moves` add to the likelihood,
    `consequences` add points, `timings` multiply the priority.
    """

    numbers: Mapping[str, Number]
    strata: tuple[Dimension, ...]
    classes: tuple[Case, ...]
    class_numbers: tuple[int, ...]
    moves: tuple[Case, ...]
    consequences: tuple[Case, ...]
    timings: tuple[Case, ...]
    gap_fields: tuple[str, ...]
    digest: str

    def number(self, name: str) -> float:
        """Value of a number."""
        return self.numbers[name].value

    @property
    def limits(self) -> dict[str, float]:
        """Value of every number, as conditions are bound to them."""
        return {name: number.value for name, number in self.numbers.items()}


def load_inspection(folder: Path) -> InspectionPolicy:
    """Read `inspection.toml` of a policy pack.

    Raises
    ------
    FileError, PolicyError or ManyErrors
        Everything wrong with the file at once, each with its line.
    """
    file = read_toml(folder / FILE, PolicyError)
    top = Section(file, dict(file.data), PolicyError)
    lists = ("strata", "classes", "moves", "consequences", "timings")
    top.only("numbers", "gap", *lists)
    numbers = _numbers(top.table("numbers"))
    limits = {name: number.value for name, number in numbers.items()}
    for name in lists[:2]:
        if not top.data.get(name):
            top.blame(f"there is no [[{name}]]", f"write at least one [[{name}]]", name)
    classes = top.tables("classes")
    policy = InspectionPolicy(
        numbers=MappingProxyType(numbers),
        strata=tuple(_dimension(s, limits) for s in top.tables("strata")),
        classes=tuple(_class(s, limits) for s in classes),
        class_numbers=tuple(s.need("number", int, "1") or 0 for s in classes),
        moves=tuple(_case(s, "by", limits) for s in top.tables("moves")),
        consequences=tuple(_case(s, "points", limits) for s in top.tables("consequences")),
        timings=tuple(_case(s, "factor", limits) for s in top.tables("timings")),
        gap_fields=_gap(top.table("gap")),
        digest=hashlib.sha256(file.text.replace("\r\n", "\n").encode()).hexdigest(),
    )
    raise_all(top.errors)
    return policy


def _numbers(s: Section) -> dict[str, Number]:
    found = {name: _number(s.table(name)) for name in s.data}
    for name, (low, high) in NUMBERS.items():
        if name not in found:
            s.blame(f"the number {name!r} is missing", f"add {name} = {{ value = ... }}", name)
        elif not low <= found[name].value <= high:
            fix = f"write a value from {low:g} to {high:g}"
            s.blame(f"{name!r} is {found[name].value:g}", fix, name)
    return found


def _number(s: Section) -> Number:
    s.only("value", "unit", "mark", "source")
    mark = s.need("mark", str, '"POLICY"') or ""
    if mark and not mark.startswith(MARKS):
        s.blame(f"{mark!r} is no mark", f"begin it with one of {', '.join(MARKS)}", "mark")
    return Number(
        value=s.need("value", float, "0.7") or 0.0,
        unit=s.need("unit", str, '"share"') or "",
        mark=mark,
        source=s.need("source", str, '"where it is from"') or "",
    )


def _dimension(s: Section, limits: Mapping[str, float]) -> Dimension:
    s.only("dimension", "apart", "values")
    values = s.table("values")
    pairs = tuple((name, _condition(values, name, limits)) for name in values.data)
    if not pairs:
        s.blame("a dimension needs values", "write [strata.values] below it", "values")
    return Dimension(
        s.need("dimension", str, '"foam"') or "", s.need("apart", float, "4") or 0.0, pairs
    )


def _class(s: Section, limits: Mapping[str, float]) -> Case:
    s.only("number", "title", "likelihood", "when")
    value = s.need("likelihood", float, "0.2") or 0.0
    if not 0 <= value <= 1:
        s.blame(f"a likelihood of {value:g}", "write a chance from 0 to 1", "likelihood")
    title = s.need("title", str, '"foam on the covering"') or ""
    return Case(title, value, _condition(s, "when", limits))


def _case(s: Section, key: str, limits: Mapping[str, float]) -> Case:
    s.only("name", key, "when")
    name = s.need("name", str, '"shaded slope"') or ""
    value = s.data.get(key)
    if value is None or s.get(key, float) is None:
        s.need(key, float, "0.1")
    number = float(value) if isinstance(value, int | float) else 0.0
    return Case(name, number, _condition(s, "when", limits))


def _condition(s: Section, key: str, limits: Mapping[str, float]) -> str:
    sql = s.need(key, str, "\"foam_type = 'open_cell'\"")
    if sql is None:
        return "FALSE"
    s.errors.extend(check_condition(sql, NAMES, limits, s.file.place(*s.under, key)))
    return sql


def _gap(s: Section) -> tuple[str, ...]:
    s.only("fields")
    fields = s.texts("fields")
    if not fields:
        s.blame("'fields' names no field", 'write fields = ["foam_type"]', "fields")
    for name in fields:
        if name not in EVIDENCE:
            s.blame(
                f"{name!r} is no field of a foamed roof", did_you_mean(name, EVIDENCE), "fields"
            )
    return fields
