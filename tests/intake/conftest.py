"""Small surveys in every format, and short ways to read them."""

from datetime import date, datetime
from pathlib import Path

import pytest
import xlsxwriter
from intake_helpers import AS_OF, MEASURES, LoadProfile, ReadFiles, Rows, WriteBook

from triage.contract import Contract, load_contract
from triage.contract.profile import Profile, load_profile
from triage.contract.programme import Programme, Source
from triage.intake import Intake, read_sources


@pytest.fixture(scope="session")
def contract() -> Contract:
    return load_contract()


@pytest.fixture
def write_book(tmp_path: Path) -> WriteBook:
    def write(rows: Rows, name: str = "survey.xlsx", sheet: str = "Roofs") -> Path:
        path = tmp_path / name
        with xlsxwriter.Workbook(str(path), {"default_date_format": "dd/mm/yyyy"}) as book:
            page = book.add_worksheet(sheet)
            for number, row in enumerate(rows):
                for column, value in enumerate(row):
                    if isinstance(value, datetime | date):
                        page.write_datetime(number, column, value)
                    elif value is not None:
                        page.write(number, column, value)
        return path

    return write


@pytest.fixture
def make_profile(tmp_path: Path, contract: Contract) -> LoadProfile:
    def make(text: str) -> Profile:
        path = tmp_path / "profile.toml"
        path.write_text('name = "team"\n' + text, encoding="utf-8")
        return load_profile(path, contract)

    return make


@pytest.fixture
def read_files(tmp_path: Path, contract: Contract) -> ReadFiles:
    """Read files as the sources of a programme in the UK, or in `country`."""

    def read(*paths: Path, profile: Profile | None = None, country: str = "GB") -> Intake:
        programme = Programme(
            path=tmp_path / "programme.toml",
            folder=tmp_path,
            name="test",
            programme_id="P1",
            country_code=country,
            as_of=AS_OF,
            policy="default",
            stock_total=None,
            sources=(Source(tuple(paths), profile),),
            measures=(),
            climate=None,
            exposure=None,
        )
        return read_sources(programme, contract, MEASURES)

    return read
