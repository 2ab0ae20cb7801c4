"""`triage record` as a practitioner types it."""

import csv
from datetime import date
from pathlib import Path
from typing import Any

import pytest
from cli_helpers import Answer, triage, triage_process
from record_rows import EVENT, INSPECTION, READING, REPAIR, Shelf

from triage.records import RECORDS_STORE


def _record(shelf: Shelf, *words: object) -> Answer:
    return triage("record", *words, "--programme", shelf.stock.programme)


def _text(value: Any) -> str:
    return "" if value is None else str(value)


def test_exit_codes_and_words(shelf: Shelf) -> None:
    good = _record(shelf, shelf.file("good.xlsx", repair=[REPAIR]))
    assert good.code == 0, good.err
    assert "good.xlsx, repair: repair, batch 1: 1 read, 1 kept, 0 repeated, 0 refused" in good.out
    bad = _record(shelf, shelf.file("bad.xlsx", repair=[REPAIR | {"property_id": "h-01"}]))
    assert bad.code == 1
    assert (
        "refused: TR102 no survey of the programme has the home h-01; H1 is near\n"
        "  where: bad.xlsx, sheet 'repair', row 2, column 'B'\n"
        "  do:    write the reference as the surveys have it"
    ) in bad.err
    none = _record(shelf, shelf.folder / "nowhere.xlsx")
    assert none.code == 2
    assert "there is no such file" in none.err


def test_a_file_again_is_said_to_change_nothing(shelf: Shelf) -> None:
    file = shelf.file("good.xlsx", repair=[REPAIR])
    _record(shelf, file)
    again = _record(shelf, file)
    assert again.code == 0
    assert "taken in before, nothing changed" in again.out


def test_json_tells_each_problem_with_its_cell(shelf: Shelf) -> None:
    file = shelf.file("r.xlsx", reading=[READING, READING | {"reading_id": "M-2", "value": 140}])
    told = _record(shelf, file, "--json")
    assert told.code == 1
    assert told.json["rows"] == {"read": 2, "kept": 1, "repeated": 0, "refused": 1}
    (problem,) = [each for each in told.json["problems"] if each["refused"]]
    assert (problem["file"], problem["sheet"], problem["row"], problem["column"]) == (
        "r.xlsx",
        "reading",
        3,
        "F",
    )
    assert problem["record_id"] == "M-2"


def test_list_says_what_is_held(shelf: Shelf) -> None:
    empty = _record(shelf, "--list", "--json")
    assert empty.code == 0
    assert {kind["records"] for kind in empty.json["kinds"]} == {0}
    assert not (shelf.folder / RECORDS_STORE).exists()
    _record(shelf, shelf.file("a.xlsx", repair=[REPAIR], inspection=[INSPECTION]))
    changed = [REPAIR | {"reopened_count": 1}, REPAIR | {"repair_id": "R-2", "property_id": "?"}]
    _record(shelf, shelf.file("b.xlsx", repair=changed))
    told = _record(shelf, "--list", "--json").json
    kinds = {kind.pop("kind"): kind for kind in told["kinds"]}
    assert kinds["repair"] == {"records": 1, "versions": 2, "batches": 2, "refused": 1}
    assert kinds["inspection"] == {"records": 1, "versions": 1, "batches": 1, "refused": 0}
    assert [batch["file"] for batch in told["batches"]] == ["a.xlsx", "a.xlsx", "b.xlsx"]
    words = _record(shelf, "--list").out
    assert "repair            1         2        2        1" in words


def test_files_or_list_but_not_neither(shelf: Shelf) -> None:
    assert _record(shelf).code == 2
    assert _record(shelf, "--list", shelf.file("a.xlsx", repair=[REPAIR])).code == 2


def test_the_programme_of_the_current_folder_is_taken(shelf: Shelf) -> None:
    shelf.file("a.xlsx", repair=[REPAIR])
    answer = triage_process("record", "a.xlsx", "--json", cwd=shelf.folder)
    assert answer.code == 0, answer.err
    assert (shelf.folder / RECORDS_STORE).is_file()
    assert shelf.load().tables["repair"]["file"].to_list() == ["a.xlsx"]


def test_a_survey_that_cannot_be_read_stops_it(shelf: Shelf) -> None:
    file = shelf.file("a.xlsx", repair=[REPAIR])
    (shelf.folder / "surveys" / "broken.csv").write_text("what;is;this\n1;2;3\n", encoding="utf-8")
    answer = _record(shelf, file)
    assert answer.code == 2
    assert "broken.csv" in answer.err
    assert not (shelf.folder / RECORDS_STORE).exists()


@pytest.mark.parametrize("encoding", ["utf-8-sig", "utf-16"])
@pytest.mark.parametrize("sign", [",", ";", "\t"])
def test_texts_are_read_as_surveys_are(shelf: Shelf, encoding: str, sign: str) -> None:
    path = shelf.folder / "events.csv"
    with path.open("w", encoding=encoding, newline="") as stream:
        writer = csv.writer(stream, delimiter=sign)
        writer.writerow(["Event ID", "Event type", "event-on", "PROPERTY_ID", "Reported by"])
        writer.writerow(["0007", "Gale", "2026-01-14", "H1", "D2"])
    answer = _record(shelf, path, "--json")
    assert answer.code == 0, answer.err
    row = shelf.load().tables["event"].row(0, named=True)
    assert (row["event_id"], row["event_type"], row["event_on"]) == (
        "0007",
        "storm",
        date(2026, 1, 14),
    )
    assert (row["sheet"], row["row"]) == (None, 2)


def test_an_ods_file_is_read(shelf: Shelf, tmp_path: Path) -> None:
    pytest.importorskip("odf")
    from odf.opendocument import OpenDocumentSpreadsheet
    from odf.table import Table, TableCell, TableRow
    from odf.text import P

    book = OpenDocumentSpreadsheet()
    page = Table(name="Storms")
    for line in (list(EVENT), list(EVENT.values())):
        row = TableRow()
        for value in line:
            cell = TableCell(valuetype="string")
            cell.addElement(P(text=_text(value)))
            row.addElement(cell)
        page.addElement(row)
    book.spreadsheet.addElement(page)
    path = tmp_path / "storms.ods"
    book.save(str(path))
    answer = _record(shelf, path, "--json")
    assert answer.code == 0, answer.err
    assert shelf.load().tables["event"]["property_id"].to_list() == ["H1; H2"]
