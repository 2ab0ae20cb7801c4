"""How the numbers of one column are to be read, and the plain numbers themselves."""

import re
from collections.abc import Mapping
from dataclasses import dataclass, field

from triage.intake.answer import refused
from triage.intake.units import TWO_HABITS, US_R_M2K_W, Unit, canonical_unit, find_unit

NUMBER = r"(?:\d+(?:[.,]\d+)*(?:\s+\d+/\d+)?|\d+/\d+|[.,]\d+)"
UNIT = r"(?:[^\d\s.,<>~=+-].*?)?"
_RESISTANCE = re.compile(rf"(r|rsi)[\s-]*(?:value)?[\s:=]*({NUMBER})\s*({UNIT})")
_GROUPED = {
    ",": re.compile(r"\d{1,3}(?:,\d{3})+(?:\.\d+)?"),
    ".": re.compile(r"\d{1,3}(?:\.\d{3})+(?:,\d+)?"),
}


@dataclass(frozen=True, slots=True)
class NumberRules:
    """How the numbers of one column are to be read.

    `unit` is that of bare numbers, None if nothing says it. `bare_resistance` says that bare
    numbers are US R-values, and `conductivity` turns an R-value into a thickness [W/mK].
    `comma_decimal` and `point_decimal` say which signs may stand before decimals. Of a range
    the lower end is kept, or the upper one if `high_is_worse`. `one_is_doubtful` says that the
    column holds fractions of one, so that 1 may be 100 %. `words` are words that stand for a
    number in this column.
    """

    quantity: str
    unit: Unit | None = None
    low: float | None = None
    high: float | None = None
    is_whole: bool = False
    conductivity: float | None = None
    bare_resistance: bool = False
    comma_decimal: bool = False
    point_decimal: bool = True
    high_is_worse: bool = False
    one_is_doubtful: bool = False
    words: Mapping[str, float] = field(default_factory=dict)

    @property
    def bare_unit(self) -> Unit | None:
        """Unit of a number without one; None if it cannot be known."""
        if self.bare_resistance:
            return None
        if self.unit is not None or self.quantity in TWO_HABITS:
            return self.unit
        return Unit()


class NotReadError(Exception):
    """Carries a refusal out of the depth of the grammar."""

    def __init__(self, problem: str, message: str) -> None:
        super().__init__(problem, message)
        self.answer = refused(problem, message)


def number_value(text: str, rules: NumberRules) -> float:
    """A number such as 3, 1,250, 12.5 or 3 1/2, with the signs that the column may hold.

    Raises
    ------
    NotReadError
        If its decimal sign is not the one of the file.
    """
    sign = -1.0 if text.startswith("-") else 1.0
    *whole, last = text.lstrip("-").split()
    added = 0.0
    if "/" in last:
        over, under = (float(part) for part in last.split("/"))
        if under == 0:
            raise NotReadError("not_a_number", f"{text!r} divides by nothing")
        added = over / under
    else:
        whole = [last]
    return sign * ((_decimal(whole[0], rules) if whole else 0.0) + added)


def _decimal(text: str, rules: NumberRules) -> float:
    if "," not in text and (rules.point_decimal or "." not in text):
        decimal = text
    elif not rules.comma_decimal and _GROUPED[","].fullmatch(text):
        decimal = text.replace(",", "")
    elif rules.comma_decimal and text.count(",") == 1 and "." not in text:
        decimal = text.replace(",", ".")
    elif rules.comma_decimal and _GROUPED["."].fullmatch(text):
        decimal = text.replace(".", "").replace(",", ".")
    else:
        used = "a comma" if rules.comma_decimal else "a point"
        message = f"{text!r} has not the decimal sign of this file, {used}; see reading.decimal"
        raise NotReadError("not_a_number", message)
    try:
        return float(decimal)
    except ValueError as error:
        raise NotReadError("not_a_number", f"{text!r} is not a number") from error


def in_canonical_unit(number: str, unit_text: str, rules: NumberRules) -> float:
    """A number with the text of its unit, or without one, in the canonical unit.

    Raises
    ------
    NotReadError
        If the unit is not one of the quantity, or is missing where the number needs one.
    """
    value = number_value(number, rules)
    unit_text = unit_text.strip()
    if unit_text:
        unit = find_unit(rules.quantity, unit_text)
        if unit is None:
            hint = (
                f"; write {canonical_unit(rules.quantity)}" if rules.quantity in TWO_HABITS else ""
            )
            raise NotReadError("not_a_number", f"{unit_text!r} is no unit of this quantity{hint}")
        return unit.canonical(value)
    if rules.bare_resistance:
        return thickness(value * US_R_M2K_W, rules)
    bare = rules.bare_unit
    if bare is not None:
        return bare.canonical(value)
    if value == 0 and rules.quantity != "temperature":
        return 0.0  # nothing is nothing in any unit
    message = (
        f"no unit; name that of the column in the profile, or {canonical_unit(rules.quantity)}"
    )
    raise NotReadError("unit_missing", message)


def resistance(text: str, rules: NumberRules) -> float | None:
    """What an R-value gives: itself, or the thickness of the declared material; None if none.

    Raises
    ------
    NotReadError
        If it gives no value of this quantity, or its material is not declared.
    """
    found = _RESISTANCE.fullmatch(text)
    if found is None:
        return None
    if rules.quantity not in ("length_mm", "thermal_r"):
        message = "an R-value is the resistance of one layer; it does not give this quantity"
        raise NotReadError("not_a_number", message)
    unit = find_unit("thermal_r", found[3] or ("rsi" if found[1] == "rsi" else "r"))
    if unit is None:
        raise NotReadError("not_a_number", f"{found[3]!r} is no unit of thermal resistance")
    value = unit.canonical(number_value(found[2], rules))
    return value if rules.quantity == "thermal_r" else thickness(value, rules)


def thickness(resistance_m2k_w: float, rules: NumberRules) -> float:
    """Thickness with that resistance, of the declared material. [mm].

    Raises
    ------
    NotReadError
        If no material is declared.
    """
    if rules.conductivity is None:
        message = "an R-value needs a material; declare its conductivity under [thermal_r]"
        raise NotReadError("unit_missing", message)
    return round(resistance_m2k_w * rules.conductivity * 1000, 6)
