"""Every row of a queue is in one order; orders come back as records; same run, same bytes."""

import hashlib
import re
import shutil
from collections import Counter
from collections.abc import Callable
from pathlib import Path

import openpyxl
import polars as pl
import pytest
from cli_helpers import LONG, triage

DEMOS = ("coastal_association", "county_weatherisation")
KEYS = ["queue", "property_id", "building_part", "measure_code"]
BANNED = (
    r"\b(safe|approved|certified|guarantee\w*|warrant\w*|passed|all clear|low risk|danger\w*|"
    r"hazard\w*|asbestos|toxic|deadly|rot|decay\w*|failed|your fault)\b"
)
Demo = Callable[[str], tuple[Path, Path]]


def _table(path: Path, sheet: str, heading_row: int) -> list[dict[str, object]]:
    rows = openpyxl.load_workbook(path)[sheet].iter_rows(min_row=heading_row, values_only=True)
    heads = next(rows)
    return [dict(zip(map(str, heads), row, strict=True)) for row in rows if any(row)]


@pytest.mark.usefixtures("no_papers")
@pytest.mark.parametrize("name", DEMOS if LONG else DEMOS[1:])
def test_every_row_of_each_queue_is_in_exactly_one_order(
    demo: Demo, name: str, tmp_path: Path
) -> None:
    _, run = demo(name)
    done = triage("orders", run, "--out", tmp_path / "o", "--json")
    assert done.code == 0, done.err
    queue = pl.read_parquet(run / "queue.parquet")
    wanted = Counter(queue.select(KEYS).rows())
    index = pl.read_csv(tmp_path / "o" / "orders.csv", infer_schema=False)
    assert Counter(index.select(KEYS).rows()) == wanted
    held: Counter[tuple[object, ...]] = Counter()
    tasks: Counter[str] = Counter()
    for path in sorted((tmp_path / "o").glob("*/*.xlsx")):
        rows = _table(path, "Measures", 3)
        held.update((path.parent.name, r["Home"], r["Part"], r["Measure code"]) for r in rows)
        tasks.update(str(row["Task"]) for row in _table(path, "Tasks", 3))
    assert held == wanted
    assert set(tasks.values()) == {1}
    assert done.json["rows"] == dict(Counter(queue["queue"].to_list()))


@pytest.mark.usefixtures("no_papers")
def test_each_defect_of_water_is_a_task(demo: Demo, tmp_path: Path) -> None:
    _, run = demo("county_weatherisation")
    done = triage("orders", run, "--out", tmp_path / "o", "--queue", "fix-water-first")
    assert done.code == 0, done.err
    assert {p.name for p in (tmp_path / "o").iterdir()} == {
        "fix-water-first",
        "letters",
        "orders.csv",
    }
    register = triage("rules", "--json").json
    water = {str(rule["id"]) for rule in register if rule["outcome"] == "fix-water-first"}
    queue = pl.read_parquet(run / "queue.parquet").filter(pl.col("queue") == "fix-water-first")
    wanted = {
        (row["property_id"], row["building_part"], rule)
        for row in queue.iter_rows(named=True)
        for rule in row["fired"]
        if rule in water
    }
    rows = [r for p in sorted((tmp_path / "o").glob("*/*.xlsx")) for r in _table(p, "Tasks", 3)]
    assert {(r["Home"], r["Part"], r["Rule"]) for r in rows} == wanted
    gutter = next(row for row in rows if row["Rule"] == "W04")
    assert "Do not let the new outlet discharge against a wall." in str(gutter["Must not be done"])


@pytest.mark.usefixtures("no_papers")
def test_a_filled_sheet_of_repairs_is_recorded(demo: Demo, tmp_path: Path) -> None:
    programme, run = demo("county_weatherisation")
    shutil.copytree(programme.parent, tmp_path / "p")
    assert triage("orders", run, "--out", tmp_path / "o", "--queue", "fix-water-first").code == 0
    book = max((tmp_path / "o").glob("*/*.xlsx"), key=lambda p: p.stat().st_size)
    filled = openpyxl.load_workbook(book)
    sheet = filled["Repairs"]
    place = {cell.value: cell.column for cell in sheet[3]}
    answers = {
        "defect_location": "rear eaves",
        "contractor_id": "C7",
        "repair_type": "gutter_valley",
        "ordered_on": "2026-08-01",
        "completed_on": "2026-08-20",
        "water_test": "hose",
        "evidence_after": "IMG_9",
        "evidence_before": "IMG_8",
        "repair_verified": "yes",
        "verified_by": "V1",
        "verified_on": "2026-10-01",
    }
    for name, value in answers.items():
        sheet.cell(4, place[name], value)
    order = sheet.cell(4, place["repair_id"]).value
    count = sum(1 for row in sheet.iter_rows(min_row=4, max_col=1, values_only=True) if row[0])
    filled.save(tmp_path / "filled.xlsx")
    done = triage("record", tmp_path / "filled.xlsx", "--programme", tmp_path / "p/programme.toml")
    assert done.code == 0, done.err
    told = f"{count} read, 1 kept, 0 repeated, 0 refused, {count - 1} not filled in"
    assert told in done.out
    again = tmp_path / "again"
    assert triage("run", tmp_path / "p/programme.toml", "--out", again).code in (0, 1)
    later = triage("orders", again, "--out", tmp_path / "o2", "--queue", "fix-water-first")
    assert later.code == 0, later.err
    books = (tmp_path / "o2").glob("*/*.xlsx")
    orders = [str(row["Task"]) for path in books for row in _table(path, "Tasks", 3)]
    # The completed repair is not ordered under its own id again.
    assert order not in orders
    assert len(orders) > 100


@pytest.mark.usefixtures("no_papers")
def test_a_part_to_be_opened_up_can_be_recorded(demo: Demo, tmp_path: Path) -> None:
    _, run = demo("coastal_association")
    done = triage("orders", run, "--out", tmp_path / "o", "--queue", "specialist-review")
    assert done.code == 0, done.err
    queue = pl.read_parquet(run / "queue.parquet").filter(
        (pl.col("queue") == "specialist-review") & (pl.col("lane") == "inspection")
    )
    wanted = set(queue.select("property_id", "building_part").rows())
    rows = [row for p in (tmp_path / "o").glob("*/*.xlsx") for row in _table(p, "Inspections", 3)]
    assert len(rows) == len(wanted)
    assert {(r["property_id"], r["building_part"]) for r in rows} == wanted


def test_the_same_run_gives_the_same_bytes(demo: Demo, tmp_path: Path) -> None:
    _, run = demo("county_weatherisation")
    homes = pl.read_parquet(run / "queue.parquet")["property_id"].unique().sort().head(3)
    words = [word for home in homes for word in ("--home", home)]

    def made(name: str) -> dict[str, str]:
        out = tmp_path / name
        assert triage("orders", run, "--out", out, *words).code == 0
        files = (path for path in sorted(out.rglob("*")) if path.is_file())
        return {
            path.relative_to(out).as_posix(): hashlib.sha256(path.read_bytes()).hexdigest()
            for path in files
        }

    first = made("one")
    assert first == made("two")
    assert {Path(name).suffix for name in first} == {".csv", ".html", ".pdf", ".xlsx"}


def test_letters_are_plain(demo: Demo, tmp_path: Path) -> None:
    _, run = demo("county_weatherisation")
    homes = pl.read_parquet(run / "queue.parquet").sort("queue").unique("queue", keep="first")
    words = [word for home in homes["property_id"] for word in ("--home", home)]
    assert (
        triage("orders", run, "--out", tmp_path / "o", *words, "--contact", "Office 555").code == 0
    )
    letters = [p.read_text() for p in (tmp_path / "o" / "homes").glob("*/letter.html")]
    assert len(letters) == homes["property_id"].n_unique()
    ids = {str(rule["id"]) for rule in triage("rules", "--json").json}
    for text in letters:
        said = re.sub(r"<[^>]*>", " ", re.sub(r"<style>.*?</style>", "", text, flags=re.DOTALL))
        assert not ids & set(re.findall(r"\w+", said))
        assert re.findall(BANNED, said, flags=re.IGNORECASE) == []
        assert "Office 555" in said


@pytest.mark.usefixtures("no_papers")
def test_orders_by_contractor(demo: Demo, tmp_path: Path) -> None:
    _, run = demo("county_weatherisation")
    (tmp_path / "who.csv").write_text("area,contractor\n24701,Roofs & Sons\n24731,Roofs & Sons\n")
    args = ("orders", run, "--queue", "fix-water-first", "--by", "contractor")
    done = triage(*args, "--contractors", tmp_path / "who.csv", "--out", tmp_path / "o")
    assert done.code == 0, done.err
    index = pl.read_csv(tmp_path / "o" / "orders.csv", infer_schema=False)
    mine = index.filter(pl.col("group") == "Roofs & Sons")
    assert set(mine["area"]) == {"24701", "24731"}
    assert set(index.filter(pl.col("group") != "Roofs & Sons")["group"]) == {"no contractor"}
    assert mine["workbook"].n_unique() == 1
    assert (tmp_path / "o" / mine["workbook"][0]).is_file()
    (tmp_path / "bad.csv").write_text("area,contractor\n24701,A\n24701,B\n")
    bad = triage(*args, "--contractors", tmp_path / "bad.csv", "--out", tmp_path / "x")
    assert (bad.code, "row 2" in bad.err, "stands twice" in bad.err) == (2, True, True)
    assert not (tmp_path / "x").exists()


def test_a_home_that_is_not_there_is_refused(demo: Demo, tmp_path: Path) -> None:
    _, run = demo("county_weatherisation")
    done = triage("orders", run, "--out", tmp_path / "o", "--home", "NOBODY")
    assert done.code == 2
    assert "'NOBODY'" in done.err
    assert not (tmp_path / "o").exists()


def test_a_contact_that_a_letter_cannot_hold_is_refused(tmp_path: Path) -> None:
    done = triage("orders", tmp_path, "--out", tmp_path / "o", f"--contact={'0' * 201}")
    assert done.code == 2
    assert "201 characters" in done.err
    assert not (tmp_path / "o").exists()
