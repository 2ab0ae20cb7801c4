"""Records are taken in once, kept in every version, and handed on as they were written."""

import subprocess
import sys
from datetime import date

import polars as pl
import pytest
from record_rows import (
    ANSWER,
    DECISION,
    EVENT,
    INSPECTION,
    READING,
    REPAIR,
    SOUND,
    Shelf,
    notes,
    refusals,
)

from triage.contract import load_contract
from triage.intake.answer_ids import answer_id
from triage.records import RECORDS_STORE
from triage.store import Store, StoreLockedError

KINDS = list(SOUND)


def test_one_sound_record_of_each_kind_is_kept(shelf: Shelf) -> None:
    done = shelf.rows(**{kind: [row] for kind, row in SOUND.items()})
    assert refusals(done) == []
    assert (done.exit_code, done.total("kept"), done.total("read")) == (0, 7, 7)
    records = shelf.load()
    assert {kind: table.height for kind, table in records.tables.items()} == dict.fromkeys(KINDS, 1)
    repair = records.tables["repair"].row(0, named=True)
    assert repair["trigger_rule_ids"] == ["W01", "W03"]
    assert repair["completed_on"] == date(2026, 3, 12)
    assert repair["mc_after_pct"] == 15.0
    assert (repair["file"], repair["sheet"], repair["row"]) == ("records.xlsx", "repair", 2)
    assert repair["version"] == 1


def test_a_reading_gets_the_home_of_its_visit(shelf: Shelf) -> None:
    shelf.rows(reading=[READING])
    row = shelf.load().tables["reading"].row(0, named=True)
    assert (row["property_id"], row["building_part"]) == ("H1", "main")


def test_no_store_is_no_records(shelf: Shelf) -> None:
    records = shelf.load()
    contract = load_contract()
    for kind, table in records.tables.items():
        assert table.height == 0
        typed = {name: table.schema[name] for name in contract.tables[kind].columns}
        assert typed == contract.polars_schema(kind)
    assert records.batches.height == 0
    assert not (shelf.folder / RECORDS_STORE).exists()


def test_the_same_file_twice_changes_nothing(shelf: Shelf) -> None:
    path = shelf.file("r.xlsx", repair=[REPAIR], event=[EVENT])
    first, before = shelf.take(path), shelf.load()
    again, after = shelf.take(path), shelf.load()
    assert [sheet.batch for sheet in first.sheets] == [1, 2]
    assert [(sheet.batch, sheet.repeated) for sheet in again.sheets] == [(None, 1), (None, 1)]
    assert again.exit_code == 0
    assert before.digest == after.digest
    assert before.batches.equals(after.batches)


def test_a_changed_record_is_a_new_version_and_the_old_one_stays(shelf: Shelf) -> None:
    shelf.rows(repair=[REPAIR], name="one.xlsx")
    shelf.rows(repair=[REPAIR | {"reopened_count": 1}], name="two.xlsx")
    latest = shelf.load().tables["repair"]
    assert latest.select("version", "reopened_count", "file").rows() == [(2, 1, "two.xlsx")]
    with Store(shelf.folder / RECORDS_STORE, read_only=True) as store:
        kept = store.ask("SELECT version, reopened_count FROM record_repair ORDER BY version")
    assert kept.rows() == [(1, 0), (2, 1)]


def test_an_old_file_again_does_not_bring_an_old_version_back(shelf: Shelf) -> None:
    old = shelf.file("one.xlsx", repair=[REPAIR])
    shelf.take(old)
    shelf.rows(repair=[REPAIR | {"reopened_count": 1}], name="two.xlsx")
    assert shelf.take(old).total("repeated") == 1
    assert shelf.load().tables["repair"]["reopened_count"].to_list() == [1]


def test_every_row_as_read_is_kept_with_its_fate(shelf: Shelf) -> None:
    shelf.rows(repair=[REPAIR, REPAIR, REPAIR | {"repair_id": "R-2", "property_id": "H9"}])
    with Store(shelf.folder / RECORDS_STORE, read_only=True) as store:
        rows = store.ask("SELECT row, record_id, status, version FROM record_row ORDER BY row")
        batch = store.ask("SELECT * FROM record_batch").row(0, named=True)
        cells = store.ask("SELECT cells FROM record_row WHERE row = 4").item()
    assert rows.rows() == [
        (2, "R-1", "kept", 1),
        (3, "R-1", "repeated", None),
        (4, "R-2", "refused", None),
    ]
    assert (batch["rows_read"], batch["rows_kept"], batch["rows_refused"]) == (3, 1, 1)
    assert batch["received_on"] == date(2026, 10, 30)
    assert cells.to_list()[:2] == ["R-2", "H9"]


def test_record_rows_are_unique_over_all_kinds(shelf: Shelf) -> None:
    shelf.rows(**{kind: [row] for kind, row in SOUND.items()})
    tables = shelf.load().tables.values()
    numbers = pl.concat([table["record_row"] for table in tables])
    assert sorted(numbers) == list(range(7))


def test_a_limit_of_the_meter_and_a_colour_are_kept_beside_the_value(shelf: Shelf) -> None:
    low = READING | {"reading_id": "M-2", "value": "<7"}
    amber = READING | {"reading_id": "M-3", "value": "amber", "scale": "colour"}
    done = shelf.rows(reading=[low, amber])
    assert done.total("kept") == 2
    records = shelf.load()
    told = records.tables["reading"].join(records.cells, on="record_row")
    told = told.select("reading_id", "value", "raw", "flag").sort("reading_id")
    assert told.rows() == [("M-2", 7.0, "<7", "<"), ("M-3", None, "amber", None)]


def test_a_held_store_is_told(shelf: Shelf) -> None:
    shelf.rows(repair=[REPAIR])
    code = (
        "import sys, time; from pathlib import Path; from triage.store import Store\n"
        "with Store(Path(sys.argv[1])): print('held', flush=True); time.sleep(60)"
    )
    holder = subprocess.Popen(
        [sys.executable, "-c", code, str(shelf.folder / RECORDS_STORE)], stdout=subprocess.PIPE
    )
    try:
        assert holder.stdout is not None
        assert holder.stdout.readline().strip() == b"held"
        with pytest.raises(StoreLockedError, match="locked"):
            shelf.rows(repair=[REPAIR | {"reopened_count": 1}], name="two.xlsx")
    finally:
        holder.kill()
        holder.wait()
    assert shelf.load().tables["repair"]["version"].to_list() == [1]


def test_words_for_unknown_are_answers_and_dates_stay_dates(shelf: Shelf) -> None:
    def asked(name: str, value: object) -> dict[str, object]:
        key = answer_id("0123456789ab", "H1", "main", name)
        return ANSWER | {"answer_id": key, "field": name, "value": value}

    done = shelf.rows(
        answer=[
            asked("gutter_condition", "not seen"),
            asked("mc_date", date(2026, 2, 1)),
            asked("ceiling_insulation_mm", 100),
        ]
    )
    assert refusals(done) == []
    values = dict(shelf.load().tables["answer"].select("field", "value").iter_rows())
    assert values["gutter_condition"] == "not seen"
    assert values["mc_date"].startswith("2026-02-01")
    assert values["ceiling_insulation_mm"] == "100"


def test_a_decision_is_kept_whole(shelf: Shelf) -> None:
    done = shelf.rows(decision=[DECISION])
    assert (refusals(done), notes(done)) == ([], [])
    row = shelf.load().tables["decision"].row(0, named=True)
    assert row["conditions"] == "keep the eaves open; read again in January"
    assert row["expires_on"] == date(2027, 5, 3)


ORDERED = {
    "repair_id": "R-2",
    "property_id": "H1",
    "building_part": "main",
    "trigger_rule_ids": "W04",
    "defect_location": "rear gutter",
    "repair_type": "gutter_valley",
    "repair_verified": "no",
    "reopened_count": 0,
}


@pytest.mark.parametrize(
    "filled",
    [
        {"ordered_on": date(2026, 3, 2)},
        {"contractor_id": "C4"},
        {"repair_verified": "failed"},
        {"water_test": "unknown"},
        {"completed_on": "in a while"},
    ],
)
def test_a_row_of_an_order_counts_once_something_is_filled_in(
    shelf: Shelf, filled: dict[str, object]
) -> None:
    blank = {name: None for name in REPAIR if name not in ORDERED}
    rows = [{**REPAIR, **blank, **ORDERED}, {**REPAIR, **blank, **ORDERED, "repair_id": "R-3"}]
    rows[1] |= filled
    done = shelf.rows(repair=rows)
    assert [done.total(n) for n in ("read", "unanswered")] == [2, 1]
    assert shelf.load().tables["repair"]["repair_id"].to_list() == ["R-3"]


def test_an_order_that_comes_back_as_it_was_takes_nothing_from_what_is_held(shelf: Shelf) -> None:
    shelf.rows(repair=[REPAIR], name="done.xlsx")
    blank = {name: None for name in REPAIR if name not in ORDERED}
    done = shelf.rows(repair=[{**REPAIR, **blank, **ORDERED, "repair_id": "R-1"}], name="old.xlsx")
    assert (done.total("unanswered"), done.exit_code) == (1, 0)
    assert shelf.load().tables["repair"]["completed_on"].to_list() == [date(2026, 3, 12)]


def test_a_roof_on_a_list_that_nobody_visited_is_left_out(shelf: Shelf) -> None:
    chosen = ("inspection_id", "property_id", "building_part", "selection_stream")
    listed = {name: value if name in chosen else None for name, value in INSPECTION.items()}
    done = shelf.rows(inspection=[listed])
    assert (done.total("unanswered"), done.total("refused"), done.exit_code) == (1, 0, 0)
