"""The invented demonstration programmes, as files that a user may change."""

import shutil
from pathlib import Path

from triage.errors import StoreError
from triage.resources import resource_dir

PROGRAMMES = ("coastal_association", "county_weatherisation")


def copy_demo(folder: Path) -> list[Path]:
    """Copy both programmes into a new folder; returns their programme files.

    Raises
    ------
    StoreError
        If the folder exists already.
    """
    if folder.exists():
        raise StoreError("the folder exists already", str(folder), "name a new folder")
    for name in PROGRAMMES:
        shutil.copytree(resource_dir("demo_data") / name, folder / name)
    return [folder / name / "programme.toml" for name in PROGRAMMES]
