"""What the values of a column say: how many of them a field could hold, and in which unit."""

from collections.abc import Mapping
from dataclasses import dataclass, replace

from triage.contract import Contract, Field, normalise
from triage.intake.answer import Answer
from triage.intake.draft_seen import Seen
from triage.intake.field_rules import IDENTIFIERS, Context, field_reader
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
_MOST_QUICK = 60  # texts looked up in every code list, to find lists that nobody's heading names


@dataclass(frozen=True, slots=True)
class Fit:
    """How the values of a column suit a field.

    `told` counts cells that give an answer, not blank and not "unknown"; `read` those of them
    that can be read; `unread` has the texts of the others. `bare` counts numbers without a unit
    of their own.
    """

    told: int
    read: int
    unread: Mapping[str, int]
    bare: int = 0

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


def values_fit(seen: Seen, field: Field, unit: str | None, context: Context) -> Fit:
    """Read the column as the field, `unit` being that of its bare numbers."""
    if field.type in ("text", "texts") and field.name not in IDENTIFIERS:
        return Fit(0, 0, {})  # any text is a text: it proves nothing
    told = read = bare = 0
    unread: dict[str, int] = {}
    reader = field_reader(field, unit, _of_column(seen, context))
    for text, count in seen.values.items():
        answer = reader.read(text)
        if answer.problem in _SILENT or _is_unknown(answer):
            continue
        told += count
        bare += count if answer.problem == "unit_missing" else 0
        if answer.value is not None or answer.problem in _READ_THOUGH_REFUSED:
            read += count
        if answer.problem is not None and answer.problem not in _READ_THOUGH_REFUSED:
            unread[text] = count
    return Fit(told, read, unread, bare)


def unit_seen(seen: Seen, field: Field, context: Context) -> UnitSeen | None:
    """What heading, units row and values say about the unit; None if the field needs none."""
    if field.quantity not in TWO_HABITS:
        return None
    if normalise(seen.heading) == normalise(field.name):
        return None  # the field's own name stands for its own unit
    for text in seen.units:
        if find_unit(field.quantity, text) is not None:
            return UnitSeen(text, "the units row", {}, 0)
    stated = unit_in_heading(field.quantity, seen.heading)
    if stated is not None:
        return UnitSeen(stated, "the heading", {}, 0)
    bare = values_fit(seen, field, None, context).bare
    fits = {} if not bare else _unit_fits(seen, field, context)
    where = "; ".join(dict.fromkeys(seen.units))
    return UnitSeen(None, where, fits, bare)


def says_resistance(seen: Seen, field: Field) -> bool:
    """Whether heading or units row of a thickness column speak of R-values."""
    if field.quantity != "length_mm":
        return False
    words = seen.heading.replace("/", " ").split()
    in_units = any(is_resistance(t) or find_unit("thermal_r", t) is not None for t in seen.units)
    return in_units or any(is_resistance(word) for word in words)


def lists_that_read(seen: Seen, contract: Contract, least: float = 0.8) -> dict[str, float]:
    """Code fields whose list knows most of the column's texts -> share of cells known."""
    counts = dict(list(seen.values.items())[:_MOST_QUICK])
    unknown = contract.spelling("UNKNOWN")
    folded = {normalise(text): count for text, count in counts.items()}
    telling = {text: count for text, count in folded.items() if text not in unknown}
    total = sum(telling.values())
    if not total:
        return {}
    found: dict[str, float] = {}
    for field in contract.fields.values():
        if not field.code_list and not field.extra:
            continue
        spelling = contract.field_spelling(field.name)
        share = sum(count for text, count in telling.items() if text in spelling) / total
        if share >= least:
            found[field.name] = share
    return found


def _unit_fits(seen: Seen, field: Field, context: Context) -> dict[str, float]:
    fits: dict[str, float] = {}
    for unit in UNIT_CHOICES.get(field.quantity or "", ()):
        share = values_fit(seen, field, unit, context).share
        fits[unit] = share or 0.0
    return fits


def _is_unknown(answer: Answer) -> bool:
    return answer.value is None and answer.problem is None


def _of_column(seen: Seen, context: Context) -> Context:
    return replace(
        context,
        comma_decimal=seen.comma_decimal,
        point_decimal=seen.point_decimal,
        is_1904=seen.is_1904,
    )
