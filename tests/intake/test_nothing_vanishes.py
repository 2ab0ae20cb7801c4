"""Over generated workbooks: rows add up, and every cell is a value, an unknown or a problem."""

import tempfile
from datetime import date, datetime
from pathlib import Path

import polars as pl
import xlsxwriter
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from intake_helpers import AS_OF, MEASURES

from triage.contract import load_contract
from triage.intake.assemble import assemble
from triage.intake.field_rules import new_context
from triage.intake.files import read_file
from triage.intake.result import Intake

CONTRACT = load_contract()
FIELDS = [name for name in CONTRACT.fields if name not in ("property_id", "building_part")]
HABITS = """4"|R-19|4-6"|<20|18%|68F|6:12|1/300|100 mm (assumed)|03/04/22|Mar-22|N/A|??|-|nil
OC/CC|Cracked; odd|None + Cracked|#DIV/0!|1.00E+11|yes|Y|G|P|1-2|TBC|loft_topup; spa|12,5
0.5|~|<|(assumed)|'|/|;|no access|REL 200|2A 3C|1930s|G+2|="0042"|2024-13-45
31/12/2021|9999|٣""".replace("\n", "|").split("|")
TEXT = st.text(st.characters(exclude_categories=["Cs", "Cc"]), max_size=12)
CELL = st.one_of(
    st.none(),
    st.sampled_from(HABITS),
    TEXT,
    st.integers(-(10**6), 10**6),
    st.floats(-1e6, 1e6, allow_nan=False).map(lambda value: round(value, 3)),
    st.booleans(),
    st.dates(date(1980, 1, 1), date(2030, 1, 1)),
)
KEYS = st.sampled_from([None, "H1", "H2", "0042", "1.00E+11", "TBC", " H1 ", "#N/A"])
PARTS = st.sampled_from(["main", "Main", "ext1", None, "nowhere"])


@st.composite
def surveys(draw: st.DrawFn) -> tuple[list[str], list[list[object]]]:
    fields = draw(st.lists(st.sampled_from(FIELDS), min_size=1, max_size=6, unique=True))
    row = st.tuples(KEYS, PARTS, *(CELL for _ in fields)).map(list)
    return ["property_id", "building_part", *fields], draw(st.lists(row, max_size=8))


def _read(headings: list[str], rows: list[list[object]]) -> Intake:
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "survey.xlsx"
        options = {"strings_to_formulas": False, "strings_to_urls": False,
                   "default_date_format": "dd/mm/yyyy"}  # fmt: skip
        with xlsxwriter.Workbook(str(path), options) as book:
            sheet = book.add_worksheet("Roofs")
            for number, row in enumerate([headings, *rows]):
                for column, value in enumerate(row):
                    if isinstance(value, str):
                        sheet.write_string(number, column, value)
                    elif isinstance(value, date):
                        sheet.write_datetime(
                            number, column, datetime(value.year, value.month, value.day)
                        )
                    elif value is not None:
                        sheet.write(number, column, value)
        reading = read_file(path, "survey.xlsx", new_context(CONTRACT, None, MEASURES, AS_OF))
        assert reading.errors == []
        return assemble([reading], CONTRACT, "GB", "P1")


def _is_blank(value: object) -> bool:
    return value is None or (isinstance(value, str) and not value.strip())


@settings(max_examples=150, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(surveys())
def test_rows_add_up_and_no_cell_vanishes(survey: tuple[list[str], list[list[object]]]) -> None:
    headings, rows = survey
    intake = _read(headings, rows)
    counts = intake.counts
    written = [row for row in rows if not all(_is_blank(value) for value in row)]
    assert counts["read"] == len(written)
    assert counts["read"] == counts["accepted"] + counts["rejected"] + counts["superseded"]
    assert intake.rows["row_id"].to_list() == list(range(len(written)))
    assert intake.rows.filter(pl.col("status") == "rejected")["reason"].null_count() == 0
    unknown = set(intake.unknowns.select("row_id", "field").rows())
    for clean in intake.clean.to_dicts():
        cells = dict(zip(headings, written[clean["row_id"]], strict=True))
        for field, cell in cells.items():
            is_told = clean[field] is not None or (clean["row_id"], field) in unknown
            assert is_told != _is_blank(cell) or field in _FILLED


_FILLED = {
    "country_code",
    "programme_id",
    "survey_id",
    "measure_code",
    "property_id",
    "building_part",
}


@settings(max_examples=50, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(surveys(), st.randoms(use_true_random=False))
def test_the_order_of_rows_changes_nothing(
    survey: tuple[list[str], list[list[object]]], dice: object
) -> None:
    headings, rows = survey
    mixed = list(rows)
    dice.shuffle(mixed)  # type: ignore[attr-defined]
    first, second = _read(headings, rows), _read(headings, mixed)
    assert first.counts == second.counts
    # Ids that are made of the row number differ by their nature.
    columns = [name for name in first.clean.columns if name not in ("row_id", "survey_id")]
    assert sorted(first.clean.select(columns).rows(), key=str) == sorted(
        second.clean.select(columns).rows(), key=str
    )
