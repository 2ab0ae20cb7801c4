"""Unit habits of section 3.3 of the job notes, one by one.

Expected values come from exact or published factors, worked by hand: 1 in = 25.4 mm and
1 ft = 304.8 mm (exact); 1 lb/ft3 = 16.01846 kg/m3, 1 h.ft2.F/Btu = 0.1761102 m2K/W,
1 Btu/h.ft2.F = 5.678263 W/m2K, 1 ft2 = 0.09290304 m2 (NIST SP 811, appendix B).
"""

import pytest

from triage.intake.number_rules import NumberRules
from triage.intake.numbers import read_number
from triage.intake.units import find_unit, unit_in_heading


def _rules(quantity: str, unit: str | None = None, **more: object) -> NumberRules:
    declared = find_unit(quantity, unit) if unit else None
    assert unit is None or declared is not None
    return NumberRules(quantity, unit=declared, **more)  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("text", "quantity", "expected"),
    [
        ('4"', "length_mm", 101.6),
        ("4 in", "length_mm", 101.6),
        ("4″", "length_mm", 101.6),
        ('13.5"', "length_mm", 342.9),
        ('3 1/2"', "length_mm", 88.9),
        ('3½"', "length_mm", 88.9),
        ("1'6\"", "length_mm", 457.2),
        ("2 ft", "length_mm", 609.6),
        ("100 mm", "length_mm", 100.0),
        ("100mm", "length_mm", 100.0),
        ("10 cm", "length_mm", 100.0),
        ("0.27 m", "length_mm", 270.0),
        ("1,250 mm", "length_mm", 1250.0),
        ("-150 mm", "length_mm", -150.0),
        ("68F", "temperature", 20.0),
        ("68 °F", "temperature", 20.0),
        ("20C", "temperature", 20.0),
        ("2 pcf", "density", 32.03692),
        ("0.5 lb", "density", 8.00923),
        ("3 lb/ft3", "density", 48.05538),
        ("8 kg", "density", 8.0),
        ("32 kg/m³", "density", 32.0),
        ("2.1 W/m2K", "u_value", 2.1),
        ("U-value: 2.1 W/m²K", "u_value", 2.1),
        ("0.37 Btu/h.ft2.F", "u_value", 2.1009573),
        ("100 sq m", "area", 100.0),
        ("1,250 sq ft", "area", 116.1288),
        ("1250 SF", "area", 116.1288),
        ("R-19", "thermal_r", 3.3460938),
        ("18%", "percent", 18.0),
        ("18", "percent", 18.0),
        ("WME 22", "percent", 22.0),
        ("1/300", "ratio", 300.0),
        ("1:150", "ratio", 150.0),
        ("300", "ratio", 300.0),
        ("35", "pitch", 35.0),
        ("35deg", "pitch", 35.0),
        ("6:12", "pitch", 26.565051),  # arctan 1/2
        ("6/12", "pitch", 26.565051),
        ("12/12", "pitch", 45.0),
        ("1:40 fall", "pitch", 1.432096),  # arctan 1/40
        ("100%", "pitch", 45.0),
        ("14 d", "days", 14.0),
        ("1 wk", "days", 7.0),
        ("G+2", "count", 3.0),
        ("2st", "count", 2.0),
        ("2A 3C", "count", 5.0),
        ("occ 5", "count", 5.0),
        ("51.5N", "latitude", 51.5),
        ("3.25W", "longitude", -3.25),
        ("51°30'0\"N", "latitude", 51.5),
        ("-3.25", "longitude", -3.25),
    ],
)
def test_a_habit_is_read_in_the_canonical_unit(text: str, quantity: str, expected: float) -> None:
    answer = read_number(text, _rules(quantity))
    assert answer.problem is None
    assert answer.value == pytest.approx(expected, rel=1e-6)


@pytest.mark.parametrize(
    ("text", "quantity", "expected", "flag"),
    [
        ("<20", "percent", 20.0, "<"),
        (">40", "percent", 40.0, ">"),
        ("150+ mm", "length_mm", None, None),
        ("150 mm+", "length_mm", 150.0, ">"),
        ("min 50 mm", "length_mm", 50.0, ">"),
        ("150 mm max", "length_mm", 150.0, "<"),
        ("~100 mm", "length_mm", 100.0, "~"),
        ("approx. 100 mm", "length_mm", 100.0, "~"),
        ("65 mm av", "length_mm", 65.0, "~"),
        ("c1900", "year", 1900.0, "~"),
        ("1930s", "year", 1930.0, "~"),
        ("pre-1919", "year", 1919.0, "<"),
    ],
)
def test_limits_and_approximations_keep_a_flag(
    text: str, quantity: str, expected: float | None, flag: str | None
) -> None:
    answer = read_number(text, _rules(quantity))
    assert (answer.value, answer.flag) == (expected, flag)


def test_a_declared_unit_is_that_of_bare_numbers_only() -> None:
    inches = _rules("length_mm", "in")
    assert read_number("4", inches).value == pytest.approx(101.6)
    assert read_number("100ish", _rules("length_mm", "mm")).flag == "~"
    assert read_number("100 mm", inches).value == 100.0


@pytest.mark.parametrize(("worse_is_high", "expected"), [(False, 101.6), (True, 152.4)])
def test_the_more_adverse_end_of_a_range_is_kept(worse_is_high: bool, expected: float) -> None:
    answer = read_number('4-6"', _rules("length_mm", high_is_worse=worse_is_high))
    assert (answer.flag, answer.problem) == ("~", "range_read")
    assert answer.value == pytest.approx(expected)


@pytest.mark.parametrize("quantity", ["length_mm", "temperature", "density", "area", "u_value"])
def test_a_bare_number_of_a_quantity_with_two_habits_is_refused(quantity: str) -> None:
    answer = read_number("20", _rules(quantity))
    assert (answer.value, answer.problem) == (None, "unit_missing")


def test_nothing_is_nothing_in_any_unit_of_length_but_not_of_temperature() -> None:
    assert read_number("0", _rules("length_mm")).value == 0.0
    assert read_number("0", _rules("temperature")).problem == "unit_missing"


def test_a_resistance_becomes_a_thickness_with_a_declared_material_only() -> None:
    # 19 x 0.1761102 m2K/W x 0.044 W/mK = 0.147228 m
    declared = _rules("length_mm", conductivity=0.044)
    assert read_number("R-19", declared).value == pytest.approx(147.228, rel=1e-5)
    assert read_number("RSI 2", declared).value == pytest.approx(88.0)
    assert read_number("R-19", _rules("length_mm")).problem == "unit_missing"
    assert read_number("R-11", _rules("u_value")).problem == "not_a_number"
    column_of_r = _rules("length_mm", conductivity=0.044, bare_resistance=True)
    assert read_number("19", column_of_r).value == pytest.approx(147.228, rel=1e-5)


@pytest.mark.parametrize("text", ["REL 200", "200 REL", "rel 15%"])
def test_a_relative_meter_scale_is_not_per_cent(text: str) -> None:
    assert read_number(text, _rules("percent")).problem == "not_a_percentage"


@pytest.mark.parametrize(
    "text", ["dry", "green LED", "2 courses", "1.5B", "low slope", "9" * 70, "1/0", "1..2"]
)
def test_what_is_no_number_is_refused(text: str) -> None:
    answer = read_number(text, _rules("length_mm", "mm"))
    assert (answer.value, answer.problem) == (None, "not_a_number")


def test_a_fraction_in_a_percentage_column_is_doubtful() -> None:
    assert read_number("0.18", _rules("percent")).problem == "fraction_or_percent"
    assert read_number("0.18%", _rules("percent")).value == 0.18
    assert read_number("1", _rules("percent")).value == 1.0
    assert read_number("1", _rules("percent", one_is_doubtful=True)).problem is not None


def test_decimal_and_thousands_signs() -> None:
    comma = _rules("percent", comma_decimal=True, point_decimal=False)
    assert read_number("12,5", comma).value == 12.5
    assert read_number("1.250,5", comma).value == 1250.5
    assert read_number("12.5", comma).problem == "not_a_number"
    assert read_number("12,5", _rules("percent")).problem == "not_a_number"
    assert read_number("1,250", _rules("count")).value == 1250.0


def test_range_limits_are_those_of_the_field() -> None:
    rules = _rules("percent", low=5.0, high=100.0)
    assert read_number("5", rules).value == 5.0
    assert read_number("100", rules).value == 100.0
    assert read_number("4.9", rules).problem == "out_of_range"
    assert read_number("2.5", _rules("count", is_whole=True)).problem == "not_a_number"


@pytest.mark.parametrize(
    ("heading", "quantity", "unit"),
    [
        ("Loft ins (mm)", "length_mm", "mm"),
        ("Wall thk (in)", "length_mm", "in"),
        ('Wall thk "', "length_mm", '"'),
        ("Foam depth mm", "length_mm", "mm"),
        ("Loft / depth / inches", "length_mm", "inches"),
        ("Temp °F", "temperature", "°F"),
        ("Temp F", "temperature", "F"),
        ("Area sq ft", "area", "sq ft"),
        ("Loft ins", "length_mm", None),  # insulation, not inches
        ("Foam blown in", "length_mm", None),
        ("Class c", "temperature", None),
    ],
)
def test_a_heading_states_a_unit_only_where_it_can_mean_nothing_else(
    heading: str, quantity: str, unit: str | None
) -> None:
    assert unit_in_heading(quantity, heading) == unit
