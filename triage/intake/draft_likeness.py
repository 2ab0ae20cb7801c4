"""How like a heading is to the headings, names and descriptions of the survey's fields."""

import re
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property

from rapidfuzz import fuzz, process

from triage.contract import Contract, normalise
from triage.intake.units import UNITS, find_unit

_IN_BRACKETS = re.compile(r"[(\[{]([^()\[\]{}]+)[)\]}]")
_NO_WORD = re.compile(r"[^\w%#/&+]+")
_WRITTEN_WORTH, _HELP_WORTH = 0.85, 0.7  # an example or a description says less than a heading
_ENDS = frozenset({"mm", "cm", "m2", "kg/m3", "%", "pct", "deg", "sqm"})
_SHORT = 4  # as in triage.contract.text: a short word inside a long one is no likeness
_COUNT = 6
_LONGEST = 120  # characters of a heading that are compared


@dataclass(frozen=True, slots=True)
class Alike:
    """A field and how like its headings are, 0 to 100; `strict` counts each letter in its place."""

    field: str
    score: float
    strict: float
    known: str


@dataclass(frozen=True, slots=True)
class ExactMatch:
    """The field whose known heading this is; `only_lower` if only its lower line is known."""

    field: str
    known: str
    only_lower: bool


class Dictionary:
    """Everything that the contract calls its fields."""

    def __init__(self, contract: Contract) -> None:
        self._contract = contract
        named = [(text, f.name) for f in contract.fields.values() for text in (f.name, *f.headings)]
        self.shown: Mapping[str, str] = {plain(text): text for text, _ in reversed(named)}
        """Words of a known heading -> the heading as the contract writes it."""
        self.exact: Mapping[str, str] = {normalise(text): name for text, name in named}
        owners: dict[str, set[str]] = {}
        for text, name in named:
            owners.setdefault(_bare(text), set()).add(name)
        self._bare = {text: next(iter(o)) for text, o in owners.items() if len(o) == 1 and text}

    def find_exact(self, heading: str) -> ExactMatch | None:
        """The field that knows this heading, its unit and its punctuation aside."""
        lower = heading.rsplit(" / ", 1)[-1]
        whole = heading.replace(" / ", " ")
        for text in dict.fromkeys((heading, whole, lower)):
            name = self.exact.get(normalise(text)) or self._bare.get(_bare(text))
            name = name or self._without_unit(text)
            if name is not None:
                return ExactMatch(name, text, only_lower=text == lower and lower != heading)
        return None

    def _without_unit(self, text: str) -> str | None:
        """The field that knows the heading without its unit, which must be a unit of the field.

        Never the other way round: "Cavity (mm)" is a width, "Cavity" may be anything.
        """
        words, unit = _split_unit(text)
        name = self._bare.get(words) if unit is not None else None
        if name is None or unit is None:
            return None
        quantity = self._contract.fields[name].quantity
        return name if quantity is not None and find_unit(quantity, unit) is not None else None

    def find_alike(self, heading: str) -> list[Alike]:
        """Fields with the likest headings, best first."""
        best: dict[str, Alike] = {}
        for text in dict.fromkeys((plain(heading), plain(heading.rsplit(" / ", 1)[-1]))):
            for words, worth in self._corpora:
                known = list(words)
                short = len(text) < _SHORT
                scorer = fuzz.ratio if short else fuzz.WRatio
                for found, loose, _ in process.extract(text, known, scorer=scorer, limit=15):
                    inside = min(len(found), len(text)) < _SHORT and not short
                    score = fuzz.ratio(found, text) if inside else loose
                    strict = fuzz.ratio(found, text) if worth == 1.0 else 0.0
                    for name in words[found]:
                        _keep_best(best, Alike(name, score * worth, strict, self._show(found)))
        return sorted(best.values(), key=lambda a: (-a.score, -a.strict, a.field))[:_COUNT]

    def likeness(self, heading: str, name: str) -> float:
        """How like the heading is to those of one field, 0 to 100."""
        field = self._contract.fields[name]
        known = [plain(text) for text in (field.name, *field.headings)]
        return max(fuzz.token_set_ratio(plain(heading), text) for text in known)

    def _show(self, known: str) -> str:
        return self.shown.get(known, known)

    @cached_property
    def _corpora(self) -> tuple[tuple[dict[str, list[str]], float], ...]:
        headings: dict[str, list[str]] = {}
        written: dict[str, list[str]] = {}
        helped: dict[str, list[str]] = {}
        for field in self._contract.fields.values():
            for texts, words in (
                ((field.name, *field.headings), headings),
                (field.written, written),
                ((field.meaning, field.help), helped),
            ):
                for text in texts:
                    owners = words.setdefault(plain(text), [])
                    owners += [field.name] if field.name not in owners else []
        return (headings, 1.0), (written, _WRITTEN_WORTH), (helped, _HELP_WORTH)


def _keep_best(best: dict[str, Alike], new: Alike) -> None:
    old = best.get(new.field)
    if old is None:
        best[new.field] = new
        return
    strict = max(old.strict, new.strict)
    better = new if (new.score, new.strict) > (old.score, old.strict) else old
    best[new.field] = Alike(new.field, better.score, strict, better.known)


def plain(text: str) -> str:
    """The words of a heading: folded, without a unit in brackets or at its end, or punctuation."""
    return _split_unit(text)[0]


def _split_unit(text: str) -> tuple[str, str | None]:
    folded = normalise(text[:_LONGEST])
    for inner in _IN_BRACKETS.findall(folded):
        if is_unit(inner):
            return _bare(re.sub(rf"[(\[{{]{re.escape(inner)}[)\]}}]", " ", folded)), str(inner)
    words = _bare(folded).split()
    if len(words) > 1 and words[-1] in _ENDS:
        return " ".join(words[:-1]), words[-1]
    return " ".join(words), None


def _bare(text: str) -> str:
    return " ".join(_NO_WORD.sub(" ", normalise(text[:_LONGEST]).replace("_", " ")).split())


def is_unit(text: str) -> bool:
    """Whether a text is a unit of any quantity."""
    return any(find_unit(quantity, text) is not None for quantity in UNITS)
