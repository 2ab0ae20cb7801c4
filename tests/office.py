"""Programs of an ordinary office, where the machine has them."""

import os
import shutil

import pytest


def tool_at_hand(name: str) -> str:
    """Where a program is; without it the test is left out, or fails if it is required."""
    found = shutil.which(name)
    if found is None and os.environ.get("TRIAGE_OFFICE") != "required":
        pytest.skip(f"{name} is not installed; TRIAGE_OFFICE=required makes this a failure")
    assert found is not None, f"{name} is required and not installed"
    return found
