"""Units of the quantities of a survey: how each is written and how it becomes the canonical one.

Factors: NIST SP 811 (2008), appendix B: 1 in = 25.4 mm, 1 ft = 304.8 mm, 1 lb/ft3 = 16.01846
kg/m3, 1 h.ft2.F/Btu = 0.1761102 m2K/W and its inverse 5.678263 W/m2K, 1 ft2 = 0.09290304 m2,
1 ft3/min = 0.4719474 l/s.
"""

import re
from dataclasses import dataclass

INCH_MM = 25.4
FOOT_MM = 304.8
US_R_M2K_W = 0.1761101838
US_U_W_M2K = 5.678263341
LB_FT3_KG_M3 = 16.01846337
SQUARE_FOOT_M2 = 0.09290304
CUBIC_FOOT_MINUTE_L_S = 0.4719474432


@dataclass(frozen=True, slots=True)
class Unit:
    """canonical = (number + shift) * factor."""

    factor: float = 1.0
    shift: float = 0.0

    @property
    def is_canonical(self) -> bool:
        """Whether nothing has to be converted."""
        return self.factor == 1.0 and self.shift == 0.0

    def canonical(self, number: float) -> float:
        """The number in the canonical unit; rounded where binary fractions add noise."""
        if self.is_canonical:
            return number
        return round((number + self.shift) * self.factor, 9)


_ONE = Unit()


def _table(**spellings: tuple[str, Unit]) -> dict[str, Unit]:
    return {spelling: unit for texts, unit in spellings.values() for spelling in texts.split(" ")}


_LENGTH_MM = _table(
    mm=("mm mms millimetre millimetres millimeter millimeters mil", _ONE),
    cm=("cm cms centimetre centimetres centimeter centimeters", Unit(10)),
    m=("m metre metres meter meters mtr mtrs", Unit(1000)),
    inch=("in ins inch inches \" ''", Unit(INCH_MM)),
    foot=("ft feet foot '", Unit(FOOT_MM)),
)
_LENGTH_M = _table(
    m=("m metre metres meter meters", _ONE),
    km=("km kilometre kilometres kilometer kilometers", Unit(1000)),
)
_U_VALUE = _table(
    si=("w/m2k w/(m2k) wm-2k-1 w/m2c w/m2degc w/k/m2 w/m2/k", _ONE),
    us=("btu/hft2f btu/(hft2f) btu/hrft2f btu/hsqftf btu/hrsqftf btu/h/ft2/f", Unit(US_U_W_M2K)),
)
_THERMAL_R = _table(
    si=("m2k/w m2kw rsi km2/w", _ONE),
    us=("hft2f/btu hrft2f/btu hft2degf/btu r ft2fh/btu", Unit(US_R_M2K_W)),
)
_DENSITY = _table(
    si=("kg/m3 kg kgm3 kg/cum kgm-3", _ONE),
    us=("pcf lb lbs lb/ft3 lbs/ft3 lb/cuft lbs/cuft", Unit(LB_FT3_KG_M3)),
)
_TEMPERATURE = _table(
    c=("c degc degreesc celsius centigrade", _ONE),
    f=("f degf degreesf fahrenheit", Unit(1 / 1.8, -32.0)),
)
_AREA = _table(
    si=("m2 sqm sqmetres sqmeters squaremetres squaremeters msq", _ONE),
    us=("ft2 sqft sf sqfeet squarefeet squarefoot ftsq", Unit(SQUARE_FOOT_M2)),
)
_FLOW = _table(
    si=("l/s ls lps litres/s", _ONE),
    hour=("m3/h m3h m3/hr", Unit(1 / 3.6)),
    us=("cfm ft3/min", Unit(CUBIC_FOOT_MINUTE_L_S)),
)
_DAYS = _table(
    day=("d day days", _ONE),
    week=("w wk wks week weeks", Unit(7)),
)
UNITS: dict[str, dict[str, Unit]] = {
    "length_mm": _LENGTH_MM,
    "length_m": _LENGTH_M,
    "u_value": _U_VALUE,
    "thermal_r": _THERMAL_R,
    "density": _DENSITY,
    "temperature": _TEMPERATURE,
    "area": _AREA,
    "flow": _FLOW,
    "days": _DAYS,
    "percent": _table(percent=("% pct percent", _ONE)),
    "pitch": _table(degree=("deg degs degree degrees", _ONE)),
    "angle": _table(degree=("deg degs degree degrees", _ONE)),
    "count": _table(count=("no nr off st storey storeys story stories people persons occ", _ONE)),
    "year": {},
    "ratio": {},
    "latitude": _table(degree=("deg", _ONE)),
    "longitude": _table(degree=("deg", _ONE)),
}
TWO_HABITS = frozenset(
    {"length_mm", "u_value", "thermal_r", "density", "temperature", "area", "flow"}
)
"""Quantities of which a bare number can mean two things: it needs a declared unit."""

_CANONICAL = {
    "length_mm": "mm",
    "length_m": "m",
    "u_value": "W/m2K",
    "thermal_r": "m2K/W",
    "density": "kg/m3",
    "temperature": "C",
    "area": "m2",
    "flow": "l/s",
    "days": "days",
    "percent": "%",
    "pitch": "deg",
}
_RESISTANCES = frozenset({"r", "rsi", "rvalue"})
# In a heading these are more often words than units ("Blown in", "Loft ins"): brackets needed.
_WORDLIKE = frozenset(
    {"in", "ins", "m", "c", "f", "r", "d", "w", "no", "off", "lb", "kg", "st", "mil"}
)
_IN_BRACKETS = re.compile(r"[(\[{]([^()\[\]{}]+)[)\]}]")


def fold_unit(text: str) -> str:
    """A unit as the tables spell it: no case, spaces, dots, carets or degree signs."""
    text = text.casefold().replace("²", "2").replace("³", "3").replace("°", "deg")
    text = text.replace("º", "deg").replace(" per ", "/").replace("″", '"').replace("”", '"')
    text = text.replace("’", "'").replace("′", "'")
    text = re.sub(r"[\s.·^*]|-(?=value)", "", text).strip(",;:")
    return text.replace("''", '"')


def find_unit(quantity: str, text: str) -> Unit | None:
    """The unit of that quantity that the text names; None if it names none."""
    table = UNITS.get(quantity, {})
    folded = fold_unit(text)
    return table.get(folded) or table.get(folded.removeprefix("deg"))


def canonical_unit(quantity: str) -> str:
    """Name of the canonical unit, for messages; empty for quantities without one."""
    return _CANONICAL.get(quantity, "")


def is_resistance(text: str | None) -> bool:
    """Whether a declared unit says that a thickness column holds thermal resistances."""
    return text is not None and fold_unit(text) in _RESISTANCES


def unit_in_heading(quantity: str, heading: str) -> str | None:
    """The unit that a heading states, in brackets or as its last word; None if it states none."""
    for inner in _IN_BRACKETS.findall(heading):
        if find_unit(quantity, inner) is not None:
            return str(inner)
    words = heading.strip().rstrip(")]}. ").split()
    for count in (2, 1):  # "sq ft" before "ft"
        if len(words) > count:
            tail = " ".join(words[-count:])
            if _is_clear(tail, quantity) and find_unit(quantity, tail) is not None:
                return tail
    _, _, last = heading.rpartition("_")
    return last if _is_clear(last, quantity) and find_unit(quantity, last) is not None else None


def _is_clear(text: str, quantity: str) -> bool:
    """Whether a word at the end of a heading can only be meant as a unit."""
    if quantity == "temperature" and text in ("C", "F"):
        return True
    return fold_unit(text) not in _WORDLIKE or any(sign in text for sign in "\"'°")
