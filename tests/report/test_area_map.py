"""Maps by area: where the hexagons stand, what they say, and how long the scale is."""

import re
from pathlib import Path

import numpy as np
import pytest
import svg_words
from pyproj import Geod, Transformer
from report_frames import HOSTILE

from triage.report import area_map
from triage.report.area_map import (
    Area,
    AreaMap,
    Ground,
    Look,
    draw_area_map,
    hexagon_radius,
    placed,
)
from triage.report.map_frame import open_view

LOOKS = (
    Look("Wet", "#182F5C", ""),
    Look("In doubt", "#A05A85", "////"),
    Look("Dry", "#8FD3C4", ""),
)
GB = Ground("GB", "Coast · as of 1 May 2026", ("Areas: by hand.",))
COUNTS = (1, 2, 8, 120, 300)


def _degrees(areas: int, kind: str) -> tuple[np.ndarray, np.ndarray]:
    rng = np.random.default_rng(areas)
    if kind == "one place":
        return np.full(areas, 52.0), np.full(areas, -1.5)
    if kind == "a line":
        return np.linspace(50.1, 53.5, areas), np.full(areas, -1.5)
    if kind == "a stray":
        lat, lon = rng.normal(50.5, 0.02, areas), rng.normal(-4, 0.02, areas)
        lat[0], lon[0] = 57.0, -2.5
        return lat, lon
    return rng.uniform(50.3, 53.8, areas), rng.uniform(-3, 0, areas)


def _map(names: list[str], lat: np.ndarray, lon: np.ndarray) -> AreaMap:
    rng = np.random.default_rng(len(names))
    shares = rng.dirichlet([1.0] * len(LOOKS), len(names)).tolist()
    areas = tuple(
        Area(name, float(y), float(x), tuple(mine), f"n {100 + number}")
        for number, (name, y, x, mine) in enumerate(zip(names, lat, lon, shares, strict=True))
    )
    rows = tuple((look.title, f"{n + 7}", f"{n + 1}%") for n, look in enumerate(LOOKS))
    return AreaMap(
        title="Wet: 12% of homes in A0, the largest share shown",
        heading="Homes by hand",
        unit="Shares of homes, by area; n = 900 in all.",
        looks=LOOKS,
        rows=(*rows, ("All", "900", "")),
        areas=areas,
        notes=("3 areas are withheld and not drawn.",),
        alt="A0: n 100.",
    )


def _names(areas: int) -> list[str]:
    return [f"A{number}" for number in range(areas)]


@pytest.mark.parametrize("kind", ["spread", "one place", "a line", "a stray"])
@pytest.mark.parametrize("areas", COUNTS)
def test_no_two_hexagons_overlap_and_none_leaves_the_map(areas: int, kind: str) -> None:
    view, x, y = open_view("GB", *_degrees(areas, kind))
    radius = hexagon_radius(areas)
    spots = placed(view, np.column_stack([x, y]), radius)
    assert spots.shape == (areas, 2)
    reach = radius * view.metres_per_inch
    west, south, east, north = view.bounds
    half = np.sqrt(3) / 2 * reach  # of a hexagon that stands on its corner
    slack = 1e-6 * reach
    assert np.all(spots[:, 0] - half >= west - slack)
    assert np.all(spots[:, 0] + half <= east + slack)
    assert np.all(spots[:, 1] - reach >= south - slack)
    assert np.all(spots[:, 1] + reach <= north + slack)
    # Two such hexagons are apart where a side, or a slanting side, lies between their middles.
    step = np.abs(spots[:, None] - spots[None])
    apart = np.maximum(step[..., 0], step[..., 0] / 2 + step[..., 1] * np.sqrt(3) / 2)
    assert np.all(apart[~np.eye(areas, dtype=bool)] >= 2 * half - slack)


def test_a_hexagon_with_room_stands_over_its_area() -> None:
    lat, lon = np.array([50.3, 50.3, 51.9, 51.9]), np.array([-4.0, -1.0, -4.0, -1.0])
    view, x, y = open_view("GB", lat, lon)
    middles = np.column_stack([x, y])
    radius = hexagon_radius(4)
    away = np.hypot(*(placed(view, middles, radius) - middles).T)
    assert np.all(away <= 1.01 * radius * view.metres_per_inch)  # the nearest place of the comb


def test_the_order_of_the_areas_moves_no_hexagon() -> None:
    lat, lon = _degrees(60, "spread")
    view, x, y = open_view("GB", lat, lon)
    middles, radius = np.column_stack([x, y]), hexagon_radius(60)
    turned = placed(view, middles[::-1], radius)[::-1]
    assert np.allclose(placed(view, middles, radius), turned)


@pytest.mark.parametrize("areas", COUNTS)
def test_every_area_is_written_with_its_count(tmp_path: Path, areas: int) -> None:
    shown = _map(_names(areas), *_degrees(areas, "spread"))
    files = draw_area_map(tmp_path, "wet", shown, GB)
    assert files == ("wet.png", "wet.svg")
    path = tmp_path / "wet.svg"
    words = svg_words.words(path)
    for area in shown.areas:
        at = words.index(area.name)
        assert words[at + 1] == area.shown
    column = svg_words.column(path)
    for title, count, share in shown.rows:
        assert column[title] == [said for said in (count, share) if said]
    said = " ".join(words)
    for part in (shown.title, GB.stamp, shown.unit, *shown.notes, *GB.sources, "not a survey"):
        assert part in said
    title, told = svg_words.told(path)
    assert (title, told) == (shown.title, f"{shown.unit} {shown.alt}")
    assert svg_words.leads_out(path) == []
    assert svg_words.families(path) == {"'DejaVu Sans', Verdana, sans-serif"}


def test_both_files_are_the_same_bytes_again(tmp_path: Path) -> None:
    written = []
    for _ in range(2):
        files = draw_area_map(tmp_path, "wet", _map(_names(8), *_degrees(8, "spread")), GB)
        written.append([(tmp_path / name).read_bytes() for name in files])
    assert written[0] == written[1]


def test_the_bars_are_as_long_as_the_shares(tmp_path: Path) -> None:
    shown = _map(_names(2), *_degrees(2, "spread"))
    draw_area_map(tmp_path, "wet", shown, GB)
    lengths: list[float] = []
    for path in svg_words.root(tmp_path / "wet.svg").iter(f"{svg_words.SVG}path"):
        fill = re.search(r"fill: (#\w+)", str(path.get("style")))
        # A hatched bar is filled by its pattern, which comes between the other two.
        found = fill[1].upper() if fill else "pattern"
        x = [float(n) for n in re.findall(r"[ML] (-?[\d.]+) ", str(path.get("d")))]
        if path.get("clip-path") and (
            found in {look.fill for look in LOOKS} or "url" in str(path.get("style"))
        ):
            lengths += [max(x) - min(x)] if max(x) < 600 else []  # beside the map: the key
    assert len(lengths) == 2 * len(LOOKS)
    bars = np.array(lengths).reshape(len(LOOKS), 2).T  # class by class, both areas of each
    shares = bars / bars.sum(axis=1, keepdims=True)
    assert np.allclose(shares, [area.shares for area in shown.areas], atol=2e-3)


@pytest.mark.parametrize(
    ("country", "lat", "lon"), [("GB", 50.4, -4.1), ("US", 39.9, -85.5), ("US", 61.2, -149.9)]
)
def test_the_scale_bar_is_as_long_as_it_says(
    tmp_path: Path, country: str, lat: float, lon: float
) -> None:
    """Independent: metres on WGS 84 (pyproj.Geod) between two places of the map."""
    rng = np.random.default_rng(1)
    lats, lons = rng.normal(lat, 0.2, 6), rng.normal(lon, 0.2, 6)
    draw_area_map(tmp_path, "wet", _map(_names(6), lats, lons), Ground(country, "", ()))
    words = {}
    for text in svg_words.root(tmp_path / "wet.svg").iter(f"{svg_words.SVG}text"):
        said = "".join(text.itertext())
        if text.get("x") and re.fullmatch(r"0|[\d.]+ (km|miles)", said):
            words.setdefault(round(float(text.get("y", "0"))), {})[said] = float(text.get("x", "0"))
    bars = {end: x - line["0"] for line in words.values() for end, x in line.items() if end != "0"}
    assert len(bars) == (2 if country == "US" else 1)
    view, _, _ = open_view(country, lats, lons)
    west, south, east, north = view.bounds
    back = Transformer.from_crs(view.crs, 4326, always_xy=True)
    middle_x, middle_y = (west + east) / 2, (south + north) / 2
    for end, points in bars.items():
        half = points / 72 * view.metres_per_inch / 2
        ends = [back.transform(middle_x + side * half, middle_y) for side in (-1, 1)]
        length = Geod(ellps="WGS84").inv(*ends[0], *ends[1])[2]
        number, unit = end.split()
        # Albers keeps areas, not lengths: up to about 1 % off along a parallel.
        metres = 1000.0 if unit == "km" else 1609.344
        assert length == pytest.approx(float(number) * metres, rel=0.015)


@pytest.mark.parametrize(
    "name",
    [*HOSTILE[::3], HOSTILE[7], "<script>alert(1)</script>", "\u202egnp.exe", "$x^{", "x" * 30_000],
)
def test_a_hostile_area_is_text(tmp_path: Path, name: str) -> None:
    shown = _map([name, "B"], *_degrees(2, "spread"))
    draw_area_map(tmp_path, "wet", shown, Ground("GB", name, (name,)))
    path = tmp_path / "wet.svg"
    assert svg_words.leads_out(path) == []
    said = svg_words.words(path)
    assert not [text for text in said if "\u202e" in text or "\x00" in text]
    assert "n 100" in said
    assert path.stat().st_size < 1_000_000


def test_more_areas_than_fit_are_counted(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(area_map, "MOST", 3)
    shown = _map(_names(8), *_degrees(8, "spread"))
    draw_area_map(tmp_path, "wet", shown, GB)
    words = svg_words.words(tmp_path / "wet.svg")
    assert "5 smaller areas are in the table alone." in " ".join(words)
    assert ("A2" in words, "A3" in words) == (True, False)


def test_hexagons_that_had_to_move_are_counted(tmp_path: Path) -> None:
    for areas, kind in ((1, "spread"), (9, "one place")):
        draw_area_map(tmp_path, "wet", _map(_names(areas), *_degrees(areas, kind)), GB)
        said = " ".join(svg_words.words(tmp_path / "wet.svg"))
        # Of nine at one place, the nearest cell of the comb can hold one.
        assert ("8 stand beside the area" in said) == (areas == 9)


def test_a_map_without_areas_is_refused(tmp_path: Path) -> None:
    with pytest.raises(ValueError, match="has no area"):
        draw_area_map(tmp_path, "wet", _map([], np.zeros(0), np.zeros(0)), GB)
