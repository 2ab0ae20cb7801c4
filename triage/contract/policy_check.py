"""What must hold between the files of a policy pack, checked before any home is judged."""

from collections.abc import Iterable
from pathlib import Path

from triage.contract.expressions import check_condition
from triage.contract.loader import Contract
from triage.contract.policy import GATING, Policy, Rule
from triage.contract.text import did_you_mean, normalise
from triage.errors import Place, PolicyError, TriageError


def check_policy(policy: Policy, contract: Contract, folder: Path) -> list[TriageError]:
    """Every contradiction of a pack: unknown names, unreachable requirements, clashing words."""
    known = {*contract.fields, *policy.quantities}
    limits = {name: parameter.value for name, parameter in policy.parameters.items()}
    errors: list[TriageError] = []
    for rule in policy.rules.values():
        errors += _rule_errors(rule, policy, known, limits)
    measures = Place(str(folder / "measures.toml"))
    presumptions = Place(str(folder / "presumptions.toml"))
    evidence = Place(str(folder / "evidence.toml"))
    for item in policy.presumptions:
        place = Place(presumptions.file, column=item.field)
        errors += check_condition(item.when, known, limits, place)
        errors += _unknown((item.field,), contract.fields, "field", presumptions)
        errors += _unknown(item.groups, policy.groups, "measure group", presumptions)
    for quantity in policy.quantities.values():
        asked = filter(None, (*quantity.asks, quantity.hoped_from))
        errors += _unknown(asked, contract.fields, "field", Place(str(folder / "quantities.toml")))
        for field, when in quantity.asks_when:
            place = Place(str(folder / "quantities.toml"), column=quantity.name)
            errors += _unknown((field,), contract.fields, "field", place)
            errors += check_condition(when, known, limits, place)
    clashes = {*policy.parameters} & known
    errors += [
        PolicyError(
            f"{name!r} is a parameter and also a field or quantity",
            str(folder),
            "rename the parameter",
        )
        for name in sorted(clashes)
    ]
    errors += _group_errors(policy, measures)
    errors += _measure_errors(policy, measures)
    errors += _evidence_errors(policy, contract, evidence)
    return errors


def _unknown(
    names: Iterable[str], known: Iterable[str], what: str, where: Place
) -> list[TriageError]:
    pool = list(known)
    return [
        PolicyError(f"{name!r} is no {what}", where, did_you_mean(name, pool))
        for name in names
        if name not in pool
    ]


def _rule_errors(
    rule: Rule, policy: Policy, known: set[str], limits: dict[str, float]
) -> list[TriageError]:
    where = Place(rule.file, row=rule.line, column=rule.id)
    errors: list[TriageError] = []
    for sql in (rule.applies, rule.fires, rule.review_before_repair):
        if sql is not None:
            errors += check_condition(sql, known, limits, where)
    needed = {
        n for needs in (rule.needs, *rule.needs_for.values()) for any_of in needs for n in any_of
    }
    errors += _unknown(sorted(needed), known, "field or quantity", where)
    errors += _unknown(rule.groups, policy.groups, "measure group", where)
    errors += _unknown(rule.needs_for, policy.groups, "measure group", where)
    errors += _unknown((*rule.clears, *rule.note_on, rule.base), policy.rules, "rule", where)
    if not 0 <= rule.severity <= 5:
        errors.append(
            PolicyError(
                f"severity {rule.severity} is not 0 to 5", where, "give 1 to 5; 0 for gates"
            )
        )
    water = [name for name in rule.clears if name.startswith("W")]
    if water:
        errors.append(
            PolicyError(
                f"the gate would clear the water rule {water[0]}",
                where,
                "a gate never cancels a W rule",
            )
        )
    return errors


def _group_errors(policy: Policy, where: Place) -> list[TriageError]:
    errors: list[TriageError] = []
    for group in policy.groups.values():
        place = Place(where.file, column=f"groups.{group.code}")
        gates = [gate for any_of in group.required_clearances for gate in any_of]
        errors += _unknown((*group.required, *gates), policy.rules, "rule", place)
        can_hold = {
            rule.id
            for rule in policy.rules_of(group.code)
            if rule.outcome in GATING and rule.needs_in(group.code)
        }
        errors += [
            PolicyError(
                f"{name} needs fields for {group.code} but is not required there",
                place,
                "add it to required, or give it needs_for with an empty list",
            )
            for name in sorted(can_hold - set(group.required))
        ]
        errors += [
            PolicyError(
                f"{name} is required for {group.code} but can never hold a row there",
                place,
                "drop it, or name in the rule what it needs for this group",
            )
            for name in group.required
            if name in policy.rules and name not in can_hold
        ]
    return errors


def _measure_errors(policy: Policy, where: Place) -> list[TriageError]:
    errors: list[TriageError] = []
    taken: dict[str, str] = {}
    for measure in policy.measures.values():
        place = Place(where.file, column=f"measures.{measure.code}")
        errors += _unknown((measure.group,), policy.groups, "measure group", place)
        gates = [gate for any_of in measure.required_clearances for gate in any_of]
        errors += _unknown(gates, policy.rules, "rule", place)
        for word in (measure.code, measure.name, *measure.spellings):
            owner = taken.setdefault(normalise(word), measure.code)
            if owner != measure.code:
                errors.append(
                    PolicyError(f"{word!r} also means {owner}", place, "keep it for one measure")
                )
    return errors


def _evidence_errors(policy: Policy, contract: Contract, where: Place) -> list[TriageError]:
    evidence = policy.evidence
    errors = _unknown((*evidence.fields, *evidence.batch_fields), contract.fields, "field", where)
    expiries = {
        name.removeprefix("expiry_").removesuffix("_months")
        for name in policy.parameters
        if name.startswith("expiry_")
    } | {"none"}
    for standard in (evidence.default, *evidence.fields.values()):
        errors += _unknown((standard.view,), evidence.views, "view", where)
        errors += _unknown((standard.clears_at,), evidence.grades, "grade", where)
        errors += _unknown((standard.expires,), expiries, "expiry class of parameters.toml", where)
    errors += _unknown((evidence.firm_from,), evidence.grades, "grade", where)
    for view in evidence.views.values():
        errors += _unknown(filter(None, (view.inside,)), evidence.inside, "inside reach", where)
        errors += _unknown(filter(None, (view.outside,)), evidence.outside, "outside reach", where)
        errors += _unknown(
            (*view.close_for, *view.dry_void_for), policy.groups, "measure group", where
        )
    return errors
