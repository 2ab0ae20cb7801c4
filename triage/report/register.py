"""The register of rules in words, for `triage rules`."""

import textwrap
from dataclasses import asdict
from typing import Any

from triage.contract.policy import Policy, Rule

_WIDTH = 100


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
    ]
    for rule in policy.rules.values():
        lines += [*_entry(rule, policy), ""]
    lines += ["Evidence rules", "--------------"]
    for item in policy.evidence_rules:
        lines += _wrapped(f"{item.id} {item.title}: {item.effect}")
    lines += ["", "Limits", "------"]
    for limit in policy.parameters.values():
        exposed = f" ({limit.exposed:g} in severe exposure)" if limit.exposed is not None else ""
        lines += _wrapped(
            f"{limit.name} = {limit.value:g}{exposed} {limit.unit} [{limit.mark}] {limit.source}"
        )
    return "\n".join(lines)


def _entry(rule: Rule, policy: Policy) -> list[str]:
    waits = f"; NOT EVALUATED in this version: awaits {rule.awaits}" if rule.awaits else ""
    head = f"{rule.id}  {rule.title}  [{rule.outcome}, severity {rule.severity}{waits}]"
    required = [g.code for g in policy.groups.values() if rule.id in g.required]
    told = {
        "why": rule.statement,
        "judged for": ", ".join(rule.groups),
        "required for": ", ".join(required),
        "concerns": rule.applies,
        "fires when": None if rule.awaits else " ".join(rule.fires.split()),
        "needs": "; ".join(" or ".join(any_of) for any_of in rule.needs),
        "clears": ", ".join(rule.clears),
        "do": rule.next_action,
        "caution": rule.cautions,
        "source": rule.source.replace("`", ""),
    }
    lines = _wrapped(head, indent="")
    for name, text in told.items():
        if text:
            lines += _wrapped(f"{name}: {' '.join(text.split())}")
    return lines


def _wrapped(text: str, indent: str = "    ") -> list[str]:
    return textwrap.wrap(text, _WIDTH, initial_indent=indent, subsequent_indent=indent + "  ")
