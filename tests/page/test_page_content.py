"""What stands in the file: the whole run, packed the same each time, and nothing from elsewhere."""

import base64
import gzip
import hashlib
import json
import re
import shutil
from datetime import UTC, date, datetime
from pathlib import Path
from typing import Any

import polars as pl
import pytest
import shapely
from cli_helpers import triage
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from page_runs import HOSTILE, QUEUES, TITLE, TITLES, PageRun

from triage.report.page.assemble import read_part
from triage.report.page.columns import coded, coded_lists, visible_text
from triage.report.page.content import home_foam, postal_area
from triage.report.page.ground import ground_near
from triage.store import Store

KEY = ["property_id", "building_part", "measure_code"]
LIMIT = 5_000_000  # bytes


def _unpacked(page: Path) -> dict[str, Any]:
    text = page.read_text(encoding="utf-8")
    found = re.search(r'id="data">([A-Za-z0-9+/=]*)</script>', text)
    assert found is not None
    data: dict[str, Any] = json.loads(gzip.decompress(base64.b64decode(found[1])))
    return data


def _words(column: dict[str, Any]) -> list[str | None]:
    return [None if code < 0 else column["words"][code] for code in column["codes"]]


def _lists(column: dict[str, Any]) -> list[list[str]]:
    lists = [[column["words"][place] for place in some] for some in column["lists"]]
    return [lists[code] for code in column["codes"]]


def _copy(run: PageRun, folder: Path) -> Path:
    for name in ("run.json", "store.duckdb"):
        folder.mkdir(exist_ok=True)
        shutil.copy(run.folder / name, folder / name)
    return folder


def test_every_row_of_the_queue_is_in_the_file(page_run: PageRun) -> None:
    data, queue = _unpacked(page_run.page), page_run.queue.sort(KEY)
    rows, homes = data["rows"], data["homes"]
    assert sum(homes["rows"]) == queue.height
    of_home = [n for n, count in enumerate(homes["rows"]) for _ in range(count)]
    shown = queue.select(visible_text(pl.col("property_id")))["property_id"].to_list()
    assert [homes["id"][n] for n in of_home] == shown
    names = [look["queue"] for look in data["looks"]]
    assert [names[code] for code in rows["queue"]] == queue["queue"].to_list()
    for name in ("measure_name", "reason", "next_action", "building_part"):
        assert _words(rows[name]) == queue[name].to_list()
    for name in ("checks", "enabling", "notes", "cautions", "presumed"):
        assert _lists(rows[name]) == queue[name].to_list()
    for name in ("fired", "undecidable", "confirm_first", "disputed"):
        told = [[rule.split(" ")[0] for rule in rules] for rules in _lists(rows[name])]
        assert told == queue[name].to_list()
    safe = pl.col("queue") == "safe-to-insulate"
    until = queue.select(pl.when(safe).then("expires_on"))["expires_on"]
    for name, days in (("good_until", until), ("survey_on", queue["survey_on"])):
        told = [None if word is None else _day(word) for word in _words(rows[name])]
        assert told == days.to_list()
        assert any(told)


def _day(word: str) -> date:
    return datetime.strptime(word, "%d %B %Y").replace(tzinfo=UTC).date()


def test_states_foam_and_gaps_are_told_in_words(page_run: PageRun) -> None:
    rows, queue = _unpacked(page_run.page)["rows"], page_run.queue.sort(KEY).to_dicts()
    states = _words(rows["step"])
    for row, state in zip(queue, states, strict=True):
        if row["queue"] == "safe-to-insulate":
            assert state == f"Safe, {'released' if row['released'] else 'checks outstanding'}"
        elif row["queue"] == "fix-water-first":
            assert state == "Fix water first"
        else:
            assert state is not None
            assert state.startswith(f"Review: {row['lane'].replace('_', ' ')} (")
    foam = {"yes": "Foam", "no": "No foam", "unknown": "Not known"}
    assert _words(rows["foam_present"]) == [foam[row["foam_present"]] for row in queue]
    stored = page_run.stored(f"SELECT * FROM queue ORDER BY {', '.join(KEY)}").to_dicts()
    asked = [row["missing"] if row["asks_for_evidence"] else [] for row in stored]
    assert [len(fields) for fields in _lists(rows["asked"])] == [len(fields) for fields in asked]
    for fields, word in zip(asked, _words(rows["alone"]), strict=True):
        assert (word is not None) == (len(fields) == 1)
        if word is not None:  # a label is the field without its unit
            assert fields[0].replace("_", " ").startswith(word.lower())
    assert any(rows["alone"]["words"])


def test_foam_of_a_home_is_the_best_known_of_its_parts() -> None:
    rows = pl.DataFrame(
        {
            "home": [0, 0, 0, 1, 2, 2, 3],
            "foam_present": ["unknown", "yes", "no", "no", None, "unknown", "yes"],
            "foam_type": ["open_cell", "closed_cell", None, None, None, "open_cell", None],
        }
    )
    known, record = "Foam: closed cell", "Not known whether foam; on record: open cell"
    told = _words(home_foam(rows))
    assert told == [known, known, None, None, record, record, "Foam: type not known"]


def test_every_home_is_in_the_file_where_it_stands(page_run: PageRun) -> None:
    homes = _unpacked(page_run.page)["homes"]
    placed = page_run.stored("SELECT * FROM placed_home ORDER BY property_id")
    assert homes["n"] == placed.height == page_run.homes.height
    for name in ("lat", "lon"):
        for told, known in zip(homes[name], placed[name], strict=True):
            assert (told is None) == (known is None)
            assert told is None or abs(told / 1e5 - known) <= 0.5e-5 + 1e-12


def test_the_same_run_gives_the_same_bytes(page_run: PageRun, tmp_path: Path) -> None:
    again = tmp_path / "again.html"
    assert triage("page", page_run.folder, "--out", again).code == 0
    assert again.read_bytes() == page_run.page.read_bytes()


def test_only_scripts_and_styles_named_by_hash_may_run(page_run: PageRun) -> None:
    text = page_run.page.read_text(encoding="utf-8")
    policy = re.search(r'Content-Security-Policy" content="([^"]*)"', text)
    assert policy is not None
    rules = dict(part.split(" ", 1) for part in policy[1].split("; "))
    assert rules["default-src"] == "'none'"
    for tag in ("script", "style"):
        inline = re.findall(rf"<{tag}>(.*?)</{tag}>", text, flags=re.DOTALL)
        hashes = [
            f"'sha256-{base64.b64encode(hashlib.sha256(t.encode()).digest()).decode()}'"
            for t in inline
        ]
        assert len(hashes) >= 2
        assert rules[f"{tag}-src"].split() == hashes
    assert "unsafe" not in policy[1]


def test_nothing_in_the_file_points_outside(page_run: PageRun) -> None:
    text = page_run.page.read_text(encoding="utf-8")
    body = re.sub(r"<script.*?</script>", "", text, flags=re.DOTALL)
    assert re.findall(r"\b(?:src|href|action|data|poster)=[\"']?(?![\"'#])[^\s>]+", body) == []
    assert not re.search(r"url\((?!#)|@import|sourceMappingURL", text)
    assert re.findall(r"\son\w+=|\sstyle=", body) == []


def test_our_own_script_stays_small_and_readable() -> None:
    lines = [line for name in ("map.js", "page.js") for line in read_part(name).splitlines()]
    assert len(lines) <= 400  # the issue: keep our own JavaScript small
    assert max(map(len, lines)) <= 110


def test_hostile_words_never_become_elements(page_run: PageRun) -> None:
    text = page_run.page.read_text(encoding="utf-8")
    for name in (*HOSTILE[:3], TITLE, "\u202e"):
        assert name not in text
    assert "<h1>=HYPERLINK(1) Kittiwake &lt;/title&gt;&lt;script&gt;window.hit = 1" in text


def test_cautions_definitions_and_counts_are_printed_without_a_script(page_run: PageRun) -> None:
    text = page_run.page.read_text(encoding="utf-8")
    for said in (
        "It does not say that the building is dry, sound, compliant, insurable or lendable",
        "Screening only. It defers to local codes",
        "not a survey, valuation, design or warranty",
        "Internal: shows single homes.",
        "<dt>Cannot be decided yet</dt>",
    ):
        assert said in text
    rows = json.loads((page_run.folder / "run.json").read_text(encoding="utf-8"))["rows"]
    for name in ("read", "accepted", "rejected", "superseded"):
        assert f'<th scope="row">{name.capitalize()}</th><td class="n">{rows[name]:,}</td>' in text


def test_rules_stand_by_their_ids_where_the_pack_is_not_at_hand(
    page_run: PageRun, tmp_path: Path
) -> None:
    folder = _copy(page_run, tmp_path / "run")
    record = json.loads((folder / "run.json").read_text(encoding="utf-8"))
    record["policy"] |= {"name": "of our own", "sha256": "0" * 64}
    (folder / "run.json").write_text(json.dumps(record), encoding="utf-8")
    assert triage("page", folder, "--out", tmp_path / "p.html").code == 0
    rows = _unpacked(tmp_path / "p.html")["rows"]
    assert rows["fired"]["words"] == sorted({r for rules in page_run.queue["fired"] for r in rules})
    assert "The policy pack of this run is not at hand" in (tmp_path / "p.html").read_text("utf-8")
    titled = _unpacked(page_run.page)["rows"]["fired"]["words"]
    assert "W01 Active or recent roof leak" in titled


def test_rules_have_their_titles_from_the_pack_that_the_run_keeps(
    page_run: PageRun, tmp_path: Path
) -> None:
    folder = _copy(page_run, tmp_path / "run")
    record = json.loads((folder / "run.json").read_text(encoding="utf-8"))
    record["policy"] |= {"name": "of our own"}
    (folder / "run.json").write_text(json.dumps(record), encoding="utf-8")
    shutil.copytree(page_run.folder / "inputs", folder / "inputs")
    assert triage("page", folder, "--out", tmp_path / "p.html").code == 0
    again, first = (
        _unpacked(page)["rows"]["fired"] for page in (tmp_path / "p.html", page_run.page)
    )
    assert again == first


def test_a_run_of_another_version_is_refused_in_words(page_run: PageRun, tmp_path: Path) -> None:
    folder = _copy(page_run, tmp_path / "run")
    with Store(folder / "store.duckdb") as store:
        store.run("ALTER TABLE queue DROP COLUMN repair_notes")
        store.run("DROP TABLE batch_flag")
    answer = triage("page", folder, "--out", tmp_path / "p.html")
    assert answer.code == 2
    assert "it holds no batch_flag, repair_notes" in answer.err


def test_a_calendar_in_the_run_folder_is_shown(page_run: PageRun, tmp_path: Path) -> None:
    folder = _copy(page_run, tmp_path / "run")
    some = page_run.queue.sort(KEY).filter(pl.col("queue") == "safe-to-insulate").head(3)
    calendar = some.select(*KEY).with_columns(
        expires_on=pl.Series([date(2026, 12, 1), date(2027, 1, 31), date(2027, 1, 1)]),
        field=pl.lit("gutter_condition"),
        leaves_safe=pl.Series([True, False, True]),
    )
    calendar.write_parquet(folder / "expiry_calendar.parquet")
    assert triage("page", folder, "--out", tmp_path / "p.html").code == 0
    rows = _unpacked(tmp_path / "p.html")["rows"]
    assert rows["ends"]["words"] == ["December 2026", "January 2027"]
    keys = page_run.queue.sort(KEY).select(KEY).rows()
    told = {key: months for key, months in zip(keys, _lists(rows["ends"]), strict=True) if months}
    months = ["December 2026", "January 2027", "January 2027"]
    assert told == {
        key: [month] for key, month in zip(some.select(KEY).rows(), months, strict=True)
    }
    leaving = [len(months) for months in _lists(rows["leaving"]) if months]
    assert leaving == [1, 1]


def test_without_a_calendar_safe_rows_stand_by_the_day_that_ends_them(
    page_run: PageRun, tmp_path: Path
) -> None:
    assert triage("page", _copy(page_run, tmp_path / "run"), "--out", tmp_path / "p.html").code == 0
    assert "Safe home-part-measures, by month" in (tmp_path / "p.html").read_text("utf-8")
    ends = _lists(_unpacked(tmp_path / "p.html")["rows"]["ends"])
    for row, months in zip(page_run.queue.sort(KEY).to_dicts(), ends, strict=True):
        ending = row["queue"] == "safe-to-insulate" and row["expires_on"] is not None
        assert months == ([row["expires_on"].strftime("%B %Y")] if ending else [])
    assert any(ends)


def _moves(run: PageRun) -> pl.DataFrame:
    """Two rows that moved, one that is new and one that is gone."""
    rows = run.queue.sort(KEY).select(*KEY, to_queue="queue").head(3)
    gone = pl.DataFrame({**dict(zip(KEY, ("OLD", "main", "loft_topup"), strict=True))})
    frame = pl.concat([rows, gone], how="diagonal")
    return frame.with_columns(
        change=pl.Series(["moved", "moved", "new", "gone"]),
        from_queue=pl.Series(["safe-to-insulate", "fix-water-first", None, "safe-to-insulate"]),
        cause=pl.Series([["repair", "new_evidence"], ["<b>"], ["new_home"], None]),
        how=pl.Series(["together", "alone", "alone", "unexplained"]),
    )


def _told(page: Path) -> tuple[dict[str, list[int]], str]:
    """The from-to table of a page, and the section it stands in."""
    text = page.read_text(encoding="utf-8")
    section = text[text.index('id="moves-title"') :]
    line = r'<th scope="row">([^<]*)</th>((?:<td class="n">[\d,]+</td>){4})'
    cells = {name: re.findall(r">([\d,]+)<", some) for name, some in re.findall(line, section)}
    told = {name: [int(n.replace(",", "")) for n in numbers] for name, numbers in cells.items()}
    return told, section


def test_movement_is_shown_when_it_is_given(page_run: PageRun, tmp_path: Path) -> None:
    moves = _moves(page_run)
    moves.write_parquet(tmp_path / "movement.parquet")
    out = tmp_path / "p.html"
    words = ("page", page_run.folder, "--out", out, "--movement", tmp_path / "movement.parquet")
    assert triage(*words).code == 0
    told, section = _told(out)
    expected = {title: [0, 0, 0, 0] for title in (*TITLES.values(), "Not listed before")}
    for row in moves.to_dicts():
        to = 3 if row["to_queue"] is None else QUEUES.index(row["to_queue"])
        expected[TITLES.get(row["from_queue"], "Not listed before")][to] += 1
    for row in page_run.queue.sort(KEY).to_dicts()[3:]:
        expected[TITLES[row["queue"]]][QUEUES.index(row["queue"])] += 1
    assert told == expected
    assert "&lt;b&gt;" in section
    line = '<tr><th scope="row">repair, new evidence</th><td>together</td><td>moved</td>'
    assert f'{line}<td class="n">1</td></tr>' in section
    assert 'id="moves-title"' not in page_run.page.read_text(encoding="utf-8")


def test_movement_comes_from_a_comparison(page_run: PageRun, tmp_path: Path) -> None:
    moved, out = tmp_path / "moved", tmp_path / "p.html"
    compared = triage("compare", page_run.before, page_run.folder, "--out", moved)
    assert compared.code == 0, compared.err
    file = moved / "movement.parquet"
    answer = triage("page", page_run.folder, "--out", out, "--movement", file)
    assert answer.code == 0, answer.err
    told, _ = _told(out)
    assert sum(told.pop("Not listed before")) == len(HOSTILE)
    was = pl.read_parquet(page_run.before / "queue.parquet")
    for queue, title in TITLES.items():
        assert sum(told[title]) == was.filter(pl.col("queue") == queue).height


@pytest.mark.parametrize(
    ("change", "says"),
    [
        (lambda m: m.drop("cause"), "it lacks cause"),
        (lambda m: m.with_columns(cause=pl.lit("repair")), "it lacks a list of causes"),
        (
            lambda m: m.with_columns(to_queue=pl.lit("safe-to-insulate")),
            "the comparison ends in another run",
        ),
        (lambda m: m.with_columns(property_id=pl.lit("X")), "the comparison ends in another run"),
    ],
)
def test_movement_of_another_run_is_refused(
    page_run: PageRun, tmp_path: Path, change: Any, says: str
) -> None:
    file = tmp_path / "movement.parquet"
    change(_moves(page_run)).write_parquet(file)
    out = tmp_path / "p.html"
    answer = triage("page", page_run.folder, "--out", out, "--movement", file)
    assert answer.code == 2
    assert says in answer.err
    assert str(file) in answer.err
    assert list(tmp_path.iterdir()) == [file]


def test_what_cannot_be_written_is_said(page_run: PageRun, tmp_path: Path) -> None:
    there = tmp_path / "there.html"
    there.write_text("mine", encoding="utf-8")
    cases = {
        ("page", page_run.folder, "--out", there): "exists already",
        ("page", page_run.folder, "--out", tmp_path / "no" / "p.html"): "no such folder",
        ("page", page_run.folder, "--out", tmp_path / "p.pdf"): "ends in .html",
        ("page", tmp_path, "--out", tmp_path / "p.html"): "not the folder of a finished run",
    }
    for words, says in cases.items():
        answer = triage(*words)
        assert answer.code == 2
        assert says in answer.err
    (tmp_path / "m.parquet").write_text("no table", encoding="utf-8")
    for name, says in (("m.parquet", "not a Parquet file"), ("none.parquet", "no such file")):
        words = ("page", page_run.folder, "--out", tmp_path / "p.html")
        answer = triage(*words, "--movement", tmp_path / name)
        assert answer.code == 2
        assert says in answer.err
    assert there.read_text(encoding="utf-8") == "mine"
    assert sorted(path.name for path in tmp_path.iterdir()) == ["m.parquet", "there.html"]


TEXT = st.none() | st.text(st.characters(codec="utf-8"), max_size=6)


# The first draw reads tables of characters, which takes long on a busy machine.
@settings(suppress_health_check=[HealthCheck.too_slow])
@given(st.lists(TEXT, max_size=30))
def test_coded_text_comes_back(values: list[str | None]) -> None:
    column = coded(pl.Series(values, dtype=pl.String))
    shown = pl.DataFrame({"x": pl.Series(values, dtype=pl.String)}).select(
        visible_text(pl.col("x"))
    )
    assert _words(column) == shown["x"].to_list()


@given(st.lists(st.none() | st.lists(st.sampled_from(["W01", "W02", "é", ""]), max_size=4)))
def test_coded_lists_come_back(values: list[list[str] | None]) -> None:
    column = coded_lists(pl.Series(values, dtype=pl.List(pl.String)))
    assert _lists(column) == [value or [] for value in values]
    assert len(column["lists"]) == len({tuple(value or ()) for value in values})


@pytest.mark.parametrize(
    ("raw", "shown"),
    [
        ("a\u202eb", "a\ufffdb"),
        ("a\u2066b\u2069", "a\ufffdb\ufffd"),
        ("a\nb\tc", "a b c"),
        ("a\x00\x1b[31m", "a\ufffd\ufffd[31m"),
        ("née 日本 עברית", "née 日本 עברית"),
        ("1 ½ ° “x”", "1 ½ ° “x”"),
    ],
)
def test_marks_that_steer_text_are_replaced(raw: str, shown: str) -> None:
    assert pl.DataFrame({"x": [raw]}).select(visible_text(pl.col("x")))["x"].to_list() == [shown]


@pytest.mark.parametrize(
    ("country", "code", "area"),
    [
        ("GB", "EX8 4TR", "EX8"),
        ("GB", "sw1a 1aa", "SW1A"),
        ("GB", "M11AE", "M1"),
        ("GB", "EX8", None),
        ("GB", None, None),
        ("US", "02134", "02134"),
        ("US", "02134-1000", "02134"),
        ("US", "2134", None),
        ("DE", "10115", "10115"),
        ("DE", " ", None),
    ],
)
def test_areas_come_from_postal_codes(country: str, code: str | None, area: str | None) -> None:
    homes = pl.DataFrame(
        {"postal_code": [code], "country_code": [country]},
        schema_overrides={"postal_code": pl.String},
    )
    assert homes.select(area=postal_area())["area"].to_list() == [area]


def test_the_ground_of_american_homes_is_their_climate_zone() -> None:
    # Chicago lies in 5A and Miami in 1A (ASHRAE 169, IECC map).
    homes = pl.DataFrame({"lat": [41.88, 25.77], "lon": [-87.63, -80.2]})
    ground = ground_near("US", homes)
    assert ground.miles
    assert {"5A", "1A"} <= {label[2] for label in ground.labels}
    assert any(shape.contains(shapely.Point(-87.9, 41.88)) for shape in _shapes(ground.rings))
    assert ground_near("US", homes.clear()).labels == []


def test_the_ground_of_british_homes_is_the_coast_and_its_regions() -> None:
    ground = ground_near("GB", pl.DataFrame({"lat": [50.7], "lon": [-3.5]}))
    labels = [label[2] for label in ground.labels]
    assert {"EX", "South West England", "Orkney", "Ireland"} <= set(labels)
    assert labels.index("South West England") < labels.index("EX")  # it keeps its place
    assert "approximate" in ground.words
    assert "nearest postcode area" in ground.words
    assert "a home by the sea can seem to stand in it" in ground.words
    shapes = _shapes(ground.rings)
    # Exeter and Belfast lie on land, Lundy's east and Lyme Bay at sea.
    for lon, lat, on_land in (
        (-3.53, 50.72, 1),
        (-5.93, 54.58, 1),
        (-4.5, 51.2, 0),
        (-3.0, 50.5, 0),
    ):
        assert sum(shape.contains(shapely.Point(lon, lat)) for shape in shapes) == on_land


def _shapes(rings: list[list[int]]) -> list[shapely.Polygon]:
    """Closed outlines as the page gets them, in degrees."""
    return [
        shapely.Polygon([(ring[i] / 1e3, ring[i + 1] / 1e3) for i in range(0, len(ring), 2)])
        for ring in rings
    ]
