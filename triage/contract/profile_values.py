"""The parts of a source profile that speak about values: blanks, zeros, constants, spellings."""

import re
from datetime import date, datetime

from triage.contract.fields import Field
from triage.contract.loader import Contract
from triage.contract.section import Section
from triage.contract.text import did_you_mean, normalise

Constant = str | float | int | date | tuple[str, ...]
_NUMERIC = ("number", "integer")
_CONDUCTIVITY = (0.005, 2.0)  # W/mK: from vacuum panels to dense masonry; others are slips
_LIST = re.compile(r"\s*[;,]\s*")


def known_field(section: Section, name: str, contract: Contract, *keys: str) -> Field | None:
    """The field of that name; an unknown one is an error with the nearest names."""
    field = contract.fields.get(name)
    if field is None:
        section.blame(f"no field {name!r}", did_you_mean(name, contract.fields), *keys)
    return field


def field_names(section: Section, key: str, contract: Contract) -> tuple[str, ...]:
    """A list of field names that must have the code `not_applicable`."""
    names = section.texts(key)
    for name in names:
        field = known_field(section, name, contract, key)
        if field is not None and "not_applicable" not in field.codes:
            what = f"{name!r} cannot be not_applicable: its code list has no such answer"
            section.blame(what, "take it out; N/A is then an unknown answer", key)
    return names


def blanks(section: Section, contract: Contract) -> tuple[str, dict[str, str]]:
    """What an empty cell means: the default kind, and field -> kind or "=value"."""
    kinds = [code.code for code in contract.codes["UNKNOWN"]]
    default = section.choice("default", kinds) or "blank"
    meant: dict[str, str] = {}
    for name in section.data:
        value = None if name == "default" else section.get(name, str)
        field = None if value is None else known_field(section, name, contract, name)
        if value is None or field is None:
            continue
        if value.startswith("="):
            _value(section, field, value[1:], name)
        elif value not in kinds:
            fix = f'{did_you_mean(value, kinds)} A value is written with "=", as in "={value}"'
            section.blame(f"{value!r} is no kind of unknown", fix, name)
        meant[name] = value
    return default, meant


def unknown_kinds(section: Section, contract: Contract) -> dict[str, str]:
    """Number fields in which 0 is not a reading, with the kind of unknown that it stands for."""
    kinds = [code.code for code in contract.codes["UNKNOWN"]]
    meant: dict[str, str] = {}
    for name in section.data:
        field = known_field(section, name, contract, name)
        if field is not None and field.type not in _NUMERIC:
            section.blame(f"{name!r} holds no number", "take it out of [zero]", name)
        kind = section.choice(name, kinds)
        if kind is not None:
            meant[name] = kind
    return meant


def constants(section: Section, contract: Contract) -> dict[str, Constant]:
    """Values that every row of the source has."""
    fixed: dict[str, Constant] = {}
    for name, raw in section.data.items():
        field = known_field(section, name, contract, name)
        value = None if field is None else _value(section, field, raw, name)
        if value is not None:
            fixed[name] = value
    return fixed


def own_spellings(section: Section, contract: Contract) -> dict[str, dict[str, str]]:
    """Field -> folded text -> code: this team's own words."""
    own: dict[str, dict[str, str]] = {}
    for name in section.data:
        field = known_field(section, name, contract, name)
        if field is None:
            continue
        if not field.codes:
            section.blame(f"{name!r} has no code list", "take its spellings out", name)
            continue
        own[name] = _words(section.table(name), field)
    return own


def _words(section: Section, field: Field) -> dict[str, str]:
    words: dict[str, str] = {}
    for text in section.data:
        code = section.choice(text, field.codes)
        if code is None:
            continue
        if words.setdefault(normalise(text), code) != code:
            section.blame(f"{text!r} stands for two codes", "keep one of the two", text)
    return words


def conductivities(section: Section, contract: Contract) -> dict[str, float]:
    """Field -> conductivity [W/mK] of the declared material of that column."""
    low, high = _CONDUCTIVITY
    declared: dict[str, float] = {}
    for name in section.data:
        field = known_field(section, name, contract, name)
        if field is not None and field.quantity != "length_mm":
            section.blame(f"{name!r} is no thickness", "take it out of [thermal_r]", name)
        value = section.get(name, float)
        if value is not None and not low <= value <= high:
            fix = f"write W/mK, between {low} and {high}; mineral wool has about 0.04"
            section.blame(f"{value} is no conductivity of a building material", fix, name)
        elif value is not None:
            declared[name] = value
    return declared


def _value(section: Section, field: Field, raw: object, key: str) -> Constant | None:
    """A value written into a profile, checked as strictly as a code: no spellings, no units."""
    if field.type in ("code", "codes") and field.codes:
        return _code_value(section, field, raw, key)
    if field.type in _NUMERIC:
        return _number_value(section, field, raw, key)
    if field.type == "date":
        if isinstance(raw, date) and not isinstance(raw, datetime):
            return raw
        section.blame(f"{raw!r} is no date", f"write {key} = 2025-06-30, without quotes", key)
        return None
    if not isinstance(raw, str) or not raw.strip():
        section.blame(f"{raw!r} is no text", "put it in quotes", key)
        return None
    return (raw,) if field.type in ("codes", "texts") else raw


def _code_value(section: Section, field: Field, raw: object, key: str) -> Constant | None:
    several = field.type == "codes" and isinstance(raw, str)
    parts = tuple(_LIST.split(str(raw).strip())) if several else (str(raw),)
    for part in parts:
        if part not in field.known_codes:
            fix = did_you_mean(part, field.known_codes)
            if part in field.codes:
                fix = "leave it out: what no sheet says is unknown already"
            section.blame(f"{part!r} is no code of {field.name!r}", fix, key)
            return None
    return parts if field.type == "codes" else parts[0]


def _number_value(section: Section, field: Field, raw: object, key: str) -> Constant | None:
    try:
        number = float(raw) if isinstance(raw, int | float | str) else float("nan")
        number = float("nan") if isinstance(raw, bool) else number
    except ValueError:
        number = float("nan")
    whole = field.type == "number" or number.is_integer()
    if not (whole and field.in_range(number)):
        fix = f"write a number in {field.unit}, {field.range_text}"
        section.blame(f"{raw!r} is no value of {field.name!r}", fix, key)
        return None
    return int(number) if field.type == "integer" else number
