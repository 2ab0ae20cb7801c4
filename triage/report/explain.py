"""One home in words, as a reviewer reads it: decision, why, what is missing, facts, rules."""

from __future__ import annotations

import textwrap
from collections.abc import Iterable, Mapping
from typing import Any

from triage.report.build_up_text import build_up_lines
from triage.report.labels import (
    LANES,
    LIMITS,
    LOOK,
    REVIEW,
    SAFE,
    SAFE_MAY_NOT_CLAIM,
    plain,
    visible,
)

WIDTH = 100
Entry = Mapping[str, Any]  # one object of the explanation, as `triage explain --json` prints it


def render_explanation(explanation: Entry) -> str:
    """Words for one home, at most 100 characters a line, with a line feed at the end.

    Parameters
    ----------
    explanation
        home, as_of, policy, place, facts, parts, limits, as in `triage explain --json`. A key
        that is absent or empty is left out of the text, except for decisions.
    """
    page = _Page()
    page.title(f"Home {explanation['home']}")
    page.text(f"as of {explanation.get('as_of', '')}, policy {explanation.get('policy', '')}")
    parts: list[Entry] = list(explanation.get("parts") or [])
    page.section("Decision")
    for part in parts:
        _decision(page, part)
    if not parts:
        page.text("No measure is proposed for this home, so there is nothing to decide.")
    for part in parts:
        _reasons(page, part)
    for part in parts:
        _build_up(page, part)
    _conflicts(page, list(explanation.get("conflicts") or []))
    _superseded(page, list(explanation.get("superseded") or []))
    _facts(page, list(explanation.get("facts") or []))
    _place(page, explanation.get("place") or {})
    for part in parts:
        _rules(page, part)
    _limits(page, parts, list(explanation.get("limits") or []))
    return page.finish()


class _Page:
    """Collects wrapped lines."""

    def __init__(self) -> None:
        self.lines: list[str] = []

    def title(self, text: str) -> None:
        self.lines += [visible(text), "=" * min(len(text), WIDTH)]

    def section(self, text: str) -> None:
        self.lines += ["", visible(text), "-" * min(len(text), WIDTH)]

    def text(self, text: str, indent: int = 0, hang: int | None = None) -> None:
        first, rest = " " * indent, " " * (indent if hang is None else hang)
        wrapped = textwrap.wrap(visible(text), WIDTH, initial_indent=first, subsequent_indent=rest)
        self.lines += wrapped or [""]

    def points(self, heading: str, items: Iterable[str], indent: int = 2) -> None:
        """Write a heading and one dash a point; nothing if there is no point."""
        listed = [item for item in items if item]
        if listed:
            self.text(heading, indent)
            for item in listed:
                self.text(f"- {item}", indent + 2, indent + 4)

    def named(self, name: str, value: object) -> None:
        """Write a name, and a value that wraps beside it; nothing if there is no value."""
        if value not in (None, "", []):
            self.text(f"{name + ':':<16}{_value(value)}", 2, 18)

    def finish(self) -> str:
        return "\n".join(line.rstrip() for line in self.lines) + "\n"


def _name(part: Entry) -> str:
    return f"{plain(str(part.get('part', '')))}, {plain(str(part.get('measure', '')))}"


def _decision(page: _Page, part: Entry) -> None:
    queue = str(part["queue"])
    words = LOOK[queue].title.upper() if queue in LOOK else queue
    if queue == REVIEW and part.get("lane"):
        lane = str(part["lane"])
        words += f" ({LANES.get(lane, (lane, ''))[0]})"
    if queue == SAFE:
        words += " (released)" if part.get("released") else " (checks outstanding)"
    page.text(f"{_name(part)}: {words}", hang=2)
    page.named("next action", part.get("next_action"))
    page.named("good until", part.get("expires_on"))
    page.points("STOP WORK that would disturb:", _texts(part.get("stop_work")))
    page.points("before start, check:", _texts(part.get("checks")))
    page.points("in the same job:", _texts(part.get("enabling")))
    page.points("decided by a specialist:", _texts(part.get("decisions")))
    page.points("repairs on record:", _texts(part.get("repairs")))


def _reasons(page: _Page, part: Entry) -> None:
    page.section(f"Why: {_name(part)}")
    fired = list(part.get("fired") or [])
    undecidable = list(part.get("undecidable") or [])
    reason = part.get("reason")
    if not fired and (reason or not undecidable):
        page.text(reason or "No rule fired, and every required rule could be answered.")
    for rule in fired:
        severity = rule.get("severity")
        grade = "" if severity is None else f" [severity {severity}]"
        grade += " [accepted by a decision]" if rule.get("accepted") else ""
        page.text(f"{rule['rule']}  {rule.get('title', '')}{grade}", 0, 5)
        _rule_detail(page, rule)
    if undecidable:
        page.text("Cannot be decided on the evidence held:")
        for rule in undecidable:
            missing = ", ".join(_texts(rule.get("missing"))) or "evidence that counts"
            page.text(f"{rule['rule']}  {rule.get('title', '')}; missing: {missing}", 2, 7)
    page.points("Smallest evidence that would change this:", _evidence(part), 0)


def _rule_detail(page: _Page, rule: Entry) -> None:
    page.named("because", _values(rule))
    page.named("do", rule.get("next_action"))
    for caution in _texts(rule.get("cautions")):
        page.named("caution", caution)
    page.named("source", rule.get("source"))


def _values(rule: Entry) -> str:
    """Write the values that gave an answer."""
    values = rule.get("values") or {}
    if isinstance(values, Mapping):
        return ", ".join(f"{name} = {_value(value)}" for name, value in values.items())
    return ", ".join(_texts(values))


def _evidence(part: Entry) -> list[str]:
    return _texts(part.get("evidence_that_would_change"))


def _build_up(page: _Page, part: Entry) -> None:
    if part.get("build_up"):
        page.section(f"Layers and moisture: {_name(part)}")
        page.lines += build_up_lines(part["build_up"])


def _conflicts(page: _Page, conflicts: list[Entry]) -> None:
    if not conflicts:
        return
    page.section("Records that disagree")
    for conflict in conflicts:
        held = [plain(measure) for measure in _texts(conflict.get("measures"))]
        matters = f"; it matters for: {', '.join(held)}" if held else "; no queue hangs on it"
        _both_cells(page, conflict, matters)


_WHY = {
    "better_and_as_new": "a better grade, at least as new",
    "stronger_kind": "a stronger kind of evidence",
    "not_firm": "assumed or inherited only",
    "settled": "a later record of a named surveyor, with a photograph, settled it",
}


def _superseded(page: _Page, superseded: list[Entry]) -> None:
    if superseded:
        page.section("Answers that another one stands above")
    for entry in superseded:
        _both_cells(page, entry, f"; {_WHY.get(str(entry['why']), str(entry['why']))}")


def _both_cells(page: _Page, entry: Entry, more: str) -> None:
    page.text(f"{entry['field']} ({plain(str(entry.get('part', '')))}){more}", 0, 4)
    for side in ("taken", "other"):
        cell = entry[side]
        said = f"{_value(cell['value'])} ({cell.get('grade')}), " if "value" in cell else ""
        page.text(f"{side}: {said}{_cell(cell)}", 4, 11)


def _facts(page: _Page, facts: list[Entry]) -> None:
    if not facts:
        return
    page.section("Facts, and the cells they came from")
    page.text("* good enough to clear a rule. Others may hold work back, never release it.")
    for fact in facts:
        mark = "*" if fact.get("counts") else " "
        unit = f" {fact['unit']}" if fact.get("unit") else ""
        grade = f" ({plain(str(fact['grade']))})" if fact.get("grade") else ""
        page.text(f"{mark} {fact['field']} = {_value(fact.get('value'))}{unit}{grade}", 0, 4)
        page.text(_cell(fact), 4)
        if not fact.get("counts") and fact.get("why_not"):
            page.text(f"does not clear a rule: {_value(fact['why_not'])}", 4)


def _cell(fact: Entry) -> str:
    where = [
        str(fact["file"]) if fact.get("file") else "no file",
        f"sheet {fact['sheet']}" if fact.get("sheet") else "",
        f"row {fact['row']}" if fact.get("row") is not None else "",
        f"column {fact['column']}" if fact.get("column") else "",
        f"surveyed at home {fact['home']}" if fact.get("home") else "",
    ]
    raw = "" if fact.get("raw") is None else f"; written “{fact['raw']}”"
    return ", ".join(piece for piece in where if piece) + raw


def _place(page: _Page, place: Entry) -> None:
    if place:
        page.section("Place and climate")
        width = max(len(plain(str(name))) for name in place) + 2
        for name, value in place.items():
            page.text(f"{plain(str(name)):<{width}}{_value(value)}", 2, width + 2)


def _rules(page: _Page, part: Entry) -> None:
    page.section(f"Every rule: {_name(part)}")
    for heading, key in (
        ("fires", "fired"),
        ("gate met: positive evidence that clears the rules it names", "gates_met"),
        ("cannot be decided", "undecidable"),
        ("taken as usual, to be checked before start", "presumed"),
        ("cleared by a met gate", "cleared_by_gate"),
        ("clear", "clear"),
        ("not required for this measure, and not answered", "optional_unanswered"),
        ("does not apply", "not_applicable"),
        ("NOT EVALUATED in this version; nothing is claimed", "not_evaluated"),
    ):
        entries = list(part.get(key) or [])
        if not entries:
            continue
        listed = [entry for entry in entries if isinstance(entry, Mapping) and entry.get("values")]
        names = ", ".join(_rule_name(entry) for entry in entries if entry not in listed)
        page.text(f"{heading} ({len(entries)}): {names}", 0, 4)
        for entry in listed:
            title = f"  {entry['title']}" if entry.get("title") else ""
            page.text(f"{_rule_name(entry)}{title}: {_values(entry)}", 4, 8)


def _rule_name(entry: object) -> str:
    if isinstance(entry, Mapping):
        return str(entry.get("rule") or entry.get("topic") or entry.get("title") or "")
    return str(entry)


def _limits(page: _Page, parts: list[Entry], limits: list[str]) -> None:
    page.section("Limits")
    if any(part.get("queue") == SAFE for part in parts):
        page.text(f"Safe to insulate is a screening result. {SAFE_MAY_NOT_CLAIM}")
    for text in limits or [LIMITS]:
        page.text(text)


def _texts(value: object) -> list[str]:
    if value is None:
        return []
    if isinstance(value, str):
        return [value]
    if isinstance(value, Iterable):
        return [_value(item) for item in value]
    return [str(value)]


def _value(value: object) -> str:
    """Write a value as a reader would: unknown for none, no tail of noise on a number."""
    if value is None:
        return "unknown"
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, float):
        return f"{value:.6g}"
    if isinstance(value, Mapping):
        return ", ".join(f"{plain(str(name))} {_value(item)}" for name, item in value.items())
    if isinstance(value, (list, tuple)):
        return ", ".join(_value(item) for item in value)
    return str(value)
