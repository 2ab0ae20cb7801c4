"""What must hold between the files of a policy pack, checked before any home is judged."""

import re
from collections.abc import Collection, Iterable
from pathlib import Path

from triage.contract.expressions import check_condition
from triage.contract.loader import Contract
from triage.contract.policy import GATING, Policy, Rule, SharedRoof
from triage.contract.text import did_you_mean, normalise
from triage.contract.tomlfile import read_toml
from triage.errors import Place, PolicyError, TriageError

_TEXT = r"'(?:[^']|'')*'"
# A name compared with texts: by a sign, by IN, or as what a list contains.
_COMPARED = re.compile(
    rf"\b(?P<one>\w+)\s*(?:=|<>|!=)\s*(?P<text>{_TEXT})"
    rf"|\b(?P<any>\w+)\s+(?:NOT\s+)?IN\s*\((?P<texts>[^)]*)\)"
    rf"|\barray_contains\(\s*(?P<list>\w+)\s*,\s*(?P<held>{_TEXT})",
    re.IGNORECASE,
)


def check_policy(policy: Policy, contract: Contract, folder: Path) -> list[TriageError]:
    """Every contradiction of a pack: unknown names, unreachable requirements, clashing words."""
    known = {*contract.fields, *policy.quantities}
    errors: list[TriageError] = []
    for rule in policy.rules.values():
        errors += _rule_errors(rule, policy, contract)
    errors += _presumption_errors(policy, contract, str(folder / "presumptions.toml"))
    errors += _quantity_errors(policy, contract, str(folder / "quantities.toml"))
    errors += _junction_errors(policy, contract, str(folder / "junctions.toml"))
    errors += [
        PolicyError(
            f"{name!r} is a parameter and also a field or quantity",
            Place(str(folder / "parameters.toml"), column=name),
            "rename the parameter",
        )
        for name in sorted({*policy.parameters} & known)
    ]
    errors += _record_errors(policy, contract, str(folder / "records.toml"))
    errors += _group_errors(policy, str(folder / "measures.toml"))
    errors += _measure_errors(policy, str(folder / "measures.toml"))
    errors += _evidence_errors(policy, contract, str(folder / "evidence.toml"))
    return [_with_line(error) for error in errors]


def _with_line(error: TriageError) -> TriageError:
    """The error with the line of the key, or else of the word, that its column names."""
    where = error.where
    if where.row is not None or where.column is None:
        return error
    file = read_toml(Path(where.file), PolicyError)
    row = file.place(*where.column.split(".")).row
    if row is None:
        word = f'"{where.column}"'
        row = next((n for n, line in enumerate(file.text.splitlines(), 1) if word in line), None)
    return PolicyError(error.what, Place(where.file, row=row, column=where.column), error.fix)


def condition_errors(
    sql: str, policy: Policy, contract: Contract, where: Place
) -> list[TriageError]:
    """What is wrong with a condition, its codes included."""
    known = {*contract.fields, *policy.quantities}
    limits = policy.limits
    found: list[TriageError] = [*check_condition(sql, known, limits, where)]
    for match in _COMPARED.finditer(sql):
        name = match["one"] or match["any"] or match["list"]
        texts = re.findall(_TEXT, match["text"] or match["texts"] or match["held"])
        # "unknown" is stored as no answer at all, so a comparison with it would never hold.
        if codes := _codes(name, policy, contract):
            found += _unknown([text[1:-1] for text in texts], codes, f"answer of {name}", where)
    return found


def _codes(name: str, policy: Policy, contract: Contract) -> Collection[str]:
    """The codes that a name can take; none where they are not listed."""
    if name == "measure_group":
        return policy.groups
    return contract.fields[name].known_codes if name in contract.fields else ()


def _presumption_errors(policy: Policy, contract: Contract, file: str) -> list[TriageError]:
    errors: list[TriageError] = []
    for number, item in enumerate(policy.presumptions, start=1):
        entry = f"presume[{number}]"
        errors += condition_errors(item.when, policy, contract, Place(file, column=f"{entry}.when"))
        errors += _unknown(
            (item.field,), contract.fields, "field", Place(file, column=f"{entry}.field")
        )
        errors += _unknown(
            item.groups, policy.groups, "measure group", Place(file, column=f"{entry}.groups")
        )
    return errors


def _quantity_errors(policy: Policy, contract: Contract, file: str) -> list[TriageError]:
    errors: list[TriageError] = []
    for quantity in policy.quantities.values():
        where = Place(file, column=quantity.name)
        asked = filter(None, (*quantity.asks, quantity.hoped_from))
        errors += _unknown(asked, contract.fields, "field", where)
        errors += _unknown(quantity.limits, policy.parameters, "parameter", where)
        for field, when in quantity.asks_when:
            errors += _unknown((field,), contract.fields, "field", where)
            errors += condition_errors(when, policy, contract, where)
    return errors


def _junction_errors(policy: Policy, contract: Contract, file: str) -> list[TriageError]:
    errors: list[TriageError] = []
    for number, item in enumerate(policy.junctions, start=1):
        where = Place(file, column=f"junction[{number}].when")
        found = condition_errors(item.when, policy, contract, where)
        # A thickness is part of the junction that the entry describes, not a limit of a rule.
        errors += [error for error in found if "holds the number" not in error.what]
        errors += _unknown(item.groups, policy.groups, "measure group", where)
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


def _rule_errors(rule: Rule, policy: Policy, contract: Contract) -> list[TriageError]:
    where = Place(rule.file, row=rule.line, column=rule.id)
    known = {*contract.fields, *policy.quantities}
    errors: list[TriageError] = []
    for sql in (rule.applies, rule.fires, rule.review_before_repair, rule.not_overridable):
        if sql is not None:
            errors += condition_errors(sql, policy, contract, where)
    needed = {
        n for needs in (rule.needs, *rule.needs_for.values()) for any_of in needs for n in any_of
    }
    errors += _unknown(sorted(needed), known, "field or quantity", where)
    errors += _unknown(rule.groups, policy.groups, "measure group", where)
    errors += _unknown(rule.needs_for, policy.groups, "measure group", where)
    errors += _unknown((*rule.clears, *rule.note_on, rule.base), policy.rules, "rule", where)
    repairs = contract.tables["repair"].columns["repair_type"].known_codes
    errors += _unknown(filter(None, (rule.repair_type,)), repairs, "repair", where)
    if rule.must_not and not rule.must_not_source:
        what = "must_not stands without a source"
        errors.append(PolicyError(what, where, 'add must_not_source = "... (PRACTICE)"'))
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


def _group_errors(policy: Policy, file: str) -> list[TriageError]:
    errors: list[TriageError] = []
    for group in policy.groups.values():
        place = Place(file, column=f"groups.{group.code}.required")
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


def _measure_errors(policy: Policy, file: str) -> list[TriageError]:
    errors: list[TriageError] = []
    taken: dict[str, str] = {}
    for measure in policy.measures.values():
        place = Place(file, column=f"measures.{measure.code}")
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


def _expiry_classes(policy: Policy) -> set[str]:
    """The classes for which parameters.toml has an age limit."""
    limits = (name for name in policy.parameters if name.startswith("expiry_"))
    return {name.removeprefix("expiry_").removesuffix("_months") for name in limits}


def _record_errors(policy: Policy, contract: Contract, file: str) -> list[TriageError]:
    rules = policy.records
    classes = _expiry_classes(policy)

    def codes(table: str, column: str) -> tuple[str, ...]:
        return contract.tables[table].columns[column].known_codes

    errors = _unlisted(rules.event_ends, codes("event", "event_type"), "event", file)
    for ended in rules.event_ends.values():
        errors += _unlisted(ended, classes, "expiry class of parameters.toml", file)
    errors += _unlisted(rules.mends, contract.fields, "field", file)
    errors += _unlisted(rules.slow_repairs, codes("repair", "repair_type"), "repair", file)
    return errors + _unlisted(
        rules.competences, codes("decision", "competence"), "competence", file
    )


def _evidence_errors(policy: Policy, contract: Contract, file: str) -> list[TriageError]:
    evidence = policy.evidence
    names = (*evidence.fields, *evidence.batch_fields)
    errors = _unlisted(names, contract.fields, "field", file)
    expiries = {*_expiry_classes(policy), "none"}
    for standard in dict.fromkeys((evidence.default, *evidence.fields.values())):
        errors += _unlisted((standard.view,), evidence.views, "view", file)
        errors += _unlisted((standard.clears_at,), evidence.grades, "grade", file)
        errors += _unlisted((standard.expires,), expiries, "expiry class of parameters.toml", file)
        ranked = [grade for kind in standard.ranking for grade in kind]
        errors += _unlisted(ranked, evidence.grades, "grade", file)
        for name, codes in standard.not_where:
            errors += _unlisted((name,), contract.fields, "field", file)
            if name in contract.fields:
                errors += _unlisted(codes, contract.fields[name].known_codes, "code", file)
                if contract.fields[name].type != "codes":
                    what = f"{name!r} holds one code, and not_where needs a field of several"
                    errors.append(PolicyError(what, Place(file), "name a field of several codes"))
    errors += _shared_roof_errors(evidence.shared_roof, contract, file)
    errors += _unlisted((evidence.firm_from,), evidence.grades, "grade", file)
    errors += _unlisted(evidence.winter_readings, policy.rules, "rule", file)
    for view in evidence.views.values():
        errors += _unlisted(filter(None, (view.inside,)), evidence.inside, "inside reach", file)
        errors += _unlisted(filter(None, (view.outside,)), evidence.outside, "outside reach", file)
        groups = (*view.close_for, *view.dry_void_for)
        errors += _unlisted(groups, policy.groups, "measure group", file)
    return errors


def _shared_roof_errors(shared: SharedRoof, contract: Contract, file: str) -> list[TriageError]:
    fields = contract.fields
    above, said = shared.none_above
    errors = _unlisted((*shared.roof, *shared.rain, above), fields, "field", file)
    if above in fields:
        errors += _unlisted((said,), fields[above].known_codes, "code", file)
    listed = {"property_type": shared.property_types, "built_form": shared.built_forms}
    for name, codes in listed.items():
        errors += _unlisted(codes, fields[name].known_codes, "code", file)
    return errors


def _unlisted(
    names: Iterable[str], known: Iterable[str], what: str, file: str
) -> list[TriageError]:
    """As `_unknown`, each at the line where the word itself stands."""
    pool = list(known)
    return [
        error for name in names for error in _unknown((name,), pool, what, Place(file, column=name))
    ]
