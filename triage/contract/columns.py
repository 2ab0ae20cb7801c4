"""Reads one file of schemas/tables and finds what contradicts itself in it."""

from collections.abc import Callable, Mapping
from datetime import date
from pathlib import Path
from typing import Any

from triage.contract.codes import Code, spelling_clashes
from triage.contract.fields import QUANTITIES, TYPES, Field, Table
from triage.contract.text import did_you_mean, normalise
from triage.contract.tomlfile import TomlFile, read_toml, unknown_keys
from triage.errors import SchemaError, TriageError

Codes = Mapping[str, tuple[Code, ...]]

_TABLE_KEYS = ("name", "grain", "primary_key", "columns")
_COLUMN_KEYS = (
    "number",
    "group",
    "group_title",
    "type",
    "unit",
    "range",
    "earliest",
    "until_as_of",
    "codes",
    "codes_from",
    "extra",
    "words",
    "need",
    "meaning",
    "help",
    "written",
    "headings",
    "unknown",
    "quantity",
    "computed",
    "added",
    "reason",
)


def _is_texts(value: object) -> bool:
    return isinstance(value, list) and all(isinstance(item, str) for item in value)


def _is_range(value: object) -> bool:
    return (
        isinstance(value, list) and len(value) == 2 and all(type(v) in (int, float) for v in value)
    )


_SHAPES: dict[str, tuple[str, Callable[[object], bool]]] = {
    "number": ("a whole number", lambda value: type(value) is int),
    "range": ("two numbers", _is_range),
    "earliest": ("a date", lambda value: type(value) is date),
    "written": ("a list of texts", _is_texts),
    "headings": ("a list of texts", _is_texts),
    "unknown": ("a list of texts", _is_texts),
}


def read_table(path: Path, codes: Codes) -> tuple[Table, list[TriageError]]:
    """Read a table; returns it with everything found wrong, each naming file, line and key."""
    file = read_toml(path, SchemaError)
    data = file.data
    errors = unknown_keys(file, data, _TABLE_KEYS, SchemaError)
    columns: dict[str, Field] = {}
    for name, column in data.get("columns", {}).items():
        columns[name], wrong = _column(file, name, column, codes)
        errors += wrong
    key = tuple(data.get("primary_key", ()))
    table = Table(data.get("name", path.stem), data.get("grain", ""), key, columns)
    errors += _check_table(file, table)
    return table, errors


def _column(
    file: TomlFile, name: str, column: Mapping[str, Any], codes: Codes
) -> tuple[Field, list[TriageError]]:
    errors = unknown_keys(file, column, _COLUMN_KEYS, SchemaError, "columns", name)
    errors += [
        SchemaError(f"{key!r} is not {kind}", file.place("columns", name, key), "correct the value")
        for key, (kind, fits) in _SHAPES.items()
        if key in column and not fits(column[key])
    ]
    if errors:
        column = {key: column[key] for key in column if key not in _SHAPES}
    listed = codes.get(column.get("codes", ""), ())
    field = _field(name, column, listed)
    return field, errors + _check_field(file, field, listed, codes)


def _field(name: str, column: Mapping[str, Any], listed: tuple[Code, ...]) -> Field:
    extra, words = _own_codes(column)
    low, high = column.get("range", (None, None))
    return Field(
        name=name,
        number=column.get("number", 0),
        group=column.get("group", ""),
        group_title=column.get("group_title", ""),
        type=column.get("type", ""),
        unit=column.get("unit", "-"),
        low=low,
        high=high,
        earliest=column.get("earliest"),
        until_as_of=column.get("until_as_of", False),
        code_list=column.get("codes"),
        codes=tuple(code.code for code in (*listed, *extra)),
        extra=extra,
        words=words,
        codes_from=column.get("codes_from"),
        need=column.get("need", "O"),
        meaning=column.get("meaning", ""),
        help=column.get("help", ""),
        written=tuple(column.get("written", ())),
        headings=tuple(column.get("headings", ())),
        unknown=tuple(column.get("unknown", ())),
        quantity=column.get("quantity"),
        computed=column.get("computed", False),
        added=column.get("added", False),
        reason=column.get("reason", ""),
    )


def _own_codes(column: Mapping[str, Any]) -> tuple[tuple[Code, ...], tuple[Code, ...]]:
    extra = tuple(
        Code(code, entry.get("definition", ""), tuple(entry.get("spellings", ())))
        for code, entry in column.get("extra", {}).items()
    )
    words = tuple(Code(code, "", tuple(own)) for code, own in column.get("words", {}).items())
    return extra, words


def _check_field(
    file: TomlFile, field: Field, listed: tuple[Code, ...], codes: Codes
) -> list[TriageError]:
    wrong: list[tuple[str, str, str]] = []  # key, what, what to do
    if field.type not in TYPES:
        wrong.append(("type", f"unknown type {field.type!r}", did_you_mean(field.type, TYPES)))
    if field.quantity is not None and field.quantity not in QUANTITIES:
        fix = did_you_mean(field.quantity, QUANTITIES)
        wrong.append(("quantity", f"unknown quantity {field.quantity!r}", fix))
    if field.code_list is not None and field.code_list not in codes:
        what = f"there is no code list {field.code_list!r}"
        wrong.append(("codes", what, did_you_mean(field.code_list, codes)))
    if field.type in ("code", "codes") and not (field.code_list or field.codes_from):
        wrong.append(("type", "a code field without a code list", "name one with `codes`"))
    if field.low is not None and field.high is not None and field.low > field.high:
        what = f"the range {field.low:g} to {field.high:g} is upside down"
        wrong.append(("range", what, "write the lower limit first"))
    for own in field.words:
        if own.code not in field.codes:
            what = f"words for {own.code!r}, which this field cannot hold"
            wrong.append(("words", what, did_you_mean(own.code, field.codes)))
    if field.need[:1] not in ("R", "C", "O"):
        fix = "begin it with R (required), C (conditional) or O (optional)"
        wrong.append(("need", f"the need {field.need!r} says none of the three", fix))
    if field.added and not field.reason:
        wrong.append(("added", "an added field without a reason", "say why in `reason`"))
    errors: list[TriageError] = [
        SchemaError(what, file.place("columns", field.name, key), fix) for key, what, fix in wrong
    ]
    where = f"{file.path}, column {field.name}"
    told = {error.what for error in spelling_clashes(listed, where)}  # with the list's own file
    clashes = spelling_clashes((*listed, *field.extra, *field.words), where)
    return errors + [error for error in clashes if error.what not in told]


def _check_table(file: TomlFile, table: Table) -> list[TriageError]:
    errors: list[TriageError] = []
    numbers: dict[int, str] = {}
    headings: dict[str, str] = {}
    for name, field in table.columns.items():
        first = numbers.setdefault(field.number, name)
        if first != name:
            what = f"the number {field.number} stands at {first!r} and at {name!r}"
            where = file.place("columns", name, "number")
            errors.append(SchemaError(what, where, "give each column a number of its own"))
        for heading in (name, *field.headings):
            owner = headings.setdefault(normalise(heading), name)
            if owner != name:
                what = f"the heading {heading!r} stands for {owner!r} and for {name!r}"
                where = file.place("columns", name, "headings")
                errors.append(SchemaError(what, where, "keep it under one of the two, or neither"))
    errors += [
        SchemaError(
            f"the primary key names {key!r}, which is no column",
            file.place("primary_key"),
            did_you_mean(key, table.columns),
        )
        for key in table.primary_key
        if key not in table.columns
    ]
    return errors
