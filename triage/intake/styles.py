"""What the cell formats of an xlsx workbook add: units, per cent, zeros; colours and strokes."""

import re
from xml.etree import ElementTree

from triage.intake.shown import Form, form_of

_BUILT_IN = {9: "0%", 10: "0.00%"}  # ECMA-376 part 1, 18.8.30: formats that are not written out
_WHITE = frozenset({"FFFFFFFF", "00FFFFFF", "theme 0", "indexed 9", "indexed 64"})


class Styles:
    """Formats by their number: what each adds to a number, and how it makes a cell look."""

    def __init__(self, xml: bytes | None) -> None:
        self.forms: dict[int, Form] = {}
        self.looks: dict[int, str] = {}
        if xml is None:
            return
        root = ElementTree.fromstring(xml)
        codes = _BUILT_IN | {
            int(number.get("numFmtId", "-1")): number.get("formatCode", "")
            for number in root.iterfind(".//{*}numFmt")
        }
        fills = [_fill(fill) for fill in root.iterfind("{*}fills/{*}fill")]
        struck = [_is_struck(font) for font in root.iterfind("{*}fonts/{*}font")]
        for index, style in enumerate(root.iterfind("{*}cellXfs/{*}xf")):
            form = form_of(codes.get(int(style.get("numFmtId", "0")), ""))
            if form is not None:
                self.forms[index] = form
            look = _at(fills, style.get("fillId"))
            if _at(struck, style.get("fontId")):
                look = "struck out"
            if look:
                self.looks[index] = look


def pattern_of(styles: dict[int, Form] | dict[int, str]) -> re.Pattern[bytes]:
    """Finds the format number in the tag of a cell that has one of these formats."""
    listed = "|".join(str(style) for style in sorted(styles))
    return re.compile(rf' s="({listed})"'.encode())


def _at(values: list[str], place: str | None) -> str:
    index = int(place or 0)
    return values[index] if index < len(values) else ""


def _fill(fill: ElementTree.Element) -> str:
    """A name for the colour; empty if nothing fills the cell, or white does."""
    pattern = fill.find("{*}patternFill")
    if pattern is None:
        return "coloured" if fill.find("{*}gradientFill") is not None else ""
    if pattern.get("patternType", "none") in ("none", "gray125"):
        return ""
    front = pattern.find("{*}fgColor")
    told = front.attrib if front is not None else {}
    name = told.get("rgb") or next(
        (f"{kind} {told[kind]}" for kind in ("theme", "indexed") if kind in told), "black"
    )
    return "" if name in _WHITE and "tint" not in told else f"coloured {name}"


def _is_struck(font: ElementTree.Element) -> str:
    strike = font.find("{*}strike")
    return "struck out" if strike is not None and strike.get("val", "1") in ("1", "true") else ""
