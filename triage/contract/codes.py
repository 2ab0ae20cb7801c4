"""Code lists: which answers a field may hold, what each means and how people spell it."""

import csv
from collections.abc import Iterable
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path

from triage.contract.text import normalise
from triage.errors import Place, SchemaError, TriageError

_HEADER = ["code", "definition", "spellings"]


@dataclass(frozen=True, slots=True)
class Code:
    """One answer of a code list. `spellings` are as people type them, not yet folded."""

    code: str
    definition: str
    spellings: tuple[str, ...]


def read_codes(path: Path) -> tuple[tuple[Code, ...], list[TriageError]]:
    """Read one list from a CSV with the columns code, definition, spellings (split at `;`).

    Returns the codes in file order and what is wrong with them: a wrong header, a code that
    is empty or there twice, a spelling that stands for two codes.
    """
    with path.open(encoding="utf-8", newline="") as stream:
        rows = list(csv.reader(stream))
    if not rows or rows[0] != _HEADER:
        fix = f"make the first line {','.join(_HEADER)}"
        return (), [SchemaError("wrong header line", Place(str(path), row=1), fix)]
    codes: list[Code] = []
    errors: list[TriageError] = []
    for number, row in enumerate(rows[1:], start=2):
        if len(row) != len(_HEADER) or not row[0].strip():
            fix = "write code, definition and spellings, quoting a text that holds a comma"
            errors.append(SchemaError("not a code", Place(str(path), row=number), fix))
            continue
        spellings = tuple(s for part in row[2].split(";") if (s := part.strip()))
        codes.append(Code(row[0].strip(), row[1].strip(), spellings))
    errors += _repeated(codes, path)
    return tuple(codes), errors + spelling_clashes(codes, str(path))


def spelling_map(codes: Iterable[Code]) -> dict[str, str]:
    """Folded text -> code, from the code itself and each of its spellings."""
    return dict(_spelling(tuple(codes)))


@lru_cache(maxsize=1024)  # every sheet asks for the lists of all its columns
def _spelling(codes: tuple[Code, ...]) -> dict[str, str]:
    return {normalise(word): code.code for code in codes for word in (code.code, *code.spellings)}


def spelling_clashes(codes: Iterable[Code], file: str) -> list[TriageError]:
    """One error for each spelling that stands for two codes of the list."""
    owner: dict[str, str] = {}
    errors: list[TriageError] = []
    for code in codes:
        for word in (code.code, *code.spellings):
            first = owner.setdefault(normalise(word), code.code)
            if first != code.code:
                what = f"the spelling {word!r} stands for {first!r} and for {code.code!r}"
                fix = "keep it under one of the two, or under neither"
                errors.append(SchemaError(what, Place(file, column=code.code), fix))
    return errors


def _repeated(codes: list[Code], path: Path) -> list[TriageError]:
    seen: set[str] = set()
    errors: list[TriageError] = []
    for code in codes:
        if code.code in seen:
            where = Place(str(path), column=code.code)
            errors.append(SchemaError(f"the code {code.code!r} is there twice", where, "drop one"))
        seen.add(code.code)
    return errors
