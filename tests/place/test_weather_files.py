"""Invented weather files with faults; expected figures follow by hand from constant weather."""

from collections.abc import Callable
from datetime import date
from pathlib import Path
from typing import Any

import pytest
from weather_helpers import HEADER, Hour, days_of, epw_line, epw_text, packaged, write

from triage.errors import FileError, TriageError
from triage.place import weather_lines
from triage.place.station_record import station_record
from triage.place.weather_files import read_weather
from triage.place.weather_hours import sound_hours
from triage.place.weather_lines import Finding

FIRST_LINE = 9  # of data, after eight of header
LEAP = date(2024, 2, 29)


def mild(_day: date, _hour: int) -> Hour:
    return {}


def record(path: Path) -> tuple[dict[str, Any], list[Finding]]:
    file = read_weather(path)
    hours, judged = sound_hours(file)
    row, more = station_record(file, hours)
    return row, [*file.findings, *judged, *more]


def told(findings: list[Finding], word: str) -> Finding:
    (one,) = [found for found in findings if word in found.what]
    return one


@pytest.fixture(scope="module")
def plain() -> list[str]:
    """A year of 10 °C, 80 % and 5 m/s, no rain known."""
    return epw_text(mild)


def test_a_constant_year_gives_its_constants(tmp_path: Path, plain: list[str]) -> None:
    row, findings = record(write(tmp_path / "a.epw", plain))
    assert findings == []
    assert row["hdd_18_3"] == 3029.5  # 365 days of 8.3 K
    assert row["cdd_10"] == row["frost_days_year"] == row["freeze_thaw_cycles_year"] == 0
    # 80 % of 610.5 exp(17.269 x 10 / 247.3) = 0.8 x 1227.31
    assert row["vp_mean_pa_06"] == pytest.approx(981.85, abs=0.06)
    assert (row["t_mean_c_12"], row["rh_mean_pct_02"], row["wind_ms_09"]) == (10, 80, 5)
    assert (row["kind"], row["period_start"], row["period_end"]) == (
        *("station", "2023-01-01"),
        "2023-12-31",
    )
    assert (row["station_id"], row["lat"], row["lon"]) == ("123456", 40.5, -99.5)
    assert (row["elevation_m"], row["completeness_pct"]) == (500, 100)


@pytest.mark.parametrize(
    ("cells", "column", "word"),
    [
        ({"t": 99.9}, "7 (dry-bulb temperature)", "marked as missing, here 99.9"),
        ({"t": 88}, "7 (dry-bulb temperature)", "outside -90 to 60, here 88.0"),
        ({"t": "warm"}, "7 (dry-bulb temperature)", "no number, here 'warm'"),
        ({"t": ""}, "7 (dry-bulb temperature)", "empty"),
        ({"rh": 999}, "9 (relative humidity)", "marked as missing, here 999.0"),
        ({"rh": 104}, "9 (relative humidity)", "outside 0 to 100, here 104.0"),
        ({"wind": 999}, "22 (wind speed)", "marked as missing, here 999.0"),
    ],
)
def test_readings_that_are_none_are_named_by_cell_and_change_no_mean(
    tmp_path: Path, plain: list[str], cells: Hour, column: str, word: str
) -> None:
    lines = list(plain)
    lines[508:510] = [epw_line(date(2023, 1, 21), hour, cells) for hour in (21, 22)]
    row, findings = record(write(tmp_path / "a.epw", lines))
    found = told(findings, word)
    assert (found.where.row, found.where.column, found.is_loss) == (509, column, True)
    assert found.what.startswith("2 of 8760")
    # The dew point stands in for humidity: 5 °C is 872.3 Pa in two of 744 hours.
    vapour = 981.85 - 2 / 744 * (981.85 - 872.3) if "rh" in cells else 981.85
    assert row["vp_mean_pa_01"] == pytest.approx(vapour, abs=0.06)
    assert (row["hdd_18_3"], row["t_mean_c_01"], row["wind_ms_01"]) == (3029.5, 10, 5)


def test_three_hours_are_bridged_and_four_cost_their_day(tmp_path: Path) -> None:
    def warming(day: date, hour: int) -> Hour:
        gap = (day == date(2023, 3, 3) and 5 <= hour <= 7) or (
            day == date(2023, 4, 4) and 5 <= hour <= 8
        )
        # Half the hours of the lost day are far off: only a day left out leaves the mean.
        odd = 30.0 if day == date(2023, 4, 4) and hour > 12 else 10.0 + hour
        return {"t": 99.9 if gap else odd}

    row, findings = record(write(tmp_path / "a.epw", epw_text(warming)))
    assert told(findings, "bridged").what.startswith("3 hours")
    assert row["t_mean_c_03"] == row["t_mean_c_04"] == 22.5  # 10 + (1 + ... + 24) / 24
    assert row["completeness_pct"] == 99.9


def test_lines_that_are_missing_are_counted_as_gaps(tmp_path: Path, plain: list[str]) -> None:
    lines = [line for n, line in enumerate(plain) if not 8 + 48 <= n < 8 + 72]
    row, findings = record(write(tmp_path / "a.epw", lines))
    assert told(findings, "24 hours of the months").what.endswith("2023-01-03 00:00")
    assert row["hdd_18_3"] == 3029.5


def test_a_record_with_a_tenth_missing_is_flagged(tmp_path: Path, plain: list[str]) -> None:
    def kept(line: str) -> bool:
        return not line.startswith("2023") or int(line.split(",")[2]) <= 25

    row, findings = record(write(tmp_path / "a.epw", [line for line in plain if kept(line)]))
    assert row["completeness_pct"] == pytest.approx(100 * 300 / 365, abs=0.05)
    assert told(findings, "of the temperatures are there").is_loss


def test_too_few_days_of_a_month_make_no_station(tmp_path: Path, plain: list[str]) -> None:
    lines = [line for line in plain if not line.startswith(("2023,7,", "2023,8,1,"))]
    with pytest.raises(FileError, match=r"each month: July 0\n"):
        record(write(tmp_path / "a.epw", lines))


def test_hours_that_are_there_twice_count_once(tmp_path: Path, plain: list[str]) -> None:
    again = epw_line(date(2023, 5, 5), 7, {"t": 50})
    row, findings = record(write(tmp_path / "a.epw", [*plain, again]))
    assert told(findings, "a second time").where.row == 8 + 8760 + 1
    assert row["t_mean_c_05"] == 10


def test_a_leap_day_counts_in_its_month_and_not_in_the_year(tmp_path: Path) -> None:
    def cold_on_leap_day(day: date, _hour: int) -> Hour:
        return {"t": -19.0 if day == LEAP else 10.0}

    path = write(tmp_path / "a.epw", epw_text(cold_on_leap_day, days_of(2024)))
    row, findings = record(path)
    assert told(findings, "29 February").where.row == 8 + 59 * 24 + 1
    assert row["t_mean_c_02"] == 9  # (28 x 10 - 19) / 29
    assert row["frost_days_year"] == pytest.approx(28 / 29, abs=0.05)
    left_out = [line for line in epw_text(mild, days_of(2024)) if not line.startswith("2024,2,29")]
    row, findings = record(write(tmp_path / "b.epw", left_out))
    assert findings == []  # a typical year leaves the day out: no gap
    assert row["hdd_18_3"] == 3029.5


def test_a_leap_day_of_another_year_is_left_out_by_line(tmp_path: Path, plain: list[str]) -> None:
    lines = [*plain, epw_line(date(2024, 2, 29), 1, {}).replace("2024", "2023", 1)]
    _, findings = record(write(tmp_path / "a.epw", lines))
    found = told(findings, "no date and hour that exist")
    assert (found.where.row, found.is_loss) == (8 + 8760 + 1, True)


def test_months_of_several_years_make_a_typical_year(tmp_path: Path) -> None:
    days = [day.replace(year=1990 + day.month) for day in days_of(2023)]

    def by_month(day: date, hour: int) -> Hour:
        # The seams would look like gaps to a clock, and bridging them would mix two months.
        is_seam = day.day == 1 and hour <= 2
        return {"t": 99.9 if is_seam else float(day.month)}

    row, findings = record(write(tmp_path / "a.epw", epw_text(by_month, days)))
    assert [row[f"t_mean_c_{n:02d}"] for n in (1, 6, 12)] == [1, 6, 12]
    assert (row["kind"], row["period_start"]) == ("typical_year", None)
    assert not [found for found in findings if "bridged" in found.what]


def test_two_years_give_the_mean_of_their_days(tmp_path: Path) -> None:
    def by_year(day: date, _hour: int) -> Hour:
        return {"t": 8.0 if day.year == 2022 else 12.0}

    row, _ = record(write(tmp_path / "a.epw", epw_text(by_year, days_of(2022) + days_of(2023))))
    assert row["t_mean_c_08"] == 10
    assert row["hdd_18_3"] == pytest.approx(365 * (10.3 + 6.3) / 2)
    assert (row["period_start"], row["period_end"]) == ("2022-01-01", "2023-12-31")


def test_fields_too_many_never_shift_the_columns(tmp_path: Path, plain: list[str]) -> None:
    trailing = plain[:8] + [line + "," for line in plain[8:]]  # harmless, and seen in the wild
    row, findings = record(write(tmp_path / "a.epw", trailing))
    assert (row["t_mean_c_01"], findings) == (10, [])
    one = [*plain]
    one[20] += ",7"
    _, findings = record(write(tmp_path / "b.epw", one))
    assert told(findings, "more than 35 fields").where.row == 21
    with pytest.raises(FileError, match="no line holds"):
        record(write(tmp_path / "c.epw", plain[:8] + [line + ",7" for line in plain[8:]]))


def test_a_first_hour_cut_short_costs_that_hour_alone(tmp_path: Path, plain: list[str]) -> None:
    short = [*plain[:8], "2023,1,1,1,60,?9", *plain[9:]]
    row, findings = record(write(tmp_path / "a.epw", short))
    assert row["t_mean_c_01"] == 10
    assert {(found.where.row, found.what[:9]) for found in findings} == {(9, "1 of 8760")}


def tmy3_lines() -> list[str]:
    (path,) = packaged("pvlib", "703165TY.csv")
    return path.read_text(encoding="utf-8").splitlines()


def test_tmy3_midnight_belongs_to_the_day_that_ends(tmp_path: Path) -> None:
    lines = tmy3_lines()
    heads = lines[1].split(",")
    cells = lines[1 + 31 * 24].split(",")
    assert cells[:2] == ["01/31/1997", "24:00"]
    before = float(cells[heads.index("Dry-bulb (C)")])
    cells[heads.index("Dry-bulb (C)")] = str(before + 7.44 * 5)
    lines[1 + 31 * 24] = ",".join(cells)
    row, _ = record(write(tmp_path / "a.csv", lines))
    # Published means 0.64 and 1.20; 37.2 K more in one of 744 hours is 0.05 K.
    assert row["t_mean_c_01"] == pytest.approx(0.69, abs=0.011)
    assert row["t_mean_c_02"] == pytest.approx(1.20, abs=0.0051)


def test_tmy3_codes_and_columns_are_named_as_in_the_file(tmp_path: Path) -> None:
    lines = tmy3_lines()
    spot = lines[1].split(",").index("RHum (%)")
    cells = lines[100].split(",")
    cells[spot] = "-9900"
    lines[100] = ",".join(cells)
    _, findings = record(write(tmp_path / "a.csv", lines))
    found = told(findings, "marked as missing")
    assert (found.where.row, found.where.column) == (101, "RHum (%)")
    with pytest.raises(FileError, match="no column Wspd"):
        read_weather(write(tmp_path / "b.csv", [lines[0], lines[1].replace("Wspd", "W"), lines[2]]))


def without_records(lines: list[str]) -> list[str]:
    return lines[:8]


BAD: list[tuple[str, Callable[[list[str]], list[str]]]] = [
    ("neither EPW", lambda lines: lines[1:]),
    ("no line holds an hour", without_records),
    ("no line DATA PERIODS", lambda lines: lines[:7] + lines[8:]),
    ("4 records an hour", lambda lines: [*lines[:7], "DATA PERIODS,1,4,Data", *lines[8:]]),
    ("lat is '95'", lambda lines: [lines[0].replace("40.5", "95"), *lines[1:]]),
    ("elevation_m is 'nan'", lambda lines: [lines[0].replace("500.0", "nan"), *lines[1:]]),
    ("cannot be read", lambda lines: ["LOCATION," + "x" * 200_000, *lines[1:]]),
    ("first line is not", lambda lines: ["LOCATION,here", *lines[1:]]),
    ("no text", lambda lines: [lines[0] + "\0", *lines[1:]]),
    ("from 0 and to 24", lambda lines: [*lines, lines[8].replace("1,1,1", "1,1,0", 1)]),
]


@pytest.mark.parametrize(("word", "spoil"), BAD)
def test_files_that_cannot_be_used_say_why(
    tmp_path: Path, plain: list[str], word: str, spoil: Callable[[list[str]], list[str]]
) -> None:
    path = write(tmp_path / "bad.epw", spoil(plain))
    with pytest.raises(FileError, match=word) as caught:
        read_weather(path)
    assert "bad.epw" in str(caught.value.where)


def test_files_beyond_the_limits_are_refused_unread(
    tmp_path: Path, plain: list[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    path = write(tmp_path / "big.epw", plain)
    monkeypatch.setattr(weather_lines, "MAX_HOURS", 8759)
    with pytest.raises(FileError, match="8760 hours, more than 8759"):
        read_weather(path)
    write(path, plain + plain[8:])
    monkeypatch.setattr(weather_lines, "MAX_BYTES", 1024 * 1024)
    with pytest.raises(FileError, match="larger than 1 MB"):
        read_weather(path)


@pytest.mark.parametrize("cut", range(0, 4000, 97))
def test_a_file_cut_anywhere_is_refused_and_never_breaks(
    tmp_path: Path, plain: list[str], cut: int
) -> None:
    path = tmp_path / "cut.epw"
    path.write_text("\n".join(plain)[:cut], encoding="utf-8")
    with pytest.raises(TriageError):
        record(path)


def test_names_with_commas_and_accents_are_kept(tmp_path: Path, plain: list[str]) -> None:
    head = HEADER[0].format(source="measured", station="").replace("Anyton", '"Sào, Paço"')
    path = tmp_path / "north mast.epw"
    path.write_text("\n".join([head, *plain[1:]]), encoding="latin-1")
    row, _ = record(path)
    assert (row["name"], row["station_id"], row["lat"]) == ("Sào, Paço", "north mast", 40.5)
