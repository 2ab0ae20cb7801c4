"""The map of a wave of inspections: every roof once, told by shape and by word."""

import re
from pathlib import Path

import numpy as np
import polars as pl
import pytest
import svg_words
from matplotlib.image import imread
from report_frames import HOSTILE

from triage.report.map_selection import STREAMS, WaveWords, draw_selection_map

SCHEMA = {
    "lat": pl.Float64,
    "lon": pl.Float64,
    "stream": pl.String,
    "visit_area": pl.String,
    "visit_order": pl.UInt32,
}
WORDS = WaveWords("Some roofs to open", "Coast · as of 1 May 2026", ("Seed 7; by hand.",), "GB")


def _roofs(rows: int, areas: int = 3, spread: float = 0.4) -> pl.DataFrame:
    rng = np.random.default_rng(rows)
    stream = rng.choice(["random", "targeted", "reserve"], rows, p=[0.3, 0.5, 0.2]).tolist()
    return pl.DataFrame(
        {
            "lat": rng.uniform(51.5 - spread, 51.5 + spread, rows),
            "lon": rng.uniform(-1.5 - spread, -1.5 + spread, rows),
            "stream": stream,
            "visit_area": [f"Area {n % areas}" for n in range(rows)],
            "visit_order": [None if s == "reserve" else n + 1 for n, s in enumerate(stream)],
        },
        schema=SCHEMA,
    )


@pytest.mark.parametrize(("rows", "areas"), [(0, 1), (1, 1), (12, 3), (240, 30)])
def test_every_roof_is_counted_by_stream_and_area(tmp_path: Path, rows: int, areas: int) -> None:
    roofs = _roofs(rows, areas)
    draw_selection_map(tmp_path, roofs, WORDS)
    path = tmp_path / "map.svg"
    panel, told = svg_words.column(path), svg_words.told(path)[1]
    for look in STREAMS:
        assert panel[look.title][0] == str(sum(s == look.key for s in roofs["stream"]))
    assert panel["All"] == [str(rows)]
    for number in range(min(rows, areas)):
        mine = [s for s, a in roofs["stream", "visit_area"].iter_rows() if a == f"Area {number}"]
        chance, risk, spare = (mine.count(look.key) for look in STREAMS)
        line = f"Area {number}: {chance} by chance, {risk} by expected risk, {spare} in reserve"
        assert line in told
    assert len({look.marker for look in STREAMS}) == len({look.title for look in STREAMS}) == 3
    assert imread(tmp_path / "map.png").shape == (1245, 1755, 4)


def test_areas_apart_have_a_line_and_a_letter_and_areas_across_each_other_none(
    tmp_path: Path,
) -> None:
    apart = _roofs(12, 3, spread=0.05).with_columns(
        lon=pl.col("lon") + pl.col("visit_area").str.slice(-1).cast(pl.Float64)
    )
    path = tmp_path / "map.svg"
    for roofs, letters in ((apart, True), (_roofs(12, 3), False), (_roofs(12, 1), False)):
        draw_selection_map(tmp_path, roofs, WORDS)
        names = [f"Area {n}" for n in range(roofs["visit_area"].n_unique())]
        head = [f"{letter} {name}" for letter, name in zip("ABC", names, strict=False)]
        assert set(head if letters else names) <= set(svg_words.column(path))
        assert ("B" in svg_words.words(path)) == letters
        assert svg_words.leads_out(path) == []


def test_a_number_beside_a_mark_is_that_of_its_visit(tmp_path: Path) -> None:
    roofs = _roofs(9, 1, spread=0.9).with_columns(
        stream=pl.lit("random"), visit_order=pl.Series(range(501, 510), dtype=pl.UInt32)
    )
    draw_selection_map(tmp_path, roofs, WORDS)
    words = svg_words.words(tmp_path / "map.svg")
    shown = [int(word) for word in words if word.isdigit() and int(word) > 500]
    assert len(shown) >= 7
    assert len(set(shown)) == len(shown)


def test_what_is_not_placed_is_said_and_counted(tmp_path: Path) -> None:
    roofs = _roofs(10).with_columns(
        pl.when(pl.int_range(pl.len()) < 3).then(None).otherwise("lat").alias("lat")
    )
    draw_selection_map(tmp_path, roofs, WORDS)
    assert svg_words.column(tmp_path / "map.svg")["of these not placed"] == ["3"]
    assert "3 of 10 roofs have no usable location" in " ".join(
        svg_words.words(tmp_path / "map.svg")
    )
    nowhere = roofs.with_columns(lat=pl.lit(None, pl.Float64))
    draw_selection_map(tmp_path, nowhere, WORDS)
    assert "None of the roofs has a usable location" in svg_words.words(tmp_path / "map.svg")


def test_both_files_are_the_same_bytes_each_time(tmp_path: Path) -> None:
    names = ("map.png", "map.svg")
    written = []
    for frame in (_roofs(60), _roofs(60)):
        draw_selection_map(tmp_path, frame, WORDS)
        written.append([(tmp_path / name).read_bytes() for name in names])
    assert written[0] == written[1]


@pytest.mark.parametrize(
    "name", [*HOSTILE[::3], HOSTILE[7], "<script>alert(1)</script>", "\u202egnp.exe", "$x^{"]
)
def test_a_hostile_area_is_text_and_nothing_leads_out(tmp_path: Path, name: str) -> None:
    roofs = _roofs(6, 2).with_columns(
        visit_area=pl.when(pl.int_range(pl.len()) < 3).then(pl.lit(name)).otherwise(pl.lit("b"))
    )
    words = WaveWords(name, name, (name,), "GB")
    draw_selection_map(tmp_path, roofs, words)
    path = tmp_path / "map.svg"
    assert svg_words.leads_out(path) == []
    assert svg_words.families(path) == {"'DejaVu Sans', Verdana, sans-serif"}
    told = [*svg_words.told(path), *svg_words.words(path)]
    assert not [text for text in told if "\u202e" in text or "\x00" in text]
    # What can be printed of the name stands in the title, the column and the alternative.
    piece = max(re.findall(r"[\w(=+$^<>&;'\"./:-]+", name), key=len)[:20]
    assert sum(piece in text for text in told) >= 4
