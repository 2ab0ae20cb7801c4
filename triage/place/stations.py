"""Station table from hourly weather files: the work of ``triage climate``."""

import tempfile
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import polars as pl

from triage.errors import FileError, PlaceError, TriageError, raise_all
from triage.place.records import MONTHS, own_stations
from triage.place.station_record import station_record
from triage.place.weather_files import read_weather
from triage.place.weather_hours import sound_hours
from triage.place.weather_lines import Finding

JSON_FORMAT = 1
_TEXTS = (
    *("station_id", "name", "state", "country", "kind", "dataset", "source_file"),
    *("period_start", "period_end", "rain_basis", "freeze_thaw_basis", "zone_source"),
    *("moist_letter_2013", "zone_rule_2013", "moist_letter_2010", "zone_rule_2010"),
)
_MONTHLY = ("t_mean_c", "t_min_daily_mean_c", "rh_mean_pct", "vp_mean_pa", "wind_ms", "rain_mm")
STATION_SCHEMA = pl.Schema(
    dict.fromkeys(("station_id", "name", "state", "country"), pl.String())
    | dict.fromkeys(("lat", "lon", "elevation_m"), pl.Float64())
    | dict.fromkeys(_TEXTS[4:9], pl.String())
    | {"completeness_pct": pl.Float64()}
    | dict.fromkeys(("hdd_18_3", "cdd_10"), pl.Float64())
    | {"zone_num_2013": pl.Int8(), "moist_letter_2013": pl.String(), "zone_rule_2013": pl.String()}
    | {"zone_num_2010": pl.Int8(), "moist_letter_2010": pl.String(), "zone_rule_2010": pl.String()}
    | {"zone_source": pl.String(), "frost_days_year": pl.Float64()}
    | dict.fromkeys(("freeze_thaw_cycles_year", "freeze_thaw_index"), pl.Float64())
    | {"freeze_thaw_basis": pl.String(), "rain_basis": pl.String(), "rain_mm_year": pl.Float64()}
    | dict.fromkeys(("wdr_annual_l_m2", "wdr_wall_deg"), pl.Float64())
    | {f"{name}_year": pl.Float64() for name in _MONTHLY[:1] + _MONTHLY[2:5]}
    | {f"{name}_{month}": pl.Float64() for name in _MONTHLY for month in MONTHS}
)


@dataclass(frozen=True, slots=True)
class StationTable:
    """A written station table, what was found on the way, and which files gave no station."""

    out: Path
    stations: pl.DataFrame
    findings: tuple[Finding, ...]
    refused: tuple[TriageError, ...]

    @property
    def is_complete(self) -> bool:
        """Whether every file gave a station and no reading had to be left out."""
        return not self.refused and not any(finding.is_loss for finding in self.findings)

    def to_dict(self) -> dict[str, Any]:
        """The table, the findings and the refused files as one JSON value."""
        return {
            "format": JSON_FORMAT,
            "out": str(self.out),
            "stations": self.stations.to_dicts(),
            "findings": [
                {
                    "file": found.where.file,
                    "row": found.where.row,
                    "column": found.where.column,
                    "what": found.what,
                    "is_loss": found.is_loss,
                }
                for found in self.findings
            ],
            "refused": [
                {
                    "file": error.where.file,
                    "what": error.what,
                    "where": str(error.where),
                    "do": error.fix,
                }
                for error in self.refused
            ],
        }


def write_stations(files: Sequence[Path], out: Path, say: Callable[[str], None]) -> StationTable:
    """Read weather files and write one station record a file, in order of `station_id`.

    Parameters
    ----------
    files
        EPW or TMY3 files, each of one station.
    out
        Table to write, .parquet or .csv; an older one of that name is replaced at the end.
    say
        Where progress goes.

    Raises
    ------
    PlaceError
        If `out` cannot be written, or a station record breaks the rules for station tables.
    TriageError
        If no file gives a station: then nothing is written, and every cause is named.
    """
    if out.suffix.lower() not in (".parquet", ".csv") or not out.parent.is_dir():
        fix = "name a .parquet or .csv file in a folder that exists"
        raise PlaceError("the station table cannot be written there", str(out), fix)
    rows: dict[str, dict[str, Any]] = {}
    findings: list[Finding] = []
    refused: list[TriageError] = []
    for path in files:
        try:
            row, found = _station(path)
            _refuse_second(path, row, rows)
        except TriageError as error:
            refused.append(error)
            continue
        rows[row["station_id"]] = row
        findings += found
        say(f"{path.name}: {row['name']}, {row['completeness_pct']:g} % complete")
    if not rows:
        raise_all(refused)
    table = pl.DataFrame([rows[key] for key in sorted(rows)], schema=STATION_SCHEMA)
    _write(table, out)
    return StationTable(out, table, tuple(findings), tuple(refused))


def _station(path: Path) -> tuple[dict[str, Any], tuple[Finding, ...]]:
    file = read_weather(path)
    hours, judged = sound_hours(file)
    row, more = station_record(file, hours)
    return row, (*file.findings, *judged, *more)


def _refuse_second(path: Path, row: dict[str, Any], rows: dict[str, dict[str, Any]]) -> None:
    first = rows.get(row["station_id"])
    if first is not None:
        what = f"station {row['station_id']} is there already, from {first['source_file']}"
        raise FileError(what, str(path), "give one file a station")


def _write(table: pl.DataFrame, out: Path) -> None:
    """Write beside, read back as a programme would, then rename: never half a table."""
    try:
        with tempfile.TemporaryDirectory(dir=out.parent, prefix=".stations-") as folder:
            draft = Path(folder) / out.name
            if out.suffix.lower() == ".csv":
                table.write_csv(draft)
            else:
                table.write_parquet(draft, compression="zstd", statistics=False)
            own_stations(draft)
            draft.replace(out)
    except OSError as error:
        fix = "close the table elsewhere, or name another file"
        raise PlaceError(f"the station table cannot be written ({error})", str(out), fix) from error
