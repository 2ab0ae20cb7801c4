"""Monthly figures of a programme's own station table: what is refused, and what must pass."""

from pathlib import Path

import polars as pl
import pytest

from triage.errors import ManyErrors, PlaceError
from triage.place.records import MONTHS, own_stations
from triage.reference import reference_table

BASE = {"station_id": "A1", "name": "Mast", "lat": 50.0, "lon": 1.0, "hdd_18_3": 3000.0}


def table(path: Path, **cells: float | str | None) -> Path:
    """Two stations of 10 °C, 80 % and 982 Pa all year; `cells` change the second, row 3."""
    good: dict[str, float | str | None] = BASE | {"cdd_10": 1000.0}
    for name, value in (("t_mean_c", 10.0), ("rh_mean_pct", 80.0), ("vp_mean_pa", 982.0)):
        good |= {f"{name}_{month}": value for month in MONTHS}
    rows = [good, good | {"station_id": "B2"} | cells]
    pl.DataFrame(rows, strict=False).write_csv(path)
    return path


@pytest.mark.parametrize(
    ("column", "value", "word"),
    [
        ("t_mean_c_07", None, "t_mean_c_07 is missing"),
        ("vp_mean_pa_12", None, "vp_mean_pa_12 is missing"),
        ("rh_mean_pct_03", 100.5, "rh_mean_pct_03 is outside 0 to 100"),
        ("rh_mean_pct_03", -1.0, "rh_mean_pct_03 is outside 0 to 100"),
        ("t_mean_c_01", 283.0, "t_mean_c_01 is outside -60 to 50"),  # kelvin
        ("vp_mean_pa_04", 0.98, "vp_mean_pa_04 is outside 1 to 6000"),  # kilopascals
        # Saturation at 10 °C is 1227 Pa by ISO 13788, at 12 °C 1402 Pa.
        ("vp_mean_pa_04", 1450.0, "vp_mean_pa_04 is above saturation at t_mean_c_04"),
        ("vp_mean_pa_04", "wet", "vp_mean_pa_04 is not a number"),
    ],
)
def test_a_bad_month_is_refused_with_its_cell(
    tmp_path: Path, column: str, value: float | str | None, word: str
) -> None:
    path = table(tmp_path / "stations.csv", **{column: value})
    with pytest.raises(PlaceError) as caught:
        own_stations(path)
    assert word in caught.value.what
    where = caught.value.where
    assert (where.file, where.row, where.column) == (str(path), 3, column)


def test_a_month_without_its_column_is_refused(tmp_path: Path) -> None:
    path = table(tmp_path / "stations.csv")
    pl.read_csv(path).drop("wind_ms_01", "t_mean_c_07", strict=False).write_csv(path)
    with pytest.raises(PlaceError, match="t_mean_c_07 is missing") as caught:
        own_stations(path)
    assert caught.value.where.column == "t_mean_c_07"


def test_all_bad_months_are_told_at_once(tmp_path: Path) -> None:
    cells = {"t_mean_c_07": None, "rh_mean_pct_03": 140.0, "vp_mean_pa_01": 5000.0}
    with pytest.raises(ManyErrors) as caught:
        own_stations(table(tmp_path / "stations.csv", **cells))
    assert {error.where.column for error in caught.value.errors} == set(cells)


def test_a_station_may_leave_out_a_quantity_whole(tmp_path: Path) -> None:
    cells = dict.fromkeys((f"vp_mean_pa_{month}" for month in MONTHS), None)
    got = own_stations(table(tmp_path / "stations.csv", **cells))
    assert got["vp_mean_pa_05"].to_list() == [982.0, None]


def test_damp_months_with_a_wide_spread_pass(tmp_path: Path) -> None:
    """All stations that ship pass: 275 of their months lie above saturation at the mean (SEEN).

    Saturation bends upward with temperature, and the readings are against water, not ice.
    """
    path = tmp_path / "stations.parquet"
    shipped = reference_table("us_stations")
    shipped.write_parquet(path)
    assert own_stations(path).height == shipped.height


def test_what_the_table_says_of_itself_is_kept(tmp_path: Path) -> None:
    path = table(tmp_path / "stations.csv")
    extra = {"kind": "typical_year", "dataset": "TMY3", "freeze_thaw_basis": "hourly"}
    extra_columns = [pl.lit(text).alias(name) for name, text in extra.items()]
    frame = pl.read_csv(path).with_columns(*extra_columns, freeze_thaw_index=12.5)
    frame.write_csv(path)
    got = own_stations(path).row(0, named=True)
    assert (got["kind"], got["freeze_thaw_basis"]) == ("typical_year", "hourly")
    assert got["dataset"] == "programme's own stations: stations.csv (TMY3)"
    assert got["freeze_thaw_index"] == 12.5
