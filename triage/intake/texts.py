"""Reads free texts and identifiers, and finds what spreadsheet programs did to them."""

import re
from collections.abc import Mapping
from decimal import Decimal

from triage.contract import normalise
from triage.intake.answer import Answer, refused

_SCIENTIFIC = re.compile(r"[+-]?\d+(?:[.,]\d+)?e\+?\d+", re.IGNORECASE)
DATE_CELL = re.compile(r"\d{4}-\d{2}-\d{2}[ T]\d{2}:\d{2}:\d{2}")
_MONTHS = "jan|feb|mar|apr|may|jun|jul|aug|sep|oct|nov|dec"
SHORT_DATE = rf"(?i)^(?:[0-9]{{1,2}}-(?:{_MONTHS})|(?:{_MONTHS})-[0-9]{{2}})$"
"""What a spreadsheet program makes of 1-2 or 2-01 when it writes csv."""

_SHORT_DATE = re.compile(SHORT_DATE)
_ROUNDED = re.compile(r"[1-9][0-9]{14}0+")
_LONG = re.compile(r"[1-9][0-9]{17,38}")
_LIST = re.compile(r"\s*[;,|\n]\s*")
LONGEST_ID = 40


def read_text(text: str, unknown: Mapping[str, str], longest: int | None = None) -> Answer:
    """Read a text; `unknown` maps folded texts to kinds of unknown.

    An identifier in scientific notation has lost its digits (damaged_id); a text that became a
    date has lost its form (turned_into_date). Both are refused, because neither can be undone.
    """
    bare = re.sub(r"\s+", " ", text.lstrip("'")).strip()
    kind = unknown.get(normalise(bare)) if bare else "blank"
    if kind is not None:
        return Answer(unknown=kind)
    if _SCIENTIFIC.fullmatch(bare):
        message = f"{bare!r} has lost its last digits; format the column as text and enter it again"
        return refused("damaged_id", message)
    if longest is not None and _is_rounded(bare):
        message = f"{bare!r} has more digits than a number cell keeps; the last are lost, enter it "
        return refused("damaged_id", message + "again as text")
    if DATE_CELL.fullmatch(bare) or _SHORT_DATE.fullmatch(bare):
        message = f"a spreadsheet program made the date {bare[:10]} of it; enter it again as text"
        return refused("turned_into_date", message)
    if longest is not None and len(bare) > longest:
        return refused("out_of_range", f"it has {len(bare)} characters; {longest} is the most")
    return Answer(value=bare)


def _is_rounded(text: str) -> bool:
    """Whether it looks like a number cell: zeros from the 16th digit on, or a double's digits."""
    if _ROUNDED.fullmatch(text):
        return True
    if _LONG.fullmatch(text) is None:
        return False
    return int(float(text)) == int(text) or format(Decimal(repr(float(text))), "f") == text


def read_texts(text: str, unknown: Mapping[str, str]) -> Answer:
    """Read a list of texts, split at ; , | and line ends."""
    kind = unknown.get(normalise(text))
    if kind is not None:
        return Answer(unknown=kind)
    items = tuple(dict.fromkeys(item for item in _LIST.split(text.strip()) if item))
    return Answer(value=items) if items else Answer(unknown="blank")
