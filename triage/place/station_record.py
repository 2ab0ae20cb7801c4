"""From hours to a station record: monthly means, degree days, zones, frost."""

import calendar
import re
from typing import Any

import numpy as np
from numpy.typing import NDArray

from triage.errors import FileError, Place
from triage.physics.climate_zone import (
    COOLING_BASE_C,
    HEATING_BASE_C,
    UNKNOWN_ZONE,
    Edition,
    classify,
    degree_days,
    thermal_zone,
)
from triage.physics.frost import freeze_thaw_cycles
from triage.physics.vapour import Floats
from triage.place.station_rain import MONTH_DAYS, Rain, judge_rain, wall_rain
from triage.place.weather_files import WeatherFile
from triage.place.weather_hours import HOURS_IN_DAY, WeatherHours, calendar_months
from triage.place.weather_lines import Finding

WHOLE_DAYS = 20  # POLICY: fewer whole days make no monthly mean
COMPLETE_PCT = 90.0  # POLICY: a record below it is flagged
YEAR_DAYS = 365.0
# Pore water freezes below 0 °C; -2 is usual for air (MEMORY), and what the shipped stations use.
FREEZES_AT_C, THAWS_ABOVE_C = -2.0, 0.0
EDITIONS: dict[str, Edition] = {"2013": "2013+", "2010": "2010-"}
_TYPICAL = re.compile(r"TMY|IWEC|CWEC|TRY|DSY|WYEC|CTZ|CSWD|SWEC|RMY|CZ20|ISHRAE|TYPICAL", re.I)


def station_record(
    file: WeatherFile, hours: WeatherHours
) -> tuple[dict[str, Any], tuple[Finding, ...]]:
    """One row of a station table, as `triage.place.records.own_stations` reads it.

    Means of a calendar month are over its whole days in all years of the file; yearly sums are of
    a year of 365 days, February 28. Zones are given by both families of editions.

    Returns
    -------
    dict, tuple of Finding
        The row, and what a user of the record must know about it.

    Raises
    ------
    FileError
        If a month has fewer than 20 days with all 24 temperatures: no mean would be honest.
    """
    findings: list[Finding] = []
    is_typical = hours.is_stitched or bool(_TYPICAL.search(file.dataset))
    row = _identity(file, hours, is_typical=is_typical)
    days = hours.t_c.reshape(-1, HOURS_IN_DAY)
    whole = np.asarray(np.isfinite(days).all(axis=1), dtype=np.bool_)
    months = hours.month[::HOURS_IN_DAY]
    _require_months(file, months, whole)
    row |= _temperatures(days[whole], months[whole])
    row |= _air(file, hours, findings)
    rain = judge_rain(hours)
    row |= _rain(rain) | _zones(row, rain)
    wall = wall_rain(hours, rain, is_typical=is_typical)
    row |= {
        "wdr_annual_l_m2": wall.annual_l_m2,
        "wdr_wall_deg": wall.wall_deg,
        "freeze_thaw_index": wall.freeze_thaw_index,
        "freeze_thaw_basis": _basis(hours, wall.freeze_thaw_index, is_typical=is_typical),
    }
    if hours.completeness_pct < COMPLETE_PCT:
        what = f"only {hours.completeness_pct:g} % of the temperatures are there"
        findings.append(Finding(Place(str(file.path)), what, is_loss=True))
    return row, tuple(findings)


def _identity(file: WeatherFile, hours: WeatherHours, *, is_typical: bool) -> dict[str, Any]:
    return {
        "station_id": file.station_id,
        "name": file.name,
        "state": file.state or None,
        "country": file.country or None,
        "lat": file.lat,
        "lon": file.lon,
        "elevation_m": file.elevation_m,
        "kind": "typical_year" if is_typical else "station",
        "dataset": file.dataset,
        "source_file": file.path.name,
        # The years of a stitched record say nothing about a period.
        "period_start": None if hours.is_stitched else hours.first_day,
        "period_end": None if hours.is_stitched else hours.last_day,
        "completeness_pct": hours.completeness_pct,
    }


def _require_months(file: WeatherFile, months: Floats, whole: NDArray[np.bool_]) -> None:
    counts = [int((whole & (months == number)).sum()) for number in range(1, 13)]
    short = [
        f"{calendar.month_name[number]} {count}"
        for number, count in enumerate(counts, start=1)
        if count < WHOLE_DAYS
    ]
    if short:
        what = f"too few whole days, {WHOLE_DAYS} are needed in each month: {', '.join(short)}"
        fix = "give a file that holds all twelve months"
        raise FileError(what, str(file.path), fix)


def _temperatures(days: Floats, months: Floats) -> dict[str, float]:
    """Figures of whole days, shape (days, 24), and the calendar month of each."""
    mean, low = days.mean(axis=1), days.min(axis=1)
    of_month = [months == number for number in range(1, 13)]
    t_mean = np.array([mean[month].mean() for month in of_month])
    t_low = np.array([low[month].mean() for month in of_month])
    frost = np.array([(low[month] < 0).mean() for month in of_month])

    def year_sum(base_c: float, *, heating: bool) -> float:
        by_day = [degree_days(mean[m], base_c, heating=heating) / m.sum() for m in of_month]
        return round(float(np.array(by_day) @ MONTH_DAYS), 1)

    # Freezing counts at the limit itself, hence the nudge: readings have one decimal.
    cycles = freeze_thaw_cycles(days.ravel(), FREEZES_AT_C + 1e-6, THAWS_ABOVE_C)
    return {
        "hdd_18_3": year_sum(HEATING_BASE_C, heating=True),
        "cdd_10": year_sum(COOLING_BASE_C, heating=False),
        "frost_days_year": round(float(frost @ MONTH_DAYS), 1),
        "freeze_thaw_cycles_year": round(float(cycles) * YEAR_DAYS / len(days), 1),
        "t_mean_c_year": round(float(t_mean @ MONTH_DAYS / YEAR_DAYS), 2),
        **_monthly("t_mean_c", t_mean, 2),
        **_monthly("t_min_daily_mean_c", t_low, 2),
    }


def _air(file: WeatherFile, hours: WeatherHours, findings: list[Finding]) -> dict[str, Any]:
    row: dict[str, Any] = {}
    for name, values, digits, what in (
        ("vp_mean_pa", hours.vp_pa, 1, "humidity"),
        ("rh_mean_pct", hours.rh_pct, 1, "humidity"),
        ("wind_ms", hours.wind_ms, 2, "wind"),
    ):
        known = np.isfinite(values)
        of_month = [known & month for _, month in calendar_months(hours)]
        short = [n + 1 for n, m in enumerate(of_month) if m.sum() < WHOLE_DAYS * HOURS_IN_DAY]
        if short:
            row |= dict.fromkeys([*_monthly(name, MONTH_DAYS, 0), f"{name}_year"])
            text = f"no monthly {name}: too few readings of {what} in months {short}"
            findings.append(Finding(Place(str(file.path)), text, is_loss=True))
            continue
        means = np.array([values[month].mean() for month in of_month])
        row |= _monthly(name, means, digits)
        row[f"{name}_year"] = round(float(means @ MONTH_DAYS / YEAR_DAYS), digits)
    return row


def _rain(rain: Rain) -> dict[str, Any]:
    row: dict[str, Any] = {"rain_basis": rain.verdict}
    if rain.month_mm is None:
        return row | dict.fromkeys([*_monthly("rain_mm", MONTH_DAYS, 0), "rain_mm_year"])
    return (
        row
        | _monthly("rain_mm", rain.month_mm, 1)
        | {"rain_mm_year": round(float(rain.month_mm.sum()), 1)}
    )


def _zones(row: dict[str, Any], rain: Rain) -> dict[str, Any]:
    """Zone number, letter and the rule that gave it, by both families of editions."""
    hdd, cdd = float(row["hdd_18_3"]), float(row["cdd_10"])
    t_mean = np.array([row[name] for name in _monthly("t_mean_c", MONTH_DAYS, 0)])
    zones: dict[str, Any] = {"zone_source": "computed"}
    for key, edition in EDITIONS.items():
        found = classify(hdd, cdd, t_mean, rain.month_mm, north=row["lat"] >= 0, edition=edition)
        rule = found.letter_rule
        if found.zone is None:
            either = [
                int(thermal_zone(np.array(hdd), np.array(cdd), edition, m)) for m in (True, False)
            ]
            if UNKNOWN_ZONE not in either:
                rule = f"zone {either[0]}C if marine, else {either[1]}: no monthly rain to tell"
        zones |= {
            f"zone_num_{key}": found.zone,
            f"moist_letter_{key}": found.letter,
            f"zone_rule_{key}": rule,
        }
    return zones


def _basis(hours: WeatherHours, index: float | None, *, is_typical: bool) -> str:
    if is_typical:
        return "hourly air temperature of a typical year"
    years = np.unique(hours.year).size
    of = f"{years} year" if years == 1 else f"{years} years"
    also = "" if index is None else "; index: also hourly rain and wind"
    return f"hourly air temperature of {of}{also}"


def _monthly(name: str, values: Floats, digits: int) -> dict[str, float]:
    return {
        f"{name}_{number:02d}": round(float(value), digits)
        for number, value in enumerate(values, start=1)
    }
