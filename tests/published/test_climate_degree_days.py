"""D1, D2, D5: degree-days of the two TMY3 files that pvlib carries, against sums worked out from
the same files without this code (daily mean of 24 hours, base 18.3 and 10 °C)."""

from pathlib import Path

import numpy as np
import polars as pl
import pvlib
import pytest

from triage.physics.climate_zone import (
    COOLING_BASE_C,
    HEATING_BASE_C,
    daily_means,
    degree_days,
    thermal_zone,
)
from triage.reference import reference_table

GREENSBORO, SAND_POINT = "723170TYA.CSV", "703165TY.csv"
DAYS_IN_MONTH = [31, 28, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31]


def hourly(name: str) -> np.ndarray:
    path = Path(pvlib.__file__).parent / "data" / name
    return pl.read_csv(path, skip_lines=1)["Dry-bulb (C)"].cast(pl.Float64).to_numpy()


@pytest.mark.parametrize(
    ("name", "hdd", "cdd", "zone"),
    [(GREENSBORO, 2145.9, 2381.2, 4), (SAND_POINT, 5066.0, 128.3, 7)],
)
def test_d1_d2_degree_days_of_a_typical_year(name: str, hdd: float, cdd: float, zone: int) -> None:
    days = daily_means(hourly(name))
    assert len(days) == 365
    heating = degree_days(days, HEATING_BASE_C, heating=True)
    cooling = degree_days(days, COOLING_BASE_C, heating=False)
    assert heating == pytest.approx(hdd, abs=0.5)
    assert cooling == pytest.approx(cdd, abs=0.5)
    for edition in ("2010-", "2013+"):
        assert thermal_zone(np.array(heating), np.array(cooling), edition) == zone


@pytest.mark.parametrize(("base", "hdd"), [((65 - 32) / 1.8, 2153.2), (18.0, 2081.5)])
def test_other_bases_give_the_listed_sums(base: float, hdd: float) -> None:
    days = daily_means(hourly(GREENSBORO))
    assert degree_days(days, base, heating=True) == pytest.approx(hdd, abs=0.5)


def test_d5_monthly_means_of_greensboro() -> None:
    edges = np.cumsum([0, *DAYS_IN_MONTH]) * 24
    temperature = hourly(GREENSBORO)
    assert temperature[edges[0] : edges[1]].mean() == pytest.approx(0.33, abs=0.01)
    assert temperature[edges[6] : edges[7]].mean() == pytest.approx(25.43, abs=0.01)


@pytest.mark.parametrize(("station", "name"), [("723170", GREENSBORO), ("703165", SAND_POINT)])
def test_the_shipped_stations_agree_with_the_files(station: str, name: str) -> None:
    row = reference_table("us_stations").row(
        by_predicate=pl.col("station_id") == station, named=True
    )
    days = daily_means(hourly(name))
    assert row["hdd_18_3"] == pytest.approx(degree_days(days, 18.3, heating=True), abs=1.0)
    assert row["cdd_10"] == pytest.approx(degree_days(days, 10.0, heating=False), abs=1.0)
    assert row["t_mean_c_01"] == pytest.approx(days[:31].mean(), abs=0.06)


def test_half_days_are_refused() -> None:
    with pytest.raises(ValueError, match="whole days"):
        daily_means(np.zeros(25))
