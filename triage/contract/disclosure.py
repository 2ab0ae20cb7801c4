"""What a policy pack lets be printed for each audience (disclosure.toml)."""

import hashlib
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from types import MappingProxyType

from triage.contract.materials_read import MARKS
from triage.contract.section import Section
from triage.contract.tomlfile import read_toml
from triage.errors import PolicyError, raise_all

FILE = "disclosure.toml"
AUDIENCES = ("internal", "funder", "lender", "public")
_NUMBERS = {
    "cell_min": 1,
    "rounding": 1,
    "percent_min": 1,
    "map_area_min": 1,
    "map_class_min": 1,
    "narrowest": 0,
}


@dataclass(frozen=True, slots=True)
class Disclosure:
    """What may be printed for one audience; every number counts homes.

    `cell_min` is the smallest count printed, `rounding` the base of rounding, `percent_min` the
    smallest denominator of a percentage, `map_area_min` and `map_class_min` the fewest homes of
    an area and of a class on a map, `narrowest` the width over which a withheld count must stay
    possible.
    """

    audience: str
    cell_min: int
    rounding: int
    percent_min: int
    map_area_min: int
    map_class_min: int
    narrowest: int
    mark: str
    source: str

    @property
    def withholds(self) -> bool:
        """Whether any count is withheld from this audience."""
        return max(self.cell_min, self.map_area_min, self.map_class_min) > 1

    @property
    def sign(self) -> str:
        """What stands in the place of a count that is not printed."""
        return f"under {self.cell_min}, or withheld"


@dataclass(frozen=True, slots=True)
class DisclosureRules:
    """The rules of every audience, and the hash of the file they were read from."""

    audiences: Mapping[str, Disclosure]
    digest: str


def load_disclosure(folder: Path) -> DisclosureRules:
    """Read `disclosure.toml` of a policy pack.

    Raises
    ------
    FileError, PolicyError or ManyErrors
        Everything wrong with the file at once, each with its line.
    """
    file = read_toml(folder / FILE, PolicyError)
    top = Section(file, dict(file.data), PolicyError)
    top.only("audience")
    audiences = top.table("audience")
    audiences.only(*AUDIENCES)
    for name in AUDIENCES:
        if name not in audiences.data:
            top.blame(f"there is no audience {name!r}", f"add [audience.{name}]", "audience")
    rules = {name: _audience(name, audiences.table(name)) for name in audiences.data}
    raise_all(top.errors)
    digest = hashlib.sha256(file.text.replace("\r\n", "\n").encode()).hexdigest()
    return DisclosureRules(MappingProxyType(rules), digest)


def _audience(name: str, s: Section) -> Disclosure:
    s.only(*_NUMBERS, "mark", "source")
    numbers = {key: s.need(key, int, "10") or 0 for key in _NUMBERS}
    for key, least in _NUMBERS.items():
        if key in s.data and numbers[key] < least:
            s.blame(f"{key!r} is {numbers[key]}", f"write {least} or more", key)
    if numbers["narrowest"] < numbers["cell_min"] - 1:
        fix = f"write {numbers['cell_min'] - 1} or more: below it the count is known to be small"
        s.blame("'narrowest' is narrower than the counts that are withheld", fix, "narrowest")
    if numbers["map_class_min"] < numbers["cell_min"]:
        fix = f"write {numbers['cell_min']} or more"
        s.blame("a map may not show what a table withholds", fix, "map_class_min")
    mark = s.need("mark", str, '"POLICY"') or ""
    if mark and not mark.startswith(MARKS):
        s.blame(f"{mark!r} is no mark", f"begin it with one of {', '.join(MARKS)}", "mark")
    source = s.need("source", str, '"where it is from"') or ""
    return Disclosure(name, **numbers, mark=mark, source=source)
