"""One run of a generated stock for all tests of gaps."""

from collections.abc import Iterator

import pytest
from cli_helpers import Stock
from gap_stock import generated

from triage.gaps.opened import open_run
from triage.work import Work


@pytest.fixture(scope="session")
def ran(tmp_path_factory: pytest.TempPathFactory) -> Stock:
    """A thousand homes, triaged."""
    stock = Stock(tmp_path_factory.mktemp("gaps")).write()
    generated(stock)
    done = stock.run()
    assert done.code == 0, done.err
    return stock


@pytest.fixture
def opened(ran: Stock) -> Iterator[Work]:
    work, _ = open_run(ran.out, lambda _: None)
    yield work
    work.store.close()
