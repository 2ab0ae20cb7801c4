"""Policy packs: the rules, limits, measures and evidence standards of a programme, as data."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Literal

from triage.contract.code_rows import CodeTables

Outcome = Literal[
    "fix-water-first",
    "specialist-review",
    "clears-gate",
    "enabling-work",
    "pre-start-check",
    "note",
]
OUTCOMES: tuple[Outcome, ...] = (
    "fix-water-first",
    "specialist-review",
    "clears-gate",
    "enabling-work",
    "pre-start-check",
    "note",
)
GATING: tuple[Outcome, ...] = ("fix-water-first", "specialist-review")

IndoorModel = Literal["iso_13788", "en_15026", "ashrae_160"]
INDOOR_MODELS: tuple[IndoorModel, ...] = ("iso_13788", "en_15026", "ashrae_160")

Needs = tuple[tuple[str, ...], ...]
"""Every inner tuple must be met by any one of its names."""


@dataclass(frozen=True, slots=True)
class Rule:
    """One entry of the register: one condition, one outcome.

    A rule with a second outcome has a second entry whose `base` is the first one's id.
    `needs` are the names that must be known to clear the rule; everything else in `fires` is
    optional: adverse fires, unknown is silent. `awaits` says what this version cannot yet
    evaluate; such an entry never fires and never clears. Where `not_overridable` holds, no
    decision of a specialist can accept the rule. `repair_type` is the repair that an order for it
    asks for, `must_not` what that repair must leave undone.
    """

    id: str
    base: str
    title: str
    element: tuple[str, ...]
    groups: tuple[str, ...]
    outcome: Outcome
    severity: int
    statement: str
    fires: str
    next_action: str
    applies: str | None = None
    needs: Needs = ()
    needs_for: Mapping[str, Needs] = field(default_factory=dict)
    lane: str | None = None
    stop_work: str | None = None
    review_before_repair: str | None = None
    quiet: bool = False
    awaits: str | None = None
    not_overridable: str | None = None
    clears: tuple[str, ...] = ()
    note_on: tuple[str, ...] = ()
    cautions: str = ""
    repair_type: str | None = None
    must_not: tuple[str, ...] = ()
    must_not_source: str = ""
    source: str = ""
    line: int | None = None
    file: str = ""

    def needs_in(self, group: str) -> Needs:
        """What must be known to clear this rule for a measure group."""
        return self.needs_for.get(group, self.needs)


@dataclass(frozen=True, slots=True)
class Parameter:
    """A named limit: the only place where a rule's number stands."""

    name: str
    value: float
    unit: str
    mark: str
    source: str
    exposed: float | None = None


@dataclass(frozen=True, slots=True)
class Group:
    """A family of measures that the same rules judge."""

    code: str
    title: str
    element: str
    required: tuple[str, ...]
    required_clearances: tuple[tuple[str, ...], ...] = ()
    review_lane: str | None = None


@dataclass(frozen=True, slots=True)
class Measure:
    """Something a programme may propose to do to a home."""

    code: str
    name: str
    group: str
    spellings: tuple[str, ...]
    covers_timber: bool
    tightening: bool
    closes_inward_drying: bool
    closes_outward_drying: bool
    hourly_model_required: str
    default_material: str | None = None
    required_clearances: tuple[tuple[str, ...], ...] = ()


@dataclass(frozen=True, slots=True)
class Presumption:
    """An unknown that may be presumed, and the check on the day that then holds the release."""

    field: str
    groups: tuple[str, ...]
    when: str
    topic: str
    counts: bool
    check: str


@dataclass(frozen=True, slots=True)
class Quantity:
    """A name that rules may use and that is computed, not surveyed.

    `asks` are the fields that would settle it, the first one by default; `asks_when` pairs a
    field with the condition under which that field is the one to ask for. A context flag may be
    hoped to become true once the field `hoped_from`, unknown today, is answered well.

    Where a layer is unknown, the plausible ones are tried and the value on the `worse` side is
    kept, if all of them fall on the same side of every one of the `limits` (parameter names).
    """

    name: str
    meaning: str
    unit: str
    computed: str
    asks: tuple[str, ...] = ()
    asks_when: tuple[tuple[str, str], ...] = ()
    hoped_from: str | None = None
    awaits: str | None = None
    worse: Literal["high", "low"] | None = None
    limits: tuple[str, ...] = ()

    @property
    def fields(self) -> tuple[str, ...]:
        """Every field that may be asked for."""
        return tuple(dict.fromkeys([*self.asks, *(field for field, _ in self.asks_when)]))


@dataclass(frozen=True, slots=True)
class View:
    """From where something must have been seen for the answer to clear a rule."""

    name: str
    meaning: str
    inside: str | None = None
    outside: str | None = None
    either: bool = False
    close_for: tuple[str, ...] = ()
    dry_void_for: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class FieldEvidence:
    """What an answer to one field takes to clear a rule.

    `ranking` lists kinds of evidence, strongest first, each a tuple of grades: a stronger kind
    stands whatever the dates. `not_where` names fields of the same row, and codes of theirs with
    which the answer cannot clear.
    """

    view: str
    clears_at: str
    expires: str
    reading: bool = False
    ranking: tuple[tuple[str, ...], ...] = ()
    not_where: tuple[tuple[str, tuple[str, ...]], ...] = ()

    def kind_of(self, grade: str) -> int:
        """Place of a grade in the field's own ranking, 0 the weakest; 0 where it has none."""
        places = [n for n, kind in enumerate(reversed(self.ranking), start=1) if grade in kind]
        return max(places, default=0)


@dataclass(frozen=True, slots=True)
class SharedRoof:
    """Which dwellings share the roof of their building, and which answers are about that roof.

    A dwelling shares it if its property type or its built form is listed and its building is
    named. `roof` are fields of a dwelling right under the roof; `rain` are those of them that
    concern the dwellings below too, and that can be seen from there. `none_above` is the field
    and the answer that says that another dwelling lies above.
    """

    property_types: tuple[str, ...]
    built_forms: tuple[str, ...]
    roof: tuple[str, ...]
    rain: tuple[str, ...]
    none_above: tuple[str, str]


@dataclass(frozen=True, slots=True)
class Evidence:
    """The evidence standard of a pack (evidence.toml)."""

    grades: tuple[str, ...]
    firm_from: str
    inside: tuple[str, ...]
    outside: tuple[str, ...]
    from_method: Mapping[str, tuple[str, str]]
    limited_by: Mapping[str, tuple[str, str]]
    views: Mapping[str, View]
    default: FieldEvidence
    fields: Mapping[str, FieldEvidence]
    winter_readings: tuple[str, ...]
    batch_fields: tuple[str, ...]
    shared_roof: SharedRoof

    def of(self, name: str) -> FieldEvidence:
        """The standard of a field; the pack's default where it names none."""
        return self.fields.get(name, self.default)

    def rank(self, grade: str) -> int:
        """Strength of a grade: 1 is the weakest."""
        return self.grades.index(grade) + 1


@dataclass(frozen=True, slots=True)
class OuterClass:
    """One build-up outside the insulation and its permeance class."""

    covering: tuple[str, ...]
    underlay: tuple[str, ...]
    result: str
    why: str


@dataclass(frozen=True, slots=True)
class Junction:
    """Temperature factor of a junction that a measure leaves, where `when` holds."""

    name: str
    groups: tuple[str, ...]
    when: str
    factor: float
    mark: str
    source: str


@dataclass(frozen=True, slots=True)
class RecordRules:
    """What records do to the evidence held (records.toml).

    `event_ends` names the expiry classes that an event ends, `slow_repairs` the repairs that dry
    like masonry, `competences` who may accept a rule that fired. `mends` are the fields whose
    answer a repair changes, `mended` what they then say.
    """

    event_ends: Mapping[str, tuple[str, ...]]
    slow_repairs: tuple[str, ...]
    mends: tuple[str, ...]
    mended: tuple[str, ...]
    competences: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class EvidenceRule:
    """What the engine does with evidence, printed with the register."""

    id: str
    title: str
    effect: str


@dataclass(frozen=True, slots=True)
class Policy:
    """A whole pack, read and checked."""

    name: str
    version: str
    title: str
    digest: str
    rules: Mapping[str, Rule]
    parameters: Mapping[str, Parameter]
    groups: Mapping[str, Group]
    measures: Mapping[str, Measure]
    presumptions: tuple[Presumption, ...]
    quantities: Mapping[str, Quantity]
    evidence: Evidence
    outer_classes: tuple[OuterClass, ...]
    evidence_rules: tuple[EvidenceRule, ...]
    code_tables: CodeTables
    junctions: tuple[Junction, ...]
    records: RecordRules
    indoor_model: IndoorModel = "iso_13788"

    def number(self, name: str) -> float:
        """Value of a parameter."""
        return self.parameters[name].value

    @property
    def limits(self) -> dict[str, float]:
        """Value of every parameter, as conditions are bound to them."""
        return {name: parameter.value for name, parameter in self.parameters.items()}

    def groups_requiring(self, rule: str) -> list[str]:
        """Measure groups of which this rule must be decided before a row can be safe."""
        return [group.code for group in self.groups.values() if rule in group.required]

    def rules_of(self, group: str) -> list[Rule]:
        """Entries that can be evaluated for a measure group, in the register's order."""
        return [r for r in self.rules.values() if group in r.groups and r.awaits is None]

    @property
    def awaiting(self) -> dict[str, str]:
        """Entries that this version does not evaluate, and what they wait for."""
        return {r.id: r.awaits for r in self.rules.values() if r.awaits is not None}

    @property
    def measure_words(self) -> dict[str, str]:
        """Every accepted way to write a measure, as typed by the pack, and its code."""
        return {
            word: measure.code
            for measure in self.measures.values()
            for word in (measure.code, measure.name, *measure.spellings)
        }
