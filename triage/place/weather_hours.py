"""Readings of a weather file made sound: codes for missing, impossible values, gaps, order."""

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
import polars as pl
from numpy.typing import NDArray

from triage.errors import Place
from triage.physics.vapour import Floats, saturation_pressure_pa
from triage.place.weather_files import WeatherFile
from triage.place.weather_lines import Finding

BRIDGED_HOURS = 3  # POLICY: longer gaps would cut off the top or the bottom of a day
HOURS_IN_DAY = 24


@dataclass(frozen=True, slots=True)
class _Bounds:
    """Codes that say "not measured" and the range of possible readings."""

    codes: tuple[float, ...]
    low: float
    high: float
    is_optional: bool = False


# Codes: EPW dictionary and TMY3 manual (SEEN); ranges: world records with room (PRACTICE).
_BOUNDS = {
    "t_c": _Bounds((99.9, 999.0, 9999.0, -9900.0), -90.0, 60.0),
    "dew_c": _Bounds((99.9, 999.0, 9999.0, -9900.0), -100.0, 45.0, is_optional=True),
    "rh_pct": _Bounds((999.0, 9999.0, -9900.0), 0.0, 100.0),
    "wind_ms": _Bounds((999.0, 9999.0, -9900.0), 0.0, 60.0),
    "wind_from_deg": _Bounds((999.0, 9999.0, -9900.0), 0.0, 360.0, is_optional=True),
    "rain_mm": _Bounds((999.0, 9999.0, -9900.0), 0.0, 305.0, is_optional=True),
    "rain_hours": _Bounds((99.0, 999.0, 9999.0, -9900.0), 0.0, 24.0, is_optional=True),
    "rain_doubt": _Bounds((), 0.0, 9.0, is_optional=True),
}


@dataclass(frozen=True, slots=True)
class WeatherHours:
    """Every hour of the months that the file touches, in order; NaN where nothing is known.

    All arrays have shape (hours,), whole days from midnight. `is_stitched` if each calendar month
    is there once and they come from several years, as in a typical year.
    """

    year: Floats
    month: Floats
    t_c: Floats
    vp_pa: Floats
    rh_pct: Floats
    wind_ms: Floats
    wind_from_deg: Floats
    rain_mm: Floats
    rain_hours: Floats
    rain_doubt: Floats
    is_stitched: bool
    completeness_pct: float
    first_day: str
    last_day: str


def sound_hours(file: WeatherFile) -> tuple[WeatherHours, tuple[Finding, ...]]:
    """Judge all readings of a file, put them in order and bridge short gaps.

    Vapour pressure is relative humidity times saturation pressure hour by hour, from the dew
    point where no humidity was read. Gaps of up to three hours in temperature, vapour pressure
    and wind are bridged linearly; longer ones stay. Rain is never bridged.
    """
    findings: list[Finding] = []
    clean = {name: _clean(file, name, findings) for name in file.titles}
    hours = file.hours.with_columns(**clean)
    if "rain_doubt" not in clean:
        hours = hours.with_columns(rain_doubt=pl.lit(None, dtype=pl.Float64))
    hours = _once(file, hours, findings)
    hours = hours.with_columns(vp_pa=pl.Series(_vapour_pa(file, hours, findings)))
    grid, is_stitched = _grid(hours)
    known = grid["t_c"].is_not_null().sum()
    _report_gaps(file, grid, findings)
    grid = _bridged(file, grid, findings)
    measured = 100.0 * float(known) / grid.height
    return _as_hours(grid, measured, is_stitched=is_stitched), tuple(findings)


def _clean(file: WeatherFile, name: str, findings: list[Finding]) -> pl.Series:
    bounds, raw = _BOUNDS[name], file.hours[name]
    values = raw.cast(pl.Float64, strict=False)
    unread = raw.is_not_null() & values.is_null()
    coded = values.is_in(list(bounds.codes)).fill_null(value=False)
    outside = ~values.is_between(bounds.low, bounds.high).fill_null(value=True) & ~coded
    causes = [
        (unread, "no number"),
        (outside, f"outside {bounds.low:g} to {bounds.high:g}"),
    ]
    if not bounds.is_optional:
        causes += [(raw.is_null(), "empty"), (coded, "marked as missing")]
    for bad, what in causes:
        if bad.any():
            first = int(bad.arg_true()[0])
            where = Place(
                str(file.path), row=int(file.hours["row"][first]), column=file.titles[name]
            )
            cell = "" if raw[first] is None else f", here {raw[first]!r}"
            many = f"{int(bad.sum())} of {raw.len()} readings left out: {what}{cell}"
            findings.append(Finding(where, many, is_loss=not bounds.is_optional))
    return values.set(unread | outside | coded | values.is_nan().fill_null(value=False), None)


def _once(file: WeatherFile, hours: pl.DataFrame, findings: list[Finding]) -> pl.DataFrame:
    stamp = ("year", "month", "day", "hour")
    first = hours.select(pl.struct(stamp).is_first_distinct()).to_series()
    if not first.all():
        where = Place(str(file.path), row=int(hours["row"].filter(~first)[0]))
        what = f"{int((~first).sum())} hours are there a second time: left out"
        findings.append(Finding(where, what, is_loss=True))
    return hours.filter(first)


def _vapour_pa(file: WeatherFile, hours: pl.DataFrame, findings: list[Finding]) -> Floats:
    """Hourly vapour pressure; NaN where neither humidity nor dew point is known. [Pa]."""
    t, rh, dew = (hours[name].to_numpy() for name in ("t_c", "rh_pct", "dew_c"))
    # Masked, because saturation pressure takes numbers only.
    by_humidity = rh / 100.0 * _saturation_pa(t)
    by_dew = np.minimum(_saturation_pa(dew), _saturation_pa(t))
    from_dew = np.isnan(by_humidity) & np.isfinite(by_dew)
    if from_dew.any():
        where = Place(str(file.path), row=int(hours["row"][int(np.argmax(from_dew))]))
        what = f"{int(from_dew.sum())} hours without relative humidity take the dew point"
        findings.append(Finding(where, what, is_loss=False))
    return np.asarray(np.where(from_dew, by_dew, by_humidity))


def _saturation_pa(t_c: Floats) -> Floats:
    known = np.isfinite(t_c)
    return np.where(known, saturation_pressure_pa(np.where(known, t_c, 0.0)), np.nan)


def _grid(hours: pl.DataFrame) -> tuple[pl.DataFrame, bool]:
    """All hours of every month that occurs, in order of time or, if stitched, of the calendar."""
    months = hours.select("year", "month").unique()
    is_stitched = bool(months["month"].is_unique().all() and months["year"].n_unique() > 1)
    first = pl.date("year", "month", 1)
    days = months.with_columns(
        day=pl.int_ranges(1, first.dt.month_end().dt.day().cast(pl.Int32) + 1, dtype=pl.Int32)
    ).explode("day")
    grid = days.join(pl.DataFrame({"hour": range(HOURS_IN_DAY)}).cast(pl.Int32), how="cross")
    order = ["month", "day", "hour"] if is_stitched else ["year", "month", "day", "hour"]
    stamp = ["year", "month", "day", "hour"]
    grid = grid.sort(order).join(hours, on=stamp, how="left", maintain_order="left")
    return _without_added_leap_days(grid), is_stitched


def _without_added_leap_days(grid: pl.DataFrame) -> pl.DataFrame:
    """A typical year leaves 29 February out: that is no gap."""
    leap = (pl.col("month") == 2) & (pl.col("day") == 29)
    empty = pl.col("row").is_null().all().over("year", "month", "day")
    return grid.filter(~(leap & empty))


def _report_gaps(file: WeatherFile, grid: pl.DataFrame, findings: list[Finding]) -> None:
    absent = grid.filter(pl.col("row").is_null())
    if not absent.is_empty():
        year, month, day, hour = absent.row(0)[:4]
        what = (
            f"{absent.height} hours of the months in the file have no line, the first "
            f"{year:04d}-{month:02d}-{day:02d} {hour:02d}:00"
        )
        findings.append(Finding(Place(str(file.path)), what, is_loss=True))
    leap = grid.filter((pl.col("month") == 2) & (pl.col("day") == 29))
    if not leap.is_empty():
        where = Place(str(file.path), row=int(leap["row"].drop_nulls()[0]))
        what = "29 February is used for the means of February, which counts 28 days in yearly sums"
        findings.append(Finding(where, what, is_loss=False))


def _bridged(file: WeatherFile, grid: pl.DataFrame, findings: list[Finding]) -> pl.DataFrame:
    filled = grid.with_columns(_bridge(grid, name) for name in ("t_c", "vp_pa", "wind_ms"))
    count = grid["t_c"].null_count() - filled["t_c"].null_count()
    if count:
        what = f"{count} hours of temperature bridged over gaps of up to {BRIDGED_HOURS} hours"
        findings.append(Finding(Place(str(file.path)), what, is_loss=True))
    return filled


def _bridge(grid: pl.DataFrame, name: str) -> pl.Series:
    """Short gaps filled linearly; months of a stitched year do not reach over to each other."""
    return grid.select(
        "year",
        "month",
        value=name,
        run=pl.struct("year", "month", pl.col(name).is_null()).rle_id(),
        filled=pl.col(name).interpolate().over("year", "month"),
    ).select(
        pl.when(pl.len().over("run") <= BRIDGED_HOURS).then("filled").otherwise("value").alias(name)
    )[name]


def _as_hours(grid: pl.DataFrame, measured_pct: float, *, is_stitched: bool) -> WeatherHours:
    def array(name: str) -> Floats:
        return np.asarray(grid[name].cast(pl.Float64).fill_null(float("nan")).to_numpy())

    names = (
        *("year", "month", "t_c", "vp_pa", "wind_ms", "wind_from_deg"),
        *("rain_mm", "rain_hours", "rain_doubt"),
    )
    arrays = {name: array(name) for name in names}
    rh = 100.0 * arrays["vp_pa"] / _saturation_pa(arrays["t_c"])
    days = [
        f"{y:04d}-{m:02d}-{d:02d}"
        for y, m, d in grid.select("year", "month", "day")[[0, -1]].rows()
    ]
    return WeatherHours(
        **arrays,
        rh_pct=np.minimum(rh, 100.0),
        is_stitched=is_stitched,
        completeness_pct=round(measured_pct, 1),
        first_day=days[0],
        last_day=days[1],
    )


def calendar_months(hours: WeatherHours) -> Iterator[tuple[int, NDArray[np.bool_]]]:
    """Index of the month, 0 to 11, and which hours belong to it."""
    return ((index, hours.month == index + 1) for index in range(12))
