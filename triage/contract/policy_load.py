"""Reads a policy pack from its TOML files and refuses what could not be applied as written."""

import hashlib
from functools import cache
from pathlib import Path

from triage.contract.loader import load_contract
from triage.contract.policy import (
    OUTCOMES,
    Evidence,
    EvidenceRule,
    FieldEvidence,
    Group,
    Measure,
    Needs,
    OuterClass,
    Parameter,
    Policy,
    Presumption,
    Quantity,
    Rule,
    View,
)
from triage.contract.policy_check import check_policy
from triage.contract.section import Section
from triage.contract.text import did_you_mean
from triage.contract.tomlfile import read_toml
from triage.errors import FileError, Place, PolicyError, TriageError, raise_all
from triage.resources import resource_dir

_FILES = (
    "policy.toml",
    "parameters.toml",
    "measures.toml",
    "presumptions.toml",
    "quantities.toml",
    "evidence.toml",
    "evidence_rules.toml",
    "outer_class.toml",
)
_RULE_KEYS = (
    *("id", "base", "title", "element", "groups", "outcome", "severity", "lane", "stop_work"),
    *("review_before_repair", "winter", "quiet", "awaits", "clears", "note_on", "statement"),
    *("applies", "fires", "needs", "needs_for", "next_action", "cautions", "source"),
)


def policy_dir(name: str, beside: Path | None = None) -> Path:
    """Folder of a pack: a name of one that ships, or a path relative to the programme's folder.

    Raises
    ------
    PolicyError
        If there is no such pack.
    """
    shipped = resource_dir("schemas") / "policy"
    folders = [shipped / name] if "/" not in name else []
    if beside is not None:
        folders.append(beside / name)
    for folder in folders:
        if (folder / "policy.toml").is_file():
            return folder
    packs = sorted(p.name for p in shipped.iterdir() if (p / "policy.toml").is_file())
    raise PolicyError(
        f"there is no policy pack {name!r}", str(folders[-1]), did_you_mean(name, packs)
    )


@cache
def load_policy(folder: Path) -> Policy:
    """Read and check a whole pack; every slip is reported at once, with file and line.

    Raises
    ------
    PolicyError or ManyErrors
        A missing or unknown key, a condition that does not compile, a rule that names an unknown
        field, a digit inside a rule, or a required rule that could not hold a row.
    """
    missing = [name for name in _FILES if not (folder / name).is_file()]
    rule_files = _chapters(folder)
    if missing or not rule_files:
        what = f"the policy pack lacks {', '.join(missing) or 'rules/*.toml'}"
        raise FileError(what, str(folder), "copy the default pack and change it")
    errors: list[TriageError] = []
    top = {name: _open(folder / name, errors) for name in _FILES}
    rules: dict[str, Rule] = {}
    for path in rule_files:
        for entry in _open(path, errors).tables("rules"):
            rule = _rule(entry)
            if rule.id in rules:
                entry.blame(
                    f"the rule id {rule.id!r} is used twice",
                    "ids are permanent: take a new one",
                    "id",
                )
            rules[rule.id] = rule
    raise_all(errors)
    head = top["policy.toml"]
    policy = Policy(
        name=head.need("name", str, '"default"') or "",
        version=head.need("version", str, '"1.0"') or "",
        title=head.need("title", str, '"Default policy"') or "",
        digest=_digest(folder, [*(folder / name for name in _FILES), *rule_files]),
        rules=rules,
        parameters={k: _parameter(s) for k, s in _named(top["parameters.toml"])},
        groups={k: _group(k, s) for k, s in _named(top["measures.toml"].table("groups"))},
        measures={k: _measure(k, s) for k, s in _named(top["measures.toml"].table("measures"))},
        presumptions=tuple(_presumption(s) for s in top["presumptions.toml"].tables("presume")),
        quantities={k: _quantity(k, s) for k, s in _named(top["quantities.toml"])},
        evidence=_evidence(top["evidence.toml"]),
        outer_classes=tuple(_outer(s) for s in top["outer_class.toml"].tables("class")),
        evidence_rules=tuple(
            EvidenceRule(k, s.need("title", str, '"…"') or "", s.need("effect", str, '"…"') or "")
            for k, s in _named(top["evidence_rules.toml"])
        ),
    )
    raise_all(errors)
    raise_all(check_policy(policy, load_contract(), folder))
    return policy


def _chapters(folder: Path) -> list[Path]:
    """The rule files in the pack's own order; a file that the pack does not name is refused."""
    head = _open(folder / "policy.toml", []) if (folder / "policy.toml").is_file() else None
    found = {path.stem: path for path in sorted((folder / "rules").glob("*.toml"))}
    named = head.texts("chapters") if head is not None else ()
    wrong = sorted(set(named) ^ set(found))
    if named and wrong:
        raise PolicyError(
            f"the chapters and the files of rules/ differ in {wrong[0]!r}",
            Place(str(folder / "policy.toml"), column="chapters"),
            "name every file of rules/ once, without its ending",
        )
    return [found[name] for name in named] or list(found.values())


def _open(path: Path, errors: list[TriageError]) -> Section:
    file = read_toml(path, PolicyError)
    return Section(file, dict(file.data), PolicyError, errors=errors)


def _named(section: Section) -> list[tuple[str, Section]]:
    return [(key, section.table(key)) for key in section.data]


def _digest(folder: Path, paths: list[Path]) -> str:
    """Hash of the pack's files, the same on every machine and line ending."""
    total = hashlib.sha256()
    for path in paths:
        total.update(path.relative_to(folder).as_posix().encode())
        total.update(path.read_bytes().replace(b"\r\n", b"\n"))
    return total.hexdigest()


def _needs(section: Section, value: object, key: str) -> Needs:
    """`["a", ["b", "c"]]`: a, and b or c."""
    if not isinstance(value, list):
        section.blame(
            f"{key!r} should be a list of names", 'write needs = ["field", ["one", "or"]]', key
        )
        return ()
    return tuple(tuple(item) if isinstance(item, list) else (str(item),) for item in value)


def _rule(s: Section) -> Rule:
    s.only(*_RULE_KEYS)
    name = s.need("id", str, '"W01"') or "?"
    outcome = s.choice("outcome", OUTCOMES) or s.need("outcome", str, '"fix-water-first"')
    needs_for = s.get("needs_for", dict) or {}
    return Rule(
        id=name,
        base=s.get("base", str) or name,
        title=s.need("title", str, '"Covering defective"') or "",
        element=s.texts("element"),
        groups=s.texts("groups"),
        outcome=outcome if outcome in OUTCOMES else "note",
        severity=s.need("severity", int, "3") or 0,
        statement=s.need("statement", str, '"Why it matters"') or "",
        fires=s.need("fires", str, "\"gutter_condition = 'poor'\"") or "FALSE",
        next_action=s.need("next_action", str, '"What to do"') or "",
        applies=s.get("applies", str),
        needs=_needs(s, s.data.get("needs", []), "needs"),
        needs_for={g: _needs(s, v, "needs_for") for g, v in needs_for.items()},
        lane=s.get("lane", str),
        stop_work=s.get("stop_work", str),
        review_before_repair=s.get("review_before_repair", str),
        winter=s.get("winter", bool) or False,
        quiet=s.get("quiet", bool) or False,
        awaits=s.get("awaits", str),
        clears=s.texts("clears"),
        note_on=s.texts("note_on"),
        cautions=s.get("cautions", str) or "",
        source=s.get("source", str) or "",
        line=s.file.place(*s.under, "id").row,
        file=str(s.file.path),
    )


def _parameter(s: Section) -> Parameter:
    s.only("value", "unit", "mark", "source", "exposed")
    return Parameter(
        name=s.under[-1],
        value=s.need("value", float, "20.0") or 0.0,
        unit=s.need("unit", str, '"mm"') or "",
        mark=s.need("mark", str, '"POLICY"') or "",
        source=s.need("source", str, '"where it is from"') or "",
        exposed=s.get("exposed", float),
    )


def _clearances(s: Section) -> tuple[tuple[str, ...], ...]:
    return tuple(tuple(inner) for inner in s.get("required_clearances", list) or [])


def _group(code: str, s: Section) -> Group:
    s.only("title", "element", "required", "required_clearances", "review_lane")
    return Group(
        code=code,
        title=s.need("title", str, '"cavity fill"') or "",
        element=s.need("element", str, '"wall"') or "",
        required=s.texts("required"),
        required_clearances=_clearances(s),
        review_lane=s.get("review_lane", str),
    )


def _measure(code: str, s: Section) -> Measure:
    s.only(
        *("name", "group", "spellings", "covers_timber", "tightening", "closes_inward_drying"),
        *("closes_outward_drying", "default_material", "hourly_model_required"),
        *("required_clearances", "adopted_code_ref"),
    )
    return Measure(
        code=code,
        name=s.need("name", str, '"Cavity wall fill"') or "",
        group=s.need("group", str, '"CWI"') or "",
        spellings=s.texts("spellings"),
        covers_timber=s.get("covers_timber", bool) or False,
        tightening=s.get("tightening", bool) or False,
        closes_inward_drying=s.get("closes_inward_drying", bool) or False,
        closes_outward_drying=s.get("closes_outward_drying", bool) or False,
        hourly_model_required=s.choice("hourly_model_required", ("never", "if_exposed", "always"))
        or "never",
        default_material=s.get("default_material", str),
        required_clearances=_clearances(s),
    )


def _presumption(s: Section) -> Presumption:
    s.only("field", "groups", "when", "topic", "counts", "check")
    return Presumption(
        field=s.need("field", str, '"gutter_condition"') or "",
        groups=s.texts("groups"),
        when=s.need("when", str, '"void_seen_dry"') or "FALSE",
        topic=s.need("topic", str, '"rainwater goods"') or "",
        counts=s.get("counts", bool) or False,
        check=s.need("check", str, '"What to look at on the day"') or "",
    )


def _quantity(name: str, s: Section) -> Quantity:
    s.only("meaning", "unit", "asks", "asks_when", "hoped_from", "computed", "awaits")
    return Quantity(
        name=name,
        meaning=s.need("meaning", str, '"what it is"') or "",
        unit=s.need("unit", str, '"-"') or "",
        computed=s.need("computed", str, '"survey"') or "",
        asks=s.texts("asks"),
        asks_when=tuple((k, str(v)) for k, v in (s.get("asks_when", dict) or {}).items()),
        hoped_from=s.get("hoped_from", str),
        awaits=s.get("awaits", str),
    )


def _evidence(s: Section) -> Evidence:
    s.only("grades", "firm_from", "reach", "views", "default", "fields", "batch")
    reach = s.table("reach")
    fields = {
        name: _field_evidence(entry)
        for _, entry in _named(s.table("fields"))
        for name in entry.texts("names")
    }
    return Evidence(
        grades=s.texts("grades"),
        firm_from=s.need("firm_from", str, '"reported"') or "reported",
        inside=reach.texts("inside"),
        outside=reach.texts("outside"),
        from_method=_pairs(reach.table("from_method")),
        limited_by=_pairs(reach.table("limited_by")),
        views={name: _view(name, entry) for name, entry in _named(s.table("views"))},
        default=_field_evidence(s.table("default")),
        fields=fields,
        batch_fields=s.table("batch").texts("fields"),
    )


def _pairs(s: Section) -> dict[str, tuple[str, str]]:
    pairs = {key: s.texts(key) for key in s.data}
    for key in (k for k, v in pairs.items() if len(v) != 2):
        s.blame(
            f"{key!r} should give the inside and the outside reach",
            'write ["internal", "none"]',
            key,
        )
    return {key: (value[0], value[1]) for key, value in pairs.items() if len(value) == 2}


def _view(name: str, s: Section) -> View:
    s.only("meaning", "inside", "outside", "either", "close_for", "dry_void_for")
    return View(
        name=name,
        meaning=s.get("meaning", str) or "",
        inside=s.get("inside", str),
        outside=s.get("outside", str),
        either=s.get("either", bool) or False,
        close_for=s.texts("close_for"),
        dry_void_for=s.texts("dry_void_for"),
    )


def _field_evidence(s: Section) -> FieldEvidence:
    s.only("names", "view", "clears_at", "expires", "reading")
    return FieldEvidence(
        view=s.get("view", str) or "record",
        clears_at=s.get("clears_at", str) or "documented",
        expires=s.get("expires", str) or "none",
        reading=s.get("reading", bool) or False,
    )


def _outer(s: Section) -> OuterClass:
    s.only("covering", "underlay", "class", "why")
    return OuterClass(
        covering=s.texts("covering"),
        underlay=s.texts("underlay"),
        result=s.need("class", str, '"class_1"') or "",
        why=s.need("why", str, '"why"') or "",
    )
