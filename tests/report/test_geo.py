from pathlib import Path

import geopandas as gpd
import polars as pl
import pytest

from triage.report.geo import write_homes


def _homes() -> pl.DataFrame:
    return pl.DataFrame(
        {
            "property_id": ["b", "a", "c"],
            "lat": [50.5, 51.25, None],
            "lon": [-4.0, -3.125, None],
            "queue": ["fix-water-first", "safe-to-insulate", "specialist-review"],
            "fired": [["W02", "R12"], [], ["M05"]],
            "parts": pl.Series([1, 2, 1], dtype=pl.UInt32),
            "severity": pl.Series([4, None, 2], dtype=pl.Int8),
            "released": [False, True, False],
            "survey_on": pl.Series(["2025-01-02", None, "2024-12-31"]).str.to_date(),
        }
    )


@pytest.mark.parametrize("name", ["homes.gpkg", "homes.parquet"])
def test_a_mapping_program_reads_every_home(tmp_path: Path, name: str) -> None:
    write_homes(tmp_path / "homes.gpkg", tmp_path / "homes.parquet", _homes())
    path = tmp_path / name
    found = gpd.read_parquet(path) if path.suffix == ".parquet" else gpd.read_file(path)
    assert found.crs.to_epsg() == 4326
    assert found["property_id"].tolist() == ["a", "b", "c"]
    assert found["fired"].tolist() == ["", "W02; R12", "M05"]
    assert (found.geometry.x[0], found.geometry.y[0]) == (-3.125, 51.25)
    assert (found.geometry.x[1], found.geometry.y[1]) == (-4.0, 50.5)
    assert found.geometry[2] is None or found.geometry[2].is_empty
    assert found["parts"].tolist() == [2, 1, 1]
    assert str(found["survey_on"][1])[:10] == "2025-01-02"
    assert [bool(value) for value in found["released"]] == [True, False, False]


def test_same_homes_in_another_order_give_the_same_bytes(tmp_path: Path) -> None:
    for run, homes in (("a", _homes()), ("b", _homes().reverse())):
        write_homes(tmp_path / f"{run}.gpkg", tmp_path / f"{run}.parquet", homes)
    assert (tmp_path / "a.parquet").read_bytes() == (tmp_path / "b.parquet").read_bytes()
    assert (tmp_path / "a.gpkg").read_bytes() == (tmp_path / "b.gpkg").read_bytes()


@pytest.mark.parametrize("rows", [0, 1])
def test_no_home_and_no_place_are_no_trouble(tmp_path: Path, rows: int) -> None:
    homes = _homes().tail(1).head(rows)
    write_homes(tmp_path / "h.gpkg", tmp_path / "h.parquet", homes)
    write_homes(tmp_path / "h.gpkg", tmp_path / "h.parquet", homes)  # a second run replaces it
    assert len(gpd.read_parquet(tmp_path / "h.parquet")) == rows
    assert len(gpd.read_file(tmp_path / "h.gpkg")) == rows
