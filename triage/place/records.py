"""Climate records: one table for stations and regions, whatever they come from."""

from functools import cache
from pathlib import Path

import polars as pl

from triage.errors import PlaceError, raise_all
from triage.physics.wind_rain import driving_rain_index
from triage.place.station_checks import station_faults
from triage.reference import reference_table

MONTHS = tuple(f"{month:02d}" for month in range(1, 13))
MONTHLY = tuple(
    f"{name}_{month}"
    for name in ("t_mean_c", "rh_mean_pct", "vp_mean_pa", "wind_ms", "t_min_daily_mean_c")
    for month in MONTHS
)
FIGURES = (
    *("elevation_m", "hdd_18_3", "cdd_10", "rain_mm_year", "dri_m2_s_year", "frost_days_year"),
    *("freeze_thaw_cycles_year", "freeze_thaw_index", "t_mean_c_year", "rh_mean_pct_year"),
    *("vp_mean_pa_year", "wind_ms_year"),
)
TEXTS = ("climate_id", "climate_name", "kind", "dataset", "freeze_thaw_basis")
# -2/0 cycles a day of air frost at ten Met Office stations, 0.26 to 0.55 (DERIVED, SOURCES.md).
UK_CYCLES_PER_FROST_DAY = 0.43
FREEZE_THAW_INDEX_MISSING = (
    "freeze-thaw after driving rain needs hourly or daily rain and temperature of real years; "
    "the climate record holds monthly means or a typical year of air temperature only"
)
_NEEDED = ("station_id", "name", "lat", "lon", "hdd_18_3", "cdd_10")
_KINDS = ("station", "typical_year")


@cache
def us_stations() -> pl.DataFrame:
    """US typical-year stations as climate records, in order of `climate_id`."""
    return _shaped(
        reference_table("us_stations"),
        climate_id=pl.format("us_{}", "station_id"),
        climate_name=pl.format("{}, {}", "name", "state"),
        kind=pl.lit("typical_year"),
        dataset=pl.lit("TMY3"),
        freeze_thaw_basis=pl.lit("hourly air temperature of a typical year"),
    )


@cache
def uk_regions() -> pl.DataFrame:
    """UK regions as climate records, without the UK average, in order of `region_code`."""
    table = reference_table("uk_regions").filter(pl.col("region_code") > 0)
    cycles = (pl.col("frost_days_year") * UK_CYCLES_PER_FROST_DAY).round(1)
    record = _shaped(
        table.with_columns(freeze_thaw_cycles_year=cycles),
        climate_id=pl.format("uk_region_{}", pl.col("region_code").cast(pl.String).str.zfill(2)),
        climate_name=pl.col("region_name"),
        kind=pl.lit("region"),
        dataset=pl.lit("SAP Appendix U, Met Office 1991-2020, CRU CL 2.0"),
        freeze_thaw_basis=pl.when(cycles.is_not_null()).then(
            pl.lit("estimated: 0.43 times the days of air frost")
        ),
    )
    return record.with_columns(
        table["region_code"], table["ashrae_zone_est"], rain_source=table["rain_source"]
    )


def climate_records(own: pl.DataFrame | None) -> pl.DataFrame:
    """Records that a programme can draw on: its own stations alone, else all that ship."""
    if own is not None:
        return own
    stations = us_stations()
    return pl.concat([stations, uk_regions().select(stations.columns)])


def own_stations(path: Path) -> pl.DataFrame:
    """A programme's own station table (CSV or Parquet, columns as in `us_stations`).

    Needed are station_id, name, lat, lon, hdd_18_3 and cdd_10; other columns may be left out and
    are then unknown. The driving-rain index is computed where rain and wind are given. Monthly
    quantities must be there for all twelve months or for none.

    Raises
    ------
    PlaceError
        If the file cannot be read, or with every column that is missing, not a number, out of
        range, above saturation, without one of its months, or, for `station_id`, given twice.
    """
    table = _read(path)
    missing = [name for name in _NEEDED if name not in table.columns]
    if missing:
        what = f"the station table has no column {', '.join(missing)}"
        raise PlaceError(what, str(path), f"add them; needed are {', '.join(_NEEDED)}")
    numbers = [n for n in ("lat", "lon", *FIGURES, *MONTHLY) if n in table.columns]
    cast = table.with_columns(pl.col(numbers).cast(pl.Float64, strict=False))
    raise_all(station_faults(path, table, cast, numbers, _NEEDED))
    cast = cast.with_columns(pl.col("station_id", "name").cast(pl.String)).sort("station_id")
    return _shaped(
        cast,
        climate_id=pl.col("station_id"),
        climate_name=pl.col("name"),
        kind=_given(table, "kind", "station", _KINDS),
        dataset=_named(table, path),
        freeze_thaw_basis=_given(
            table, "freeze_thaw_basis", "as given in the programme's station table"
        ),
    ).with_columns(
        dri_m2_s_year=pl.coalesce(
            "dri_m2_s_year", driving_rain_index(pl.col("rain_mm_year"), pl.col("wind_ms_year"))
        )
    )


def _shaped(table: pl.DataFrame, **texts: pl.Expr) -> pl.DataFrame:
    absent = [name for name in (*FIGURES, *MONTHLY) if name not in table.columns]
    full = table.with_columns(pl.lit(None, dtype=pl.Float64).alias(name) for name in absent)
    return full.with_columns(**texts).select(*TEXTS, "lat", "lon", *FIGURES, *MONTHLY)


def _given(
    table: pl.DataFrame, name: str, default: str, known: tuple[str, ...] | None = None
) -> pl.Expr:
    """A text column that a table may have, e.g. one that ``triage climate`` wrote."""
    if name not in table.columns:
        return pl.lit(default)
    text = pl.col(name).cast(pl.String)
    usable = text.is_in(list(known)) if known else text.str.len_chars() > 0
    return pl.when(usable).then(text).otherwise(pl.lit(default))


def _named(table: pl.DataFrame, path: Path) -> pl.Expr:
    own = pl.lit(f"programme's own stations: {path.name}")
    if "dataset" not in table.columns:
        return own
    given = pl.col("dataset").cast(pl.String)
    return pl.when(given.str.len_chars() > 0).then(pl.format("{} ({})", own, given)).otherwise(own)


def _read(path: Path) -> pl.DataFrame:
    if not path.is_file():
        raise PlaceError("the station table is missing", str(path), "mend the path")
    try:
        if path.suffix.lower() == ".parquet":
            return pl.read_parquet(path)
        return pl.read_csv(path, infer_schema=False)
    except (OSError, pl.exceptions.PolarsError) as error:
        fix = "save it as CSV (UTF-8, commas) or Parquet"
        raise PlaceError(f"the station table cannot be read ({error})", str(path), fix) from error
