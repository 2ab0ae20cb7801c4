"""Source profiles: how one family of spreadsheets maps to the survey's fields."""

import codecs
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from types import MappingProxyType

from triage.contract.fields import Field
from triage.contract.loader import Contract
from triage.contract.profile_values import (
    Constant,
    blanks,
    conductivities,
    constants,
    field_names,
    own_spellings,
    unknown_kinds,
)
from triage.contract.section import Section
from triage.contract.text import did_you_mean, normalise
from triage.contract.tomlfile import read_toml
from triage.errors import HeadingError, ProfileError, TriageError, raise_all

DATE_ORDERS = ("DMY", "MDY", "YMD")
_KEYS = (
    "name",
    "layout",
    "reading",
    "blank",
    "zero",
    "not_applicable",
    "columns",
    "constants",
    "evidence",
    "ignore",
    "spellings",
    "thermal_r",
)


@dataclass(frozen=True, slots=True)
class Column:
    """One heading of the sheet and the field it fills; `unit` is that of bare numbers."""

    heading: str
    field: str
    unit: str | None = None
    grade: str | None = None


@dataclass(frozen=True, slots=True)
class Layout:
    """Where the table stands in the sheets; rows are numbered as the file shows them."""

    sheets: tuple[str, ...] = ("*",)
    header_row: int = 1
    header_lines: int = 1
    units_row: bool = False


@dataclass(frozen=True, slots=True)
class Reading:
    """How texts are read; None means found out from the file."""

    date_order: str | None = None
    encoding: str | None = None
    delimiter: str | None = None
    decimal: str | None = None


@dataclass(frozen=True, slots=True)
class Profile:
    """One family of spreadsheets.

    `columns` and `ignore` are keyed by the folded heading (`normalise`). `blank` and `zero`
    hold an unknown kind, or "=" and a value; `blank_default` is the kind for other fields.
    `spellings` is field -> folded text -> code. `thermal_r` is field -> conductivity of the
    declared material [W/mK], with which an R-value of that column becomes a thickness.
    """

    path: Path
    name: str
    layout: Layout
    reading: Reading
    blank_default: str
    blank: Mapping[str, str]
    zero: Mapping[str, str]
    not_applicable: frozenset[str]
    columns: Mapping[str, Column]
    constants: Mapping[str, Constant]
    grade: str | None
    method_from: str | None
    ignore: Mapping[str, str]
    spellings: Mapping[str, Mapping[str, str]]
    thermal_r: Mapping[str, float]


def load_profile(path: Path, contract: Contract) -> Profile:
    """Read a source profile.

    Raises
    ------
    FileError, ProfileError, HeadingError, ManyErrors
        Everything wrong with it in one go, each naming the file and the line.
    """
    file = read_toml(path, ProfileError)
    top = Section(file, dict(file.data), ProfileError)
    top.only(*_KEYS)
    columns = _columns(top.table("columns"), contract)
    fixed = constants(top.table("constants"), contract)
    ignore = _ignore(top, columns)
    _one_source_per_field(top, columns, fixed)
    default, blank = blanks(top.table("blank"), contract)
    absent = top.table("not_applicable")
    absent.only("fields")
    grade, method_from = _evidence(top.table("evidence"), contract)
    profile = Profile(
        path=path,
        name=top.need("name", str, '"north team 2025"') or path.stem,
        layout=_layout(top.table("layout")),
        reading=_reading(top.table("reading")),
        blank_default=default,
        blank=MappingProxyType(blank),
        zero=MappingProxyType(unknown_kinds(top.table("zero"), contract)),
        not_applicable=frozenset(field_names(absent, "fields", contract)),
        columns=MappingProxyType(columns),
        constants=MappingProxyType(fixed),
        grade=grade,
        method_from=method_from,
        ignore=MappingProxyType(ignore),
        spellings=MappingProxyType(own_spellings(top.table("spellings"), contract)),
        thermal_r=MappingProxyType(conductivities(top.table("thermal_r"), contract)),
    )
    raise_all(top.errors)
    return profile


def _layout(section: Section) -> Layout:
    section.only("sheets", "header_row", "header_lines", "units_row")
    default = Layout()
    counts: dict[str, int] = {}
    for key, usual in (("header_row", default.header_row), ("header_lines", default.header_lines)):
        value = section.get(key, int)
        if value is not None and value < 1:
            section.blame(f"{key!r} is {value}; rows count from 1", "correct it", key)
        counts[key] = usual if value is None else value
    sheets = section.texts("sheets")
    if section.data.get("sheets") == []:
        section.blame("'sheets' names no sheet", 'name them, or write ["*"] for all', "sheets")
    units_row = section.get("units_row", bool) or False
    return Layout(sheets or default.sheets, counts["header_row"], counts["header_lines"], units_row)


def _reading(section: Section) -> Reading:
    section.only("date_order", "encoding", "delimiter", "decimal")
    encoding = section.get("encoding", str)
    if encoding is not None and not _is_encoding(encoding):
        fix = 'write one such as "utf-8" or "cp1252"'
        section.blame(f"{encoding!r} is no text encoding", fix, "encoding")
    delimiter = section.get("delimiter", str)
    if delimiter is not None and len(delimiter) != 1:
        section.blame("'delimiter' should be one character", 'write it as ";"', "delimiter")
    return Reading(
        section.choice("date_order", DATE_ORDERS),
        encoding,
        delimiter,
        section.choice("decimal", (".", ",")),
    )


def _is_encoding(name: str) -> bool:
    try:
        codecs.lookup(name)
    except LookupError:
        return False
    return True


def _evidence(section: Section, contract: Contract) -> tuple[str | None, str | None]:
    section.only("grade", "method_from")
    grade = section.choice("grade", [code.code for code in contract.codes["GRADE"]])
    return grade, section.get("method_from", str)


def _columns(section: Section, contract: Contract) -> dict[str, Column]:
    columns: dict[str, Column] = {}
    for heading in section.data:
        column = _column(section, heading, contract)
        if column is None:
            continue
        key = normalise(heading)
        if key in columns:
            what = f"the heading {heading!r} is there twice, also as {columns[key].heading!r}"
            where = section.file.place("columns", heading)
            section.errors.append(HeadingError(what, where, "keep one of the two"))
        columns[key] = column
    return columns


def _column(section: Section, heading: str, contract: Contract) -> Column | None:
    entry = section.data[heading]
    if isinstance(entry, str):
        entry = {"field": entry}
    if not isinstance(entry, dict):
        fix = f'write "{heading}" = "field_name"'
        section.blame(f"{heading!r} should name a field, not {entry!r}", fix, heading)
        return None
    inner = Section(section.file, entry, ProfileError, (*section.under, heading), section.errors)
    inner.only("field", "unit", "grade")
    name = inner.need("field", str, '"roof_covering"')
    if name is None:
        return None
    field = contract.fields.get(name)
    if field is None:
        section.blame(f"no field {name!r}", did_you_mean(name, contract.fields), heading)
        return None
    grade = inner.choice("grade", [code.code for code in contract.codes["GRADE"]])
    return Column(heading, name, _unit(inner, field), grade)


def _unit(section: Section, field: Field) -> str | None:
    unit = section.get("unit", str)
    if unit is not None and field.quantity is None:
        what = f"a unit for {field.name!r}, which is not a quantity"
        section.blame(what, "leave the unit out", "unit")
    return unit


def _ignore(top: Section, columns: Mapping[str, Column]) -> dict[str, str]:
    section = top.table("ignore")
    section.only("headings")
    ignore = {normalise(heading): heading for heading in section.texts("headings")}
    for key in ignore.keys() & columns.keys():
        what = f"the heading {ignore[key]!r} is both mapped and ignored"
        where = top.file.place("ignore", "headings")
        top.errors.append(HeadingError(what, where, "take it out of one of the two"))
    return ignore


def _one_source_per_field(
    top: Section, columns: Mapping[str, Column], fixed: Mapping[str, Constant]
) -> None:
    owner: dict[str, str] = {}
    errors: list[TriageError] = []
    for column in columns.values():
        first = owner.setdefault(column.field, column.heading)
        if first != column.heading:
            what = f"the headings {first!r} and {column.heading!r} both claim {column.field!r}"
            where = top.file.place("columns", column.heading)
            errors.append(HeadingError(what, where, "map one of them; put the other in [ignore]"))
        if column.field in fixed:
            what = f"{column.field!r} has the heading {column.heading!r} and a constant"
            where = top.file.place("constants", column.field)
            errors.append(HeadingError(what, where, "keep one of the two"))
    top.errors += errors
