"""The field reference: what every survey field means and holds, as text and as rows."""

import textwrap
from collections.abc import Iterator, Mapping
from typing import Any

from triage.contract import Contract, Field

_WIDTH = 96
_INDENT = " " * 4
_LABEL = 10


def field_rows(contract: Contract) -> list[dict[str, Any]]:
    """One plain mapping per survey field, in dictionary order, ready for JSON."""
    return [_row(contract, field) for field in contract.fields.values()]


def field_reference(contract: Contract, group: str | None = None) -> str:
    """The reference as plain text, grouped A to L; only one group if its letter is given."""
    lines: list[str] = []
    for title, fields in grouped(contract).items():
        letter = fields[0].group
        if group is not None and letter != group.upper():
            continue
        heading = f"{letter}. {title}"
        lines += [heading, "=" * len(heading), ""]
        for field in fields:
            lines += [*_entry(contract, field), ""]
    return "\n".join(lines)


def grouped(contract: Contract) -> dict[str, list[Field]]:
    """Fields by the title of their group; the added ones stand last in their group."""
    groups: dict[str, list[Field]] = {}
    for field in contract.fields.values():
        groups.setdefault(field.group_title, []).append(field)
    return groups


def allowed_text(field: Field) -> str:
    """What a cell may hold, in one line: the range with its unit, the codes, or the form."""
    unit = "" if field.unit == "-" else f" {field.unit}"
    if field.codes:
        several = "several of: " if field.type == "codes" else "one of: "
        return several + ", ".join(field.known_codes)
    if field.codes_from and field.type == "code":
        table = field.codes_from.partition(".")[0]
        return f"a code of the {table} table"
    if field.type == "date" and not field.until_as_of:
        return f"a date {field.range_text}".rstrip()
    if field.type == "date":
        return f"a date {field.range_text} to the as-of date of the programme".replace("  ", " ")
    if field.type in ("number", "integer"):
        whole = "a whole number" if field.type == "integer" else "a number"
        return f"{whole}, {field.range_text}{unit}" if field.range_text else f"{whole}{unit}"
    return "texts, separated by a semicolon" if field.type == "texts" else "text"


def need_text(field: Field) -> str:
    """The need in words: asked always, asked if, or welcome."""
    letter, _, condition = field.need.partition(" ")
    condition = field.need[len(letter) :].strip()
    words = {"R": "required", "C": "conditional", "O": "optional"}
    word = words.get(letter.rstrip(":;"), field.need)
    return f"{word} ({condition.strip('()')})" if condition else word


def _row(contract: Contract, field: Field) -> dict[str, Any]:
    return {
        "number": field.number,
        "name": field.name,
        "group": field.group,
        "group_title": field.group_title,
        "type": field.type,
        "unit": None if field.unit == "-" else field.unit,
        "low": field.low,
        "high": field.high,
        "earliest": field.earliest.isoformat() if field.earliest else None,
        "until_as_of": field.until_as_of,
        "code_list": field.code_list,
        "codes": [
            {"code": code.code, "definition": code.definition}
            for code in contract.definitions(field)
        ],
        "need": field.need,
        "computed": field.computed,
        "meaning": field.meaning,
        "help": field.help,
        "written": list(field.written),
        "headings": list(field.headings),
        "unknown": list(field.unknown),
        "added": field.added,
        "reason": field.reason or None,
    }


def _entry(contract: Contract, field: Field) -> Iterator[str]:
    mark = "   (added)" if field.added else ""
    yield f"{field.number:>3} {field.name}{mark}"
    parts: Mapping[str, str] = {
        "meaning": field.meaning,
        "holds": allowed_text(field).partition(": ")[0] + (":" if field.codes else ""),
        "need": need_text(field) + ("; worked out where blank" if field.computed else ""),
        "fill in": field.help,
        "written": ", ".join(field.written),
        "unknown": ", ".join((*field.unknown, "a blank cell, N/I, not seen, no access, refused")),
        "headings": ", ".join(field.headings),
        "added": field.reason,
    }
    for label, text in parts.items():
        if text:
            yield from _wrapped(label, text)
        if label == "holds":
            for code in contract.definitions(field):
                yield from _wrapped("", f"{code.code}: {code.definition}")


def _wrapped(label: str, text: str) -> list[str]:
    first = f"{_INDENT}{label:<{_LABEL}}"
    hanging = " " * (len(first) + (2 if not label else 0))
    return textwrap.wrap(text, _WIDTH, initial_indent=first, subsequent_indent=hanging)
