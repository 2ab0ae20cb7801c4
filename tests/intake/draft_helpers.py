"""Short ways to draft a profile, and to decide it as a person with the finished one would."""

import re
import tomllib
from pathlib import Path
from typing import Any

from intake_helpers import AS_OF, MEASURES

from triage.contract import Contract, normalise
from triage.intake.draft import Draft, draft_profile
from triage.report.draft_profile import draft_text
from triage.report.toml_text import quoted

ROOT = Path(__file__).parents[2]
_TABLE = re.compile(r"^\[([a-z_.]+)\]")


def draft_of(contract: Contract, *paths: Path) -> tuple[Draft, str]:
    """The draft for files, and its text."""
    draft = draft_profile(paths, contract, MEASURES, AS_OF)
    return draft, draft_text(draft, contract)


def field_of(entry: str | dict[str, str]) -> str:
    """The field of a line of [columns], written short or long."""
    return entry if isinstance(entry, str) else entry["field"]


def commented(line: str) -> dict[str, Any]:
    """What a comment says if its # is taken off; nothing if it is prose."""
    if not line.startswith("# "):
        return {}
    try:
        return tomllib.loads(line[2:])
    except tomllib.TOMLDecodeError:
        return {}


def decide(text: str, hand: dict[str, Any], draft: Draft) -> str:
    """The draft with every open question answered as in a hand-written profile.

    Takes the # off a proposed line where that is right, else writes the line; sure lines stay
    as they were drafted, but for units that the draft says nobody states.
    """
    columns = {normalise(key): value for key, value in hand["columns"].items()}
    lines = _decided_columns(text, columns)
    written = tomllib.loads("\n".join(lines))["columns"]
    still = {normalise(d.seen.heading): d.seen.heading for d in draft.open}
    still = {key: shown for key, shown in still.items() if shown not in written}
    added = {
        "columns": [_line(shown, columns[key]) for key, shown in still.items() if key in columns],
        "ignore": [],
    }
    for table in ("reading", "blank", "zero", "constants", "evidence", "thermal_r"):
        has = tomllib.loads("\n".join(lines)).get(table, {})
        missing = {key: value for key, value in hand.get(table, {}).items() if key not in has}
        added[table] = [_line(key, value) for key, value in missing.items()]
    left_out = [shown for key, shown in still.items() if key not in columns]
    for table, key in (("ignore", "headings"), ("not_applicable", "fields")):
        values = left_out if table == "ignore" else hand.get(table, {}).get(key, [])
        lines = _fill_list(lines, key, values)
    lines = [out for line in lines for out in (line, *added.get(_table_of(line), ()))]
    return _with_spellings("\n".join(lines), hand.get("spellings", {}))


def _decided_columns(text: str, columns: dict[str, Any]) -> list[str]:
    """Takes the # off the right lines; where one is to stand "instead", the live line goes."""
    lines: list[str] = []
    live: dict[str, int] = {}
    section = ""
    for line in text.splitlines():
        section = _table_of(line) or section
        said = commented(line) or tomllib.loads(line if '" = ' in line else "")
        if section != "columns" or not said:
            lines.append(line)
            continue
        (heading, entry), *_ = said.items()
        hand = columns.get(normalise(heading))
        if not line.startswith("#"):
            live[heading] = len(lines)
            lines.append(line)
        elif hand is None or field_of(entry) != field_of(hand) or _unit(entry) != _unit(hand):
            lines.append(line)
        elif heading in live:
            lines[live[heading]] = line[2:]
        else:
            live[heading] = len(lines)
            lines.append(line[2:])
    return lines


def _unit(entry: str | dict[str, str]) -> str | None:
    return None if isinstance(entry, str) else entry.get("unit")


def _table_of(line: str) -> str:
    found = _TABLE.match(line)
    return found[1] if found else ""


def _line(key: str, value: Any) -> str:
    if isinstance(value, dict):
        inner = ", ".join(f"{name} = {quoted(text)}" for name, text in value.items())
        return f"{quoted(key)} = {{ {inner} }}"
    return f"{quoted(key)} = {quoted(value) if isinstance(value, str) else value}"


def _fill_list(lines: list[str], key: str, values: list[str]) -> list[str]:
    at = lines.index(f"{key} = [")
    return [*lines[: at + 1], *(f"    {quoted(value)}," for value in values), *lines[at + 1 :]]


def _with_spellings(text: str, spellings: dict[str, dict[str, str]]) -> str:
    for field, words in spellings.items():
        head = f"[spellings.{field}]"
        inner = "\n".join(f"{quoted(word)} = {quoted(code)}" for word, code in words.items())
        if head in text:
            before, after = text.split(head, 1)
            rest = after.split("\n", 1)
            text = f"{before}{head}{rest[0]}\n{inner}\n{rest[1] if len(rest) > 1 else ''}"
        else:
            text += f"\n{head}\n{inner}\n"
    return text
