"""Reads numbers as surveyors write them: units, limits, ranges, ratios, resistances."""

import math
import re
from dataclasses import replace

from triage.intake.answer import Answer, refused
from triage.intake.number_rules import (
    NUMBER,
    UNIT,
    NotReadError,
    NumberRules,
    in_canonical_unit,
    resistance,
)
from triage.intake.special_forms import DECADE, special_form
from triage.intake.units import canonical_unit

_LONGEST = 64  # longer texts are remarks, and patterns would take long over them
_ALIKE = str.maketrans(
    {"“": '"', "”": '"', "″": '"', "‘": "'", "’": "'", "′": "'", "\xa0": " "}
    | {"–": "-", "—": "-", "−": "-", "≤": "<", "≥": ">"}
    | {"½": " 1/2", "¼": " 1/4", "¾": " 3/4", "⅓": " 1/3", "⅔": " 2/3"}
    | {"⅛": " 1/8", "⅜": " 3/8", "⅝": " 5/8", "⅞": " 7/8"}
)
_SINGLE = re.compile(rf"(-?{NUMBER})\s*({UNIT})")
_RANGE = re.compile(rf"(-?{NUMBER})\s*({UNIT})\s*(?:-|\bto\b)\s*({NUMBER})\s*({UNIT})")
_MIN_MAX = re.compile(
    rf"min\w*\.?\s*({NUMBER})\s*({UNIT})[\s,;/]*max\w*\.?\s*({NUMBER})\s*({UNIT})"
)
_BEFORE = tuple(
    (re.compile(rf"(?:{words})\s*"), flag)
    for words, flag in (
        (r"<=?|under\b|below\b|less than\b|max(?:imum)?\b\.?|up to\b|pre\b-?|before\b", "<"),
        (r">=?|over\b|above\b|more than\b|min(?:imum)?\b\.?|at least\b|post\b-?|after\b", ">"),
        (r"~|circa\b|ca?\b\.?|c(?=\d)|approx(?:imately)?\b\.?|about\b|abt\b\.?", "~"),
        (r"around\b|av(?:g|erage)?\b\.?|nominal\b|nom\b\.?|say\b", "~"),
    )
)
_AFTER = tuple(
    (re.compile(rf"\s*(?:{words})$"), flag)
    for words, flag in (
        (r"max(?:imum)?\.?|or less", "<"),
        (r"\+|min(?:imum)?\.?|or more|plus", ">"),
        (r"ish|approx\.?|av(?:g|erage)?\.?|nominal|nom", "~"),
    )
)
_LABEL = re.compile(
    r"(?:avg |average |mean )?(?:u[\s-]*(?:value)?|wme|mc|rh|occ(?:upants)?|hh size)"
    r"\s*[:=]?\s*(?=[\d.<>~-])"
)
_TAIL = re.compile(r"\s*(?:\b(?:gap|cavity|cav|fall|thick|deep|depth|wme|mc|rh)|\(range\))$")
_REL = re.compile(r"\brel\b|\brelative\b")


def read_number(text: str, rules: NumberRules) -> Answer:
    """Read one number text.

    Parameters
    ----------
    text
        The cell, not blank.
    rules
        How the numbers of the column are to be read.

    Returns
    -------
    Answer
        The value in the canonical unit with its flag, or a refusal: not_a_number,
        not_a_percentage, unit_missing, fraction_or_percent, out_of_range. A range is read as
        its more adverse end, flagged "~", with the problem range_read.
    """
    folded = re.sub(r"\s+", " ", text.translate(_ALIKE).casefold()).strip(" .;:")
    if folded in rules.words:
        return _checked(rules.words[folded], None, rules, text)
    try:
        return _read(folded, rules, text)
    except NotReadError as failed:
        return failed.answer


def _read(folded: str, rules: NumberRules, text: str) -> Answer:
    if len(folded) > _LONGEST:
        raise NotReadError("not_a_number", "a long text where a number belongs")
    if rules.quantity == "percent" and _REL.search(folded):
        message = "a relative meter scale is not per cent; give a wood moisture reading in %"
        raise NotReadError("not_a_percentage", message)
    limits = _MIN_MAX.fullmatch(folded)
    if limits is not None:
        return _range_answer(limits, rules, text)
    bare, flag = _without_flag(_without_labels(folded))
    bare = _without_labels(bare)
    for form in (special_form, resistance):
        value = form(bare, rules)
        if value is not None:
            is_decade = rules.quantity == "year" and DECADE.fullmatch(bare)
            return _checked(value, "~" if is_decade else flag, rules, text)
    span = _RANGE.fullmatch(bare)
    if span is not None:
        return _range_answer(span, rules, text)
    single = _SINGLE.fullmatch(bare)
    if single is None:
        raise NotReadError("not_a_number", f"{text!r} is not a number; write one, with its unit")
    value = in_canonical_unit(single[1], single[2], rules)
    if is_doubtful_fraction(value, rules) and not single[2]:
        raise NotReadError("fraction_or_percent", fraction_message(text, value))
    return _checked(value, flag, rules, text)


def is_doubtful_fraction(value: float, rules: NumberRules) -> bool:
    """Whether a bare number of a percentage column is more likely a fraction of one."""
    if rules.quantity != "percent":
        return False
    return 0 < value < 1 or (value == 1 and rules.one_is_doubtful)


def fraction_message(text: str, value: float) -> str:
    """What to say of such a number."""
    return f"{text} may stand for {value * 100:g}% in a percent format; write {value * 100:g}%"


def _without_labels(text: str) -> str:
    return _TAIL.sub("", _LABEL.sub("", text, count=1)).strip()


def _without_flag(text: str) -> tuple[str, str | None]:
    for pattern, flag in _BEFORE:
        found = pattern.match(text)
        if found is not None and found.end() < len(text):
            return text[found.end() :].strip(), flag
    for pattern, flag in _AFTER:
        found = pattern.search(text)
        if found is not None and found.start() > 0:
            return text[: found.start()].strip(), flag
    return text, None


def _range_answer(found: re.Match[str], rules: NumberRules, text: str) -> Answer:
    first_unit, last_unit = found[2].strip(), found[4].strip()
    first = in_canonical_unit(found[1], first_unit or last_unit, rules)
    last = in_canonical_unit(found[3], last_unit or first_unit, rules)
    worse = max(first, last) if rules.high_is_worse else min(first, last)
    kept = _checked(worse, "~", rules, text)
    if kept.problem is not None:
        return kept
    return replace(
        kept, problem="range_read", message=f"a range; {worse:g}, its worse end, is kept"
    )


def _checked(value: float, flag: str | None, rules: NumberRules, text: str) -> Answer:
    low = -math.inf if rules.low is None else rules.low
    high = math.inf if rules.high is None else rules.high
    if not low <= value <= high:
        unit = canonical_unit(rules.quantity)
        span = f"{low:g} to {high:g} {unit}".rstrip()
        message = f"{text!r} is {value:g}, outside {span}; check the reading and its unit"
        return refused("out_of_range", message)
    if not rules.is_whole:
        return Answer(value=float(value), flag=flag)
    if value != int(value):
        return refused("not_a_number", f"{text!r} should be a whole number")
    return Answer(value=int(value), flag=flag)
