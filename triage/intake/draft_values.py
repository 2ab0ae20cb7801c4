"""What the values of a column say: how many of them a field could hold, and in which unit."""

import re
from collections.abc import Mapping
from dataclasses import dataclass, field, replace

from triage.contract import Contract, Field, normalise
from triage.intake.draft_seen import Seen
from triage.intake.field_rules import IDENTIFIERS, Context, Reader, field_reader
from triage.intake.units import TWO_HABITS, find_unit, is_resistance, unit_in_heading

UNIT_CHOICES: Mapping[str, tuple[str, ...]] = {
    "length_mm": ("mm", "cm", "m", "in", "ft"),
    "area": ("m2", "ft2"),
    "temperature": ("C", "F"),
    "density": ("kg/m3", "lb/ft3"),
    "u_value": ("W/m2K", "Btu/hft2F"),
    "thermal_r": ("m2K/W", "hft2F/Btu"),
    "flow": ("l/s", "m3/h", "cfm"),
}
"""Units that people write, by quantity, of which a bare number can mean any."""

_READ_THOUGH_REFUSED = frozenset({"ambiguous_date", "unit_missing"})
_SILENT = frozenset({"fraction_or_percent", "error_cell"})
_RESISTANCE = re.compile(r"\s*r(?:si|[\s-]*value)?[\s:=-]*\d", re.IGNORECASE)
_MOST_QUICK = 60  # texts looked up in every code list, to find lists that nobody's heading names


@dataclass(frozen=True, slots=True)
class Fit:
    """How the values of a column suit a field.

    `told` counts cells that give an answer, not blank and not "unknown"; `read` those of them
    that can be read; `unread` has the texts of the others, `bare` the numbers without a unit.
    """

    told: int
    read: int
    unread: Mapping[str, int]
    bare: Mapping[str, int] = field(default_factory=dict)

    @property
    def share(self) -> float | None:
        """Share of the answers that can be read; None if there is no answer."""
        return self.read / self.told if self.told else None


@dataclass(frozen=True, slots=True)
class UnitSeen:
    """Unit of a column's bare numbers: `stated` by heading or units row, or what `fits` says.

    `fits` is unit -> share of the bare numbers that are in the field's range in that unit.
    """

    stated: str | None
    where: str
    fits: Mapping[str, float]
    bare: int


class Values:
    """Reads columns as fields, with everything that is slow to make made once."""

    def __init__(self, contract: Contract, context: Context) -> None:
        self._context = context
        self._readers: dict[tuple[object, ...], Reader] = {}
        self._unknown = contract.spelling("UNKNOWN")
        self._spellings = {
            field.name: contract.field_spelling(field.name)
            for field in contract.fields.values()
            if field.code_list or field.extra
        }

    def fit(self, seen: Seen, asked: Field, unit: str | None) -> Fit:
        """Read the column as the field, `unit` being that of its bare numbers."""
        if asked.type in ("text", "texts") and asked.name not in IDENTIFIERS:
            return Fit(0, 0, {})  # any text is a text: it proves nothing
        return self._fit_of(seen.values, seen, asked, unit)

    def _fit_of(self, values: Mapping[str, int], seen: Seen, asked: Field, unit: str | None) -> Fit:
        told = read = 0
        unread: dict[str, int] = {}
        bare: dict[str, int] = {}
        reader = self._reader(seen, asked, unit)
        for text, count in values.items():
            answer = reader.read(text)
            if answer.problem in _SILENT or (answer.value is None and answer.problem is None):
                continue
            told += count
            if answer.problem == "unit_missing" and not _RESISTANCE.match(text):
                bare[text] = count
            if answer.value is not None or answer.problem in _READ_THOUGH_REFUSED:
                read += count
            if answer.problem is not None and answer.problem not in _READ_THOUGH_REFUSED:
                unread[text] = count
        return Fit(told, read, unread, bare)

    def unit(self, seen: Seen, asked: Field) -> UnitSeen | None:
        """What heading, units row and values say of the unit; None if the field needs none."""
        if asked.quantity not in TWO_HABITS or normalise(seen.heading) == normalise(asked.name):
            return None  # the field's own name stands for its own unit
        for text in seen.units:
            if find_unit(asked.quantity, text) is not None:
                return UnitSeen(text, "the units row", {}, 0)
        stated = unit_in_heading(asked.quantity, seen.heading)
        if stated is not None:
            return UnitSeen(stated, "the heading", {}, 0)
        bare = self.fit(seen, asked, None).bare
        units = UNIT_CHOICES.get(asked.quantity, ()) if bare else ()
        fits = {unit: self._fit_of(bare, seen, asked, unit).share or 0.0 for unit in units}
        return UnitSeen(None, "; ".join(dict.fromkeys(seen.units)), fits, sum(bare.values()))

    def lists_that_read(self, seen: Seen, least: float = 0.8) -> list[str]:
        """Code fields whose list knows at least that share of the column's answers."""
        counts = dict(list(seen.values.items())[:_MOST_QUICK])
        folded = [(normalise(text), count) for text, count in counts.items()]
        telling = [(text, count) for text, count in folded if text not in self._unknown]
        total = sum(count for _, count in telling)
        return [
            name
            for name, spelling in self._spellings.items()
            if total and sum(n for text, n in telling if text in spelling) >= least * total
        ]

    def _reader(self, seen: Seen, asked: Field, unit: str | None) -> Reader:
        signs = (seen.comma_decimal, seen.point_decimal, seen.is_1904)
        key = (asked.name, unit, *signs)
        if key not in self._readers:
            context = replace(
                self._context, comma_decimal=signs[0], point_decimal=signs[1], is_1904=signs[2]
            )
            self._readers[key] = field_reader(asked, unit, context)
        return self._readers[key]


def says_resistance(seen: Seen, asked: Field) -> bool:
    """Whether heading, units row or cells of a thickness column speak of R-values."""
    if asked.quantity != "length_mm":
        return False
    words = seen.heading.replace("/", " ").split()
    in_units = any(is_resistance(t) or find_unit("thermal_r", t) is not None for t in seen.units)
    in_cells = any(_RESISTANCE.match(text) for text in seen.values)
    return in_units or in_cells or any(is_resistance(word) for word in words)
