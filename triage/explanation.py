"""One home as a reviewer needs it, drawn from the answers that a run stored."""

import tempfile
from collections.abc import Callable
from pathlib import Path
from typing import Any

import polars as pl

from triage.contract.expressions import names_in
from triage.contract.materials import load_materials
from triage.contract.policy import GATING, Policy, Rule
from triage.contract.products import with_products
from triage.contract.programme import Programme
from triage.contract.text import nearest
from triage.errors import StoreError, UnknownHomeError
from triage.origins import Origins
from triage.programme_run import judge_programme, open_programme
from triage.report.build_up_facts import build_up_facts
from triage.rules.board import rule_fields
from triage.rules.codes import RESULT_WORDS
from triage.rules.grading import QUALITY, SOURCE, quality_words
from triage.rules.queue import SAFE
from triage.runs import STORE, read_record
from triage.store import Store

Entry = dict[str, Any]
_HELD = ("fires", "disputed", "confirm_first", "expired", "undecidable", "presumed")
_RECORD = (
    *("latitude", "longitude", "grid_reference", "easting_m", "northing_m", "survey_date"),
    *("measure_code", "measure_material", "measure_thickness_mm"),
)


def explain_home(
    programme_file: Path, home: str, run_folder: Path | None, say: Callable[[str], None]
) -> Entry:
    """Everything that a run knows of one home.

    Parameters
    ----------
    programme_file
        The programme.
    home
        A property id.
    run_folder
        A finished run of this programme; None judges the programme now, into a folder that is
        then thrown away.
    say
        Told what is about to happen.

    Raises
    ------
    UnknownHomeError
        If no accepted row is about this home.
    StoreError
        If the folder is not a run of this programme under this policy.
    """
    programme, policy = open_programme(programme_file)
    if run_folder is not None:
        _same_programme(programme, policy, run_folder)
        with Store(run_folder / STORE, read_only=True) as store:
            return _Explainer(store, programme, policy, home).told()
    with tempfile.TemporaryDirectory(prefix="triage-") as folder:
        path = Path(folder) / STORE
        with Store(path) as store:
            judge_programme(programme, policy, store, Path(folder), say)
            return _Explainer(store, programme, policy, home).told()


def _same_programme(programme: Programme, policy: Policy, folder: Path) -> None:
    record = read_record(folder)
    if record["programme_id"] != programme.programme_id:
        what = f"this is a run of {record['programme_id']!r}, not of {programme.programme_id!r}"
        raise StoreError(what, str(folder), "name a run of this programme")
    if record["policy"]["sha256"] != policy.digest:
        raise StoreError(
            "the policy pack has changed since this run",
            str(folder),
            "run the programme again, or explain without --run",
        )


def _waiting(policy: Policy) -> list[str]:
    """What this version neither evaluates nor calculates."""
    rules = ", ".join(policy.awaiting)
    names = ", ".join(name for name, q in policy.quantities.items() if q.awaits is not None)
    told = {"evaluated": rules, "calculated": names}
    return [
        f"Not {how} in this version: {what}. Nothing is claimed on those."
        for how, what in told.items()
        if what
    ]


def _listed(text: str | None) -> list[str]:
    return text.split(", ") if text else []


class _Explainer:
    """Reads one home out of an open store."""

    def __init__(self, store: Store, programme: Programme, policy: Policy, home: str) -> None:
        self.store, self.programme, self.policy, self.home = store, programme, policy, home
        self.evidence = self._rows("current_evidence").filter(pl.col("variant") == 0)
        if self.evidence.is_empty():
            self._unknown_home()
        self.origins = Origins(store, home)
        self.cases = self._solved_cases()
        materials = with_products(load_materials(), programme.products)
        self.titles = {code: material.title for code, material in materials.items()}

    def _rows(self, table: str) -> pl.DataFrame:
        return self.store.ask(
            f"SELECT * FROM {table} WHERE property_id = $home", {"home": self.home}
        )

    def _unknown_home(self) -> None:
        known = self.store.ask("SELECT property_id FROM home ORDER BY 1")["property_id"].to_list()
        near = nearest(self.home, known)
        fix = (
            "did you mean " + " or ".join(map(repr, near)) + "?"
            if near
            else "check the property id"
        )
        what = f"no accepted survey row is about the home {self.home!r}"
        raise UnknownHomeError(what, str(self.programme.path), fix)

    def told(self) -> Entry:
        """The whole explanation."""
        place = self._rows("placed_home").drop("property_id").to_dicts()[0]
        return {
            "format": 1,
            "home": self.home,
            "as_of": self.programme.as_of,
            "policy": f"{self.policy.name} {self.policy.version} ({self.policy.digest[:12]})",
            "place": {name: value for name, value in place.items() if value is not None},
            "parts": self._parts(),
            "facts": self._facts(),
            "conflicts": self._conflicts(),
            "superseded": self._superseded(),
            "limits": [
                "A screening result: local codes, licensed practice and qualified judgement first.",
                *_waiting(self.policy),
            ],
        }

    def _parts(self) -> list[Entry]:
        queue = self._rows("queue").sort("building_part", "measure_code")
        keys = ("building_part", "measure_code")
        results = {
            tuple(r[k] for k in keys): r for r in self._rows("rule_result").iter_rows(named=True)
        }
        quantities = {
            tuple(r[k] for k in keys): r for r in self._rows("quantity").iter_rows(named=True)
        }
        told = []
        for row in queue.iter_rows(named=True):
            key = tuple(row[k] for k in keys)
            known = self._known(row["building_part"]) | quantities[key]
            part = self._part(row, results[key], known)
            told.append(part | {"build_up": self._build_up(part, quantities[key])})
        return told

    def _solved_cases(self) -> dict[str, Entry]:
        """The build-ups that were solved for this home, by case; none in a run without them."""
        tables = self.store.ask("SELECT table_name FROM information_schema.tables")
        columns = set(self._rows("quantity").columns)
        if "moisture_case" not in tables["table_name"] or "case_after" not in columns:
            return {}
        rows = self.store.ask(
            """
            SELECT * FROM moisture_case WHERE "case" IN (
                SELECT unnest([case_before, case_after]) FROM quantity WHERE property_id = $home
            )
            """,
            {"home": self.home},
        )
        return {row["case"]: row for row in rows.iter_rows(named=True)}

    def _build_up(self, part: Entry, quantities: Entry) -> Entry:
        tables = self.policy.code_tables
        facts = build_up_facts(
            self.cases, quantities, self.titles, self.policy.limits, tables.edition
        )
        solved = {n for n, q in self.policy.quantities.items() if q.computed.startswith("layers")}
        decides = [rule["rule"] for rule in part["fired"] if solved & set(rule["values"])]
        return facts | {"decides": decides}

    def _known(self, part: str) -> Entry:
        rows = self.evidence.filter(pl.col("building_part") == part).to_dicts()
        return rows[0] if rows else {}

    def _part(self, row: Entry, results: Entry, known: Entry) -> Entry:
        by_result: dict[str, list[Rule]] = {word: [] for word in RESULT_WORDS}
        for rule in self.policy.rules.values():
            concerned = rule.outcome in (*GATING, "clears-gate")
            if concerned and row["measure_group"] in rule.groups:
                by_result[RESULT_WORDS[results[rule.id]]].append(rule)
        met = {name for rule in by_result["fires"] for name in rule.clears}
        by_gate = [r for word in _HELD for r in by_result[word] if r.id in met]
        for word in _HELD:
            by_result[word] = [rule for rule in by_result[word] if rule.id not in met]
        order = {rule: n for n, rule in enumerate(row["fired"])}
        gates = [rule for rule in by_result["fires"] if rule.outcome not in GATING]
        firing = [rule for rule in by_result["fires"] if rule.outcome in GATING]
        fired = sorted(firing, key=lambda r: order.get(r.id, len(order)))
        still_open = [*by_result["undecidable"], *by_result["expired"]]
        doubtful = [*by_result["confirm_first"], *by_result["disputed"]]
        open_rules = [r for r in still_open if r.id in row["undecidable"]] + doubtful
        optional = [r for r in still_open if r.id not in row["undecidable"]]
        return {
            "part": row["building_part"],
            "measure": row["measure_code"],
            "queue": row["queue"],
            "lane": row["lane"],
            "released": row["released"],
            "main_rule": row["main_rule"],
            "reason": row["reason"],
            "fired": [
                self._fired(rule, known) | {"accepted": rule.id in row["overridden"]}
                for rule in fired
            ],
            "decisions": row["decision_notes"],
            "repairs": row["repair_notes"],
            "cleared_by_gate": [rule.id for rule in by_gate],
            "gates_met": [self._answer(rule, known) for rule in gates],
            "undecidable": [self._open(rule, row, results, known) for rule in open_rules],
            "optional_unanswered": [rule.id for rule in optional],
            "clear": [self._answer(rule, known) for rule in by_result["clear"]],
            "presumed": [self._answer(rule, known) for rule in by_result["presumed"]],
            "not_applicable": [rule.id for rule in by_result["not_applicable"]],
            "not_evaluated": [rule.id for rule in by_result["not_evaluated"]],
            "checks": row["checks"],
            "enabling": row["enabling"],
            "stop_work": row["stop_work"],
            "notes": row["notes"],
            "next_action": row["next_action"],
            "evidence": {
                name: row[name]
                for name in ("survey_quality", "evidence_quality", "survey_on", "expires_on")
            },
            "evidence_that_would_change": row["open_fields"],
            "expires_on": row["expires_on"] if row["queue"] == SAFE else None,
        }

    def _values(self, rule: Rule, known: Entry) -> Entry:
        texts = [rule.fires, *([rule.applies] if rule.applies else [])]
        names = dict.fromkeys(name for sql in texts for name in names_in(sql))
        return {name: known.get(name) for name in names if name not in self.policy.parameters}

    def _fired(self, rule: Rule, known: Entry) -> Entry:
        values = {
            name: value for name, value in self._values(rule, known).items() if value is not None
        }
        return {
            "rule": rule.id,
            "title": rule.title,
            "outcome": rule.outcome,
            "severity": rule.severity,
            "values": values,
            "next_action": rule.next_action,
            "cautions": [rule.cautions] if rule.cautions else [],
            "source": rule.source,
        }

    def _open(self, rule: Rule, row: Entry, results: Entry, known: Entry) -> Entry:
        fields = rule_fields(rule, row["measure_group"], self.policy)
        disputed = RESULT_WORDS[results[rule.id]] == "disputed"
        wanted = row["disputed_fields"] if disputed else row["open_fields"]
        return {
            "rule": rule.id,
            "title": rule.title,
            "answer": RESULT_WORDS[results[rule.id]],
            "missing": [name for name in wanted if name in fields],
            "values": self._values(rule, known),
        }

    def _answer(self, rule: Rule, known: Entry) -> Entry:
        return {"rule": rule.id, "title": rule.title, "values": self._values(rule, known)}

    def _conflicts(self) -> list[Entry]:
        """Disputed fields with both cells: the one taken, and the one that disagrees."""
        ordered = self._rows("contradiction").iter_rows(named=True)
        return [self._both(row) | {"measures": _listed(row["measures"])} for row in ordered]

    def _superseded(self) -> list[Entry]:
        """Answers that another one stands above, with both cells, and why."""
        rows = self._rows("evidence_superseded").sort("building_part", "field", "other_row_id")
        return [self._both(row) | {"why": row["why"]} for row in rows.iter_rows(named=True)]

    def _both(self, row: Entry) -> Entry:
        return {"part": row["building_part"], "field": row["field"]} | {
            side: {
                "value": row[prefix + "value"],
                "grade": row[prefix + "grade"],
                **self.origins.of(row[prefix + "row_id"], row["field"]),
            }
            for side, prefix in (("taken", ""), ("other", "other_"))
        }

    def _facts(self) -> list[Entry]:
        """Each known field with its grade and the cell that it came from."""
        facts = []
        for row in self.evidence.sort("building_part").iter_rows(named=True):
            for column in row:
                name = column.removeprefix(SOURCE)
                if column.startswith(SOURCE) and row[name] is not None:
                    cell = self.origins.of(row[column], name)
                    standing = quality_words(row[QUALITY + name], self.policy)
                    facts.append(
                        {
                            "part": row["building_part"],
                            "field": name,
                            "value": row[name],
                            **standing,
                            **cell,
                        }
                    )
        return [*self._record_facts(), *facts]

    def _record_facts(self) -> list[Entry]:
        """Where the home is and what is proposed, as each row says it; no grade is at stake."""
        told = []
        for row in self._rows("clean_survey").sort("row_id").iter_rows(named=True):
            for name in _RECORD:
                if row[name] is not None:
                    cell = self.origins.of(row["row_id"], name)
                    fact = {"part": row["building_part"], "field": name, "value": row[name]}
                    told.append({**fact, "grade": None, "counts": True, "why_not": None, **cell})
        return told
