"""Without a browser the tests say so, and fail where they must run."""

import page_browser
import pytest


@pytest.mark.parametrize(
    ("required", "outcome"), [(True, pytest.fail.Exception), (False, pytest.skip.Exception)]
)
def test_a_missing_browser_is_skipped_only_where_that_is_allowed(
    monkeypatch: pytest.MonkeyPatch, required: bool, outcome: type[BaseException]
) -> None:
    monkeypatch.setattr(page_browser.shutil, "which", lambda _: None)
    monkeypatch.setattr(page_browser, "REQUIRED", required)
    with pytest.raises(outcome, match="apt-get install chromium"):
        page_browser.find_browser()
