"""A store that was killed is intact, and nothing in a file can do harm."""

import signal
import subprocess
import sys
import time
from datetime import date

import pytest
from cli_helpers import command, triage
from record_rows import EVENT, INSPECTION, READING, REPAIR, Shelf, refusals

from triage.contract import load_contract
from triage.records import RECORDS_STORE
from triage.store import Store

_KILLED_AT = """
import os, sys
from datetime import date
from pathlib import Path
from triage.store import Store
import triage.records.writing
from triage.records import record_files

add, left = Store.add, [int(sys.argv[1])]

def add_or_die(self, name, frame, ddl):
    add(self, name, frame, ddl)
    left[0] -= 1
    if left[0] == 0:
        print(f"dies after {name}", flush=True)
        os.kill(os.getpid(), 9)

Store.add = add_or_die
record_files(Path(sys.argv[2]), [Path(sys.argv[3])], lambda _: None)
"""


@pytest.mark.parametrize("writes", [1, 3, 5, 8])
def test_killed_between_two_writes_the_store_holds_all_or_nothing(
    shelf: Shelf, writes: int
) -> None:
    shelf.rows(repair=[REPAIR], name="first.xlsx")
    before = shelf.load()
    second = shelf.file("second.xlsx", event=[EVENT], inspection=[INSPECTION])
    words = [sys.executable, "-c", _KILLED_AT, writes, shelf.stock.programme, second]
    died = subprocess.run([str(w) for w in words], capture_output=True, text=True, check=False)
    assert died.returncode == -signal.SIGKILL, died.stderr
    assert "dies after record_" in died.stdout
    after = shelf.load()
    assert (after.digest, after.batches.height) == (before.digest, 1)
    assert shelf.take(second).total("kept") == 2
    assert shelf.load().tables["event"].height == 1


def test_killed_at_any_moment_nothing_is_half_there(shelf: Shelf) -> None:
    rows = [READING | {"reading_id": f"M-{n}"} for n in range(3000)]
    file = shelf.file("many.xlsx", reading=rows)
    words = command("record", file, "--programme", shelf.stock.programme)
    for wait in (0.9, 1.3, 1.6):
        child = subprocess.Popen(words, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
        time.sleep(wait)
        child.kill()
        child.wait()
        held = shelf.load()
        assert held.tables["reading"].height in (0, 3000)
        assert held.batches["rows_kept"].to_list() in ([], [3000])


def test_a_damaged_store_is_told_with_what_to_do(shelf: Shelf) -> None:
    (shelf.folder / RECORDS_STORE).write_bytes(b"not a store" * 500)
    answer = triage(
        "record", shelf.file("r.xlsx", repair=[REPAIR]), "--programme", shelf.stock.programme
    )
    assert answer.code == 2
    assert "TR108" in answer.err
    assert "put the last good copy back" in answer.err


HOSTILE = [
    '=HYPERLINK("http://example.invalid","x")',
    "'; DROP TABLE record_repair; --",
    "$id {0} {} \\x00 %s",
    "../../etc/passwd",
    "\u202eevil",
    "a" * 30_000,
    "1;2,3|4\n5",
]


def test_hostile_texts_are_text(shelf: Shelf) -> None:
    named = {f"R-{n}": text for n, text in enumerate(HOSTILE)}
    told = ("defect_location", "contractor_id", "cost_currency")
    rows = [
        REPAIR
        | {"repair_id": name, "property_id": f"H{1 + n % 2}"}
        | dict.fromkeys(told, text)
        | {"trigger_rule_ids": f"W0{1 + n}"}
        for n, (name, text) in enumerate(named.items())
    ]
    sound = shelf.rows(repair=rows, name="a.xlsx")
    assert sound.total("kept") == len(rows)
    kept = {row["repair_id"]: row for row in shelf.load().tables["repair"].iter_rows(named=True)}
    for name, text in named.items():  # the sign for text, and white space, may go
        assert kept[name]["defect_location"] == " ".join(text.lstrip("'").split())
    for name in ("property_id", "repair_id", "trigger_rule_ids", "repair_type", "completed_on"):
        bad = [REPAIR | {"repair_id": f"X-{n}"} | {name: t} for n, t in enumerate(HOSTILE)]
        done = shelf.rows(repair=bad, name="b.xlsx")
        assert done.total("read") == len(HOSTILE)
    with Store(shelf.folder / RECORDS_STORE, read_only=True) as store:
        assert "record_repair" in store.tables()


def test_a_long_id_is_refused(shelf: Shelf) -> None:
    done = shelf.rows(event=[EVENT | {"event_id": "E" * 41}])
    assert refusals(done) == [("out_of_range", "event", 2, "A", "event_id")]


def test_many_readings_of_one_visit_name_take_no_more_memory_than_rows(shelf: Shelf) -> None:
    """A survey_id that every home has is joined by its count, not home by home."""
    homes = [[f"H{n}", "main", "1"] for n in range(3000)]
    shelf.stock.survey([["property_id", "building_part", "survey_id"], *homes])
    rows = [
        READING | {"reading_id": f"M-{n}", "survey_id": "1", "property_id": f"H{n % 3000}"}
        for n in range(3000)
    ]
    done = shelf.rows(reading=rows)
    assert done.total("kept") == 3000


def test_a_store_of_an_older_contract_is_read_and_added_to(shelf: Shelf) -> None:
    """A column that the contract gained later is null in the records that are there."""
    shelf.rows(repair=[REPAIR], name="a.xlsx")
    with Store(shelf.folder / RECORDS_STORE) as store:
        store.run("CREATE TABLE older AS SELECT * EXCLUDE (warranty_until) FROM record_repair")
        store.run("DROP TABLE record_repair")
        store.run("ALTER TABLE older RENAME TO record_repair")
        store.run("ALTER TABLE record_repair ADD PRIMARY KEY (repair_id, version)")
    assert shelf.load().tables["repair"]["warranty_until"].to_list() == [None]
    other = REPAIR | {"repair_id": "R-2", "property_id": "H2"}
    assert shelf.rows(repair=[REPAIR, other], name="b.xlsx").total("kept") == 1
    got = shelf.load().tables["repair"].select("repair_id", "warranty_until")
    assert got.rows() == [("R-1", None), ("R-2", date(2031, 3, 12))]


def test_the_store_has_the_columns_of_the_contract(shelf: Shelf) -> None:
    shelf.rows(repair=[REPAIR])
    with Store(shelf.folder / RECORDS_STORE, read_only=True) as store:
        there = store.table("record_repair").columns
    assert there[: len(load_contract().tables["repair"].columns)] == list(
        load_contract().tables["repair"].columns
    )
