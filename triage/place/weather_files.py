"""Hourly weather files (EPW, TMY3) as one table of hours, each with the line it came from.

pvlib reads the readings; identity, dates and the shape of the lines are checked here first. Its
time index is not used: it moves 29 February into March and needs a year that holds the day.
"""

import warnings
from collections.abc import Mapping
from dataclasses import dataclass
from io import StringIO
from pathlib import Path
from typing import Any

import polars as pl

from triage.errors import FileError, Place
from triage.place.weather_lines import (
    EPW_DATE,
    TMY3_DATE,
    Finding,
    cells,
    dated_lines,
    text_lines,
)

EPW_FIELDS = 35
TMY3_START = "Date (MM/DD/YYYY),Time (HH:MM)"
# Name here: name in pvlib's frame. An EPW file has no headings: its reports count the fields.
EPW_COLUMNS = {
    "t_c": "temp_air",
    "dew_c": "temp_dew",
    "rh_pct": "relative_humidity",
    "wind_from_deg": "wind_direction",
    "wind_ms": "wind_speed",
    "rain_mm": "liquid_precipitation_depth",
    "rain_hours": "liquid_precipitation_quantity",
}
EPW_TITLES = {
    "t_c": "7 (dry-bulb temperature)",
    "dew_c": "8 (dew point)",
    "rh_pct": "9 (relative humidity)",
    "wind_from_deg": "21 (wind direction)",
    "wind_ms": "22 (wind speed)",
    "rain_mm": "34 (liquid precipitation depth)",
    "rain_hours": "35 (liquid precipitation quantity)",
}
TMY3_COLUMNS = {
    **{name: EPW_COLUMNS[name] for name in ("t_c", "dew_c", "rh_pct", "wind_from_deg", "wind_ms")},
    "rain_mm": "Lprecip depth (mm)",
    "rain_hours": "Lprecip quantity (hr)",
    "rain_doubt": "Lprecip uncert (code)",
}
TMY3_TITLES = {
    "t_c": "Dry-bulb (C)",
    "dew_c": "Dew-point (C)",
    "rh_pct": "RHum (%)",
    "wind_from_deg": "Wdir (degrees)",
    "wind_ms": "Wspd (m/s)",
    "rain_mm": "Lprecip depth (mm)",
    "rain_hours": "Lprecip quantity (hr)",
    "rain_doubt": "Lprecip uncert (code)",
}


@dataclass(frozen=True, slots=True)
class WeatherFile:
    """One file as it stands, before its readings are judged.

    `hours` has one row a line with a usable date: `row` (line of the file), `year`, `month`,
    `day`, `hour` (0 to 23: the hour that begins then), and one column for each key of `titles`,
    which gives the column's name in the file: Float64, or text where a cell is no number.
    """

    path: Path
    kind: str
    station_id: str
    name: str
    state: str
    country: str
    dataset: str
    lat: float
    lon: float
    elevation_m: float
    hours: pl.DataFrame
    titles: Mapping[str, str]
    findings: tuple[Finding, ...]


def read_weather(path: Path) -> WeatherFile:
    """Read an EPW or a TMY3 file; which of the two, its first lines say.

    Raises
    ------
    FileError
        If the file is missing, too large, of another kind, has several records an hour, or holds
        no hour with a usable date. Single lines that cannot be used are findings.
    """
    lines = text_lines(path)
    if lines[0].upper().startswith("LOCATION,"):
        return _epw(path, lines)
    if len(lines) > 1 and lines[1].startswith(TMY3_START):
        return _tmy3(path, lines)
    what = "the file is neither EPW (first line LOCATION,...) nor TMY3 (second line Date, Time)"
    raise FileError(what, Place(str(path), row=1), "give hourly files of one of these two formats")


def _epw(path: Path, lines: list[str]) -> WeatherFile:
    head = _head(path, lines, 10, "LOCATION,city,state,country,source,WMO,lat,lon,zone,height")
    periods = [n for n, line in enumerate(lines[:40]) if line.upper().startswith("DATA PERIODS")]
    if not periods:
        what = "there is no line DATA PERIODS before the hours"
        raise FileError(what, str(path), "give a whole EPW file, with its eight header lines")
    records = cells(path, lines, periods[0])[2:3]
    if records and records[0].strip() not in ("", "1"):
        where = Place(str(path), row=periods[0] + 1, column="3 (records an hour)")
        raise FileError(f"{records[0].strip()} records an hour", where, "give hourly means")
    rows, findings = dated_lines(path, lines, periods[0] + 1, EPW_DATE, EPW_FIELDS)
    # pvlib wants eight lines of header, a zone and a place: all its own index is made of. The last
    # line is as wide as the hours, or else a first hour cut short would set the width.
    header = ["LOCATION,,,,,,0,0,0,0", *["-"] * 6, ",".join("-" * EPW_FIELDS)]
    frame = _by_pvlib(path, "read_epw", header, rows, {})
    return WeatherFile(
        path=path,
        kind="EPW",
        station_id=_identity(head[5], path),
        name=head[1] or path.stem,
        state=head[2],
        country=head[3],
        dataset=head[4] or "EPW",
        **_place(path, head[6], head[7], head[9]),
        hours=_table(rows, frame, EPW_COLUMNS),
        titles=EPW_TITLES,
        findings=findings,
    )


def _tmy3(path: Path, lines: list[str]) -> WeatherFile:
    head = _head(path, lines, 7, "USAF,name,state,zone,lat,lon,height")
    names = cells(path, lines, 1)
    absent = [title for title in TMY3_TITLES.values() if title not in names]
    if absent:
        where = Place(str(path), row=2)
        raise FileError(f"no column {', '.join(absent)}", where, "give a whole TMY3 file")
    rows, findings = dated_lines(path, lines, 2, TMY3_DATE, len(names))
    header = ["0,,,0,0,0,0", lines[1].rstrip(", ")]
    frame = _by_pvlib(path, "read_tmy3", header, rows, {"map_variables": True})
    return WeatherFile(
        path=path,
        kind="TMY3",
        station_id=_identity(head[0], path),
        name=head[1] or path.stem,
        state=head[2],
        country="USA",
        dataset="TMY3",
        **_place(path, head[4], head[5], head[6]),
        hours=_table(rows, frame, TMY3_COLUMNS),
        titles=TMY3_TITLES,
        findings=findings,
    )


def _head(path: Path, lines: list[str], count: int, pattern: str) -> list[str]:
    fields = cells(path, lines, 0)
    if len(fields) < count:
        where = Place(str(path), row=1)
        raise FileError(f"the first line is not {pattern}", where, "give a whole file")
    return fields


def _identity(text: str, path: Path) -> str:
    """The station's number, six digits; a file without one is known by its own name."""
    known = text.strip("0 9") != ""
    return (text.zfill(6) if text.isdigit() else text) if known else path.stem


def _place(path: Path, lat: str, lon: str, height: str) -> dict[str, float]:
    found: dict[str, float] = {}
    for name, text, low, high in (
        ("lat", lat, -90.0, 90.0),
        ("lon", lon, -180.0, 180.0),
        ("elevation_m", height, -430.0, 6000.0),
    ):
        try:
            value = float(text)
        except ValueError:
            value = float("nan")
        if not low <= value <= high:  # NaN too
            what = f"{name} is {text!r}, not a number from {low:g} to {high:g}"
            raise FileError(what, Place(str(path), row=1), "mend the first line")
        found[name] = value
    return found


def _by_pvlib(
    path: Path, reader: str, header: list[str], rows: pl.DataFrame, options: dict[str, object]
) -> Any:  # noqa: ANN401 - a pandas frame
    from pvlib import iotools  # noqa: PLC0415 - a second to import

    lines = rows["text"].to_list()
    try:
        with warnings.catch_warnings():
            # Columns of mixed kinds are read as text below, cell by cell.
            warnings.filterwarnings("ignore", message=".*mixed types.*")
            frame, _ = getattr(iotools, reader)(
                StringIO("\n".join([*header, *lines, ""])), **options
            )
    except (ValueError, KeyError, OverflowError) as error:
        what = f"the hours cannot be read ({type(error).__name__}: {error})"
        raise FileError(what, str(path), "look for lines of another shape") from error
    if len(frame) != rows.height:
        what = f"{rows.height} lines were read as {len(frame)}"
        raise FileError(what, str(path), "look for lines of another shape")
    return frame


def _table(rows: pl.DataFrame, frame: Any, columns: Mapping[str, str]) -> pl.DataFrame:  # noqa: ANN401
    """Hours with their readings: Float64, or text where a column holds a cell that is none."""
    readings = {name: _readings(frame[column]) for name, column in columns.items()}
    return rows.select("row", "year", "month", "day", "hour").with_columns(**readings)


def _readings(column: Any) -> pl.Series:  # noqa: ANN401 - a pandas series
    if column.dtype.kind in "iuf":
        return pl.Series(column.to_numpy(dtype="float64")).fill_nan(None)
    texts = column.astype(object).where(column.notna(), None)
    return pl.Series([None if cell is None else str(cell) for cell in texts], dtype=pl.String)
