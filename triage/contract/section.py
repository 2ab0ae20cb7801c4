"""Reads one table of a user's TOML file key by key, and keeps every error it meets."""

from collections.abc import Collection
from datetime import date, datetime
from pathlib import Path, PurePosixPath
from typing import Any, TypeVar

from triage.contract.text import did_you_mean
from triage.contract.tomlfile import TomlFile, unknown_keys
from triage.errors import TriageError

T = TypeVar("T")
_KINDS: dict[type, str] = {
    str: "a text in quotes",
    int: "a whole number",
    float: "a number",
    bool: "true or false",
    list: "a list in [ ]",
    dict: "a table",
    date: "a date such as 2026-10-31, without quotes",
}


class Section:
    """One table of a TOML file; `errors` is shared with the sections taken from it."""

    def __init__(
        self,
        file: TomlFile,
        data: dict[str, Any],
        error: type[TriageError],
        under: tuple[str, ...] = (),
        errors: list[TriageError] | None = None,
    ) -> None:
        self.file, self.data, self.error, self.under = file, data, error, under
        self.errors: list[TriageError] = [] if errors is None else errors

    def blame(self, what: str, fix: str, *keys: str) -> None:
        """Keep an error that stands at the key."""
        self.errors.append(self.error(what, self.file.place(*self.under, *keys), fix))

    def only(self, *allowed: str) -> None:
        """Refuse keys that nobody reads."""
        self.errors += unknown_keys(self.file, self.data, allowed, self.error, *self.under)

    def get(self, key: str, kind: type[T]) -> T | None:
        """The value if it is there and of the kind; one of another kind is an error."""
        value = self.data.get(key)
        if value is None:
            return None
        if kind is float and type(value) is int:
            value = float(value)
        # bool is an int and datetime a date in Python; neither is one to the user
        if isinstance(value, kind) and (kind is bool or not isinstance(value, bool | datetime)):
            return value
        self.blame(f"{key!r} should be {_KINDS[kind]}, not {value!r}", "correct the value", key)
        return None

    def need(self, key: str, kind: type[T], example: str) -> T | None:
        """As `get`, but a key that is not there, or an empty text, is an error."""
        if self.data.get(key) in (None, ""):
            self.blame(f"{key!r} is missing", f"add it, for example {key} = {example}", key)
            return None
        return self.get(key, kind)

    def texts(self, key: str) -> tuple[str, ...]:
        """A list of texts; empty if the key is not there."""
        values = self.get(key, list) or []
        wrong = [value for value in values if not isinstance(value, str)]
        if wrong:
            self.blame(f"{key!r} should hold texts, not {wrong[0]!r}", "put it in quotes", key)
        return tuple(value for value in values if isinstance(value, str))

    def choice(self, key: str, choices: Collection[str]) -> str | None:
        """A text that must be one of the choices."""
        value = self.get(key, str)
        if value is not None and value not in choices:
            self.blame(f"{value!r} is no {key}", did_you_mean(value, choices), key)
            return None
        return value

    def table(self, key: str) -> "Section":
        """The table under the key; an empty one if it is not there."""
        data = self.get(key, dict) or {}
        return Section(self.file, data, self.error, (*self.under, key), self.errors)

    def tables(self, key: str) -> list["Section"]:
        """The tables of a `[[key]]` list."""
        entries = self.get(key, list) or []
        if any(not isinstance(entry, dict) for entry in entries):
            self.blame(f"{key!r} should be written as [[{key}]] tables", "write it so", key)
        return [
            Section(self.file, entry, self.error, (*self.under, f"{key}[{n}]"), self.errors)
            for n, entry in enumerate(entries, start=1)
            if isinstance(entry, dict)
        ]

    def inside(self, key: str, example: str) -> str | None:
        """A path or glob below the file's folder, with forward slashes; needed."""
        value = self.need(key, str, example)
        if value is None:
            return None
        path = PurePosixPath(value.replace("\\", "/"))
        if path.is_absolute() or ":" in path.parts[0] or ".." in path.parts:
            fix = "write a path inside the folder of this file, such as surveys/north.xlsx"
            self.blame(f"{key!r} leaves the folder of this file: {value!r}", fix, key)
            return None
        return str(path)

    def existing(self, key: str) -> Path | None:
        """A path, relative to the file's folder unless it is absolute, at which a file stands."""
        value = self.get(key, str)
        if not value:
            return None
        path = self.file.path.parent / value.replace("\\", "/")
        if not path.is_file():
            self.blame(f"there is no file {value!r}", f"looked for {path}; correct {key!r}", key)
            return None
        return path
