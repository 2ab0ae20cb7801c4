"""Words as people type them, folded so that equal ones compare equal."""

import re
import unicodedata
from collections.abc import Iterable

from rapidfuzz import fuzz, process

_ALIKE = str.maketrans({"‘": "'", "’": "'", "“": '"', "”": '"', "–": "-", "—": "-", "−": "-"})
INVISIBLE = dict.fromkeys(map(ord, "\u00ad\u200b\u200c\u200d\u2060\ufeff"))
"""Signs without a width, which copying from web pages and documents leaves in cells."""

_JOINED = re.compile(r"(?<=\w)[-_](?=\w)")
_LISTABLE = 30
_SHORT = 4
_SPACES = re.compile(r"\s+")


def normalise(text: str) -> str:
    """Fold a heading or a cell to the form in which spellings are compared.

    Case, runs of spaces, curly quotes, long dashes, and a hyphen or underscore between two
    word characters make no difference ("Mid-terrace" is "mid_terrace"); full stops, commas,
    colons, semicolons and exclamation marks at the end are dropped. A question mark stays:
    "yes?" is not "yes". Folding twice changes nothing.
    """
    folded = unicodedata.normalize("NFKC", text.translate(INVISIBLE)).casefold().translate(_ALIKE)
    folded = unicodedata.normalize("NFKC", folded)  # casefold may undo the composition
    return _SPACES.sub(" ", _JOINED.sub(" ", folded)).strip().rstrip(" .,;:!")


def nearest(word: str, choices: Iterable[str], count: int = 3, cutoff: float = 60.0) -> list[str]:
    """Up to `count` choices most like `word`, best first; none below `cutoff` of 100."""
    found = process.extract(word, list(choices), scorer=_likeness, processor=normalise, limit=count)
    return [choice for choice, score, _ in found if score >= cutoff]


def _likeness(one: str, other: str, *, score_cutoff: float | None = None) -> float:
    """Likeness of 0 to 100. A very short word inside a long one is no likeness: "no", "unknown"."""
    short = min(len(one), len(other)) < _SHORT
    return (fuzz.ratio if short else fuzz.WRatio)(one, other, score_cutoff=score_cutoff)


def did_you_mean(word: str, choices: Iterable[str]) -> str:
    """Words for the `do:` line of an error: the nearest choices, or all if none is near.

    Only the survey's fields are too many to list; `triage fields` prints those.
    """
    known = list(choices)
    near = nearest(word, known)
    if near:
        return "did you mean " + " or ".join(repr(choice) for choice in near) + "?"
    if len(known) > _LISTABLE:
        return f"none of the {len(known)} names is near; `triage fields` lists them"
    return "use one of: " + ", ".join(known)
