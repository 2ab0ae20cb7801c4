"""The register of rules in words, for `triage rules`."""

import textwrap
from collections.abc import Iterator, Mapping
from dataclasses import asdict
from typing import Any

from triage.contract.policy import Needs, Policy, Rule
from triage.report.conditions import plain_condition

_WIDTH = 100
_CHAPTERS = {
    "W": "Water entry",
    "R": "Roof assembly",
    "F": "Foam that is already there",
    "J": "Timber against masonry",
    "M": "Walls and masonry",
    "G": "Floors",
    "V": "Indoor moisture and ventilation",
    "S": "Stop-work safety",
}
_OUTCOMES = {
    "fix-water-first": "a repair comes first",
    "specialist-review": "a specialist decides",
    "clears-gate": "good evidence that answers other rules",
    "enabling-work": "work done in the same job, before covering",
    "pre-start-check": "a check before work starts",
    "note": "a note on the work order",
}
_HOW_TO_READ = """\
A rule fires on evidence that somebody stands behind. On assumed or inherited answers alone it asks
for confirmation. It is clear only when what it needs is known well enough; anything else that its
condition names counts when known and is silent when not. A home can be safe only when every rule
that must be decided for its measure is clear, or is presumed with a check before work starts.
A number is followed by the [name] of its limit; the limits stand at the end with their sources.
SEEN: read in the document named. MEMORY: believed, to be checked. PRACTICE: common practice, no
document. POLICY: this product's choice. COMPUTED: worked out here."""


def register_rows(policy: Policy) -> list[dict[str, Any]]:
    """One plain mapping per entry, in the register's order, ready for JSON."""
    drop = ("file", "line")
    return [
        {k: v for k, v in asdict(rule).items() if k not in drop} for rule in policy.rules.values()
    ]


def register_text(policy: Policy) -> str:
    """The whole register as plain text, at most 100 characters a line."""
    numbers = len({rule.base for rule in policy.rules.values()})
    lines = [
        f"Policy {policy.name} {policy.version} ({policy.digest[:12]}): {policy.title}",
        f"{numbers} rules in {len(policy.rules)} entries; a second outcome is an entry of its own.",
        "",
        *_HOW_TO_READ.splitlines(),
        *_heading("Outcomes"),
        *(line for name, words in _OUTCOMES.items() for line in _item(name, words)),
        *_heading("Measures"),
        *(line for code, group in policy.groups.items() for line in _item(code, group.title)),
    ]
    for title, rules in _chapters(policy):
        lines += _heading(title)
        for rule in rules:
            lines += [*_entry(rule, policy), ""]
        lines.pop()
    lines += [*_heading("Evidence rules")]
    for evidence in policy.evidence_rules:
        lines += _item(f"{evidence.id} {evidence.title}", evidence.effect)
    lines += [*_presumptions(policy), *_quantities(policy), *_limits(policy)]
    return "\n".join(lines)


def _chapters(policy: Policy) -> Iterator[tuple[str, list[Rule]]]:
    """Chapters by the letter of the id; rules of any other letter come last."""
    rules = list(policy.rules.values())
    for letter, title in _CHAPTERS.items():
        if chapter := [rule for rule in rules if rule.id.startswith(letter)]:
            yield title, chapter
    if rest := [rule for rule in rules if rule.id[:1] not in _CHAPTERS]:
        yield "Other rules", rest


def _entry(rule: Rule, policy: Policy) -> list[str]:
    waits = f"; NOT EVALUATED in this version: awaits {rule.awaits}" if rule.awaits else ""
    weight = f", severity {rule.severity}" if rule.severity else ""
    limits = policy.limits
    required = policy.groups_requiring(rule.id)
    every = set(required) == set(rule.groups)
    first = plain_condition(rule.review_before_repair or "", limits)
    told = {
        "why": rule.statement,
        "judged for": ", ".join(rule.groups),
        "must be decided for": "all of these" if every else ", ".join(required),
        "concerns": plain_condition(rule.applies or "", limits),
        "fires when": "" if rule.awaits else _fires(rule, limits),
        **_needs(rule),
        "answers": ", ".join(rule.clears),
        "stands beside": ", ".join(rule.note_on),
        "lane": rule.lane,
        "holds the start of work": rule.stop_work,
        "goes before repair": {"true": "always"}.get(first, first),
        "do": rule.next_action,
        "repair ordered": rule.repair_type,
        "must not be done": _must_not(rule),
        "caution": rule.cautions,
        "source": rule.source,
    }
    lines = _wrapped(f"{rule.id}  {rule.title}  [{rule.outcome}{weight}{waits}]", indent="")
    for name, text in told.items():
        if text:
            lines += _item(name, text)
    return lines


def _must_not(rule: Rule) -> str:
    """What the work order forbids, and where that is from."""
    return f"{' '.join(rule.must_not)} [{rule.must_not_source}]" if rule.must_not else ""


def _fires(rule: Rule, limits: Mapping[str, float]) -> str:
    condition = plain_condition(rule.fires, limits)
    return (
        "never by itself: it stands while its answer is missing"
        if condition == "false"
        else condition
    )


def _needs(rule: Rule) -> dict[str, str]:
    """What must be known, and for which measures that differs; silent for what is not evaluated."""
    if rule.awaits:
        return {}
    told = {"needs": _need_words(rule.needs)} if rule.needs else {}
    groups: dict[str, list[str]] = {}
    for group, needs in rule.needs_for.items():
        groups.setdefault(_need_words(needs), []).append(group)
    for words, codes in groups.items():
        told[f"needs for {', '.join(codes)}"] = words or "nothing: it counts when known"
    return told


def _need_words(needs: Needs) -> str:
    return "; ".join(" or ".join(any_of) for any_of in needs)


def _presumptions(policy: Policy) -> list[str]:
    """What may be presumed when unknown, and the check that then holds the start."""
    limits = policy.limits
    lines = _heading("Presumed when not known, with a check before work starts")
    lines += _wrapped("At most max_presumed_topics may stand on one row, those not counted aside.")
    for item in policy.presumptions:
        when = plain_condition(item.when, limits)
        when = "always" if when == "true" else f"when {when}"
        text = f"{when}. {item.check}{'' if item.counts else ' (not counted)'}"
        lines += _item(f"{item.field} ({', '.join(item.groups)})", text)
    return lines


def _quantities(policy: Policy) -> list[str]:
    lines = _heading("Computed values that the rules name")
    for quantity in policy.quantities.values():
        waits = f"; awaits {quantity.awaits}" if quantity.awaits else ""
        meaning = quantity.meaning.removeprefix("context: ")
        source = {"context": "evidence that counts"}.get(quantity.computed, quantity.computed)
        lines += _item(quantity.name, f"{meaning} [{quantity.unit}; from {source}{waits}]")
    return lines


def _limits(policy: Policy) -> list[str]:
    lines = _heading("Limits")
    for limit in policy.parameters.values():
        exposed = f" ({limit.exposed:g} in severe exposure)" if limit.exposed is not None else ""
        lines += _wrapped(
            f"{limit.name} = {limit.value:g}{exposed} {limit.unit} [{limit.mark}] {limit.source}"
        )
    return lines


def _heading(title: str) -> list[str]:
    return ["", title, "-" * len(title)]


def _item(name: str, text: str) -> list[str]:
    return _wrapped(f"{name}: {' '.join(text.split())}")


def _wrapped(text: str, indent: str = "    ") -> list[str]:
    return textwrap.wrap(text, _WIDTH, initial_indent=indent, subsequent_indent=indent + "  ")
