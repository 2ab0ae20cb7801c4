"""Which field a heading fills: sure only where it is known and the values do not object."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace

from triage.contract import Contract, Field, normalise
from triage.intake.draft_likeness import Alike, Dictionary, ExactMatch
from triage.intake.draft_seen import Seen
from triage.intake.draft_values import Fit, UnitSeen, Values
from triage.intake.field_rules import Context

KEY = "property_id"
# Tuned on no file: chosen so that a slip of one or two letters passes and another word does not.
_STRICT = 88.0  # likeness of letters that a slip of the pen leaves
_CLEAR = 8.0  # by how much the next field must be less like
_LEAST_LETTERS = 6  # in shorter headings one letter makes another word
_ENOUGH = 5  # answers that may confirm a heading that is not known to the letter
_FEW = 3  # answers that may contradict a known heading
_CONFIRMED, _OBJECTED = 0.9, 0.5
_WORTH_SAYING = 62.0  # likeness from which a field is offered if its answers can be read,
_WORTH_ALONE = 75.0  # if the answers say nothing,
_WORTH_AGAINST = 88.0  # and if none can be read: the team may have words of its own
_KEY_LIKE, _KEY_DIFFERENT = 60.0, 0.6  # likeness, and share of different texts, of a reference
_NOT_NEAR = "no known heading is near enough to be sure"
_OFFERED = 3
_REFERENCES = frozenset({"survey_id", "building_id", "national_ref"})
"""References that a team may well use for the home, if no column is surely the home's own."""


@dataclass(frozen=True, slots=True)
class Candidate:
    """A field that a heading may fill, and what speaks for it."""

    field: str
    known: str
    likeness: float
    fit: Fit
    unit: UnitSeen | None
    is_exact: bool = False


@dataclass(frozen=True, slots=True)
class Decision:
    """What is proposed for one heading: `sure`, or `why` not; candidates are best first."""

    seen: Seen
    sure: Candidate | None
    candidates: tuple[Candidate, ...]
    why: str


class Decider:
    """Decides about one heading after the other, then about all of them together."""

    def __init__(self, contract: Contract, context: Context) -> None:
        self.contract = contract
        self.dictionary = Dictionary(contract)
        self._values = Values(contract, context)

    def decide(self, headings: Mapping[str, Seen]) -> list[Decision]:
        """One decision per heading, in order; no field is given twice."""
        lower: dict[str, int] = {}
        for seen in headings.values():
            last = normalise(seen.heading.rsplit(" / ", 1)[-1])
            lower[last] = lower.get(last, 0) + 1
        several = {text for text, count in lower.items() if count > 1}
        decided = [self._one(seen, several) for seen in headings.values()]
        return _reference_first(_one_heading_per_field(decided), self.dictionary)

    def _one(self, seen: Seen, several: set[str]) -> Decision:
        exact = self.dictionary.find_exact(seen.heading)
        alike = self.dictionary.find_alike(seen.heading)
        candidates = self._candidates(seen, exact, alike)
        if seen.is_doubled:
            return Decision(seen, None, candidates, "the heading stands twice in one sheet")
        if not normalise(seen.heading):
            return Decision(seen, None, candidates, "the heading has no letter or number")
        if exact is not None:
            own = next(c for c in candidates if c.is_exact)
            is_shared = normalise(seen.heading.rsplit(" / ", 1)[-1]) in several
            why = _objection(own, self.contract.fields[own.field], exact, is_shared=is_shared)
            return Decision(seen, None if why else own, candidates, why)
        return _by_likeness(seen, candidates, alike, self.contract)

    def _candidates(
        self, seen: Seen, exact: ExactMatch | None, alike: Iterable[Alike]
    ) -> tuple[Candidate, ...]:
        likeness = {a.field: (a.score, a.known) for a in alike if a.score >= _WORTH_SAYING}
        for name in self._values.lists_that_read(seen):
            score = self.dictionary.likeness(seen.heading, name)
            likeness.setdefault(name, (score, ""))
        if exact is not None:
            likeness[exact.field] = (100.0, exact.known)
        found = [
            self._candidate(seen, name, score, known, is_exact=exact is not None)
            if exact is not None and name == exact.field
            else self._candidate(seen, name, score, known)
            for name, (score, known) in likeness.items()
        ]
        ordered = sorted(found, key=lambda c: (-self._worth(c), c.field))
        kept = [c for c in ordered if c.is_exact or self._is_worth_saying(c)]
        offered = kept[:_OFFERED]
        return tuple(offered + [c for c in kept[_OFFERED:] if c.is_exact])

    def _is_worth_saying(self, candidate: Candidate) -> bool:
        share, field = candidate.fit.share, self.contract.fields[candidate.field]
        if share == 0:
            return bool(field.codes) and candidate.likeness >= _WORTH_AGAINST
        if field.codes and share is not None and share >= _OBJECTED:
            return True
        return candidate.likeness >= _WORTH_ALONE

    def _worth(self, candidate: Candidate) -> float:
        """Order of the candidates: heading and values count about alike; texts fit any text."""
        share, field = candidate.fit.share, self.contract.fields[candidate.field]
        if share is None or (field.type in ("text", "texts") and share > _OBJECTED):
            share = 0.4
        return candidate.likeness + 80 * share + 1000 * candidate.is_exact

    def _candidate(
        self, seen: Seen, name: str, score: float, known: str, *, is_exact: bool = False
    ) -> Candidate:
        field = self.contract.fields[name]
        unit = self._values.unit(seen, field)
        fit = self._values.fit(seen, field, unit.stated if unit is not None else None)
        return Candidate(name, known, score, fit, unit, is_exact)


def _objection(own: Candidate, field: Field, exact: ExactMatch, *, is_shared: bool) -> str:
    """Why a heading that is known is not sure all the same; empty if nothing speaks against it."""
    told, read, share = own.fit.told, own.fit.read, own.fit.share
    if share is not None and told >= _FEW and share < _OBJECTED:
        return f"the heading is known, but only {read} of {told} answers can be read as {own.field}"
    unit = own.unit
    if unit is not None and unit.stated is None and unit.bare and unit.fits:
        best = max(unit.fits.values())
        if best < _OBJECTED and unit.bare >= _FEW:
            return (
                f"the heading is known, but in no unit are the numbers in range ({_range(field)})"
            )
    confirmed = share is not None and told >= _FEW and share >= _CONFIRMED
    if exact.only_lower and is_shared and not confirmed:
        return "only the lower line of the heading is known, and other columns have the same one"
    return ""


def _range(field: Field) -> str:
    return f"{field.range_text} {field.unit}"


def _by_likeness(
    seen: Seen, candidates: tuple[Candidate, ...], alike: list[Alike], contract: Contract
) -> Decision:
    """An unknown heading is sure if its letters are nearly those of one field, and values agree."""
    if not candidates:
        return Decision(seen, None, (), "nothing is like this heading and its values")
    strict = sorted(alike, key=lambda a: (-a.strict, a.field))
    best = strict[0] if strict else None
    own = next((c for c in candidates if best is not None and c.field == best.field), None)
    if best is None or own is None:
        return Decision(seen, None, candidates, _NOT_NEAR)
    rival = strict[1].strict if len(strict) > 1 else 0.0
    share, field = own.fit.share, contract.fields[own.field]
    is_near = best.strict >= _STRICT and best.strict - rival >= _CLEAR
    is_long = len(normalise(seen.heading)) >= _LEAST_LETTERS
    agrees = share is not None and own.fit.told >= _ENOUGH and share >= _CONFIRMED
    if is_near and is_long and agrees and field.type not in ("text", "texts"):
        return Decision(seen, own, candidates, "")
    return Decision(seen, None, candidates, _NOT_NEAR)


def _one_heading_per_field(decided: list[Decision]) -> list[Decision]:
    """Where two headings are sure of one field, only a known one among likenesses keeps it."""
    claims: dict[str, list[Decision]] = {}
    for decision in decided:
        if decision.sure is not None:
            claims.setdefault(decision.sure.field, []).append(decision)
    lost: dict[int, str] = {}
    for field, rivals in claims.items():
        if len(rivals) < 2:
            continue
        known = [d for d in rivals if d.sure is not None and d.sure.is_exact]
        keeper = known[0] if len(known) == 1 else None
        for decision in rivals:
            others = [repr(d.seen.heading) for d in rivals if d is not decision]
            if decision is not keeper:
                lost[id(decision)] = f"{', '.join(others)} may fill {field} too; only one may"
    return [replace(d, sure=None, why=lost[id(d)]) if id(d) in lost else d for d in decided]


def _reference_first(decided: list[Decision], dictionary: Dictionary) -> list[Decision]:
    """Without a sure reference of the home, another reference may be it: a person must say."""
    if any(d.sure is not None and d.sure.field == KEY for d in decided):
        return decided
    return [_maybe_key(d, dictionary) for d in decided]


def _maybe_key(decision: Decision, dictionary: Dictionary) -> Decision:
    sure, seen = decision.sure, decision.seen
    is_reference = sure is not None and sure.field in _REFERENCES
    varies = seen.distinct >= _KEY_DIFFERENT * seen.cells > 0
    is_like = varies and dictionary.likeness(seen.heading, KEY) >= _KEY_LIKE
    if not is_reference and (sure is not None or not is_like):
        return decision
    key = Candidate(KEY, "", 0.0, Fit(0, 0, {}), None)
    others = tuple(c for c in decision.candidates if c.field != KEY)
    why = f"no heading is surely {KEY}, the home's reference; this may be it"
    return Decision(seen, None, (key, *others), why)
