"""What a drafted profile states, what it only proposes, and what no heading can do to it."""

import tomllib
from datetime import date
from pathlib import Path
from typing import Any

import polars as pl
import pytest
from draft_helpers import commented, draft_of
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from intake_helpers import Rows, WriteBook

from triage.contract import Contract, load_profile
from triage.contract.profile import Profile
from triage.errors import FileError, ManyErrors
from triage.intake.draft import draft_profile
from triage.intake.draft_dates import DateProof
from triage.report.toml_text import inert_words, quoted

KNOWN = ["property_id", "building_part", "gutter_condition"]
HOSTILE = [
    'Gutter"\nfoam_present = "no',
    'a """ b',
    "]\n[columns]\nproperty_id = 1",
    "x' ]",
    "tab\tand\x01bell\x07\x1b[31m",
    "back\\slash \\u0041",
    "\u202enim\u2028next\u0085line",
    "# no comment\r\n\r\nreal = 1",
    "{ field = 'x' }",
    "a = b",
    "\ufeffbom \U0001f409",
]


def _csv(path: Path, rows: Rows) -> Path:
    lines = [",".join('"' + str(cell).replace('"', '""') + '"' for cell in row) for row in rows]
    path.write_text("\n".join(lines) + "\n", encoding="utf-8", newline="")
    return path


def _loaded(text: str, tmp_path: Path, contract: Contract) -> Profile:
    path = tmp_path / "draft.toml"
    path.write_text(text, encoding="utf-8", newline="\n")
    return load_profile(path, contract)


def _rows(heading: str, cells: list[Any], *, units: list[str] | None = None) -> list[list[Any]]:
    homes = [[f"H{number}", "main", "good", cell] for number, cell in enumerate(cells)]
    return [[*KNOWN, heading], *([units] if units else []), *homes]


def _dates(contract: Contract, tmp_path: Path, *texts: str) -> tuple[DateProof, str]:
    rows = _rows("survey_date", list(texts))
    draft, text = draft_of(contract, _csv(tmp_path / "dates.csv", rows))
    return draft.dates, text


@pytest.mark.parametrize("heading", HOSTILE)
def test_a_hostile_heading_is_only_a_heading(
    heading: str, tmp_path: Path, contract: Contract
) -> None:
    """It maps nothing, adds no key, and stands in the draft so that it can be decided."""
    path = _csv(tmp_path / "s.csv", _rows(heading, [heading] * 5))
    draft, text = draft_of(contract, path)
    columns = tomllib.loads(text)["columns"]
    assert columns == {name: name for name in KNOWN}
    assert all(sign.isprintable() for line in text.split("\n") for sign in line)
    (decision,) = draft.open
    proposed = [said for line in text.splitlines() if (said := commented(line))]
    assert any(list(said) == [decision.seen.heading] for said in proposed)
    assert set(_loaded(text, tmp_path, contract).columns) == {n.replace("_", " ") for n in KNOWN}


@pytest.mark.parametrize("name", ["a\nb.csv", "]\n[columns].csv", '"""\n.csv', "caf\u202e.csv"])
def test_a_hostile_file_name_is_only_a_name(name: str, tmp_path: Path, contract: Contract) -> None:
    _, text = draft_of(contract, _csv(tmp_path / name, _rows("Remark", ["x"])))
    data = tomllib.loads(text)
    assert data["name"] == name.removesuffix(".csv")
    assert data["columns"] == {known: known for known in KNOWN}


def test_a_hostile_word_cannot_become_a_spelling(tmp_path: Path, contract: Contract) -> None:
    words = ['good"\n"x" = "poor', "]\n[columns]", '"""', "\x1b\x07"]
    rows = _rows("Remark", [""] * 8)
    for row, word in zip(rows[1:], words, strict=False):
        row[2] = word
    _, text = draft_of(contract, _csv(tmp_path / "s.csv", rows))
    data = tomllib.loads(text)
    assert data.get("spellings", {}) in ({}, {"gutter_condition": {}})
    assert data["columns"]["gutter_condition"] == "gutter_condition"


@given(st.text(max_size=60))
def test_quoted_text_reads_back_and_stays_on_one_line(text: str) -> None:
    line = quoted(text)
    assert line.isprintable()
    assert tomllib.loads(f"{line} = 1\nx = {line}") == {text: 1} | {"x": text}


@given(st.text(max_size=200))
def test_a_comment_stays_a_comment(text: str) -> None:
    words = inert_words(text)
    assert words.isprintable()
    assert len(words) <= 40
    assert tomllib.loads(f"# {words}\nx = 1") == {"x": 1}


HEADINGS = st.lists(
    st.text(st.characters(codec="utf-8"), max_size=25), min_size=1, max_size=5, unique=True
)


@settings(
    max_examples=25, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture]
)
@given(headings=HEADINGS)
def test_whatever_the_headings_the_draft_is_a_profile(
    headings: list[str], tmp_path: Path, contract: Contract
) -> None:
    cells = dict(zip([*KNOWN, *headings], ["H1", "main", "good", *["1"] * 5], strict=False))
    path = tmp_path / "any.parquet"
    pl.DataFrame({name: [cell] for name, cell in cells.items()}).write_parquet(path)
    draft, text = draft_of(contract, path)
    profile = _loaded(text, tmp_path, contract)
    assert {c.field for c in profile.columns.values()} == {
        d.sure.field for d in draft.sure if d.sure
    }


def test_a_guess_is_never_applied(tmp_path: Path, contract: Contract) -> None:
    """Values that would fit, and a heading that is like none, or like two: nothing is live."""
    rows = [
        [*KNOWN, "Guttering state", "Rain gear", "Condition"],
        *([f"H{n}", "main", "good", "poor", "fair", "good"] for n in range(20)),
    ]
    draft, text = draft_of(contract, _csv(tmp_path / "s.csv", rows))
    assert tomllib.loads(text)["columns"] == {name: name for name in KNOWN}
    assert [d.seen.heading for d in draft.open] == ["Guttering state", "Rain gear", "Condition"]
    assert draft.exit_code == 1
    for decision in draft.open:
        assert decision.why
        for candidate in decision.candidates:
            line = f"# {quoted(decision.seen.heading)} = {quoted(candidate.field)}"
            assert line in text


def test_a_known_heading_over_values_that_do_not_fit_is_asked_about(
    tmp_path: Path, contract: Contract
) -> None:
    rows = _rows("Storeys", ["brick", "stone", "slate", "brick", "timber"])
    draft, text = draft_of(contract, _csv(tmp_path / "s.csv", rows))
    (decision,) = draft.open
    assert "only 0 of 5 answers can be read as storeys" in decision.why
    assert "Storeys" not in tomllib.loads(text)["columns"]


def test_two_headings_that_may_fill_one_field_are_both_asked_about(
    tmp_path: Path, contract: Contract
) -> None:
    rows = [["property_id", "building_part", "Gutters", "Gutter condition"]]
    rows += [[f"H{n}", "main", "good", "poor"] for n in range(6)]
    draft, text = draft_of(contract, _csv(tmp_path / "s.csv", rows))
    assert [d.seen.heading for d in draft.open] == ["Gutters", "Gutter condition"]
    assert all("may fill gutter_condition too" in d.why for d in draft.open)
    assert "gutter_condition" not in tomllib.loads(text)["columns"].values()


def test_a_heading_that_stands_twice_is_named_with_both_places(
    tmp_path: Path, contract: Contract
) -> None:
    rows = [[*KNOWN, "Valleys", "valleys"], ["H1", "main", "good", "fair", "poor"]]
    draft, text = draft_of(contract, _csv(tmp_path / "s.csv", rows))
    (decision,) = draft.open
    assert [place.column for place in decision.seen.places] == ["D", "E"]
    assert "stands twice in one sheet" in text
    assert "rename or delete one of the two" in text


def test_a_column_without_a_heading_is_told(tmp_path: Path, contract: Contract) -> None:
    rows = _rows("", ["x", "y"])
    draft, text = draft_of(contract, _csv(tmp_path / "s.csv", rows))
    (column,) = draft.nameless
    assert (column.place.column, column.cells) == ("D", 2)
    assert "2 cells and no heading" in text
    assert draft.exit_code == 1


@pytest.mark.parametrize(
    ("heading", "unit"),
    [
        ("Loft insulation (mm)", "mm"),
        ("Loft insulation (in)", "in"),
        ("Loft insulation mm", "mm"),
        ("Loft insulation [cm]", "cm"),
    ],
)
def test_the_heading_states_the_unit(
    heading: str, unit: str, tmp_path: Path, contract: Contract
) -> None:
    path = _csv(tmp_path / "s.csv", _rows(heading, [10, 12, 20, 14, 25]))
    entry = tomllib.loads(draft_of(contract, path)[1])["columns"][heading]
    assert entry == {"field": "ceiling_insulation_mm", "unit": unit}


def test_the_units_row_states_the_unit(write_book: WriteBook, contract: Contract) -> None:
    rows = [
        ["property_id", "building_part", "Loft insulation", "Floor area"],
        [None, None, "in", "sq ft"],
        *(["H" + str(n), "main", 6 + n, 900 + 10 * n] for n in range(6)),
    ]
    data = tomllib.loads(draft_of(contract, write_book(rows))[1])
    assert data["layout"]["units_row"] is True
    assert data["columns"]["Loft insulation"] == {"field": "ceiling_insulation_mm", "unit": "in"}
    assert data["columns"]["Floor area"] == {"field": "floor_area_m2", "unit": "sq ft"}


def test_a_unit_that_nobody_states_is_proposed_not_applied(
    tmp_path: Path, contract: Contract
) -> None:
    path = _csv(tmp_path / "s.csv", _rows("Loft insulation", [100, 200, 270, 150, 250]))
    _, text = draft_of(contract, path)
    assert tomllib.loads(text)["columns"]["Loft insulation"] == "ceiling_insulation_mm"
    said = [c for line in text.splitlines() if "Loft insulation" in (c := commented(line))]
    assert said == [{"Loft insulation": {"field": "ceiling_insulation_mm", "unit": "mm"}}]
    assert "5 numbers have none" in text


def test_unknown_words_come_with_their_nearest_codes(tmp_path: Path, contract: Contract) -> None:
    rows = _rows("Remark", [""] * 12)
    for row in rows[2:5]:
        row[2] = "quite poor"
    rows[5][2] = "zzzzqqq"
    draft, text = draft_of(contract, _csv(tmp_path / "s.csv", rows))
    (words,) = draft.words
    assert words.field == "gutter_condition"
    assert [(w.text, w.cells) for w in words.words] == [("quite poor", 3), ("zzzzqqq", 1)]
    assert words.words[0].codes[0] == "poor"
    assert words.words[1].codes == ()
    section = text.split("[spellings.gutter_condition]")[1]
    assert '# "quite poor" = "poor"  # 3 cells' in section
    assert '# "zzzzqqq" = ""  # 1 cell, no code is near' in section
    assert tomllib.loads(text)["spellings"] == {"gutter_condition": {}}


def test_a_day_after_the_12th_proves_the_order(tmp_path: Path, contract: Contract) -> None:
    dates, text = _dates(contract, tmp_path, "03/04/2025", "13/04/2025", "04/05/2025")
    assert (dates.order, dates.cells, dates.against["MDY"]) == ("DMY", 3, 1)
    assert tomllib.loads(text)["reading"] == {"date_order": "DMY"}
    dates, text = _dates(contract, tmp_path, "03/04/2025", "04/13/2025")
    assert dates.order == "MDY"
    assert tomllib.loads(text)["reading"] == {"date_order": "MDY"}


@pytest.mark.parametrize("texts", [("03/04/2025", "12/12/2025", "01/02/2025"), ("2025-04-13",)])
def test_without_such_a_day_no_order_is_proved(
    texts: tuple[str, ...], tmp_path: Path, contract: Contract
) -> None:
    dates, text = _dates(contract, tmp_path, *texts)
    assert dates.order is None
    assert tomllib.loads(text)["reading"] == {}


def test_dates_that_contradict_each_other_prove_nothing(tmp_path: Path, contract: Contract) -> None:
    dates, text = _dates(contract, tmp_path, "13/04/2025", "04/13/2025", "01/02/2025")
    assert dates.order is None
    assert dates.is_contradictory
    assert "no DMY (day first): 1 of 3, such as '04/13/2025'" in text
    assert tomllib.loads(text)["reading"] == {}


def test_one_day_among_very_many_rows_is_seen(tmp_path: Path, contract: Contract) -> None:
    texts = ["03/04/2025"] * 12_000
    texts[11_234] = "25/04/2025"
    dates, _ = _dates(contract, tmp_path, *texts)
    assert (dates.order, dates.cells) == ("DMY", 12_000)


def test_a_file_that_cannot_be_read_does_not_stop_the_others(
    tmp_path: Path, contract: Contract
) -> None:
    good = _csv(tmp_path / "good.csv", _rows("Remark", ["x"]))
    bad = tmp_path / "bad.xlsx"
    bad.write_bytes(b"PK\x03\x04 not a workbook")
    draft, text = draft_of(contract, bad, good)
    assert [error.where.file for error in draft.errors] == [bad.as_posix()]
    assert draft.exit_code == 1
    assert "not read" in text
    with pytest.raises((FileError, ManyErrors)):
        draft_of(contract, bad)


def test_a_file_without_a_table_is_refused_with_what_to_do(
    tmp_path: Path, contract: Contract
) -> None:
    path = _csv(tmp_path / "list.csv", [["a", "b"], ["1", "2"]])
    with pytest.raises(FileError, match="two known headings") as caught:
        draft_of(contract, path)
    assert "list.csv" in str(caught.value.where)
    assert "example.toml" in caught.value.fix


def test_a_sheet_of_another_layout_is_named_not_lost(tmp_path: Path, contract: Contract) -> None:
    usual = _csv(tmp_path / "a.csv", _rows("Remark", ["x"] * 9))
    other = _csv(tmp_path / "b.csv", [["Title"], [""], *_rows("Remark", ["x"])])
    draft, text = draft_of(contract, usual, other)
    assert [(left.file, left.is_table) for left in draft.left_out] == [(other.as_posix(), True)]
    assert "it needs its own profile" in text
    assert draft.exit_code == 1


def test_the_same_files_give_the_same_draft(tmp_path: Path, contract: Contract) -> None:
    rows = _rows("Guttering", ["good", "G", "fair", "F", "poor"] * 5)
    path = _csv(tmp_path / "s.csv", rows)
    as_of = date(2026, 10, 31)
    first, second = (draft_of(contract, path)[1] for _ in range(2))
    assert first == second
    assert draft_profile([path], contract, {}, as_of).sure


@pytest.mark.parametrize("name", ["*", "^p.*$"])
def test_a_parquet_column_with_a_pattern_for_a_name_is_one_column(
    name: str, tmp_path: Path, contract: Contract
) -> None:
    path = tmp_path / "s.parquet"
    pl.DataFrame({key: ["x"] for key in [*KNOWN, name]}).write_parquet(path)
    (decision,) = draft_of(contract, path)[0].open
    assert (decision.seen.heading, decision.seen.places[0].column) == (name, "D")
