"""Nasty csv and other text fixtures."""

import codecs
from collections.abc import Callable
from pathlib import Path

FILES: dict[str, Callable[[Path], None]] = {}
_HEAD = "property_id,building_part,storeys,gutter_condition"


def _text(
    name: str,
    lines: list[str],
    encoding: str = "utf-8",
    *,
    end: str = "\r\n",
    last: bool = True,
    mark: bytes = b"",
) -> None:
    text = end.join(lines) + (end if last else "")
    FILES[name] = lambda path: path.write_bytes(mark + text.encode(encoding)) and None


_GOOD = [_HEAD, "H1,main,1,good", "H2,main,2,poor"]
_text(
    "utf16_mark.csv",
    [line.replace(",", "\t") for line in _GOOD],
    "utf-16-le",
    mark=codecs.BOM_UTF16_LE,
)
_text("utf16_big_no_mark.csv", _GOOD, "utf-16-be")
_text("utf8_mark.csv", _GOOD, mark=codecs.BOM_UTF8)
_text("old_mac_ends.csv", _GOOD, end="\r")
_text("no_last_end.csv", _GOOD, last=False)
_text(
    "western.csv",
    ["property_id;building_part;surveyor_id", "H1;main;Zoë £½", "H2;main;Müller"],
    "cp1252",
)
_text(
    "decimal_comma.csv",
    [
        "property_id;building_part;temp_mean_c;roof_pitch_deg",
        "H1;main;19,5;22,5",
        "H2;main;20,25;45",
        "H3;main;18;30,0",
    ],
)
_text("names_delimiter.csv", ["sep=|", *(line.replace(",", "|") for line in _GOOD)])
_text(
    "torn_quote.csv",
    [_HEAD, "H1,main,1,good", 'H2,main,2,"poor', "H3,main,3,good", "H4,main,1,fair"],
)
_text(
    "torn_lines.csv",
    [_HEAD, "H1,main,1,good", "H2,main,2", "H3,main,3,good", "H4,main,1,fair", "H5,ma"],
    last=False,
)
_text("swallowed_rows.csv", [_HEAD, 'H1,main,1,"good', 'H2,main,2,poor"', "H3,main,3,fair"])
_text("lines_in_cells.csv", [_HEAD, 'H1,main,1,"good\n"', "", '"H2\n",main,2,poor'])
_text("stray_delimiter.csv", [_HEAD, "H1,main,1,good", "H2,main,2,poor,by the hatch"])
_text("trailing_delimiters.csv", [line + ",," for line in _GOOD])
_text(
    "spreadsheet_damage.csv",
    [
        "property_id,building_part,archetype_code,survey_date",
        '"=""00042""",main,A1,2026-03-02 00:00:00',
        "1.23E+11,main,A2,2026-03-02",
        "H3,main,Feb-01,46083",
        "H4,main,#REF!,########",
    ],
)
_text(
    "sections_and_total.csv",
    ["Week 10,,,", _HEAD, "H1,main,1,good", "Block B,,,", "H2,main,2,poor", "TOTAL,,3,", ",,,"],
)
_text("blank.csv", ["", "   ", ",,"])
_text("headings_only.csv", [_HEAD])
_text("formulas.csv", [_HEAD, "H1,main,=1+1,good", '=A2&"b",main,2,poor'])
_text("duplicates.csv", ["survey_id," + _HEAD, *["V1,H1,main,1,good"] * 3, "V1,H1,main,1,poor"])
_text("one_zero_byte.csv", [_HEAD, "H1,main,1,good", "H2,main,2,po\0or"])
_text(
    "tables_of_two_widths.csv",
    ["property_id,building_part", "H1,main", "", _HEAD, "H2,main,2,poor", "H3,main,1,good"],
)
FILES["zero_bytes.csv"] = lambda path: (
    path.write_bytes(("\r\n".join(_GOOD) + "\0" * 3).encode() * 2) and None
)
