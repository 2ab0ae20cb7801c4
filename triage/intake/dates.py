"""Reads dates as surveyors and spreadsheet programs write them; an unclear order is refused."""

import re
from dataclasses import dataclass
from datetime import date, timedelta

from triage.intake.answer import Answer, refused

_MONTHS = {
    name: number
    for number, names in enumerate(
        (
            "jan january",
            "feb february",
            "mar march",
            "apr april",
            "may",
            "jun june",
            "jul july",
            "aug august",
            "sep sept september",
            "oct october",
            "nov november",
            "dec december",
        ),
        start=1,
    )
    for name in names.split()
}
_TIME = r"(?:[t ]\d{1,2}:\d{2}(?::\d{2}(?:\.\d+)?)?(?:z|[+-]\d{2}:?\d{2})?)?"
_YEAR_FIRST = re.compile(rf"(\d{{4}})[-/.](\d{{1,2}})[-/.](\d{{1,2}}){_TIME}")
_COMPACT = re.compile(r"((?:19|20)\d{2})(\d{2})(\d{2})")
_THREE = re.compile(rf"(\d{{1,2}})[-/. ](\d{{1,2}})[-/. ](\d{{4}}|\d{{2}}){_TIME}")
_DAY_NAME_YEAR = re.compile(
    r"(\d{1,2})(?:st|nd|rd|th)?[-/. ]*(?:of )?([a-z]{3,9})[-/., ]*(\d{4}|\d{2})"
)
_NAME_DAY_YEAR = re.compile(r"([a-z]{3,9})[. ]*(\d{1,2})(?:st|nd|rd|th)?,? +(\d{4})")
_NAME_YEAR = re.compile(r"([a-z]{3,9})[-/., ']*(\d{4}|\d{2})")
_MONTH_YEAR = re.compile(r"(\d{1,2})[-/.](\d{4})")
_YEAR_MONTH = re.compile(r"(\d{4})[-/.](\d{1,2})")
_QUARTER = re.compile(r"q([1-4])[-/, ]*(\d{4})|(\d{4})[-/, ]*q([1-4])")
_YEAR = re.compile(r"(?:19|20)\d{2}")
_SERIAL = re.compile(r"(\d{5})(?:\.\d+)?")
_WEEKDAY = re.compile(r"^(?:mon|tue|wed|thu|fri|sat|sun)[a-z]*,?\s+")


@dataclass(frozen=True, slots=True)
class DateRules:
    """How the dates of one column are to be read.

    `order` is DMY, MDY or YMD as the profile says, None if it says nothing. `latest` is the
    last day that is not in the future. `month_precision` lets a month or a year stand for its
    first day. `is_1904` is the day count of workbooks that say so.
    """

    latest: date
    order: str | None = None
    earliest: date | None = None
    month_precision: bool = False
    is_1904: bool = False


def read_date(text: str, rules: DateRules) -> Answer:
    """Read one date text.

    Returns
    -------
    Answer
        The day, flagged "~" where only a month or a year is given and the field allows it, or
        a refusal: ambiguous_date, imprecise_date, not_a_date, out_of_range.
    """
    folded = re.sub(r"\s+", " ", text.casefold()).strip(" .,;:")
    folded = _WEEKDAY.sub("", folded)
    try:
        return _exact(folded, rules, text) or _imprecise(folded, rules, text) or _no_date(text)
    except ValueError:  # a 31st of February, a month 13
        return refused("not_a_date", f"{text!r} is no day of the calendar; check its order")


def from_serial(number: int, is_1904: bool = False) -> date:
    """The day of a spreadsheet serial number.

    Day 1 is 1900-01-01, and day 60 is 29 February 1900, which never was (ECMA-376 part 1,
    18.17.4.1); in the other system day 0 is 1904-01-01.

    Raises
    ------
    ValueError
        For the day that never was, and below day 1.
    """
    if is_1904:
        return date(1904, 1, 1) + timedelta(days=number)
    if number < 1 or number == 60:
        raise ValueError(number)
    return date(1899, 12, 31 if number < 60 else 30) + timedelta(days=number)


def _no_date(text: str) -> Answer:
    return refused("not_a_date", f"{text!r} is not a date; write it as 2025-06-30")


def _exact(text: str, rules: DateRules, shown: str) -> Answer | None:
    for pattern in (_YEAR_FIRST, _COMPACT):
        if found := pattern.fullmatch(text):
            return _checked(date(int(found[1]), int(found[2]), int(found[3])), rules, shown)
    if found := _SERIAL.fullmatch(text):
        return _checked(from_serial(int(found[1]), rules.is_1904), rules, shown)
    if found := _THREE.fullmatch(text):
        return _three_numbers(found, rules, shown)
    if (found := _DAY_NAME_YEAR.fullmatch(text)) and found[2] in _MONTHS:
        day = date(_year(found[3], rules), _MONTHS[found[2]], int(found[1]))
        return _checked(day, rules, shown)
    if (found := _NAME_DAY_YEAR.fullmatch(text)) and found[1] in _MONTHS:
        return _checked(date(int(found[3]), _MONTHS[found[1]], int(found[2])), rules, shown)
    return None


def _three_numbers(found: re.Match[str], rules: DateRules, shown: str) -> Answer:
    first, second, third = found[1], found[2], found[3]
    if rules.order == "YMD":
        if len(third) == 4:
            message = f"{shown!r} ends with the year, but the profile says year first"
            return refused("ambiguous_date", message)
        return _checked(date(_year(first, rules), int(second), int(third)), rules, shown)
    year = _year(third, rules)
    readings = {
        order: (month, day)
        for order, month, day in (
            ("DMY", int(second), int(first)),
            ("MDY", int(first), int(second)),
        )
        if month <= 12 and (rules.order in (None, order))
    }
    days = {date(year, month, day) for month, day in readings.values()}
    if len(days) == 1:
        return _checked(days.pop(), rules, shown)
    if days:
        message = f"{shown!r} can be two days; set reading.date_order in the profile"
        return refused("ambiguous_date", message)
    return refused("not_a_date", f"{shown!r} is no day in the order {rules.order or 'DMY or MDY'}")


def _imprecise(text: str, rules: DateRules, shown: str) -> Answer | None:
    start = _start_of_span(text, rules)
    if start is None:
        return None
    if not rules.month_precision:
        return refused("imprecise_date", f"{shown!r} names no day; write the day of the visit")
    answer = _checked(start, rules, shown)
    return Answer(value=answer.value, flag="~") if answer.problem is None else answer


def _start_of_span(text: str, rules: DateRules) -> date | None:
    """First day of the month, quarter or year that the text names."""
    if (found := _NAME_YEAR.fullmatch(text)) and found[1] in _MONTHS:
        return date(_year(found[2], rules), _MONTHS[found[1]], 1)
    if found := _MONTH_YEAR.fullmatch(text):
        return date(int(found[2]), int(found[1]), 1)
    if found := _YEAR_MONTH.fullmatch(text):
        return date(int(found[1]), int(found[2]), 1)
    if found := _QUARTER.fullmatch(text):
        return date(int(found[2] or found[3]), 3 * int(found[1] or found[4]) - 2, 1)
    return date(int(text), 1, 1) if _YEAR.fullmatch(text) else None


def _year(text: str, rules: DateRules) -> int:
    """Two digits mean the latest such year that is not in the future."""
    if len(text) == 4:
        return int(text)
    year = rules.latest.year // 100 * 100 + int(text)
    return year if year <= rules.latest.year else year - 100


def _checked(day: date, rules: DateRules, shown: str) -> Answer:
    if day > rules.latest:
        return refused(
            "out_of_range", f"{shown!r} is after {rules.latest}; check the year and order"
        )
    if rules.earliest is not None and day < rules.earliest:
        return refused("out_of_range", f"{shown!r} is before {rules.earliest}; check the year")
    return Answer(value=day)
