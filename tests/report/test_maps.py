import subprocess
import sys
from pathlib import Path

import geopandas as gpd
import numpy as np
import polars as pl
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from matplotlib import rc_context
from matplotlib.image import imread
from pyproj import Geod, Transformer
from report_frames import context

from triage.report.labels import QUEUES
from triage.report.map_frame import open_view, round_down
from triage.report.map_marks import (
    HEXAGON_IN,
    MARK_IN,
    Spots,
    arrange,
    hexagons,
    ring_radius,
    short_count,
)
from triage.report.maps import write_climate_map, write_queue_map

QUEUE_NAMES = [look.queue for look in QUEUES]
SCHEMA = {"lat": pl.Float64, "lon": pl.Float64, "queue": pl.String, "exposure": pl.String}
SCHEMA |= {"zone": pl.String, "near_cold_line": pl.Boolean}


def _homes(rows: int, lat: float = 50.4, lon: float = -4.1, spread: float = 0.1) -> pl.DataFrame:
    rng = np.random.default_rng(rows)
    return pl.DataFrame(
        {
            "lat": rng.normal(lat, spread, rows),
            "lon": rng.normal(lon, spread, rows),
            "queue": rng.choice(QUEUE_NAMES, rows).tolist(),
            "exposure": rng.choice(["severe", "moderate", "very_severe"], rows).tolist(),
            "zone": ["4A"] * rows,
            "near_cold_line": (np.arange(rows) % 5 == 0).tolist(),
        },
        schema=SCHEMA,
    )


def _lost(homes: pl.DataFrame, rows: int) -> pl.DataFrame:
    first = pl.int_range(pl.len()) < rows
    return homes.with_columns(pl.when(first).then(None).otherwise(pl.col("lat")).alias("lat"))


CASES = {
    "many": (_homes(1200), "GB"),
    "one": (_homes(1), "GB"),
    "empty": (_homes(0), "GB"),
    "one_place": (_homes(300, spread=0.0), "GB"),
    "some_not_placed": (_lost(_homes(50), 7), "GB"),
    "none_placed": (_lost(_homes(20), 20), "GB"),
    "us": (_homes(400, 39.9, -85.5, 0.3), "US"),
    "elsewhere": (_homes(30, 53.3, -7.5, 0.5), "IE"),
}


@pytest.mark.parametrize("case", CASES)
def test_both_maps_are_written_and_count_every_home(tmp_path: Path, case: str) -> None:
    homes, country = CASES[case]
    lost = homes["lat"].null_count()
    for name, column, write in (
        ("q.png", "queue", write_queue_map),
        ("c.png", "exposure", write_climate_map),
    ):
        drawn = write(tmp_path / name, homes, None, context(country_code=country))
        picture = imread(tmp_path / name)
        assert picture.shape[:2] == (drawn["height_px"], drawn["width_px"])
        assert float(picture[..., :3].std()) > 0.02  # not a blank page
        assert drawn["homes"] == homes.height
        assert (drawn["placed"], drawn["not_placed"]) == (homes.height - lost, lost)
        shown = drawn["points"] + drawn["clustered_homes"]
        assert shown == drawn["placed"] - drawn["outside_view"]
        want = dict(homes.group_by(column).len().iter_rows())
        got = {key: count for key, count in drawn["classes"].items() if count}
        assert got == want
        assert ("no usable location" in drawn["caption"]) == (lost > 0)
        assert "R07" in drawn["caption"]


def test_sixty_thousand_homes_become_rings(tmp_path: Path) -> None:
    homes = _homes(60_000, 52.5, -1.5, 1.0)
    drawn = write_queue_map(tmp_path / "q.png", homes, None, context())
    assert drawn["clusters"] < 400
    assert drawn["clustered_homes"] > 59_000


def test_few_homes_far_apart_are_points(tmp_path: Path) -> None:
    homes = _homes(4).with_columns(lat=pl.Series([50.0, 51.0, 52.0, 53.0]))
    drawn = write_queue_map(tmp_path / "q.png", homes, None, context())
    assert (drawn["points"], drawn["clusters"]) == (4, 0)


def test_a_stray_home_does_not_shrink_the_others_and_is_counted(tmp_path: Path) -> None:
    homes = _homes(300, spread=0.02)
    stray = homes.head(1).with_columns(lat=pl.lit(57.5), lon=pl.lit(-2.0))
    drawn = write_queue_map(tmp_path / "q.png", pl.concat([homes, stray]), None, context())
    assert drawn["outside_view"] == 1
    assert "1 home lies far from the others" in drawn["caption"]


def test_the_title_is_the_finding(tmp_path: Path) -> None:
    homes = _homes(1200)
    counts = dict(homes.group_by("queue").len().iter_rows())
    drawn = write_queue_map(tmp_path / "q.png", homes, None, context())
    assert drawn["title"].startswith(f"Fix water first at {counts['fix-water-first']:,} of 1,200")
    assert f"{counts['safe-to-insulate']:,} screened as safe" in drawn["title"]


def test_two_runs_and_another_order_draw_the_same_picture(tmp_path: Path) -> None:
    homes = _homes(200)
    for name, frame in (("a", homes), ("b", homes), ("c", homes.reverse())):
        write_queue_map(tmp_path / name, frame, None, context())
    first = (tmp_path / "a").read_bytes()
    assert first == (tmp_path / "b").read_bytes()
    assert np.array_equal(imread(tmp_path / "a"), imread(tmp_path / "c"))


def test_own_outlines_and_stations_are_drawn(tmp_path: Path) -> None:
    boxes = [shapely.box(-4.6, 50, -4.1, 51), shapely.box(-4.1, 50, -3.6, 51)]
    areas = gpd.GeoDataFrame({"label": ["west", "east"]}, geometry=boxes, crs=4326)
    stations = pl.DataFrame({"name": ["A", "B"], "lat": [50.4, 40.0], "lon": [-4.0, 0.0]})
    stations = stations.with_columns(homes=pl.Series([30, 20]))
    write_climate_map(tmp_path / "a.png", _homes(50), areas, context(), stations)
    write_climate_map(tmp_path / "b.png", _homes(50), None, context(), None)
    assert not np.array_equal(imread(tmp_path / "a.png"), imread(tmp_path / "b.png"))


def test_any_name_can_be_drawn_and_own_settings_change_nothing(tmp_path: Path) -> None:
    odd = context(name="Fund $1 and $2_{ \\frac", sources=("a $x^{ b",))
    write_queue_map(tmp_path / "a.png", _homes(9), None, odd)
    write_queue_map(tmp_path / "b.png", _homes(9), None, context())
    with rc_context({"font.family": "serif", "hatch.linewidth": 4.0}):
        write_queue_map(tmp_path / "c.png", _homes(9), None, context())
    assert np.array_equal(imread(tmp_path / "b.png"), imread(tmp_path / "c.png"))


def test_an_unknown_queue_is_refused(tmp_path: Path) -> None:
    homes = _homes(3).with_columns(queue=pl.lit("amber"))
    with pytest.raises(ValueError, match="amber"):
        write_queue_map(tmp_path / "q.png", homes, None, context())


@pytest.mark.parametrize(
    ("country", "lat", "lon", "epsg"),
    [("GB", 50.4, -4.1, 27700), ("US", 39.9, -85.5, 5070), ("US", 61.2, -149.9, None)],
)
def test_an_inch_is_as_long_as_the_scale_says(
    country: str, lat: float, lon: float, epsg: int | None
) -> None:
    # Independent: geodesic length on WGS 84 (pyproj.Geod) of one inch at the middle of the map.
    homes = _homes(50, lat, lon, 0.05)
    view, _, _ = open_view(country, homes["lat"].to_numpy(), homes["lon"].to_numpy())
    assert view.crs.to_epsg() == epsg
    west, south, east, north = view.bounds
    x, y = (west + east) / 2, (south + north) / 2
    back = Transformer.from_crs(view.crs, 4326, always_xy=True)
    ends = [back.transform(x + side * view.metres_per_inch / 2, y) for side in (-1, 1)]
    length = Geod(ellps="WGS84").inv(*ends[0], *ends[1])[2]
    # Albers keeps areas, not lengths: up to about 1 % off along a parallel.
    assert length == pytest.approx(view.metres_per_inch, rel=0.012)


@given(
    st.lists(st.tuples(st.floats(-50, 50), st.floats(-50, 50)), min_size=1, max_size=60),
    st.floats(0.5, 20),
)
def test_every_point_falls_into_its_nearest_hexagon(
    points: list[tuple[float, float]], size: float
) -> None:
    # A hexagon grid is the nearest-centre partition of its centres: try all neighbours.
    x, y = (np.array(values) for values in zip(*points, strict=True))
    q, r = hexagons(x, y, size)

    def distance(dq: int, dr: int) -> np.ndarray:
        middle = size * ((q + dq) + (r + dr) / 2), size * np.sqrt(3) / 2 * (r + dr)
        return np.hypot(x - middle[0], y - middle[1])

    own = distance(0, 0)
    for dq in (-2, -1, 0, 1, 2):
        for dr in (-2, -1, 0, 1, 2):
            assert np.all(own <= distance(dq, dr) + 1e-6 * size)


@settings(deadline=None, max_examples=30)
@given(st.integers(2, 400), st.integers(0, 10_000), st.floats(0.001, 0.5))
def test_rings_never_touch_and_no_home_is_lost(rows: int, seed: int, spread: float) -> None:
    rng = np.random.default_rng(seed)
    lat, lon = rng.normal(50.4, spread, rows), rng.normal(-4.1, spread, rows)
    view, x, y = open_view("GB", lat, lon)
    kind, flag = rng.integers(0, 3, rows), np.zeros(rows, dtype=bool)
    marks = arrange(view, Spots(x, y, kind, flag), 3)
    assert len(marks.single) + marks.counts.sum() == rows
    assert np.array_equal(
        np.bincount(kind[marks.single], minlength=3) + marks.counts.sum(axis=0),
        np.bincount(kind, minlength=3),
    )
    homes = marks.counts.sum(axis=1)
    radius = ring_radius(homes, int(homes.max(initial=0))) * view.metres_per_inch
    gaps = np.hypot(*(marks.centres[:, None] - marks.centres[None]).transpose(2, 0, 1))
    gaps += np.where(np.eye(len(gaps), dtype=bool), np.inf, 0)
    assert np.all(gaps >= (radius[:, None] + radius[None]) * (1 - 1e-9))
    assert MARK_IN < HEXAGON_IN


@pytest.mark.parametrize(
    ("value", "text"), [(999, "999"), (1_000, "1.0k"), (9_949, "9.9k"), (14_200, "14k")]
)
def test_counts_fit_into_a_ring(value: int, text: str) -> None:
    assert short_count(value) == text


@given(st.floats(1e-3, 1e7))
def test_a_scale_is_a_round_number_that_fits(value: float) -> None:
    got = round_down(value)
    assert value / 2.5 * (1 - 1e-9) <= got <= value * (1 + 1e-9)
    assert f"{got:.0e}"[0] in "125"


def _luminance(colour: str) -> float:
    # Relative luminance of sRGB: WCAG 2.1, definition of "relative luminance".
    parts = [int(colour[i : i + 2], 16) / 255 for i in (1, 3, 5)]
    linear = [p / 12.92 if p <= 0.03928 else ((p + 0.055) / 1.055) ** 2.4 for p in parts]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


def test_queues_stay_apart_in_grey_and_text_can_be_read() -> None:
    # CIE 1976 lightness; contrast as in WCAG 2.1 success criterion 1.4.3 (4.5 to 1).
    lightness = sorted(116 * _luminance(look.fill) ** (1 / 3) - 16 for look in QUEUES)
    assert min(np.diff(lightness)) > 25
    for look in QUEUES:
        light, dark = sorted((_luminance(look.fill), _luminance(look.ink)), reverse=True)
        assert (light + 0.05) / (dark + 0.05) >= 4.5
    assert len({look.marker for look in QUEUES}) == 3


def test_the_drawing_libraries_load_only_for_a_map() -> None:
    code = (
        "import sys, triage.report.maps, triage.report.geo, triage.report.explain;"
        "print([m for m in ('matplotlib', 'geopandas', 'pandas', 'scipy') if m in sys.modules])"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"
