"""`triage climate` at the command line, and a run that uses what it wrote."""

from pathlib import Path

import polars as pl
import pytest
from cli_helpers import HEAD, PROGRAMME, Stock, triage
from weather_helpers import epw_text, packaged, write

CLIMATE = PROGRAMME.replace('"GB"', '"US"') + '\n[climate]\nstations = "stations.parquet"\n'


@pytest.fixture(scope="module")
def chicago() -> Path:
    (path,) = packaged("pyenergyplus", "*725300_TMY3.epw")
    return path


def test_a_run_uses_the_stations_that_were_made(tmp_path: Path, chicago: Path) -> None:
    stock = Stock(tmp_path).write(CLIMATE)
    # Five miles from the airport; nothing else is on the map.
    stock.survey([HEAD, ["H1", "main", 41.9, -87.9, "good", "loft_topup"]])
    made = triage("climate", chicago, "--out", tmp_path / "stations.parquet")
    assert made.code == 0, made.err
    # Published for this station: 3505.6 and 1743.4 (station table, section 2.4, CALC).
    assert "3505.6   1743.4  5 (letter unknown) / 5 (letter unknown)" in made.out
    assert "100 % complete" in made.err
    assert stock.run().code == 0
    place = triage("explain", stock.programme, "H1", "--run", stock.out, "--json").json["place"]
    assert (place["climate_id"], place["climate_basis"]) == ("725300", "nearest station")
    assert (place["hdd_18_3"], place["cdd_10"]) == (3505.6, 1743.4)
    assert place["freeze_thaw_basis"] == "hourly air temperature of a typical year"


def test_json_holds_the_stations_and_what_was_left_out(tmp_path: Path) -> None:
    lines = epw_text(lambda _day, _hour: {})
    lines[20] = lines[20].replace(",10.0,", ",99.9,")
    file = write(tmp_path / "mast.epw", lines)
    done = triage("climate", file, tmp_path / "none.epw", "--out", tmp_path / "s.csv", "--json")
    assert done.code == 1
    told = done.json
    assert told["format"] == 1
    assert [row["station_id"] for row in told["stations"]] == ["123456"]
    assert [(f["row"], f["column"]) for f in told["findings"] if f["row"]] == [
        (21, "7 (dry-bulb temperature)")
    ]
    assert told["refused"][0]["what"] == "the weather file is missing"
    assert "none.epw" in done.err
    assert pl.read_csv(tmp_path / "s.csv")["hdd_18_3"].to_list() == [3029.5]


def test_one_station_in_two_files_is_refused_once(tmp_path: Path) -> None:
    lines = epw_text(lambda _day, _hour: {})
    files = [write(tmp_path / name, lines) for name in ("one.epw", "two.epw")]
    done = triage("climate", *files, "--out", tmp_path / "s.parquet")
    assert done.code == 1
    assert "station 123456 is there already, from one.epw" in done.err
    assert "two.epw" in done.err


def test_the_order_of_files_changes_no_byte(tmp_path: Path, chicago: Path) -> None:
    files = [chicago, write(tmp_path / "mast.epw", epw_text(lambda _day, _hour: {}))]
    for name, order in (("a.parquet", files), ("b.parquet", files[::-1])):
        assert triage("climate", *order, "--out", tmp_path / name).code == 0
    assert (tmp_path / "a.parquet").read_bytes() == (tmp_path / "b.parquet").read_bytes()


def test_without_a_station_an_older_table_stays(tmp_path: Path) -> None:
    out = tmp_path / "s.parquet"
    out.write_bytes(b"older")
    bad = write(tmp_path / "bad.epw", ["hello"])
    done = triage("climate", bad, tmp_path / "none.epw", "--out", out)
    assert done.code == 2
    assert done.out == ""
    assert "neither EPW" in done.err
    assert "the weather file is missing" in done.err
    assert out.read_bytes() == b"older"
    assert sorted(path.name for path in tmp_path.iterdir()) == ["bad.epw", "s.parquet"]


@pytest.mark.parametrize("name", ["s.epw", "s", "nowhere/s.parquet"])
def test_a_table_that_could_not_be_read_back_is_not_written(tmp_path: Path, name: str) -> None:
    file = write(tmp_path / "mast.epw", epw_text(lambda _day, _hour: {}))
    done = triage("climate", file, "--out", tmp_path / name)
    assert done.code == 2
    assert ".parquet or .csv" in done.err
    assert [path.name for path in tmp_path.iterdir()] == ["mast.epw"]
