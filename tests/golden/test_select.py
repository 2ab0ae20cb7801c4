"""Foamed roofs of a demonstration programme: drawn, drawn again, opened, recorded, run again."""

import csv
import json
import shutil
from collections import Counter
from datetime import date
from pathlib import Path
from typing import Any

import openpyxl
import polars as pl
import pytest
import svg_words
from cli_helpers import triage
from golden_runs import DemoRun

from triage.errors import StoreError
from triage.runs import read_record
from triage.waves.read import RECORD, file_digests, read_waves

HEAD, FIRST = 3, 4  # rows of the sheet Inspections
SEEN = {
    "inspected_on": date(2026, 10, 20),
    "inspector_id": "Q7",
    "inspector_competence": "damp_timber",
    "outcome_status": "completed",
    "openings_count": 5,
    "foam_type_found": "open_cell",
    "foam_thickness_min_mm": 60,
    "foam_thickness_typ_mm": 110,
    "substrate_found": "underlay",
    "underlay_found": "felt_bitumen_hr",
    "air_gap_found_mm": 0,
    "defects_found": "none_seen",
    "timber_mc_max_pct": 34,
    "timber_mc_median_pct": 22,
    "readings_n": 8,
    "readings_shaded_n": 4,
    "decay_grade_max": "d2",
    "leak_found": "none",
    "verdict": "remove_foam",
    "verdict_confidence": "high",
    "reinstated": "yes",
    "photos": "a.jpg",
}


@pytest.fixture(scope="module")
def coastal(demo_runs: dict[str, DemoRun]) -> DemoRun:
    return demo_runs["coastal_association"]


def _select(run: Path, out: Path, seed: int = 42, *more: object) -> dict[str, Any]:
    done = triage("select", run, "--out", out, "--seed", seed, "--visits", 40, "--json", *more)
    assert done.code == 0, done.err
    told: dict[str, Any] = done.json
    return told


@pytest.fixture(scope="module")
def wave(coastal: DemoRun, tmp_path_factory: pytest.TempPathFactory) -> Path:
    out = tmp_path_factory.mktemp("select") / "wave"
    _select(coastal.folder, out)
    return out


def test_streams_reserve_and_strata_add_up(coastal: DemoRun, wave: Path) -> None:
    told = json.loads((wave / "selection.json").read_text(encoding="utf-8"))
    chosen, strata = (
        pl.read_parquet(wave / "selection.parquet"),
        pl.read_parquet(wave / "strata.parquet"),
    )
    assert chosen.height == told["random"] + told["targeted"] == 40
    assert strata["random_n"].sum() == told["random"]
    assert strata["targeted_n"].sum() == told["targeted"]
    foamed = coastal.queue.filter(pl.col("measure_group") == "FOAM")
    roofs = pl.read_parquet(wave / "roofs.parquet")
    homes = roofs.explode("property_ids").select("property_ids", "building_part").unique()
    assert homes.height == foamed.height  # every foamed home-part lies under one roof
    weighed = chosen.filter(pl.col("stream") == "random")
    drawn = weighed.group_by("stratum").agg(pl.len().alias("n"), pl.first("selection_weight"))
    sizes = dict(strata.select("stratum", "roofs").iter_rows())
    for stratum, n, weight in drawn.iter_rows():
        assert weight == pytest.approx(sizes[stratum] / n)
    assert chosen.filter(pl.col("stream") == "targeted")["selection_weight"].null_count() == 28


def test_the_same_seed_gives_the_same_list_and_another_another(
    coastal: DemoRun, wave: Path, tmp_path: Path
) -> None:
    _select(coastal.folder, tmp_path / "again")
    for name in ("selection", "reserve", "strata", "roofs"):
        assert (tmp_path / "again" / f"{name}.parquet").read_bytes() == (
            wave / f"{name}.parquet"
        ).read_bytes()
    pictures = ("map.png", "map.svg")
    for name in ("inspections.xlsx", "plan.pdf", "plan.html", "selection.json", *pictures):
        assert (tmp_path / "again" / name).read_bytes() == (wave / name).read_bytes(), name
    _select(coastal.folder, tmp_path / "other", 43)
    other = pl.read_parquet(tmp_path / "other" / "selection.parquet")
    mine = pl.read_parquet(wave / "selection.parquet")
    is_random = pl.col("stream") == "random"
    assert set(other.filter(is_random)["roof_id"]) != set(mine.filter(is_random)["roof_id"])


def test_the_map_counts_the_roofs_of_the_list_once_each(wave: Path) -> None:
    chosen, reserve, roofs = (
        pl.read_parquet(wave / f"{name}.parquet") for name in ("selection", "reserve", "roofs")
    )
    streams = Counter(chosen["stream"])
    spare = set(reserve["roof_id"]) - set(chosen["roof_id"])
    panel = svg_words.column(wave / "map.svg")
    for title, count in (
        ("By chance", streams["random"]),
        ("By expected risk", streams["targeted"]),
        ("In reserve", len(spare)),
        ("All", chosen.height + len(spare)),
    ):
        assert panel[title][0] == f"{count:,}"
    said = " ".join(svg_words.words(wave / "map.svg"))
    told = json.loads((wave / "selection.json").read_text(encoding="utf-8"))
    for part in (f"Seed {told['seed']};", told["run_id"], told["frame_sha256"][:12]):
        assert part in said
    assert f"{chosen.height} of {roofs.height} foamed roofs to open" in said


def test_the_plan_says_what_it_can_and_cannot_say(wave: Path) -> None:
    page = (wave / "plan.html").read_text(encoding="utf-8")
    assert "12 random openings are fewer than the" in page
    assert "never as a rate" in page
    assert "Seed 42" in page


def test_the_list_is_filled_in_recorded_and_judged(
    coastal: DemoRun, wave: Path, tmp_path: Path
) -> None:
    shutil.copytree(coastal.source, tmp_path / "programme")
    programme = tmp_path / "programme" / "programme.toml"
    book = openpyxl.load_workbook(wave / "inspections.xlsx")
    page = book["Inspections"]
    at = {cell.value: cell.column for cell in page[HEAD]}
    chosen = pl.read_parquet(wave / "selection.parquet")
    for row in range(FIRST, FIRST + chosen.height):
        for name, value in SEEN.items():
            page.cell(row, at[name]).value = value
    refused = page.cell(FIRST, at["property_id"]).value
    page.cell(FIRST, at["outcome_status"]).value = "refused"
    for name in SEEN:
        if name not in ("inspected_on", "inspector_id", "inspector_competence", "outcome_status"):
            page.cell(FIRST, at[name]).value = None
    filled = tmp_path / "filled.xlsx"
    book.save(filled)
    taken = triage("record", filled, "--programme", programme, "--json")
    assert taken.code == 0, taken.out + taken.err
    assert taken.json["rows"]["kept"] == chosen.height
    later = tmp_path / "later"
    assert triage("run", programme, "--out", later).code == 1  # the demo holds rows to reject
    queue = pl.read_parquet(later / "queue.parquet").filter(pl.col("measure_group") == "FOAM")
    opened = queue.join(chosen, on=["property_id", "building_part"], how="semi").filter(
        pl.col("property_id") != refused
    )
    # 34 % and d2: wet and decayed, wherever no survey disputes it.
    told_wet = pl.col("fired").list.contains("W09") | pl.col("disputed").list.contains("W09")
    assert opened.height == chosen.height - 1
    assert opened.filter(~told_wet).select("property_id", "fired", "disputed", "lane").rows() == []
    _report_counts_the_wave(later, wave, chosen, refused, tmp_path)
    told = _select(later, tmp_path / "second")
    second = pl.read_parquet(tmp_path / "second" / "selection.parquet")
    assert told["roofs"] == pl.read_parquet(wave / "roofs.parquet").height
    again = set(second["roof_id"]) & set(chosen["roof_id"])
    assert again <= set(chosen.filter(pl.col("property_id") == refused)["roof_id"])
    roofs = pl.read_parquet(tmp_path / "second" / "strata.parquet")
    assert roofs["refused_before_n"].sum() == 1


def _report_counts_the_wave(
    later: Path, wave: Path, chosen: pl.DataFrame, refused: str, tmp_path: Path
) -> None:
    """Part 7 holds the openings against the draw; of the targeted ones it makes no rate."""
    out = tmp_path / "report"
    asked = ("--audience", "internal", "--out", out, "--wave", wave)
    assert triage("report", later, *asked).code == 0
    with (out / "send" / "foam_strata.csv").open(encoding="utf-8", newline="") as stream:
        last = list(csv.reader(stream))[-1]
    random = chosen.filter(stream="random")
    lost = random.filter(property_id=refused).height
    opened = random.height - lost
    roofs = pl.read_parquet(wave / "roofs.parquet").height
    assert [int(n) for n in last[1:6]] == [roofs, random.height, opened, opened, lost]
    assert last[6].startswith("range ")  # 12 openings, many strata
    assert "Wave drawn from evidence to" in (out / "send" / "report.html").read_text("utf-8")


def _edited(wave: Path, folder: Path, *, again: bool = False, **told: object) -> Path:
    """A copy of a wave with another record; `again` states the hashes of the files as they are."""
    if not folder.exists():
        shutil.copytree(wave, folder)
    record = json.loads((folder / RECORD).read_text("utf-8")) | told
    if again:
        record["files"] = file_digests(folder)
    (folder / RECORD).write_text(json.dumps(record), "utf-8")
    return folder


def test_a_wave_is_read_back_as_it_was_drawn(coastal: DemoRun, wave: Path) -> None:
    run = read_record(coastal.folder)
    (found,) = read_waves([wave], run, withholds=True)
    assert found.roofs.equals(pl.read_parquet(wave / "roofs.parquet"))
    assert found.record["seed"] == 42
    assert read_waves([], run, withholds=True) == ()


def test_a_wave_that_is_not_as_it_was_drawn_is_refused(
    coastal: DemoRun, wave: Path, tmp_path: Path
) -> None:
    run = read_record(coastal.folder)

    def refused(words: str, *folders: Path, withholds: bool = False) -> None:
        with pytest.raises(StoreError, match=words):
            read_waves(folders, run, withholds=withholds)

    refused("no wave", tmp_path)
    refused("named twice", wave, wave)
    refused("two waves at once", wave, tmp_path, withholds=True)
    refused("of the programme 'other'", _edited(wave, tmp_path / "a", programme_id="other"))
    refused("evidence to 2030-01-01", _edited(wave, tmp_path / "b", as_of="2030-01-01"))
    refused("another version", _edited(wave, tmp_path / "c", format=1))
    (_edited(wave, tmp_path / "d") / "reserve.parquet").unlink()
    refused("not complete", tmp_path / "d")
    (_edited(wave, tmp_path / "e") / RECORD).write_text("{", "utf-8")
    refused("damaged", tmp_path / "e")
    refused("not those that the seed 43", _edited(wave, tmp_path / "f", seed=43))
    # A roof moved into the random stream, first with the old hash of the file, then with its own.
    roofs = pl.read_parquet(_edited(wave, tmp_path / "g") / "roofs.parquet")
    first = pl.int_range(pl.len()) == roofs["stream"].eq_missing(None).arg_max()
    moved = pl.when(first).then(pl.lit("random")).otherwise("stream").alias("stream")
    roofs.with_columns(moved).write_parquet(tmp_path / "g" / "roofs.parquet")
    refused("changed after the draw", tmp_path / "g")
    refused("not those that the seed 42", _edited(wave, tmp_path / "g", again=True))


def test_a_share_that_is_none_is_refused(coastal: DemoRun, tmp_path: Path) -> None:
    out = tmp_path / "x"
    asked = ("select", coastal.folder, "--out", out, "--seed", 1, "--detect-share", "1.5")
    assert triage(*asked).code == 2
    assert not out.exists()
