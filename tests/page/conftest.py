"""A run of part of the demo, its page, and a browser to open it."""

import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).parent))

from page_browser import Browser, find_browser, open_browser
from page_runs import PageRun, make_run


@pytest.fixture(scope="session")
def page_run(tmp_path_factory: pytest.TempPathFactory) -> PageRun:
    return make_run(tmp_path_factory.mktemp("page"))


@pytest.fixture(scope="session")
def chromium() -> Iterator[Browser]:
    with open_browser(find_browser()) as browser:
        yield browser


@pytest.fixture
def opened(chromium: Browser, page_run: PageRun) -> Browser:
    """The page, freshly loaded at 1280 pixels."""
    chromium.resize(1280, 900)
    chromium.open(page_run.page)
    return chromium
