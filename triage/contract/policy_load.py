"""Reads a policy pack from its TOML files and refuses what could not be applied as written."""

import hashlib
from functools import cache
from pathlib import Path

from triage.contract.code_tables import load_code_tables
from triage.contract.loader import load_contract
from triage.contract.policy import INDOOR_MODELS, EvidenceRule, Policy, Rule
from triage.contract.policy_check import check_policy
from triage.contract.policy_read import (
    named,
    read_evidence,
    read_group,
    read_junction,
    read_measure,
    read_outer_class,
    read_parameter,
    read_presumption,
    read_quantities,
    read_records,
    read_rule,
)
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
    "code_tables.toml",
    "junctions.toml",
    "records.toml",
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
            rule = read_rule(entry)
            if rule.id in rules:
                entry.blame(
                    f"the rule id {rule.id!r} is used twice",
                    "ids are permanent: take a new one",
                    "id",
                )
            rules[rule.id] = rule
    raise_all(errors)
    head = top["policy.toml"]
    head.only("name", "version", "title", "chapters", "statement", "indoor_model")
    indoor = head.choice("indoor_model", INDOOR_MODELS) or "iso_13788"
    for _, section in named(top["evidence_rules.toml"]):
        section.only("title", "effect")
    policy = Policy(
        name=head.need("name", str, '"default"') or "",
        version=head.need("version", str, '"1.0"') or "",
        title=head.need("title", str, '"Default policy"') or "",
        digest=_digest(folder, [*(folder / name for name in _FILES), *rule_files]),
        rules=rules,
        parameters={k: read_parameter(s) for k, s in named(top["parameters.toml"])},
        groups={k: read_group(k, s) for k, s in named(top["measures.toml"].table("groups"))},
        measures={k: read_measure(k, s) for k, s in named(top["measures.toml"].table("measures"))},
        presumptions=tuple(read_presumption(s) for s in top["presumptions.toml"].tables("presume")),
        quantities=read_quantities(top["quantities.toml"]),
        evidence=read_evidence(top["evidence.toml"], load_contract().fields),
        outer_classes=tuple(read_outer_class(s) for s in top["outer_class.toml"].tables("class")),
        code_tables=load_code_tables(folder),
        junctions=tuple(read_junction(s) for s in top["junctions.toml"].tables("junction")),
        records=read_records(top["records.toml"]),
        indoor_model=next(model for model in INDOOR_MODELS if model == indoor),
        evidence_rules=tuple(
            EvidenceRule(k, s.need("title", str, '"…"') or "", s.need("effect", str, '"…"') or "")
            for k, s in named(top["evidence_rules.toml"])
        ),
    )
    raise_all(errors)
    raise_all(check_policy(policy, load_contract(), folder))
    return policy


def policy_files(folder: Path) -> list[Path]:
    """Every file of a pack, those beside the rules too: what is published, what is inspected."""
    judging = [*(folder / name for name in _FILES), *_chapters(folder)]
    return [*judging, *sorted(set(folder.glob("*.toml")) - set(judging))]


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


def _digest(folder: Path, paths: list[Path]) -> str:
    """Hash of the pack's files, the same on every machine and line ending."""
    total = hashlib.sha256()
    for path in paths:
        total.update(path.relative_to(folder).as_posix().encode())
        total.update(path.read_bytes().replace(b"\r\n", b"\n"))
    return total.hexdigest()
