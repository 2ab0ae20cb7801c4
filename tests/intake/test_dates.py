"""Dates. Days are calendar facts; serial numbers are those of the ECMA-376 day count."""

from datetime import date

import pytest

from triage.intake.dates import DateRules, from_serial, read_date

AS_OF = date(2026, 10, 31)


@pytest.mark.parametrize(
    ("text", "order", "expected"),
    [
        ("2024-01-15", None, date(2024, 1, 15)),
        ("2024-01-15 00:00:00", None, date(2024, 1, 15)),
        ("2024-01-15T09:30:00Z", None, date(2024, 1, 15)),
        ("20240115", None, date(2024, 1, 15)),
        ("44652", None, date(2022, 4, 1)),
        ("03/04/22", "DMY", date(2022, 4, 3)),
        ("03/04/22", "MDY", date(2022, 3, 4)),
        ("22/04/03", "YMD", date(2022, 4, 3)),
        ("3.4.2022", "DMY", date(2022, 4, 3)),
        ("31/12/2021", None, date(2021, 12, 31)),  # one reading only
        ("05/05/22", None, date(2022, 5, 5)),  # both readings are one day
        ("15 Jan 2024", None, date(2024, 1, 15)),
        ("15-Jan-24", None, date(2024, 1, 15)),
        ("15th January 2024", None, date(2024, 1, 15)),
        ("Jan 15, 2024", None, date(2024, 1, 15)),
        ("Mon 15 Jan 2024", None, date(2024, 1, 15)),
        ("15/01/27", "DMY", date(1927, 1, 15)),  # 2027 would be in the future
        ("29/02/2024", "DMY", date(2024, 2, 29)),
    ],
)
def test_a_day_is_read(text: str, order: str | None, expected: date) -> None:
    answer = read_date(text, DateRules(AS_OF, order))
    assert (answer.value, answer.problem) == (expected, None)


@pytest.mark.parametrize(
    ("text", "order", "problem"),
    [
        ("03/04/22", None, "ambiguous_date"),
        ("03/04/2022", "YMD", "ambiguous_date"),
        ("25/13/22", "DMY", "not_a_date"),
        ("04/25/22", "DMY", "not_a_date"),  # never turned round in silence
        ("30/02/2022", "DMY", "not_a_date"),
        ("before purchase", "DMY", "not_a_date"),
        ("Mar-22", "DMY", "imprecise_date"),
        ("2021", "DMY", "imprecise_date"),
        ("01/11/2026", "DMY", "out_of_range"),
        ("1989-12-31", None, "out_of_range"),
    ],
)
def test_what_is_no_certain_day_is_refused(text: str, order: str | None, problem: str) -> None:
    answer = read_date(text, DateRules(AS_OF, order, earliest=date(1990, 1, 1)))
    assert (answer.value, answer.problem) == (None, problem)


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("Mar-22", date(2022, 3, 1)),
        ("March 2022", date(2022, 3, 1)),
        ("03/2022", date(2022, 3, 1)),
        ("2022-03", date(2022, 3, 1)),
        ("Q2 2022", date(2022, 4, 1)),
        ("2021", date(2021, 1, 1)),
    ],
)
def test_a_month_stands_for_its_first_day_where_the_field_allows_it(
    text: str, expected: date
) -> None:
    answer = read_date(text, DateRules(AS_OF, month_precision=True))
    assert (answer.value, answer.flag) == (expected, "~")


def test_serial_numbers_have_the_leap_day_that_never_was() -> None:
    assert from_serial(1) == date(1900, 1, 1)
    assert from_serial(59) == date(1900, 2, 28)
    assert from_serial(61) == date(1900, 3, 1)
    assert from_serial(44652) == date(2022, 4, 1)
    assert from_serial(43190, is_1904=True) == date(2022, 4, 1)  # 1,462 days apart
    with pytest.raises(ValueError, match="60"):
        from_serial(60)
