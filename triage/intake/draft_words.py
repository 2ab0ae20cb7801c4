"""Words, zeros and N/A of a column that a profile may have to explain."""

from collections.abc import Mapping
from dataclasses import dataclass

from rapidfuzz import fuzz, process

from triage.contract import Contract, Field, normalise
from triage.intake.draft_seen import Seen

_MOST_WORDS = 40  # words of a column that are listed; the rest is counted
_NEAR = 55.0
_OFFERED = 3
_NOT_APPLICABLE = frozenset({"n/a", "na", "n.a", "n a"})
_ZERO = frozenset({"0", "0.0", "0,0", "0.00", "00", "0mm", "0 mm"})


@dataclass(frozen=True, slots=True)
class Word:
    """A text that no list knows, its cells, and the nearest codes, best first."""

    text: str
    cells: int
    codes: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Words:
    """The unknown texts of one column, and how many more there are than are listed."""

    field: str
    heading: str
    words: tuple[Word, ...]
    more: int


def unknown_words_of(
    seen: Seen, field: Field, unread: Mapping[str, int], contract: Contract
) -> Words | None:
    """The texts of a code column that map to nothing; None if there are none.

    Texts that fold to the same are one word.
    """
    if not unread or not field.known_codes:
        return None
    folded: dict[str, tuple[str, int]] = {}
    for text, cells in unread.items():
        shown, before = folded.get(normalise(text), (text, 0))
        folded[normalise(text)] = (shown, before + cells)
    ordered = sorted(folded.values(), key=lambda item: (-item[1], item[0]))
    known = _spelled(field, contract)
    words = tuple(Word(text, cells, _near(text, known)) for text, cells in ordered[:_MOST_WORDS])
    return Words(field.name, seen.heading, words, len(ordered) - len(words))


def count_zeros(seen: Seen) -> int:
    """Cells that hold 0."""
    return sum(count for text, count in seen.values.items() if text.casefold() in _ZERO)


def count_not_applicable(seen: Seen) -> int:
    """Cells that say N/A."""
    return sum(count for text, count in seen.values.items() if normalise(text) in _NOT_APPLICABLE)


def _spelled(field: Field, contract: Contract) -> dict[str, str]:
    """Folded spelling -> code, with the codes' definitions, for all codes that can be stored."""
    known = {
        normalise(text): code
        for text, code in contract.field_spelling(field.name).items()
        if code in field.known_codes
    }
    for code in contract.definitions(field):
        if code.code in field.known_codes:
            known.setdefault(normalise(code.definition), code.code)
    return known


def _near(text: str, known: Mapping[str, str]) -> tuple[str, ...]:
    found = process.extract(normalise(text), list(known), scorer=fuzz.WRatio, limit=12)
    codes = dict.fromkeys(known[spelling] for spelling, score, _ in found if score >= _NEAR)
    return tuple(codes)[:_OFFERED]
