"""The script that rebuilds the reference tables, on a small invented data set."""

import json
import sqlite3
from contextlib import closing
from pathlib import Path

import geopandas as gpd
import polars as pl
import pytest
import shapely

from triage.errors import FileError
from triage.reference import reference_path, reference_table
from triage.reference.build import CLIMATE_FILES, build, main

# Two zones side by side, overlapping by a sliver; regime B reaches a hair into zone 4.
ZONES = {"4": (0.0, 0.0, 2.00001, 1.0), "5": (2.0, 0.0, 4.0, 1.0), "7": (0.0, 1.0, 4.0, 2.0)}
REGIMES = {"A": (0.0, 0.0, 3.0, 1.0), "B": (1.99999, 0.0, 4.0, 1.0), "C": (9.0, 9.0, 10.0, 10.0)}


@pytest.fixture
def zone_db(tmp_path: Path) -> Path:
    path = tmp_path / "metadata.db"
    with closing(sqlite3.connect(path)) as db, db:
        for name, boxes in (("iecc_climate_zone", ZONES), ("iecc_moisture_regime", REGIMES)):
            db.execute(f"CREATE TABLE {name}_metadata ({name} TEXT, geometry TEXT)")
            for key, box in boxes.items():
                shape = json.dumps(shapely.geometry.mapping(shapely.box(*box)))
                db.execute(f"INSERT INTO {name}_metadata VALUES (?, ?)", (key, shape))
        db.execute(
            "CREATE TABLE zcta_metadata (zcta_id TEXT, latitude TEXT, longitude TEXT, state TEXT,"
            " iecc_climate_zone TEXT, iecc_moisture_regime TEXT)"
        )
        rows = [("00602", "0.5", "1", "PR", "4", "A"), ("00601", "0.5", "9", "PR", None, None)]
        db.executemany("INSERT INTO zcta_metadata VALUES (?, ?, ?, ?, ?, ?)", rows)
    return path


@pytest.fixture
def climate(tmp_path: Path) -> Path:
    """CSV files with the headings of the compiled tables, two rows each."""
    folder = tmp_path / "climate"
    folder.mkdir()
    months = [f"{month:02d}" for month in range(1, 13)]

    def monthly(*names: str) -> dict[str, list[float]]:
        return {f"{name}_{month}": [1.5, 2.5] for name in names for month in months}

    common = monthly("t_mean_c", "rh_mean_pct", "vp_mean_pa", "wind_ms")
    years = [f"{n}_year" for n in ("t_mean_c", "rh_mean_pct", "vp_mean_pa", "wind_ms", "dri_m2_s")]
    common |= {name: [1, 2] for name in (*years, "air_frost_days_year")} | {"lat": [2, 1]}
    common |= {"lon": [4, 3]}
    stations = {"station_id_usaf": [702000, 3000], "name": ["b", "a"], "state": ["AK", "ME"]}
    stations |= {"elev_m": [1, 2], "tmy3_class": ["I", "II"], "iecc_zone": ["7", "6A"]}
    stations |= {"iecc_zone_source": ["map", "map"], "hdd18_3": [1, 2], "cdd10": [3, 4]}
    stations |= {"precip_mm_year": [None, 9], "precip_source": ["none", "cru6190"]}
    stations |= {"freeze_thaw_days_year": [1, 2], "freeze_thaw_cycles_m2_0_year": [5, 6]}
    stations |= common | monthly("t_min_daily_mean_c")
    regions = {"region_code": [1, 0], "region_name": ["x", "average"], "hdd18_3_est": [1, 2]}
    regions |= {"cdd10_est": [1, 2], "ashrae_zone_est": ["4A", "5A"], "dri_m2_s_year_p90": [1, 2]}
    regions |= {"rain_mm_year_metoffice9120": [None, 700], "rain_mm_year_cru6190": [650, 750]}
    regions |= {"dri_rain_source": ["cru6190", "metoffice9120"]} | common
    postcodes = {"postcode_prefix": ["B", "AB"], "match_level": ["area"] * 2, "lat": [1, 2]}
    postcodes |= {"postcode_area": ["B", "AB"], "area_name": ["x", "y"], "region_code": [1, 1]}
    postcodes |= {"lon": [1, 2], "n_outcodes": [3, 4], "rain_mm_year_cru6190": [1, None]}
    postcodes |= {"dri_m2_s_year": [1, None], "km_to_nearest_cru_point": [1, None]}
    for name, table in zip(CLIMATE_FILES, (regions, postcodes, stations), strict=True):
        pl.DataFrame(table).write_csv(folder / name)
    return folder


@pytest.fixture
def coast(tmp_path: Path) -> Path:
    """The three countries that the outlines need, one box."""
    path = tmp_path / "countries.json"
    arc = shapely.get_coordinates(shapely.box(0, 0, 3, 3)).tolist()
    shapes = [
        {"type": "Polygon", "arcs": [[0]], "id": key, "properties": {"name": key}}
        for key in ("372", "826", "833")
    ]
    layer = {"type": "GeometryCollection", "geometries": shapes}
    path.write_text(
        json.dumps({"type": "Topology", "arcs": [arc], "objects": {"countries": layer}})
    )
    return path


def test_classes_without_slivers_and_cold_zones_whole(
    zone_db: Path, climate: Path, coast: Path, tmp_path: Path
) -> None:
    counts = build(zone_db, climate, coast, tmp_path / "out")
    zones = gpd.read_parquet(tmp_path / "out" / "us_zones.parquet")
    # By hand: 4 is all in A; 4 x B is 2e-5 of 2, a sliver; 5 is cut at longitude 3.
    assert zones["label"].tolist() == ["4A", "5A", "5B", "7"]
    assert shapely.area(zones.geometry.array).tolist() == pytest.approx([2.00001, 1.0, 2.0, 4.0])
    assert zones.crs == "OGC:CRS84"
    assert zones["moisture_regime"].isna().tolist() == [False, False, False, True]
    assert counts == {"us_zones": 4, "uk_outlines": 3} | dict.fromkeys(
        ("us_zip", "us_stations", "uk_regions", "uk_postcodes"), 2
    )


def test_tables_are_ours(zone_db: Path, climate: Path, coast: Path, tmp_path: Path) -> None:
    build(zone_db, climate, coast, tmp_path / "out")
    stations = pl.read_parquet(tmp_path / "out" / "us_stations.parquet")
    assert stations["station_id"].to_list() == ["003000", "702000"]
    assert stations["rain_mm_year"].to_list() == [9.0, None]
    assert stations["freeze_thaw_cycles_year"].to_list() == [6.0, 5.0]
    regions = pl.read_parquet(tmp_path / "out" / "uk_regions.parquet")
    assert regions["region_code"].to_list() == [0, 1]
    assert regions["rain_mm_year"].to_list() == [700.0, 650.0]  # the grid only where no station
    areas = pl.read_parquet(tmp_path / "out" / "us_zip.parquet")
    assert areas["zip"].to_list() == ["00601", "00602"]
    assert areas["zone"].to_list() == [None, 4]


def test_the_same_input_gives_the_same_bytes(
    zone_db: Path, climate: Path, coast: Path, tmp_path: Path
) -> None:
    for name in ("one", "two"):
        build(zone_db, climate, coast, tmp_path / name)
    first, second = (
        {path.name: path.read_bytes() for path in (tmp_path / name).iterdir()}
        for name in ("one", "two")
    )
    assert first == second


def test_a_missing_input_is_named(zone_db: Path, coast: Path, tmp_path: Path) -> None:
    with pytest.raises(FileError, match="uk_regions"):
        build(zone_db, tmp_path, coast, tmp_path / "out")
    with pytest.raises(FileError, match=r"none\.json"):
        build(zone_db, tmp_path, tmp_path / "none.json", tmp_path / "out")


def test_the_command_prints_the_rows(
    zone_db: Path, climate: Path, coast: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    arguments = ["--zone-db", str(zone_db), "--climate", str(climate), "--coast", str(coast)]
    arguments.append("--out")
    assert main([*arguments, str(tmp_path / "out")]) == 0
    assert "us_zones 4" in capsys.readouterr().out
    arguments[1] = str(tmp_path / "none.db")
    assert main([*arguments, str(tmp_path / "out")]) == 2
    assert "none.db" in capsys.readouterr().err


def test_shipped_tables_have_their_rows_and_stay_small() -> None:
    # Row counts of the sources: climate-zone data set and compiled climate tables.
    rows = {"us_zones": 15, "us_zip": 33_144, "us_stations": 1_019}
    rows |= {"uk_regions": 22, "uk_postcodes": 362, "uk_outlines": 23}
    for name, count in rows.items():
        assert reference_table(name).height == count  # type: ignore[arg-type]
    total = sum(reference_path(name).stat().st_size for name in rows)  # type: ignore[arg-type]
    assert total < 2_000_000
    assert len(gpd.read_parquet(reference_path("us_zones"))) == 15  # a GeoParquet for others too
