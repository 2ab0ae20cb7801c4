"""What holds for any set of records: no row is lost, and the way they come in changes nothing."""

import shutil
from collections.abc import Sequence
from datetime import date, timedelta
from pathlib import Path
from tempfile import mkdtemp
from typing import Any

import polars as pl
from cli_helpers import Stock
from hypothesis import given, settings
from hypothesis import strategies as st
from record_rows import EVENT, READING, REPAIR, SURVEYS, Row, Shelf

from triage.records import RECORDS_STORE, Records
from triage.store import Store

_PLACE = ["batch", "version", "file", "sheet", "row"]  # differ by the way records came in
few = settings(max_examples=8, deadline=None)
days = st.integers(0, 300).map(lambda n: date(2025, 12, 1) + timedelta(days=n))
homes = st.sampled_from(["H1", "H2", "H9", None])


@st.composite
def readings(draw: st.DrawFn) -> list[Row]:
    """Readings with ids of their own; some name no known home, some cannot be a per cent."""
    count = draw(st.integers(1, 8))
    values = st.sampled_from([12, 19.5, 140, "<7", "wet", None, 450])
    return [
        READING
        | {
            "reading_id": f"M-{number}",
            "value": draw(values),
            "scale": draw(st.sampled_from(["wme_pct", "rel", "colour", "?"])),
            "survey_id": draw(st.sampled_from(["V1", "V3", "V9", None])),
            "property_id": draw(homes),
            "building_part": draw(st.sampled_from(["main", None])),
            "reading_date": draw(days),
        }
        for number in range(count)
    ]


@st.composite
def repairs(draw: st.DrawFn) -> list[Row]:
    """Repairs that may overlap, be in a wrong order or be proven by their own contractor."""
    count = draw(st.integers(1, 6))
    return [
        REPAIR
        | {
            "repair_id": f"R-{draw(st.integers(0, 3))}",
            "property_id": draw(st.sampled_from(["H1", "H2", "H9"])),
            "started_on": draw(days),
            "completed_on": draw(days),
            "ordered_on": None,
            "mc_after_date": None,
            "verified_by": draw(st.sampled_from(["Q7", "C4"])),
            "repair_verified": draw(st.sampled_from(["yes", "no"])),
            "verified_on": date(2026, 10, 30),
        }
        for _ in range(count)
    ]


def _shelf() -> Shelf:
    return Shelf(Stock(Path(mkdtemp())).write().survey(SURVEYS))


def _said(records: Records) -> tuple[str, dict[str, list[dict[str, Any]]]]:
    """What the records say and how they are numbered, without where they came from."""
    tables = {kind: table.drop(_PLACE).to_dicts() for kind, table in records.tables.items()}
    return records.digest, tables


def _file(shelf: Shelf, name: str, rows: Sequence[Row]) -> Path:
    kind = "reading" if "reading_id" in rows[0] else "repair"
    return shelf.file(name, **{kind: rows})


@few
@given(rows=readings(), data=st.data())
def test_splitting_and_reordering_change_nothing(rows: list[Row], data: st.DataObject) -> None:
    whole, parts = _shelf(), _shelf()
    whole.take(_file(whole, "all.xlsx", rows))
    shuffled = data.draw(st.permutations(rows))
    cut = data.draw(st.integers(0, len(rows)))
    pieces = [piece for piece in (shuffled[:cut], shuffled[cut:]) if piece]
    files = [_file(parts, f"{number}.xlsx", piece) for number, piece in enumerate(pieces)]
    if data.draw(st.booleans()):
        parts.take(*files)
    else:
        for file in files:
            parts.take(file)
    assert _said(whole.load()) == _said(parts.load())
    shutil.rmtree(whole.folder)
    shutil.rmtree(parts.folder)


@few
@given(rows=st.one_of(readings(), repairs()), times=st.integers(1, 2))
def test_every_row_has_a_fate_and_a_file_again_changes_nothing(rows: list[Row], times: int) -> None:
    shelf = _shelf()
    file = _file(shelf, "r.xlsx", rows)
    done = shelf.take(file)
    assert done.total("read") == len(rows)
    assert len(rows) == sum(done.total(fate) for fate in ("kept", "repeated", "refused"))
    before = shelf.load()
    for _ in range(times):
        again = shelf.take(file)
        assert (again.total("kept"), again.total("refused")) == (0, done.total("refused"))
    after = shelf.load()
    assert _said(before) == _said(after)
    assert before.batches.equals(after.batches)
    with Store(shelf.folder / RECORDS_STORE, read_only=True) as store:
        fates = dict(store.ask("SELECT status, count(*) FROM record_row GROUP BY 1").iter_rows())
    assert sum(fates.values()) == len(rows)
    refused_rows = done.problems.filter("refused").select("row").n_unique()
    assert fates.get("refused", 0) == refused_rows
    shutil.rmtree(shelf.folder)


@few
@given(rows=repairs())
def test_no_two_repairs_that_are_held_overlap(rows: list[Row]) -> None:
    shelf = _shelf()
    shelf.take(_file(shelf, "r.xlsx", rows))
    held = shelf.load().tables["repair"]
    pairs = held.join(held, how="cross", suffix="_b").filter(
        pl.col("repair_id") < pl.col("repair_id_b"),
        pl.col("property_id") == pl.col("property_id_b"),
        pl.col("started_on") <= pl.col("completed_on_b"),
        pl.col("started_on_b") <= pl.col("completed_on"),
    )
    assert pairs.height == 0
    shutil.rmtree(shelf.folder)


def test_records_of_two_kinds_in_either_order_are_the_same(tmp_path: Path) -> None:
    said = []
    for order in (1, -1):
        folder = tmp_path / str(order)
        folder.mkdir()
        shelf = Shelf(Stock(folder).write().survey(SURVEYS))
        files = [shelf.file("e.xlsx", event=[EVENT]), shelf.file("r.xlsx", repair=[REPAIR])]
        for file in files[::order]:
            shelf.take(file)
        said.append(_said(shelf.load()))
    assert said[0] == said[1]


def test_what_a_record_says_makes_the_digest(shelf: Shelf) -> None:
    shelf.rows(repair=[REPAIR], name="a.xlsx")
    first = shelf.load().digest
    shelf.rows(repair=[REPAIR | {"mc_after_pct": 14}], name="b.xlsx")
    assert shelf.load().digest != first
