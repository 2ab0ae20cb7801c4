"""Every way in which schemas/ can contradict itself is found, with the file and the key."""

from pathlib import Path

import pytest

from triage.contract import load_contract
from triage.errors import FileError, ManyErrors, SchemaError, TriageError


def spoil(schemas: Path, name: str, old: str, new: str) -> Path:
    path = schemas / name
    text = path.read_text(encoding="utf-8")
    assert old in text
    path.write_text(text.replace(old, new, 1), encoding="utf-8")
    return path


def line_of(path: Path, text: str) -> int:
    lines = path.read_text(encoding="utf-8").splitlines()
    return next(n for n, line in enumerate(lines, start=1) if text in line)


def refused(schemas: Path) -> TriageError:
    with pytest.raises(TriageError) as caught:
        load_contract(schemas)
    assert not isinstance(caught.value, ManyErrors), str(caught.value)
    return caught.value


def test_an_untouched_copy_loads(schemas: Path) -> None:
    assert load_contract(schemas) == load_contract()


def test_a_spelling_of_two_codes(schemas: Path) -> None:
    path = spoil(schemas, "codes/HI_LO.csv", "doubtful,", "doubtful,Med; ")
    error = refused(schemas)
    assert isinstance(error, SchemaError)
    assert "'medium'" in error.what
    assert "'low'" in error.what
    assert error.where.file == str(path)
    assert error.where.column == "low"


def test_a_word_of_a_field_that_its_list_gives_to_another_code(schemas: Path) -> None:
    spoil(schemas, "tables/survey.toml", '"eroded"', '"eroded", "sound"')
    error = refused(schemas)
    assert "'good'" in error.what
    assert "pointing_condition" in str(error.where)


def test_a_list_that_is_not_there(schemas: Path) -> None:
    path = spoil(schemas, "tables/survey.toml", 'codes = "RF"', 'codes = "RFF"')
    error = refused(schemas)
    assert "'RFF'" in error.what
    assert "'RF'" in error.fix
    assert error.where.row == line_of(path, 'codes = "RFF"')
    assert error.where.column == "columns.roof_form.codes"


def test_a_range_upside_down(schemas: Path) -> None:
    path = spoil(schemas, "tables/survey.toml", "range = [90.0, 1200.0]", "range = [1200.0, 90.0]")
    error = refused(schemas)
    assert "upside down" in error.what
    assert error.where.row == line_of(path, "range = [1200.0, 90.0]")


def test_a_number_twice(schemas: Path) -> None:
    path = spoil(schemas, "tables/survey.toml", "number = 23\n", "number = 22\n")
    error = refused(schemas)
    assert "'roof_pitch_deg'" in error.what
    assert "'roof_covering'" in error.what
    assert error.where.file == str(path)


def test_a_heading_of_two_fields(schemas: Path) -> None:
    spoil(schemas, "tables/survey.toml", '"Covering"', '"Covering", "Roof  Pitch"')
    error = refused(schemas)
    assert "'roof_pitch_deg'" in error.what
    assert "'roof_covering'" in error.what


@pytest.mark.parametrize(
    ("old", "new", "hint"),
    [
        ('unit = "mm"', 'units = "mm"', "'unit'"),
        ('quantity = "area"', 'quantity = "areas"', "'area'"),
        ('need = "O"', 'need = "optional"', "O (optional)"),
        ('type = "number"', 'type = "numbr"', "'number'"),
        ("range = [15.0, 2000.0]", 'range = "15 to 2000"', "correct the value"),
        ("number = 17", 'number = "17"', "correct the value"),
        ('primary_key = ["property_id"', 'primary_key = ["property"', "'property_id'"),
    ],
)
def test_a_key_or_value_that_nobody_reads(schemas: Path, old: str, new: str, hint: str) -> None:
    path = spoil(schemas, "tables/survey.toml", old, new)
    with pytest.raises(TriageError) as caught:
        load_contract(schemas)
    many = caught.value.errors if isinstance(caught.value, ManyErrors) else [caught.value]
    assert hint in many[0].fix
    assert all(error.where.file == str(path) for error in many)
    assert many[0].where.row == line_of(path, new)


def test_words_for_a_code_that_the_field_cannot_hold(schemas: Path) -> None:
    spoil(schemas, "tables/survey.toml", 'poor = [\n    "perished', 'pooor = [\n    "perished')
    error = refused(schemas)
    assert "'poor'" in error.fix


def test_broken_toml_names_the_line(schemas: Path) -> None:
    path = spoil(schemas, "tables/reading.toml", "[columns.location]", "[columns.location")
    error = refused(schemas)
    assert error.where.row == line_of(path, "[columns.location")


def test_text_that_is_not_utf8_names_the_line(schemas: Path) -> None:
    path = schemas / "tables" / "reading.toml"
    path.write_bytes(b'name = "reading"\ngrain = "caf\xe9"\n' + path.read_bytes())
    assert refused(schemas).where.row == 2


@pytest.mark.parametrize(
    ("text", "row"),
    [("code;definition;spellings\n", 1), ("code,definition,spellings\na,b\n", 2)],
)
def test_a_code_list_of_the_wrong_shape(schemas: Path, text: str, row: int) -> None:
    (schemas / "codes" / "SPARE.csv").write_text(text, encoding="utf-8")
    assert refused(schemas).where.row == row


def test_a_code_twice(schemas: Path) -> None:
    text = "code,definition,spellings\na,first,\na,second,\n"
    (schemas / "codes" / "SPARE.csv").write_text(text, encoding="utf-8")
    assert "twice" in refused(schemas).what


def test_minimum_data_names_only_fields(schemas: Path) -> None:
    spoil(schemas, "tables/minimum_data.toml", '"roof_leak_evidence"', '"roof_leaks_evidence"')
    assert "'roof_leak_evidence'" in refused(schemas).fix


def test_no_survey_table(schemas: Path) -> None:
    (schemas / "tables" / "survey.toml").unlink()
    assert "survey" in refused(schemas).what


def test_everything_wrong_is_told_in_one_go(schemas: Path) -> None:
    spoil(schemas, "tables/survey.toml", 'codes = "RF"', 'codes = "RFF"')
    spoil(schemas, "codes/HI_LO.csv", "doubtful,", "doubtful,Med; ")
    with pytest.raises(ManyErrors) as caught:
        load_contract(schemas)
    assert len(caught.value.errors) == 2


def test_a_missing_file_is_a_file_error(tmp_path: Path) -> None:
    from triage.contract import load_profile

    with pytest.raises(FileError):
        load_profile(tmp_path / "no.toml", load_contract())
