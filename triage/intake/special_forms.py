"""Number forms that belong to one quantity: pitches, ratios, feet and inches, head counts."""

import math
import re
from collections.abc import Callable

from triage.intake.number_rules import NUMBER, NumberRules, number_value
from triage.intake.units import FOOT_MM, INCH_MM

DECADE = re.compile(r"(\d{3}0)'?s")
_RATIO = re.compile(
    r"(\d+(?:\.\d+)?)\s*(?::|/|\bin\b)\s*(\d+(?:\.\d+)?)(?:\s*(?:fall|falls|pitch|slope))?"
)
_PERCENT = re.compile(r"(\d+(?:\.\d+)?)\s*(?:%|percent)")
_FEET_INCHES = re.compile(
    rf"(\d+)\s*(?:'|ft|feet|foot)\s*({NUMBER})\s*(?:\"|''|in|ins|inch|inches)?"
)
_DEGREES = re.compile(
    r"(-?\d+(?:\.\d+)?)\s*°?\s*(?:(\d+(?:\.\d+)?)\s*'\s*)?(?:(\d+(?:\.\d+)?)\s*(?:\"|'')\s*)?([nsew])?"
)
_GROUND_PLUS = re.compile(r"g\s*\+\s*(\d+)")
_HOUSEHOLD = re.compile(r"(\d+)\s*a(?:dults?)?[\s,+&/]*(\d+)\s*c(?:h(?:ild(?:ren)?)?)?")


def special_form(text: str, rules: NumberRules) -> float | None:
    """The canonical value of a form that only this quantity has; None for any other text."""
    read = _FORMS.get(rules.quantity)
    return None if read is None else read(text, rules)


def _feet_and_inches(text: str, rules: NumberRules) -> float | None:
    found = _FEET_INCHES.fullmatch(text)
    if found is None:
        return None
    return round(float(found[1]) * FOOT_MM + number_value(found[2], rules) * INCH_MM, 9)


def _pitch(text: str, _: NumberRules) -> float | None:
    """Rise over run, or per cent, as an angle. [degrees]."""
    found = _RATIO.fullmatch(text)
    if found is not None and float(found[2]) > 0:
        return math.degrees(math.atan2(float(found[1]), float(found[2])))
    percent = _PERCENT.fullmatch(text)
    return None if percent is None else math.degrees(math.atan(float(percent[1]) / 100))


def _ratio(text: str, _: NumberRules) -> float | None:
    """The n of 1:n."""
    found = _RATIO.fullmatch(text)
    return float(found[2]) / float(found[1]) if found is not None and float(found[1]) > 0 else None


def _decade(text: str, _: NumberRules) -> float | None:
    found = DECADE.fullmatch(text)
    return None if found is None else float(found[1])


def _degrees(text: str, _: NumberRules) -> float | None:
    """Degrees with minutes, seconds and a letter; south and west are negative."""
    found = _DEGREES.fullmatch(text)
    if found is None:
        return None
    size = abs(float(found[1])) + float(found[2] or 0) / 60 + float(found[3] or 0) / 3600
    return -size if found[1].startswith("-") or found[4] in ("s", "w") else size


def _count(text: str, _: NumberRules) -> float | None:
    """G+2 storeys, or 2A 3C for two adults and three children."""
    ground_plus = _GROUND_PLUS.fullmatch(text)
    if ground_plus is not None:
        return float(ground_plus[1]) + 1
    household = _HOUSEHOLD.fullmatch(text)
    return None if household is None else float(household[1]) + float(household[2])


_FORMS: dict[str, Callable[[str, NumberRules], float | None]] = {
    "length_mm": _feet_and_inches,
    "pitch": _pitch,
    "ratio": _ratio,
    "year": _decade,
    "latitude": _degrees,
    "longitude": _degrees,
    "count": _count,
}
