"""Reads answers from code lists, unknown answers, and marks of evidence inside a cell."""

import re
from collections.abc import Mapping
from dataclasses import dataclass, field, replace

from triage.contract import Contract, Field, normalise
from triage.intake.answer import Answer, refused

_PARTS = re.compile(r"\s*[;,/+&|\n]\s*|\s+and\s+")
_NOT_APPLICABLE = frozenset({"n/a", "na", "n.a", "n a", "not applicable"})
_NEGATIVE = frozenset({"none", "none_seen", "none_found"})


@dataclass(frozen=True, slots=True)
class Lexicon:
    """Folded text -> meaning, for one field."""

    codes: Mapping[str, str]
    unknown: Mapping[str, str]
    marks: "Marks"
    allows_not_applicable: bool = False
    has_not_applicable: bool = False


@dataclass(frozen=True, slots=True)
class Marks:
    """Text fragments that give a cell an evidence grade of its own ("(assumed)")."""

    grades: Mapping[str, str]
    pattern: re.Pattern[str] = field(repr=False)

    def split(self, folded: str) -> tuple[str, str | None]:
        """The text without its first mark, and the grade that the mark gives."""
        found = self.pattern.search(folded)
        if found is None:
            return folded, None
        rest = normalise(folded[: found.start()] + " " + folded[found.end() :])
        return rest, self.grades[found[0]]


def evidence_marks(contract: Contract) -> Marks:
    """The marks of the contract, longest first, so that "by age" does not hide "cloned by age"."""
    grades = contract.spelling("MARKS")
    longest = sorted(grades, key=lambda text: (-len(text), text))
    options = "|".join(re.escape(text) for text in longest if text)
    return Marks(grades, re.compile(rf"(?<!\w)(?:{options})(?!\w)"))


def unknown_words(contract: Contract, asked: Field) -> dict[str, str]:
    """Folded text -> kind of unknown: the contract's words, then those of the field alone."""
    words = {text: kind for text, kind in contract.spelling("UNKNOWN").items() if text}
    return words | {normalise(text): "blank" for text in asked.unknown}


def read_code(text: str, lexicon: Lexicon) -> Answer:
    """Read one answer of a code list: a code, an unknown, or text that maps to nothing."""
    folded = normalise(text)
    known = _whole(folded, lexicon)
    if known is not None:
        return known
    rest, grade = lexicon.marks.split(folded)
    if grade is not None and rest:
        known = _whole(rest, lexicon)
        return replace(known or _parts_of_one(rest, text, lexicon), grade=grade)
    return _parts_of_one(folded, text, lexicon)


def read_codes(text: str, lexicon: Lexicon) -> Answer:
    """Read several answers of a code list from one cell, split at ; , / + & and "and".

    A part that maps to nothing is a problem, and takes a "none" beside it away: what was not
    understood may be a defect. "None" beside a finding is conflicting.
    """
    folded = normalise(text)
    rest, grade = lexicon.marks.split(folded)
    for candidate, own in ((folded, None), (rest, grade)):
        known = _whole(candidate, lexicon) if candidate else None
        if known is not None:
            value = (known.value,) if isinstance(known.value, str) else None
            return replace(known, value=value, grade=own)
    return replace(_several(rest, text, lexicon), grade=grade)


def _whole(folded: str, lexicon: Lexicon) -> Answer | None:
    if folded in _NOT_APPLICABLE:
        return _absent(folded, lexicon)
    code = lexicon.codes.get(folded)
    if code is not None and code != "unknown":
        return Answer(value=code)
    kind = lexicon.unknown.get(folded)
    if kind is not None or code == "unknown":
        return Answer(unknown=kind or "blank")
    return None


def _absent(folded: str, lexicon: Lexicon) -> Answer:
    """What N/A means: not applicable only where the profile says so, or in full words."""
    if lexicon.has_not_applicable and (lexicon.allows_not_applicable or "not" in folded):
        return Answer(value="not_applicable")
    code = lexicon.codes.get(folded)
    if code not in (None, "unknown", "not_applicable"):
        return Answer(value=code)
    return Answer(unknown=lexicon.unknown.get(folded, "blank"))


def _parts_of_one(folded: str, text: str, lexicon: Lexicon) -> Answer:
    parts = [part for part in _PARTS.split(folded) if part]
    codes = {lexicon.codes.get(part, "unknown") for part in parts}
    if len(parts) > 1 and "unknown" not in codes:
        if len(codes) == 1:
            return Answer(value=codes.pop())
        message = f"{text!r} gives {' and '.join(sorted(codes))}; one answer is needed"
        return refused("conflicting", message, "conflicting")
    return _unmapped(text, text)


def _unmapped(part: str, text: str) -> Answer:
    where = f" in {text!r}" if part != text else ""
    message = f"{part!r}{where} is on no list; add it under [spellings] of the profile"
    return refused("unmapped", message, "unmapped")


def _several(folded: str, text: str, lexicon: Lexicon) -> Answer:
    parts = [part for part in _PARTS.split(folded) if part]
    answers = [_whole(part, lexicon) for part in parts]
    strange = [part for part, answer in zip(parts, answers, strict=True) if answer is None]
    codes = dict.fromkeys(
        answer.value for answer in answers if answer is not None and isinstance(answer.value, str)
    )
    doubtful = strange or any(answer is not None and answer.unknown for answer in answers)
    if codes and doubtful:
        codes = {code: None for code in codes if code not in _NEGATIVE}
    elif len(codes) > 1 and _NEGATIVE & codes.keys():
        message = f"{text!r} says none and names a finding; say which"
        return refused("conflicting", message, "conflicting")
    value = tuple(sorted(codes)) or None
    if strange:
        refusal = _unmapped(strange[0], text)
        return replace(refusal, value=value, unknown=None if value else "unmapped")
    kind = next((a.unknown for a in answers if a is not None and a.unknown), "blank")
    return Answer(value=value, unknown=None if value else kind)
