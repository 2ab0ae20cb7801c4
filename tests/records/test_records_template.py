"""The blank workbook for records, filled in by another program and taken in."""

from datetime import date
from pathlib import Path
from typing import Any

import openpyxl
import pytest
from cli_helpers import triage
from record_rows import SOUND, Shelf

from triage.contract import load_contract
from triage.report.record_template import SHEETS, write_record_template
from triage.report.template_pages import UNKNOWN_WORDS


def _template(folder: Path) -> Path:
    path = folder / "records.xlsx"
    assert triage("template", path, "--records").code == 0
    return path


def _filled(path: Path) -> Path:
    book = openpyxl.load_workbook(path)
    for kind, row in SOUND.items():
        page = book[SHEETS[kind]]
        columns = {cell.value: cell.column for cell in page[3]}  # row 3 holds the field names
        for name, value in row.items():
            page.cell(4, columns[name], value)
    book.save(path)
    return path


def _expected(kind: str, name: str, value: Any) -> Any:
    """What a cell of the hand-written row means, by the type that the contract gives it."""
    asked = load_contract().tables[kind].columns[name]
    if value is None or asked.type == "date":
        return value
    if asked.type in ("texts", "codes"):
        return [part.strip() for part in value.split(";")]
    return float(value) if asked.type == "number" else value


def test_a_filled_template_gives_the_same_values(shelf: Shelf) -> None:
    done = triage(
        "record", _filled(_template(shelf.folder)), "--programme", shelf.stock.programme, "--json"
    )
    assert done.code == 0, done.err
    assert done.json["rows"] == {"read": 7, "kept": 7, "repeated": 0, "refused": 0}
    assert {each["sheet"] for each in done.json["left_out"]} == {"Notes", "Codes"}
    tables = shelf.load().tables
    for kind, row in SOUND.items():
        got = tables[kind].row(0, named=True)
        asked = {name: _expected(kind, name, value) for name, value in row.items()}
        if kind == "reading":  # of the visit V1
            asked |= {"property_id": "H1", "building_part": "main"}
        assert {name: got[name] for name in asked} == asked, kind
        assert (got["sheet"], got["row"]) == (SHEETS[kind], 4)


def test_a_blank_template_is_no_records(shelf: Shelf) -> None:
    done = triage("record", _template(shelf.folder), "--programme", shelf.stock.programme, "--json")
    assert done.code == 0, done.err
    assert done.json["rows"]["read"] == 0
    assert shelf.load().batches.height == 0


def test_each_table_has_a_sheet_with_all_its_fields(tmp_path: Path) -> None:
    book = openpyxl.load_workbook(_template(tmp_path))
    tables = load_contract().tables
    assert book.sheetnames == [*SHEETS.values(), "Notes", "Codes"]
    assert set(SHEETS) == {
        "reading",
        "opening",
        "inspection",
        "repair",
        "event",
        "decision",
        "answer",
    }
    for kind, name in SHEETS.items():
        heads = [cell.value for cell in book[name][3] if cell.value]
        assert heads == list(tables[kind].columns)


HOSTILE = ('=HYPERLINK("http://example.invalid")', "+1+1", "-2+3", "@SUM(A1)")


def test_no_cell_is_a_formula(tmp_path: Path) -> None:
    """Names and codes of measures come from a policy pack that anybody may have written."""
    path = tmp_path / "r.xlsx"
    write_record_template(path, load_contract(), dict(zip(HOSTILE, HOSTILE, strict=True)))
    texts = [
        (cell.data_type, str(cell.value))
        for page in openpyxl.load_workbook(path)
        for row in page.iter_rows()
        for cell in row
        if cell.value is not None
    ]
    assert sum(any(bad in text for bad in HOSTILE) for _, text in texts) >= 2 * len(HOSTILE)
    assert {kind for kind, _ in texts} == {"s"}
    assert [text for _, text in texts if text[0] in "=+-@\t\r"] == []


def test_instructions_stand_in_the_workbook_and_at_each_column(tmp_path: Path) -> None:
    book = openpyxl.load_workbook(_template(tmp_path))
    notes = " ".join(str(row[0]) for row in book["Notes"].iter_rows(values_only=True) if row[0])
    assert "that is a new version, and the old one is kept" in notes
    for kind, name in SHEETS.items():
        page = book[name]
        asked = load_contract().tables[kind].columns
        told = {
            str(rule.sqref).split(":")[0].rstrip("0123456789"): str(rule.prompt)
            for rule in page.data_validations.dataValidation
        }
        for cell in page[3]:
            assert told[cell.column_letter].startswith(asked[cell.value].meaning[:200])
        assert page["A2"].value.endswith("required")


@pytest.mark.parametrize("kind", list(SHEETS))
def test_every_code_field_has_a_list_of_its_codes(kind: str, tmp_path: Path) -> None:
    book = openpyxl.load_workbook(_template(tmp_path))
    page = book[SHEETS[kind]]
    lists = {
        str(rule.sqref).split(":")[0].rstrip("0123456789"): rule
        for rule in page.data_validations.dataValidation
        if rule.type == "list"
    }
    for cell in page[3]:
        asked = load_contract().tables[kind].columns[cell.value]
        if asked.type not in ("code", "codes"):
            assert cell.column_letter not in lists
            continue
        source = lists[cell.column_letter].formula1
        offered = (
            source.strip('"').split(",")
            if source.startswith('"')
            else [c[0].value for c in book["Codes"][source.split("!")[1].replace("$", "")]]
        )
        if "unknown" in asked.codes:  # the words for it come last
            assert tuple(offered[-len(UNKNOWN_WORDS) :]) == UNKNOWN_WORDS
            offered = offered[: -len(UNKNOWN_WORDS)]
        if asked.codes_from is None:
            assert offered == list(asked.known_codes)
        else:
            assert "loft_topup" in offered


def test_days_that_may_lie_ahead_are_not_held_to_today(tmp_path: Path) -> None:
    book = openpyxl.load_workbook(_template(tmp_path))
    page = book["Decisions"]
    letters = {cell.value: cell.column_letter for cell in page[3]}
    limits = {
        str(rule.sqref).split(":")[0].rstrip("0123456789"): rule.formula2
        for rule in page.data_validations.dataValidation
        if rule.type == "date"
    }
    assert limits[letters["decided_on"]] == "TODAY()"
    assert limits[letters["expires_on"]] != "TODAY()"


def test_the_same_template_is_the_same_bytes(tmp_path: Path) -> None:
    one, two = tmp_path / "a", tmp_path / "b"
    one.mkdir()
    two.mkdir()
    assert _template(one).read_bytes() == _template(two).read_bytes()


def test_records_template_does_not_overwrite(tmp_path: Path) -> None:
    path = tmp_path / "records.xlsx"
    path.write_bytes(b"mine")
    assert triage("template", path, "--records").code == 2
    assert path.read_bytes() == b"mine"


def test_date_cells_of_another_program_are_dates(shelf: Shelf) -> None:
    """openpyxl writes dates as serials with a format, as people's programs do."""
    triage("record", _filled(_template(shelf.folder)), "--programme", shelf.stock.programme)
    assert shelf.load().tables["repair"]["completed_on"].to_list() == [date(2026, 3, 12)]
