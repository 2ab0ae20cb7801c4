"""Which homes an event reached: by name, by postcode or its beginning, by distance."""

from datetime import date
from pathlib import Path
from typing import Any

import polars as pl
import pytest

from triage.contract import load_contract
from triage.resources import resource_dir
from triage.store import Store

SQL = (resource_dir("pipelines") / "sql" / "35_event_hit.sql").read_text(encoding="utf-8")
HOMES = {
    # name: (postcode, latitude, longitude); invented homes in real postcode areas
    "A": ("NE1 4AB", 54.97, -1.61),
    "B": ("NE12 8CD", 55.02, -1.56),
    "C": ("N1 2EF", 51.54, -0.10),
    "D": ("55401", 44.98, -93.27),
    "E": (None, 51.54, -0.11),
}


def _hit(tmp_path: Path, **event: Any) -> set[str]:
    schema = {**load_contract().polars_schema("event"), "record_row": pl.UInt32()}
    row = {**dict.fromkeys(schema), "event_id": "e1", "event_type": "storm", "record_row": 0}
    row |= {"event_on": date(2026, 1, 3), **event}
    codes = {"property_id": list(HOMES), "postal_code": [code for code, *_ in HOMES.values()]}
    spots = {
        "property_id": list(HOMES),
        "lat": [lat for _, lat, _ in HOMES.values()],
        "lon": [lon for *_, lon in HOMES.values()],
    }
    with Store(tmp_path / "s.duckdb") as store:
        store.put("home", pl.DataFrame(codes))
        store.put("placed_home", pl.DataFrame(spots))
        store.put("record_event", pl.DataFrame([row], schema=schema))
        store.run(SQL)
        found = store.table("event_hit")
    assert found["event_on"].to_list() == [date(2026, 1, 3)] * found.height
    return set(found["property_id"].to_list())


@pytest.mark.parametrize(
    ("code", "homes"),
    [
        ("NE1", {"A"}),  # the district, not NE12
        ("NE", {"A", "B"}),  # the area
        ("N", {"C"}),  # the area N, not NE
        ("ne1 4ab", {"A"}),
        ("NE1 4", {"A"}),  # the sector
        ("NE1 5", set()),
        ("554", {"D"}),
        ("55401", {"D"}),
        ("NE12; N1", {"B", "C"}),
        ("", set()),
        (None, set()),
    ],
)
def test_by_postcode(tmp_path: Path, code: str | None, homes: set[str]) -> None:
    assert _hit(tmp_path, postal_code=code) == homes


@pytest.mark.parametrize(
    ("named", "homes"), [("A", {"A"}), ("A; E", {"A", "E"}), ("AB", set()), (None, set())]
)
def test_by_name(tmp_path: Path, named: str | None, homes: set[str]) -> None:
    assert _hit(tmp_path, property_id=named) == homes


@pytest.mark.parametrize(
    ("radius", "homes"),
    [
        # From A to B: 0.05 degrees of latitude are 5.56 km, 0.05 of longitude at 55 N 3.19 km.
        (6.3, {"A"}),
        (6.5, {"A", "B"}),
    ],
)
def test_by_distance(tmp_path: Path, radius: float, homes: set[str]) -> None:
    spot = {"latitude": 54.97, "longitude": -1.61, "radius_km": radius}
    assert _hit(tmp_path, **spot) == homes
