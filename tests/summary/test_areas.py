"""Areas of a report: which home lies in which, what is counted there, what a map shows of it."""

import csv
import re
from collections import Counter
from pathlib import Path

import geopandas as gpd
import numpy as np
import polars as pl
import pytest
import shapely
import svg_words
from cli_helpers import PROGRAMME, Stock, triage
from invented import HOSTILE, counted, invented
from pyproj import Transformer

from triage.contract.disclosure import load_disclosure
from triage.contract.policy_load import policy_dir
from triage.contract.programme import AreaFile
from triage.learn.suppression import suppress
from triage.summary.areas import NOT_KNOWN, area_of_homes
from triage.summary.facts import Facts
from triage.summary.maps import map_of, specs, write_maps
from triage.summary.told import Told

RULES = load_disclosure(policy_dir("default")).audiences
CLASSES = {"1": "on the covering, poor", "2": "on the covering", "3": "on an underlay"}
HEADINGS = {
    "queues_by_area": "Homes by their worst queue",
    "gaps_by_area": "Homes by what their evidence decides",
    "exposure_by_area": "Homes by rain exposure",
    "foam_by_area": "Foamed roofs by starting class",
}
QUEUES = ("fix-water-first", "specialist-review", "safe-to-insulate")
# Metres of the British National Grid: an L around a square, a ring with a hole, and its hole.
SHAPES = {
    "corner": shapely.Polygon(
        [
            (400e3, 200e3),
            (460e3, 200e3),
            (460e3, 220e3),
            (420e3, 220e3),
            (420e3, 260e3),
            (400e3, 260e3),
        ]
    ),
    HOSTILE: shapely.box(420e3, 220e3, 460e3, 260e3),
    "ring": shapely.box(470e3, 200e3, 520e3, 250e3).difference(
        shapely.box(485e3, 215e3, 505e3, 235e3)
    ),
}


def _write_shapes(path: Path) -> AreaFile:
    frame = gpd.GeoDataFrame({"name": list(SHAPES)}, geometry=list(SHAPES.values()), crs=27700)
    frame.to_file(path, driver="GPKG")
    return AreaFile(path, "name")


def _by_shapely(lat: np.ndarray, lon: np.ndarray) -> list[str]:
    """Area of each place: one predicate a shape, with a reprojection of its own."""
    move = Transformer.from_crs(27700, 4326, always_xy=True)
    found = np.full(lat.size, NOT_KNOWN, dtype=object)
    for name, shape in SHAPES.items():
        moved = shapely.transform(shape, lambda xy: np.column_stack(move.transform(*xy.T)))
        found[shapely.contains(moved, shapely.points(lon, lat))] = name
    return list(found)


def test_a_home_is_in_the_area_that_contains_it(tmp_path: Path) -> None:
    rng = np.random.default_rng(4)
    n = 3000
    lat, lon = rng.uniform(51.6, 52.3, n), rng.uniform(-2.1, -0.1, n)
    homes = pl.DataFrame(
        {
            "property_id": [f"H{k}" for k in range(n)],
            "lat": lat,
            "lon": lon,
            "location_precision": ["exact"] * n,
        }
    )
    areas = _write_shapes(tmp_path / "areas.gpkg")
    found = area_of_homes(homes, areas)
    expected = _by_shapely(lat, lon)
    assert found["property_id"].to_list() == homes["property_id"].to_list()
    assert found["area"].to_list() == expected
    assert min(Counter(expected).values()) > 100
    # A home that is not placed, or stands at the middle of a whole area, is in none.
    no_place = pl.int_range(pl.len()) % 3
    odd = homes.with_columns(
        lat=pl.when(no_place != 0).then("lat"),
        location_precision=pl.when(no_place == 1)
        .then(pl.lit("post_sector"))
        .otherwise("location_precision"),
    )
    kept = area_of_homes(odd, areas)["area"].to_list()
    assert kept == [e if k % 3 == 2 else NOT_KNOWN for k, e in enumerate(expected)]
    assert area_of_homes(homes, None).is_empty()


@pytest.fixture(scope="module")
def own(tmp_path_factory: pytest.TempPathFactory) -> Stock:
    """A stock whose programme brings the map of its areas."""
    text = PROGRAMME + '\n[areas]\nshapes = "areas.gpkg"\ncolumn = "name"\n'
    stock = Stock(tmp_path_factory.mktemp("areas")).write(text)
    _write_shapes(stock.folder / "areas.gpkg")
    rng = np.random.default_rng(9)
    head = ["property_id", "building_part", "latitude", "longitude", "gutter_condition"]
    head += ["measure_code", "foam_present"]
    rows = []
    for k in range(260):
        # Most lie in the first two areas, few in the ring, some outside all of them.
        east, north = (430e3, 230e3) if k % 13 else (495e3, 225e3)
        x, y = east + rng.uniform(-28e3, 28e3), north + rng.uniform(-28e3, 28e3)
        lon, lat = Transformer.from_crs(27700, 4326, always_xy=True).transform(x, y)
        gutter = ("good", "poor", "failed", None)[int(rng.integers(4))]
        foam = "yes" if k % 9 == 0 else "no"
        rows.append([f"H{k}", "main", round(lat, 5), round(lon, 5), gutter, "loft_topup", foam])
    stock.survey([head, *rows])
    done = stock.run()
    assert done.code in (0, 1), done.err
    return stock


def _send(own: Stock, audience: str) -> Path:
    out = own.folder / audience
    if not out.exists():
        done = triage("report", own.out, "--audience", audience, "--out", out)
        assert done.code == 0, done.err
    return out / "send"


def _table(folder: Path, name: str) -> dict[str, list[str]]:
    with (folder / f"{name}.csv").open(encoding="utf-8", newline="") as stream:
        return {line[0]: line[1:] for line in list(csv.reader(stream))[1:]}


def test_the_tables_by_area_are_those_of_the_queue_file(own: Stock) -> None:
    queue = pl.read_parquet(own.out / "queue.parquet")
    areas = dict(
        zip(
            queue["property_id"],
            _by_shapely(queue["lat"].to_numpy(), queue["lon"].to_numpy()),
            strict=True,
        )
    )
    worst: dict[str, str] = {}
    gaps: dict[str, str] = {}
    for row in queue.iter_rows(named=True):
        home = row["property_id"]
        worst[home] = min(worst.get(home, row["queue"]), row["queue"], key=QUEUES.index)
        state = "dated" if row["expired"] else "open" if row["undecidable"] else "known"
        order = ("dated", "open", "known")
        gaps[home] = min(gaps.get(home, state), state, key=order.index)
    exposure = dict(queue.select("property_id", "exposure").iter_rows())
    folder = _send(own, "internal")
    # In the order of the columns of each table.
    for name, found, order in (
        ("areas", worst, ("safe-to-insulate", "fix-water-first", "specialist-review")),
        ("area_gaps", gaps, ("known", "open", "dated")),
        ("area_exposure", exposure, ("very_severe", "severe", "moderate", "sheltered", None)),
    ):
        told = _table(folder, name)
        counts = Counter((areas[home], found[home]) for home in worst)
        assert set(areas.values()) == set(told)
        for area in set(areas.values()):
            mine = [counts[area, key] for key in order]
            assert told[area] == [f"{n:,}" for n in (*mine, sum(mine))]
    foamed = queue.filter(pl.col("measure_group") == "FOAM")
    roofs = Counter(areas[home] for home in foamed["property_id"])
    shown = _table(folder, "area_foam")
    assert {area: int(line[-1]) for area, line in shown.items() if line[-1] != "0"} == dict(roofs)


@pytest.mark.parametrize("audience", ["internal", "funder", "lender", "public"])
def test_a_map_shows_what_its_table_prints_and_no_more(own: Stock, audience: str) -> None:
    folder = _send(own, audience)
    places = {}
    for name, table in (
        ("queues_by_area", "areas"),
        ("gaps_by_area", "area_gaps"),
        ("exposure_by_area", "area_exposure"),
        ("foam_by_area", "area_foam"),
    ):
        told = _table(folder, table)
        drawn = _table(folder, "areas")
        path = folder / "maps" / f"{name}.svg"
        page = (folder / "report.html").read_text("utf-8")
        listed = re.search(r"are in the folder maps: (.*?)\. Their tables", page)
        heading = HEADINGS[name].lower()
        if all(line[-1] == "*" for area, line in told.items() if area != NOT_KNOWN):
            assert not path.exists()
            assert listed is None or heading not in listed[1]
            continue
        assert listed is not None
        assert heading in listed[1]
        words = svg_words.words(path)
        for area in set(drawn) - {NOT_KNOWN}:
            if drawn[area][-1] in ("*", "0"):
                assert area[:6] not in {word[:6] for word in words}, (name, area)
                continue
            at = [n for n, word in enumerate(words) if word[:6] == area[:6]][-1]
            count = told.get(area, ["0"])[-1]
            assert words[at + 1] == ("withheld" if count == "*" else f"n {count}"), (name, area)
        printed = {cell for line in told.values() for cell in line}
        alternative = svg_words.told(path)[1]
        said = re.findall(r"(?:: n|(?<=[a-z])) ([\d,]+|\*)(?=[,;.])", alternative)
        assert said
        assert {cell.rstrip(",") for cell in said} <= printed
        places[name] = {word for word in words if word in drawn}
        assert svg_words.leads_out(path) == []
    assert len({frozenset(found) for found in places.values()}) <= 1  # the same areas on each


def test_the_areas_of_the_programme_are_drawn_and_named(own: Stock) -> None:
    words = " ".join(svg_words.words(_send(own, "internal") / "maps" / "queues_by_area.svg"))
    assert "the programme's own map, areas.gpkg" in words
    assert "\u202e" not in words
    assert triage("verify", own.out).code == 0  # the map is stored with the run


def _facts(places: pl.DataFrame) -> Facts:
    record = {"policy": {"name": "p", "version": "1", "sha256": "0" * 64}, "run_id": "r"}
    return Facts(
        *(record, "N", "P", "", "1 May 2026", None, "", (), {}, {}, (), "", "", "", places),
        country_code="GB",
        foam_classes=CLASSES,
    )


PLACES = pl.DataFrame(
    {"area": ["PL13", "EX8", "258"], "lat": [50.3, 50.6, 51.4], "lon": [-4.4, -3.3, -2.2]}
)


@pytest.mark.parametrize("audience", ["funder", "public"])
def test_what_is_withheld_has_no_place_on_a_map(audience: str) -> None:
    hidden = 0
    for seed in range(6):
        counts = counted(invented(seed, 150), "one")
        told = Told(suppress(counts.tables, RULES[audience], (), counts.links))
        for spec in specs(told, CLASSES):
            rows = told.release.tables["areas"].filter(pl.col("queue") == "all")
            homes = {r["area"]: r["homes"] for r in rows.iter_rows(named=True)}
            drawn = map_of(told, _facts(PLACES), spec)
            names = {area.name for area in drawn.areas}
            assert names == {a for a, n in homes.items() if n and a in set(PLACES["area"])}
            hidden += sum(n is None for n in homes.values())
            printed = {f"{n:,}" for n in told.release.tables[spec.table]["homes"].drop_nulls()}
            for area in drawn.areas:
                assert area.shown == "withheld" or area.shown.removeprefix("n ") in printed | {"0"}
                assert sum(area.shares) == pytest.approx(1.0) or area.shown == "n 0"
            # 0 stands, too, beside a class that nobody in the whole programme is in.
            assert {count for _, count, _ in drawn.rows} <= printed | {"*", "", "0"}
    assert hidden > 3


def test_without_places_or_with_one_area_there_is_no_map(tmp_path: Path) -> None:
    counts = counted(invented(3, 150), "one")
    told = Told(suppress(counts.tables, RULES["internal"], (), counts.links))
    assert specs(told, CLASSES)
    assert write_maps(tmp_path / "maps", told, _facts(PLACES.clear())) == []
    frames = invented(3, 150)
    frames["home"] = frames["home"].with_columns(postal_code=pl.lit("PL13 2AB"))
    counts = counted(frames, "one")
    told = Told(suppress(counts.tables, RULES["internal"], (), counts.links))
    assert write_maps(tmp_path / "maps", told, _facts(PLACES)) == []
    assert not (tmp_path / "maps").exists()
