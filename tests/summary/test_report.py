"""The report that leaves the tool: its counts, its words, its files."""

import csv
import hashlib
import json
import re
import shutil
import subprocess
from collections import Counter
from pathlib import Path
from xml.etree import ElementTree

import polars as pl
import pytest
from cli_helpers import Answer, Stock, triage
from invented import HOSTILE

from triage.report.document import Bar, Document, Figure, Grid, Section, Words
from triage.report.html_document import write_html
from triage.report.pdf import write_pdf

PARTS = (
    *("What this report rests on", "Definitions", "Coverage", "Queues by measure group"),
    *("Movement since the last report", "Reasons", "Roofs that already carry foam", "Repairs"),
    *("Overrides and exceptions", "Quality", "Limits", "Map by area"),
)
NEVER = (
    *("safe home", "approved", "certified", "guaranteed", "no problems", "all clear", "low risk"),
    *("roofs are failing", "rate of failure", "passed", "assessment of value"),
    *("mortgage suitability", "compliance"),
)


MAPS = {
    "queues_by_area": "areas",
    "gaps_by_area": "area_gaps",
    "exposure_by_area": "area_exposure",
}


def _report(ran: Stock, out: Path, audience: str, *more: object) -> Answer:
    done = triage("report", ran.out, "--audience", audience, "--out", out, *more)
    assert done.code == 0, done.err
    return done


@pytest.fixture(scope="session")
def made(ran: Stock, tmp_path_factory: pytest.TempPathFactory) -> dict[str, Path]:
    """One report for each reader."""
    folder = tmp_path_factory.mktemp("reports")
    for audience in ("internal", "funder", "lender", "public"):
        _report(ran, folder / audience, audience, "--signed-off-by", "A. N. Other")
    return {a: folder / a / "send" for a in ("internal", "funder", "lender", "public")}


def _csv(folder: Path, name: str) -> list[list[str]]:
    with (folder / f"{name}.csv").open(encoding="utf-8", newline="") as stream:
        return list(csv.reader(stream))[1:]


def _number(text: str) -> int:
    return int(text.replace(",", ""))


def _pages(path: Path) -> list[str]:
    if shutil.which("pdftotext") is None:
        pytest.skip("pdftotext is not there")
    done = subprocess.run(
        ["pdftotext", "-layout", str(path), "-"], capture_output=True, check=True, encoding="utf-8"
    )
    return done.stdout.rstrip("\f").split("\f")


def _worst(queues: list[str]) -> str:
    order = ("fix-water-first", "specialist-review", "safe-to-insulate")
    return min(queues, key=order.index)


def test_internal_counts_are_those_of_the_queue_file(ran: Stock, made: dict[str, Path]) -> None:
    rows = pl.read_parquet(ran.out / "queue.parquet").to_dicts()
    by_home: dict[str, list[dict[str, object]]] = {}
    by_group: dict[tuple[str, str], list[dict[str, object]]] = {}
    for row in rows:
        by_home.setdefault(row["property_id"], []).append(row)
        by_group.setdefault((row["measure_group"], row["property_id"]), []).append(row)
    folder = made["internal"]
    names = {"CEIL": "Ceiling / loft", "CWI": "Cavity wall", "EWI": "Outside of wall"}
    names |= {"AIR": "Air sealing", "FOAM": "Foam already there"}
    told = {line[0]: line[1:] for line in _csv(folder, "queues")}
    assert set(told) == {names[g] for g, _ in by_group} | {"All measure groups"}
    for group in {g for g, _ in by_group}:
        mine = [r for (g, _), r in by_group.items() if g == group]
        worst = Counter(_worst([str(x["queue"]) for x in r]) for r in mine)
        decidable = sum(all(not x["undecidable"] for x in r) for r in mine)
        queues = ("safe-to-insulate", "fix-water-first", "specialist-review")
        expected = [*(worst[q] for q in queues), len(mine), decidable]
        assert [_number(x) for x in told[names[group]][:5]] == expected
    homes = len(by_home)
    fired = Counter(
        (home, rule)
        for home, mine in by_home.items()
        for x in mine
        if x["queue"] != "safe-to-insulate"
        for rule in x["fired"]
    )
    rules = Counter(rule for _, rule in fired)
    seen = {
        re.search(r"\((\w+)\)$", line[0])[1]: _number(line[1]) for line in _csv(folder, "reasons")
    }
    assert seen == dict(rules)
    coverage = [_number(line[1]) for line in _csv(folder, "coverage")]
    assert sum(coverage[:-1]) == coverage[-1]
    assert sum(coverage[:3]) == homes
    assert coverage[0] == sum(
        all(not x["undecidable"] and not x["expired"] for x in mine) for mine in by_home.values()
    )
    assert coverage[2] == sum(any(x["expired"] for x in mine) for mine in by_home.values())
    safe = [r for r in by_group.values() if _worst([str(x["queue"]) for x in r])[0] == "s"]
    safe = [r for r in safe if all(x["queue"] == "safe-to-insulate" for x in r)]
    good = ("observed", "opened_up", "measured")
    seen_well = sum(all(x["evidence_quality"] in good for x in r) for r in safe)
    assert [_number(x) for x in _csv(folder, "quality")[0][1:3]] == [seen_well, len(safe)]


@pytest.mark.parametrize(("audience", "least"), [("funder", 30), ("public", 50)])
def test_shares_are_made_of_the_printed_counts(
    made: dict[str, Path], audience: str, least: int
) -> None:
    """Whoever divides the printed counts gets every printed share: it tells nothing more."""

    def share(part: str, whole: str) -> str:
        if "*" in (part, whole) or _number(whole) < least:
            return "–"
        # Each is rounded by itself: a part may come out above its whole.
        return f"{min(100, round(100 * _number(part) / _number(whole)))}%"

    folder = made[audience]
    told = []
    coverage = _csv(folder, "coverage")
    told += [(line[2], share(line[1], coverage[-1][1])) for line in coverage]
    for line in _csv(folder, "queues"):
        told += [(line[6], share(line[1], line[5])), (line[7], share(line[1], line[4]))]
    quality = _csv(folder, "quality")
    told += [(line[3], share(line[1], line[2])) for line in quality]
    for name in ("reasons", "gaps"):
        told += [(line[2], share(line[1], quality[-1][2])) for line in _csv(folder, name)]
    assert [printed for printed, _ in told] == [own for _, own in told]
    assert sum(printed != "–" for printed, _ in told) > 5


def test_internal_lanes_and_gaps_are_those_of_the_queue_file(
    ran: Stock, made: dict[str, Path]
) -> None:
    queue = pl.read_parquet(ran.out / "queue.parquet")
    review = queue.filter(pl.col("queue") == "specialist-review")
    lanes = _csv(made["internal"], "lanes")
    assert sum(_number(x) for x in lanes[-1][1:-1]) == _number(lanes[-1][-1])
    for line in lanes:
        assert sum(_number(x) for x in line[1:-1]) == _number(line[-1])
    waiting: dict[str, set[str]] = {}
    for home, fields in review.select("property_id", "open_fields").iter_rows():
        for field in fields or []:
            waiting.setdefault(field, set()).add(home)
    shown = sorted(_number(line[1]) for line in _csv(made["internal"], "gaps"))
    assert shown == sorted(len(homes) for homes in waiting.values())


@pytest.mark.parametrize("audience", ["internal", "funder", "lender", "public"])
def test_all_twelve_parts_are_there_in_order(made: dict[str, Path], audience: str) -> None:
    heads = re.findall(r"<h2>(.*?)</h2>", (made[audience] / "report.html").read_text("utf-8"))
    assert [re.sub(r"^\d+\s+", "", h) for h in heads] == [*PARTS, "Sign-off"]
    assert [int(h.split()[0]) for h in heads[:-1]] == list(range(1, 13))
    pages = _pages(made[audience] / "report.pdf")
    assert 2 <= len(pages) <= 4
    text = "\n".join(pages)
    places = [text.index(f"{n} {part}") for n, part in enumerate(PARTS, 1)]
    assert places == sorted(places)
    assert all(len(page.split()) > 40 for page in pages), "an empty page"
    for term in ("in scope", "decidable", "screened safe share", "override", "non-response"):
        assert term in text


@pytest.mark.parametrize("audience", ["internal", "funder", "lender", "public"])
def test_what_may_not_be_said_is_not_said(made: dict[str, Path], audience: str) -> None:
    for name, text in _texts(made[audience]).items():
        plain = re.sub(r"\s+", " ", text).lower()
        assert [w for w in NEVER if re.search(rf"\b{re.escape(w)}\b", plain)] == [], name


def _texts(folder: Path) -> dict[str, str]:
    """All that can be read in the files of a report, by the name of the file."""
    found = {}
    for path in sorted(p for p in folder.rglob("*") if p.is_file() and p.suffix != ".png"):
        if path.suffix == ".pdf":
            text = "\n".join(_pages(path))
        elif path.suffix == ".svg":
            text = "\n".join(ElementTree.parse(path).getroot().itertext())
        else:
            text = path.read_text("utf-8")
        found[path.relative_to(folder).as_posix()] = text
    assert len(found) > 10
    return found


def test_maps_say_what_their_tables_say(made: dict[str, Path]) -> None:
    for audience, folder in made.items():
        for name, table in MAPS.items():
            assert (folder / "maps" / f"{name}.png").stat().st_size > 10_000
            lines = _texts(folder)[f"maps/{name}.svg"].splitlines()
            words = [line.strip() for line in lines if line.strip()]
            shown = {row[0]: row[-1] for row in _csv(folder, table) if row[-1] != "*"}
            shown.pop("not known", None)
            assert shown
            for area, count in shown.items():
                assert words[words.index(area) + 1] == f"n {count}", (audience, name, area)


def test_outsiders_read_no_home_and_no_small_count(ran: Stock, made: dict[str, Path]) -> None:
    homes = pl.read_parquet(ran.out / "queue.parquet")["property_id"].unique().to_list()
    assert len(homes) > 100
    for audience in ("funder", "lender", "public"):
        folder = made[audience]
        for name, text in _texts(folder).items():
            words = set(re.findall(r"[\w-]+", text))
            assert not words & set(homes), name
        for name in ("queues", "lanes", "coverage", "areas", "area_gaps", "area_exposure"):
            if not (folder / f"{name}.csv").exists():
                continue
            for line in _csv(folder, name):
                counts = [_number(x) for x in line[1:] if re.fullmatch(r"[\d,]+", x)]
                assert all(n == 0 or (n >= 10 and n % 5 == 0) for n in counts), (name, line)
    assert sorted(p.name for p in made["funder"].parent.iterdir()) == ["keep", "send"]


def test_a_hostile_name_is_text_everywhere(made: dict[str, Path]) -> None:
    html = (made["funder"] / "report.html").read_text("utf-8")
    assert "<script" not in html
    assert "&lt;script&gt;alert(1)&lt;/script&gt; =HYPERLINK(" in html
    assert "\u202e" in HOSTILE
    assert "\u202e" not in html
    assert "<script>alert(1)</script>" in _pages(made["funder"] / "report.pdf")[0]
    for path in made["funder"].glob("*.csv"):
        for row in csv.reader(path.open(encoding="utf-8", newline="")):
            assert not [cell for cell in row if cell[:1] in ("=", "+", "-", "@", "\t", "\r")]


def test_hostile_texts_of_every_place_are_text(tmp_path: Path) -> None:
    bad = "=<b>&amp;</b><script>\u202e" + "x" * 30_000
    grid = Grid("g", bad, (bad, bad), ((bad, bad),), 1, (bad,))
    figure = Figure("f", bad, bad, bad, (Bar(bad, (1.0,), "1"),))
    blocks = (Words(bad), grid, figure)
    document = Document(bad, bad, bad, (Section(bad, blocks),), ((bad, bad),))
    write_html(tmp_path / "d.html", document)
    html = (tmp_path / "d.html").read_text("utf-8")
    assert "<script" not in html
    assert "<b>" not in html
    assert "\u202e" not in html
    assert len(html) < 60_000
    write_pdf(tmp_path / "d.pdf", document)
    assert "<script>" in "\n".join(_pages(tmp_path / "d.pdf"))


def test_a_long_table_keeps_its_header_on_every_page(tmp_path: Path) -> None:
    rows = tuple((f"row {n}", f"{n}") for n in range(300))
    grid = Grid("g", "Long", ("Heading A", "Heading B"), rows, most=1000)
    path = tmp_path / "long.pdf"
    write_pdf(path, Document("T", "S", "foot", (Section("1  Long", (grid,)),)))
    pages = _pages(path)
    assert len(pages) > 3
    for page in pages:
        assert "Heading A" in page
        assert "Heading B" in page
    assert [n for n in range(300) if not re.search(rf"\brow {n}\b", "\n".join(pages))] == []


def test_the_same_run_gives_the_same_bytes(
    ran: Stock, made: dict[str, Path], tmp_path: Path
) -> None:
    _report(ran, tmp_path / "again", "funder", "--signed-off-by", "A. N. Other")
    first = made["funder"].parent
    files = sorted(p.relative_to(first) for p in first.rglob("*") if p.is_file())
    assert len(files) > 12
    for name in files:
        assert (first / name).read_bytes() == (tmp_path / "again" / name).read_bytes(), name


def test_the_snapshot_hash_is_that_of_the_run(ran: Stock, made: dict[str, Path]) -> None:
    digest = hashlib.sha256((ran.out / "queue.parquet").read_bytes()).hexdigest()
    for folder in made.values():
        assert digest in (folder / "header.csv").read_text("utf-8")


def test_every_figure_says_its_finding_unit_and_n_and_has_an_alternative(
    made: dict[str, Path],
) -> None:
    html = (made["internal"] / "report.html").read_text("utf-8")
    figures = re.findall(r"<figure>.*?</figure>", html, re.DOTALL)
    assert len(figures) >= 3
    for figure in figures:
        assert re.search(r"<figcaption>.*\d.*</figcaption>", figure)
        assert re.search(r'<svg role="img" aria-label="[^"]{20,}"', figure)
        assert re.search(r"\bn\b", figure)
    ids = re.findall(r'\bid="([^"]+)"', html)
    assert len(ids) == len(set(ids))


def test_nothing_recorded_is_said_not_left_out(made: dict[str, Path]) -> None:
    html = (made["funder"] / "report.html").read_text("utf-8")
    assert "Not recorded: no earlier report or run was given." in html
    assert "Not recorded: ordered, not completed; failed verification" in html
    assert "Contractor outcomes (verified and failed repairs): not recorded." in html


def test_a_second_report_is_bound_by_the_first(
    ran: Stock, made: dict[str, Path], tmp_path: Path
) -> None:
    done = _report(ran, tmp_path / "two", "funder", "--before", made["funder"].parent, "--json")
    assert "movement" in done.json["withheld"]
    told = _csv(tmp_path / "two" / "send", "movement")
    counts = {line[0]: line[1:] for line in told}
    # Nothing moved: off the diagonal all are 0 in truth, and so withheld.
    ways = [counts[name][:3] for name in ("Safe to insulate", "Fix water first")]
    assert [ways[0][1:], [ways[1][0], ways[1][2]]] == [["*", "*"], ["*", "*"]]
    before = {line[0]: line[1:] for line in _csv(made["funder"], "queues")}
    for name, line in ((x[0], x[1:]) for x in _csv(tmp_path / "two" / "send", "queues")):
        for was, now in zip(before[name][:5], line[:5], strict=True):
            assert "*" in (was, now) or was == now


def test_a_folder_that_is_no_report_and_no_run_is_refused(ran: Stock, tmp_path: Path) -> None:
    (tmp_path / "x").mkdir()
    done = triage(
        *("report", ran.out, "--audience", "funder", "--out", tmp_path / "o"),
        *("--before", tmp_path / "x"),
    )
    assert done.code == 2
    assert "neither a report nor a finished run" in done.err
    assert not (tmp_path / "o").exists()
    done = triage("report", tmp_path / "x", "--audience", "funder", "--out", tmp_path / "o")
    assert done.code == 2
    assert "run.json" in done.err


def test_areas_that_the_last_report_did_not_have_are_left_out(
    ran: Stock, made: dict[str, Path], tmp_path: Path
) -> None:
    last = shutil.copytree(made["funder"].parent, tmp_path / "last")
    about = json.loads((last / "keep" / "report.json").read_text("utf-8"))
    assert about["areas"] == "postal code"
    about["areas"] = "wards.gpkg name"
    (last / "keep" / "report.json").write_text(json.dumps(about), "utf-8")
    _report(ran, tmp_path / "two", "funder", "--before", last)
    sent = tmp_path / "two" / "send"
    assert not (sent / "maps").exists()
    assert not list(sent.glob("area*.csv"))
    assert "The last report counted by other areas" in (sent / "report.html").read_text("utf-8")
