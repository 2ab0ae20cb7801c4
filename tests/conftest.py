"""What the tests of the command line share."""

from collections.abc import Iterator
from pathlib import Path

import pytest
from cli_helpers import GOOD, HEAD, Stock

# Rooms whose files take longest; begun first, so that no process is left with one at the end.
_LONG = ("golden", "compare", "orders", "records", "learn", "summary", "rules", "page", "gaps")


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Put the rooms of long files first."""
    rank = {room: place for place, room in enumerate(_LONG)}
    items.sort(key=lambda item: rank.get(item.path.parent.name, len(rank)))


@pytest.fixture
def stock(tmp_path: Path) -> Stock:
    """A programme of one home, which runs."""
    return Stock(tmp_path).write().survey([HEAD, GOOD])


@pytest.fixture(scope="module")
def plain_runs() -> Iterator[None]:
    """Runs of this module make their tables alone: no map, workbook or page.

    These take half of a small run. For modules that make many runs and look at none of the three;
    a run that other modules share must not be made in one.
    """
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr("triage.outputs.write_queue_map", lambda *_: {})
        patch.setattr("triage.outputs.write_climate_map", lambda *_: {})
        patch.setattr("triage.outputs.write_queue_workbook", lambda *_, **__: None)
        patch.setattr("triage.programme_run.write_page", lambda *_, **__: None)
        yield
