"""A TOML file that knows where its keys stand, so that an error can name the line."""

import re
import tomllib
from collections.abc import Collection, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from triage.contract.text import did_you_mean
from triage.errors import FileError, Place, TriageError

_ENTRY = re.compile(r"(\w+)\[(\d+)\]")
_AT_LINE = re.compile(r"\(at line (\d+), column \d+\)")


@dataclass(frozen=True, slots=True)
class TomlFile:
    """What a TOML file holds, with the text it was read from."""

    path: Path
    data: Mapping[str, Any]
    text: str

    def place(self, *keys: str) -> Place:
        """Where the key stands: the file, and the line as an editor numbers it if it is found."""
        return Place(str(self.path), row=_line_of(self.text, keys), column=".".join(keys) or None)


def read_toml(path: Path, error: type[TriageError]) -> TomlFile:
    """Read a TOML file, UTF-8, with or without a byte-order mark.

    Raises
    ------
    FileError
        If there is no such file or it cannot be read.
    TriageError
        Of the class `error`, with the line, if it is not valid TOML or not UTF-8.
    """
    try:
        raw = path.read_bytes()
    except OSError as problem:
        reason = problem.strerror or str(problem)
        raise FileError(
            f"cannot read the file: {reason}", str(path), "check the path and that it can be read"
        ) from problem
    try:
        text = raw.decode("utf-8-sig")
        return TomlFile(path, tomllib.loads(text), text)
    except UnicodeDecodeError as problem:
        line = raw[: problem.start].count(b"\n") + 1
        raise error(
            "the file is not UTF-8 text", Place(str(path), row=line), "save it as UTF-8"
        ) from problem
    except tomllib.TOMLDecodeError as problem:
        at = _AT_LINE.search(str(problem))
        where = Place(str(path), row=int(at[1]) if at else None)
        what = _AT_LINE.sub("", str(problem)).strip()
        raise error(f"not valid TOML: {what}", where, "mend the line as TOML wants it") from problem


def unknown_keys(
    file: TomlFile,
    data: Mapping[str, Any],
    allowed: Collection[str],
    error: type[TriageError],
    *under: str,
) -> list[TriageError]:
    """One error for each key that nobody reads; a misspelt key must never pass in silence."""
    return [
        error(f"unknown key {key!r}", file.place(*under, key), did_you_mean(key, allowed))
        for key in data
        if key not in allowed
    ]


def _line_of(text: str, keys: tuple[str, ...]) -> int | None:
    """Line of the last of `keys` that can be found, each looked for below the one before.

    A key such as `sources[2]` is the second `[[sources]]`.
    """
    lines = text.splitlines()
    found: int | None = None
    start, end = 0, len(lines)
    for key in keys:
        entry = _ENTRY.fullmatch(key)
        count = int(entry[2]) if entry else 1
        word = re.escape(entry[1] if entry else key)
        key_at = rf"""(?:^|[.\[{{,\s])(["']?){word}\1\s*(?:=|\.|\]|$)"""
        named = re.compile(rf"^\s*\[\[\s*{word}\s*\]\]" if entry else key_at)
        hits = [n for n in range(start, end) if named.search(lines[n])]
        if len(hits) < count:
            break
        start = hits[count - 1]
        found = start + 1
        if entry:  # what is asked for next stands inside this entry or nowhere
            rest = range(start + 1, end)
            end = next((n for n in rest if lines[n].lstrip().startswith("[[")), end)
    return found
