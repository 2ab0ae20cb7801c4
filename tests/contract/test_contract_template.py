"""The survey workbook, read back by openpyxl, and the field reference."""

import json
from collections.abc import Iterator
from pathlib import Path

import openpyxl
import pytest
from contract_dictionary import NAMES
from openpyxl.worksheet.datavalidation import DataValidation
from openpyxl.worksheet.worksheet import Worksheet

from triage.contract import Contract
from triage.errors import FileError
from triage.report.fields import field_reference, field_rows
from triage.report.template import write_template

MEASURES = {"loft_topup": "Loft top-up", "cavity_fill": "=Cavity fill", "-odd": "@odd"}


@pytest.fixture(scope="module")
def written(tmp_path_factory: pytest.TempPathFactory, contract: Contract) -> Path:
    path = tmp_path_factory.mktemp("template") / "survey.xlsx"
    write_template(path, contract, MEASURES)
    return path


@pytest.fixture(scope="module")
def book(written: Path) -> openpyxl.Workbook:
    return openpyxl.load_workbook(written)


@pytest.fixture(scope="module")
def survey(book: openpyxl.Workbook) -> Worksheet:
    return book["Survey"]


def column_of(survey: Worksheet, field: str) -> str:
    return next(cell.column_letter for cell in survey[3] if cell.value == field)


def validation_of(survey: Worksheet, field: str) -> DataValidation:
    letter = column_of(survey, field)
    rules = survey.data_validations.dataValidation
    return next(rule for rule in rules if f"{letter}4" in rule.sqref)


def offered(book: openpyxl.Workbook, rule: DataValidation) -> list[str]:
    if rule.formula1.startswith('"'):
        return rule.formula1.strip('"').split(",")
    sheet, _, cells = rule.formula1.partition("!")
    return [row[0].value for row in book[sheet][cells.replace("$", "")]]


def test_every_field_has_its_column_and_the_key_comes_first(
    survey: Worksheet, contract: Contract
) -> None:
    names = [cell.value for cell in survey[3]]
    assert sorted(names) == sorted(contract.fields)
    assert set(NAMES) <= set(names)
    assert names[:2] == ["property_id", "building_part"]
    assert survey.freeze_panes == "C4"


def test_required_is_said_in_words_and_not_by_colour_alone(survey: Worksheet) -> None:
    letter = column_of(survey, "roof_covering_condition")
    assert survey[f"{letter}1"].value.endswith("*")
    assert "required" in survey[f"{letter}2"].value
    letter = column_of(survey, "national_ref")
    assert "*" not in survey[f"{letter}1"].value
    assert "optional" in survey[f"{letter}2"].value
    letter = column_of(survey, "location_precision")  # required, but worked out
    assert "*" not in survey[f"{letter}1"].value
    assert "worked out" in survey[f"{letter}2"].value


def test_every_list_offers_its_codes_and_words_for_unknown(
    book: openpyxl.Workbook, survey: Worksheet, contract: Contract
) -> None:
    for name, field in contract.fields.items():
        if not field.codes:
            continue
        choices = offered(book, validation_of(survey, name))
        known = [code for code in field.codes if code != "unknown"]
        assert choices[: len(known)] == known, name
        unknown = ["not seen", "no access", "refused"] if "unknown" in field.codes else []
        assert choices[len(known) :] == unknown, name


def test_what_the_lists_offer_is_understood_when_read(
    book: openpyxl.Workbook, survey: Worksheet, contract: Contract
) -> None:
    from triage.contract import normalise

    unknown = contract.spelling("UNKNOWN")
    for name, field in contract.fields.items():
        if field.codes:
            known = contract.field_spelling(name) | unknown
            choices = offered(book, validation_of(survey, name))
            assert [choice for choice in choices if normalise(choice) not in known] == [], name


def texts(rule: DataValidation) -> Iterator[tuple[str | None, int]]:
    yield rule.promptTitle, 32
    yield rule.errorTitle, 32
    yield rule.prompt, 255
    yield rule.error, 255
    if rule.type == "list":
        yield rule.formula1.strip('"'), 255


def test_messages_and_lists_keep_the_limits_of_the_format(survey: Worksheet) -> None:
    # Limits of data validation: title 32, message 255, inline list 255 characters.
    rules = survey.data_validations.dataValidation
    assert len(rules) == survey.max_column
    for rule in rules:
        assert rule.prompt
        for text, limit in texts(rule):
            assert len(text or "") <= limit, text


def test_numbers_and_dates_are_checked_but_a_limit_or_a_word_may_stay(survey: Worksheet) -> None:
    rule = validation_of(survey, "ceiling_insulation_mm")
    assert (rule.type, float(rule.formula1), float(rule.formula2)) == ("decimal", 0, 600)
    assert rule.errorStyle == "warning"
    rule = validation_of(survey, "occupants")
    assert (rule.type, float(rule.formula1), float(rule.formula2)) == ("whole", 0, 20)
    rule = validation_of(survey, "survey_date")
    assert rule.type == "date"
    assert float(rule.formula1) == 32874  # 1990-01-01 as a spreadsheet counts days
    assert rule.formula2 == "TODAY()"


def test_text_columns_keep_leading_zeros(survey: Worksheet) -> None:
    for field in ("property_id", "postal_code", "admin_area_code", "national_ref", "age_band"):
        assert survey.column_dimensions[column_of(survey, field)].number_format == "@", field
    assert survey.column_dimensions[column_of(survey, "survey_date")].number_format == "yyyy-mm-dd"


def test_no_text_can_start_a_formula(book: openpyxl.Workbook) -> None:
    seen = [
        cell.value
        for sheet in book.worksheets
        for row in sheet.iter_rows()
        for cell in row
        if cell.value is not None
    ]
    assert [text for text in seen if str(text)[0] in "=+-@\t\r"] == []
    assert "'=Cavity fill" in seen
    assert "'-odd" in seen


def test_codes_and_notes_explain_themselves(book: openpyxl.Workbook) -> None:
    assert book.sheetnames == ["Survey", "Notes", "Codes"]
    notes = "\n".join(str(row[0].value) for row in book["Notes"].iter_rows() if row[0].value)
    for words in ("never no", "not seen", "no access", "refused", "asbestos", "millimetres"):
        assert words in notes
    codes = {row[1].value: row[2].value for row in book["Codes"].iter_rows(min_row=2)}
    assert codes["torching"] == "lime mortar on the back of the covering"


def test_the_same_contract_gives_the_same_bytes(
    written: Path, tmp_path: Path, contract: Contract
) -> None:
    write_template(tmp_path / "again.xlsx", contract, MEASURES)
    assert (tmp_path / "again.xlsx").read_bytes() == written.read_bytes()


def test_a_template_without_measures(tmp_path: Path, contract: Contract) -> None:
    write_template(tmp_path / "bare.xlsx", contract, {})
    survey = openpyxl.load_workbook(tmp_path / "bare.xlsx")["Survey"]
    assert validation_of(survey, "measure_code").type is None


def test_an_existing_file_is_left_as_it_is(tmp_path: Path, contract: Contract) -> None:
    path = tmp_path / "mine.xlsx"
    path.write_bytes(b"mine")
    with pytest.raises(FileError, match="exists already"):
        write_template(path, contract, {})
    assert path.read_bytes() == b"mine"


@pytest.mark.parametrize("name", ["no/such/folder.xlsx", "survey.csv"])
def test_a_place_where_no_template_can_be_written(
    tmp_path: Path, contract: Contract, name: str
) -> None:
    with pytest.raises(FileError):
        write_template(tmp_path / name, contract, {})
    assert list(tmp_path.iterdir()) == []


def test_reference_rows_are_ready_for_json(contract: Contract) -> None:
    rows = json.loads(json.dumps(field_rows(contract)))
    assert [row["name"] for row in rows][:113] == NAMES
    loft = rows[NAMES.index("ceiling_insulation_mm")]
    assert (loft["unit"], loft["low"], loft["high"]) == ("mm", 0, 600)


def test_reference_text_names_every_field_once_and_fits_a_terminal(contract: Contract) -> None:
    text = field_reference(contract)
    for field in contract.fields.values():
        assert text.count(f"\n{field.number:>3} {field.name}") == 1
    assert max(len(line) for line in text.splitlines()) <= 100
    roof = field_reference(contract, "c")
    assert "roof_covering" in roof
    assert "property_id" not in roof
