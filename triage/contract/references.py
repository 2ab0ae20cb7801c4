"""Files that a programme names beside its surveys, as its text writes them, and copies of them."""

from collections.abc import Iterator, Mapping
from pathlib import Path, PurePosixPath
from typing import Any

_SINGLE = (
    *(("climate", "stations"), ("climate", "zones"), ("exposure", "zones")),
    ("areas", "shapes"),
)


def references(data: Mapping[str, Any]) -> Iterator[str]:
    """Every path that a programme's TOML writes, but for the patterns of the survey files."""
    for source in data.get("sources", []):
        if source.get("profile"):
            yield source["profile"]
    for table, key in _SINGLE:
        if data.get(table, {}).get(key):
            yield data[table][key]


def relocated(data: Mapping[str, Any], moved: Mapping[str, str]) -> dict[str, Any]:
    """A programme's TOML with paths replaced: as written -> where a copy stands."""

    def at(table: Mapping[str, Any], *keys: str) -> dict[str, Any]:
        return {
            key: moved.get(value, value) if key in keys and isinstance(value, str) else value
            for key, value in table.items()
        }

    copy = dict(data)
    if "sources" in copy:
        copy["sources"] = [at(source, "profile") for source in copy["sources"]]
    for table, key in _SINGLE:
        if table in copy:
            copy[table] = at(copy[table], key)
    return copy


def place_of(written: str, folder: Path) -> Path:
    """Where a path of a programme stands: relative to the programme unless it is absolute."""
    return folder / written.replace("\\", "/")


def stays_inside(written: str) -> bool:
    """Whether a written path lies below the programme's folder by its words alone."""
    path = PurePosixPath(written.replace("\\", "/"))
    return not (path.is_absolute() or ":" in path.parts[0] or ".." in path.parts)
