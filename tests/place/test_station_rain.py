"""Rain of weather files: which columns are believed, and what follows from those that are."""

from collections.abc import Callable
from datetime import date, timedelta
from pathlib import Path
from typing import Any

import pytest
from weather_helpers import Hour, days_of, epw_text, packaged, write

from triage.place.station_rain import Rain, judge_rain
from triage.place.station_record import station_record
from triage.place.weather_files import read_weather
from triage.place.weather_hours import sound_hours

Weather = Callable[[date, int], Hour]


def record(path: Path) -> dict[str, Any]:
    file = read_weather(path)
    return station_record(file, sound_hours(file)[0])[0]


def verdict(path: Path) -> Rain:
    return judge_rain(sound_hours(read_weather(path))[0])


def ten_wet_hours(_day: date, hour: int) -> Hour:
    """1 mm in each of the first ten hours of each day, wind 5 m/s from the west."""
    return {"rain": 1.0 if hour <= 10 else 0.0, "period": 1}


def test_believed_rain_gives_sums_letters_and_driving_rain(tmp_path: Path) -> None:
    row = record(write(tmp_path / "a.epw", epw_text(ten_wet_hours)))
    assert row["rain_basis"] == "hourly readings"
    assert (row["rain_mm_01"], row["rain_mm_02"], row["rain_mm_year"]) == (310, 280, 3650)
    # 10 °C: far above both dry lines (340 mm; ISO 15927-3 assertion W1: 5 m/s, 1 mm/h, 1.1111).
    assert (row["moist_letter_2013"], row["moist_letter_2010"]) == ("A", "A")
    assert row["wdr_annual_l_m2"] == pytest.approx(3650 * 1.1111, abs=0.5)
    assert row["wdr_wall_deg"] == 270
    assert row["freeze_thaw_index"] == 0  # known, and never cold


def test_the_season_of_rain_decides_a_dry_letter_by_the_newer_editions(tmp_path: Path) -> None:
    # Assertion C4 (10 °C, 400 mm): before 2013 humid; after it dry if 75 % falls in summer.
    # Winter below -3 °C, so that the climate is not marine: mean of 0 and 20 °C is 10 °C.
    def weather(day: date, hour: int) -> Hour:
        summer = 4 <= day.month <= 9
        wet_days = 10 if summer else 5  # 60 and 30 wet days a year, of 5.0 and 10/3 mm
        amount = (300 / 60 if summer else 100 / 30) if day.day <= wet_days and hour == 3 else 0.0
        return {"t": 23.94 if summer else -4.0, "rain": amount, "period": 1}

    row = record(write(tmp_path / "a.epw", epw_text(weather)))
    assert row["rain_mm_year"] == pytest.approx(400, abs=0.1)
    assert row["t_mean_c_year"] == pytest.approx(10, abs=0.05)
    assert (row["moist_letter_2013"], row["moist_letter_2010"]) == ("B", "A")


def test_freeze_thaw_index_counts_falls_through_zero_within_two_days_of_rain(
    tmp_path: Path,
) -> None:
    start = date(2023, 1, 1)

    def weather(day: date, hour: int) -> Hour:
        # January: 2 °C by day, frost from 13 o'clock. Rain on the morning of every tenth day.
        wet = day.month > 1 or (day - start) % timedelta(10) == timedelta(0)
        cold = day.month == 1 and hour > 12
        return {"t": -1.0 if cold else 2.0, "rain": 1.0 if wet and hour == 8 else 0.0, "period": 1}

    row = record(write(tmp_path / "a.epw", epw_text(weather)))
    # Rain on 1, 11, 21 and 31 January at 8: that day's fall and the next one's are within 48 h,
    # on the third day it is 53 h. The 31st has one day left in January.
    assert row["freeze_thaw_index"] == 7
    assert row["freeze_thaw_basis"] == (
        "hourly air temperature of 1 year; index: also hourly rain and wind"
    )
    assert row["freeze_thaw_cycles_year"] == 0  # -1 °C does not reach -2 °C


def test_a_typical_year_has_no_freeze_thaw_index(tmp_path: Path) -> None:
    row = record(write(tmp_path / "a.epw", epw_text(ten_wet_hours, source="TMY3")))
    assert row["rain_mm_year"] == 3650
    assert row["freeze_thaw_index"] is None


def test_rain_below_freezing_wets_no_wall(tmp_path: Path) -> None:
    def frozen(day: date, hour: int) -> Hour:
        return ten_wet_hours(day, hour) | {"t": -5.0}

    row = record(write(tmp_path / "a.epw", epw_text(frozen)))
    assert (row["rain_mm_year"], row["wdr_annual_l_m2"]) == (3650, 0)


def nothing(_day: date, _hour: int) -> Hour:
    return {"rain": 0.0, "period": 1}


def six_hour_sums(day: date, hour: int) -> Hour:
    return {"rain": 6.0, "period": 6} if hour % 6 == 0 else ten_wet_hours(day, hour)


def no_july(day: date, hour: int) -> Hour:
    return {} if day.month == 7 else ten_wet_hours(day, hour)


def no_period(day: date, hour: int) -> Hour:
    return ten_wet_hours(day, hour) | {"period": 99}


def tenths(_day: date, hour: int) -> Hour:
    return {"rain": 10.0 if hour <= 10 else 0.0, "period": 1}


def one_wet_month(day: date, hour: int) -> Hour:
    return ten_wet_hours(day, hour) if day.month == 4 else nothing(day, hour)


@pytest.mark.parametrize(
    ("weather", "word"),
    [
        (nothing, "no rain in the file"),
        (six_hour_sums, "readings are sums over several hours"),
        (no_july, "month 7 has hourly readings in 0% of its hours"),
        (no_period, "gives no period"),
        (tenths, "36500 mm a year: the unit is in doubt"),
        (one_wet_month, "11 months have no rain at all"),
    ],
)
def test_rain_that_cannot_be_believed_is_unknown_rain(
    tmp_path: Path, weather: Weather, word: str
) -> None:
    row = record(write(tmp_path / "a.epw", epw_text(weather)))
    assert word in row["rain_basis"]
    assert row["rain_mm_year"] is row["rain_mm_06"] is row["wdr_annual_l_m2"] is None
    assert row["freeze_thaw_index"] is row["moist_letter_2010"] is None


def test_southern_summers_are_told_by_latitude(tmp_path: Path) -> None:
    """Rain in December to February only is summer rain in the south: not marine (C7)."""

    def weather(day: date, hour: int) -> Hour:
        cold = 4 <= day.month <= 9
        wet = hour == 5 and day.month in (10, 11, 12, 1, 2, 3)
        rain = 8.0 if wet else 0.5 if hour == 5 else 0.0
        return {"t": 8.0 if cold else 16.0, "rain": rain, "period": 1}

    lines = epw_text(weather, days_of(2023))
    north = record(write(tmp_path / "north.epw", lines))
    lines[0] = lines[0].replace("40.5", "-40.5")
    south = record(write(tmp_path / "south.epw", lines))
    # North: wettest cold month 248 mm, driest warm month 15 mm. South: 15.5 against 224 mm.
    assert (north["moist_letter_2013"], south["moist_letter_2013"]) == ("C", "A")


def test_real_files_with_a_plausible_sum_are_not_believed() -> None:
    # Sums found in the files when they were surveyed: 985 mm of which half is double (Champaign),
    # 8345 "mm" that are tenths, all marked doubtful (Greensboro). SEEN in the files.
    (champaign,) = packaged("pyenergyplus", "*725315_TMY3.epw")
    assert "sums over several hours" in verdict(champaign).verdict
    (greensboro,) = packaged("pvlib", "723170TYA.CSV")
    assert "modelled or doubtful" in verdict(greensboro).verdict
