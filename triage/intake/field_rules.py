"""From a field, its column and its profile to the reader of its cells."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from datetime import date
from functools import partial

from triage.contract import Contract, Field, normalise
from triage.contract.profile import Profile
from triage.intake.answer import FORMULA, Answer, error_cell, refused
from triage.intake.dates import DateRules, read_date
from triage.intake.number_rules import NumberRules
from triage.intake.numbers import read_number
from triage.intake.texts import LONGEST_ID, read_text, read_texts
from triage.intake.units import Unit, find_unit, is_resistance
from triage.intake.words import Lexicon, Marks, evidence_marks, read_code, read_codes, unknown_words

Read = Callable[[str], Answer]

IDENTIFIERS = frozenset(
    {"property_id", "building_id", "survey_id", "national_ref"}
    | {"reading_id", "opening_id", "inspection_id", "repair_id"}
    | {"event_id", "decision_id", "answer_id"}
)
HIGH_IS_WORSE = frozenset(
    {"timber_mc_pct", "rh_mean_pct", "vent_free_area_ratio", "u_value_w_m2k", "occupants"}
    | {"value", "timber_mc_max_pct", "timber_mc_median_pct", "decay_extent_m"}
    | {"mc_before_pct", "mc_after_pct"}
)
"""Fields of which the upper end of a range is the adverse one; of others it is the lower end."""

MONTH_IS_ENOUGH = frozenset({"foam_install_date"})
_NOTHING = {"nil": 0.0, "zero": 0.0, "none": 0.0, "no": 0.0}
_COUNTED = ("one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten")
_COUNTS = {word: float(number) for number, word in enumerate(_COUNTED, start=1)}
_WORDS: dict[str, Mapping[str, float]] = {
    "storeys": _COUNTS | {"single": 1.0, "single storey": 1.0, "double": 2.0},
    "occupants": _COUNTS | {"void": 0.0, "vacant": 0.0, "empty": 0.0, "unoccupied": 0.0},
    "foam_coverage_pct": {"all": 100.0, "full": 100.0, "fully": 100.0, "complete": 100.0},
    "ceiling_insulation_mm": _NOTHING,
    "foam_air_gap_mm": _NOTHING,
    "cavity_width_mm": _NOTHING,
}
_AS_WRITTEN = "this begins like a formula; it is kept as the text that it is"


@dataclass(frozen=True, slots=True)
class Context:
    """What the readers of every column of a source share.

    `measures` maps folded texts to measure codes. `comma_decimal`, `point_decimal` and
    `is_1904` belong to the sheet.
    """

    contract: Contract
    profile: Profile | None
    measures: Mapping[str, str]
    as_of: date
    marks: Marks
    comma_decimal: bool = False
    point_decimal: bool = True
    is_1904: bool = False


@dataclass(frozen=True, slots=True)
class Reader:
    """How the cells of one column are read: text by text, and which rules a fast path may use."""

    read: Read
    number: NumberRules | None = None
    day: DateRules | None = None
    unknown: frozenset[str] | None = None  # texts that are unknown answers, for free texts
    zero_is_unknown: bool = False
    rebuild: Callable[[NumberRules], Read] | None = None

    def with_rules(self, rules: NumberRules) -> "Reader":
        """The same reader with other rules for its numbers."""
        read = self.read if self.rebuild is None else self.rebuild(rules)
        return replace(self, number=rules, read=read)


def new_context(
    contract: Contract, profile: Profile | None, measures: Mapping[str, str], as_of: date
) -> Context:
    """The shared part, before any sheet is known."""
    return Context(contract, profile, measures, as_of, evidence_marks(contract))


def field_reader(asked: Field, unit: str | None, context: Context) -> Reader:
    """The reader for one column; `unit` is what profile or heading say of its bare numbers."""
    unknown = unknown_words(context.contract, asked)
    if asked.name == "measure_code":
        return Reader(_guarded(partial(_read_measures, measures=context.measures, unknown=unknown)))
    if asked.type in ("number", "integer"):
        return _number_reader(asked, unit, context, unknown)
    if asked.type == "date":
        return _date_reader(asked, context, unknown)
    if asked.type in ("code", "codes"):
        return _code_reader(asked, context, unknown)
    if asked.type == "texts":
        return Reader(_free(partial(read_texts, unknown=unknown)))
    if asked.name not in IDENTIFIERS:
        return Reader(_free(partial(read_text, unknown=unknown)), unknown=frozenset(unknown))
    read = _guarded(partial(read_text, unknown=unknown, longest=LONGEST_ID))
    return Reader(read, unknown=frozenset(unknown))


def number_rules(asked: Field, unit: str | None, context: Context) -> NumberRules:
    """How the numbers of a field are read in this column."""
    quantity = asked.quantity or ""
    profile = context.profile
    is_r = quantity == "length_mm" and is_resistance(unit)
    declared: Unit | None = None if unit is None or is_r else find_unit(quantity, unit)
    high = asked.high
    if asked.until_as_of and quantity == "year":
        high = min(float(context.as_of.year), high if high is not None else float("inf"))
    return NumberRules(
        quantity=quantity,
        unit=declared,
        low=asked.low,
        high=high,
        is_whole=asked.type == "integer",
        conductivity=profile.thermal_r.get(asked.name) if profile is not None else None,
        bare_resistance=is_r,
        comma_decimal=context.comma_decimal,
        point_decimal=context.point_decimal,
        high_is_worse=asked.name in HIGH_IS_WORSE,
        words=_WORDS.get(asked.name, {}),
    )


def _guarded(read: Read) -> Read:
    """Spreadsheet errors are looked for before anything else: no list may give them a meaning."""

    def guarded(text: str) -> Answer:
        return error_cell(text) or read(text)

    return guarded


def _free(read: Read) -> Read:
    """Free text may begin like a formula: it is kept as it is written, and said."""

    def kept(text: str) -> Answer:
        found = error_cell(text)
        if found is None or found.problem != FORMULA:
            return found or read(text)
        answer = read(text)
        return answer if answer.problem else replace(answer, problem=FORMULA, message=_AS_WRITTEN)

    return kept


def _number_reader(
    asked: Field, unit: str | None, context: Context, unknown: Mapping[str, str]
) -> Reader:
    rules = number_rules(asked, unit, context)
    zero = context.profile.zero.get(asked.name) if context.profile is not None else None

    def rebuild(rules: NumberRules) -> Read:
        plain = partial(read_number, rules=rules)
        read = partial(_read_marked, unknown=unknown, marks=context.marks, read=plain)
        return _guarded(partial(_read_zero, read=read, kind=zero))

    return Reader(rebuild(rules), rules, zero_is_unknown=zero is not None, rebuild=rebuild)


def _read_zero(text: str, read: Read, kind: str | None) -> Answer:
    """A written 0 is an unknown answer where the profile says so; "nil" stays a reading."""
    answer = read(text)
    is_zero = kind is not None and answer.value == 0 and text.startswith("0")
    return Answer(unknown=kind) if is_zero else answer


def _date_reader(asked: Field, context: Context, unknown: Mapping[str, str]) -> Reader:
    rules = DateRules(
        latest=context.as_of if asked.until_as_of else date.max,
        order=context.profile.reading.date_order if context.profile is not None else None,
        earliest=asked.earliest,
        month_precision=asked.name in MONTH_IS_ENOUGH,
        is_1904=context.is_1904,
    )
    read = partial(
        _read_marked, unknown=unknown, marks=context.marks, read=partial(read_date, rules=rules)
    )
    return Reader(_guarded(read), day=rules)


def _code_reader(asked: Field, context: Context, unknown: Mapping[str, str]) -> Reader:
    profile = context.profile
    codes = dict(context.contract.field_spelling(asked.name))
    if profile is not None:
        codes |= profile.spellings.get(asked.name, {})
    lexicon = Lexicon(
        codes=codes,
        unknown=unknown,
        marks=context.marks,
        allows_not_applicable=profile is not None and asked.name in profile.not_applicable,
        has_not_applicable="not_applicable" in asked.codes,
    )
    read = read_codes if asked.type == "codes" else read_code
    return Reader(_guarded(partial(_read_listed, lexicon=lexicon, read=read)))


def _read_listed(text: str, lexicon: Lexicon, read: Callable[[str, Lexicon], Answer]) -> Answer:
    # A short answer that a spreadsheet program took for a date: its form is lost for good.
    as_text = read_text(text, {})
    return as_text if as_text.problem == "turned_into_date" else read(text, lexicon)


def _read_marked(text: str, unknown: Mapping[str, str], marks: Marks, read: Read) -> Answer:
    """A number or date, with an evidence mark beside it perhaps: "100 (assumed)"."""
    answer = read(text)
    if answer.problem not in ("not_a_number", "not_a_date"):
        return answer
    folded = normalise(text)
    kind = unknown.get(folded)
    if kind is not None:
        return Answer(unknown=kind)
    rest, grade = marks.split(folded)
    if grade is None or not rest:
        return answer
    if rest in unknown:
        return Answer(unknown=unknown[rest])
    return replace(read(rest), grade=grade)


def _read_measures(text: str, measures: Mapping[str, str], unknown: Mapping[str, str]) -> Answer:
    """Codes of the proposed measures, joined by ";"; what the policy does not know is left out."""
    folded = normalise(text)
    if folded in measures:
        return Answer(value=measures[folded])
    if folded in unknown:
        return Answer(unknown=unknown[folded])
    parts = [part for piece in folded.split(";") for part in piece.split(",")]
    named = [normalise(part) for part in parts if part.strip()]
    strange = [part for part in named if part not in measures]
    value = ";".join(sorted({measures[part] for part in named if part in measures})) or None
    if not strange:
        return Answer(value=value)
    message = f"the policy knows no measure {strange[0]!r}; it is not assessed"
    refusal = refused("unknown_measure", message, "unmapped")
    return replace(refusal, value=value, unknown=None if value else "unmapped")
