"""What is wrong in a programme's own station table, each fault with its cell."""

from collections.abc import Sequence
from pathlib import Path

import numpy as np
import polars as pl

from triage.errors import Place, PlaceError, TriageError
from triage.physics.vapour import Floats

MONTHLY_NAMES = ("t_mean_c", "rh_mean_pct", "vp_mean_pa", "wind_ms", "t_min_daily_mean_c")
MONTHS = tuple(f"{month:02d}" for month in range(1, 13))
_AT_LEAST_ZERO = (
    *("hdd_18_3", "cdd_10", "rain_mm_year", "dri_m2_s_year", "frost_days_year"),
    *("freeze_thaw_cycles_year", "freeze_thaw_index", "wind_ms_year", "vp_mean_pa_year"),
)
# By quantity: low, high and what to write. Limits as of the climate table (schemas/tables).
_RANGES = {
    "t_mean_c": (-60.0, 50.0, "write degrees Celsius"),
    "t_min_daily_mean_c": (-70.0, 50.0, "write degrees Celsius"),
    "rh_mean_pct": (0.0, 100.0, "write percent, 0 to 100"),
    "vp_mean_pa": (1.0, 6000.0, "write pascals"),
    "wind_ms": (0.0, 60.0, "write metres a second"),
}
# Saturation bends upward, so the mean of damp hours may pass saturation at their mean temperature:
# by 2 K of temperature in mild months, 5 K where cold spells swing by tens of degrees. POLICY; all
# shipped stations keep to it.
_SPREAD_K, _SPREAD_FROST_K = 2.0, 5.0


def station_faults(
    path: Path,
    table: pl.DataFrame,
    cast: pl.DataFrame,
    numbers: Sequence[str],
    needed: Sequence[str],
) -> list[TriageError]:
    """Every fault of a station table, each column named once with its first row.

    Parameters
    ----------
    path
        File of the table.
    table, cast
        As it was read, and with `numbers` as Float64: null where a cell is no number.
    numbers, needed
        Columns of numbers that the table has; columns that must be filled.
    """
    if table.is_empty():
        return [PlaceError("the station table has no rows", str(path), "add stations")]
    faults = _Faults(path)
    for name in numbers:
        unread = cast[name].is_null() & table[name].is_not_null() | cast[name].is_nan().fill_null(
            value=False
        )
        faults.add(name, unread, f"{name} is not a number", "write a number, or leave it empty")
    for name in needed:
        faults.add(name, cast[name].is_null(), f"{name} is empty", "give it for every station")
    twice = cast["station_id"].is_duplicated()
    faults.add("station_id", twice, "a station is there twice", "keep one row a station")
    for name, limit in (("lat", 90), ("lon", 180)):
        outside = _outside(cast[name], -limit, limit)
        faults.add(name, outside, f"{name} is out of range", f"write degrees, -{limit} to {limit}")
    for name in _AT_LEAST_ZERO:
        if name in numbers:
            below = (cast[name] < 0).fill_null(value=False)
            faults.add(name, below, f"{name} is below zero", "write the yearly sum or mean")
    for name in MONTHLY_NAMES:
        _check_months(faults, name, table, cast)
    _check_saturation(faults, cast)
    return faults.found


class _Faults:
    """Collects faults of one file."""

    def __init__(self, path: Path) -> None:
        self.path = path
        self.found: list[TriageError] = []

    def add(self, column: str, rows: pl.Series, what: str, fix: str) -> None:
        """Blame the first of the rows, if there is one."""
        if rows.any():
            line = int(rows.arg_true()[0]) + 2  # the heading is line 1
            place = Place(str(self.path), row=line, column=column)
            self.found.append(PlaceError(what, place, fix))


def _outside(values: pl.Series, low: float, high: float) -> pl.Series:
    return ~values.is_between(low, high).fill_null(value=True) & ~values.is_nan().fill_null(
        value=False
    )


def _check_months(faults: _Faults, name: str, table: pl.DataFrame, cast: pl.DataFrame) -> None:
    """All twelve months or none, in columns and in each row; values that can be."""
    columns = [f"{name}_{month}" for month in MONTHS]
    there = [column for column in columns if column in cast.columns]
    if not there:
        return
    has_any = table.select(pl.any_horizontal(pl.col(there).is_not_null())).to_series()
    fix = "give all twelve months, or none of them"
    for column in columns:
        empty = table[column].is_null() if column in there else has_any
        faults.add(column, empty & has_any, f"{column} is missing", fix)
    low, high, words = _RANGES[name]
    for column in there:
        outside = _outside(cast[column], low, high)
        faults.add(column, outside, f"{column} is outside {low:g} to {high:g}", words)


def _check_saturation(faults: _Faults, cast: pl.DataFrame) -> None:
    for month in MONTHS:
        t_name, vp_name = f"t_mean_c_{month}", f"vp_mean_pa_{month}"
        if t_name in cast.columns and vp_name in cast.columns:
            t, vp = cast[t_name].to_numpy(), cast[vp_name].to_numpy()
            above = np.isfinite(t) & np.isfinite(vp) & (vp > _highest_mean_pa(t))
            what = f"{vp_name} is above saturation at {t_name}"
            fix = "check both, and the unit: pascals and degrees Celsius"
            faults.add(vp_name, pl.Series(above), what, fix)


def _highest_mean_pa(t_c: Floats) -> Floats:
    """Highest mean vapour pressure of a month of this mean temperature. [°C] → [Pa].

    Over water also below 0 °C, where the saturation of ISO 13788 is over ice: humidity and dew
    point are read against water there by convention (MEMORY).
    """
    with np.errstate(invalid="ignore", over="ignore", divide="ignore"):
        warmer = t_c + np.where(t_c < 0, _SPREAD_FROST_K, _SPREAD_K)
        return np.asarray(610.5 * np.exp(17.269 * warmer / (237.3 + warmer)))
