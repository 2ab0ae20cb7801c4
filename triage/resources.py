"""Where the data files of the product are: inside the wheel, or in the checkout."""

from functools import cache
from importlib.resources import files
from pathlib import Path


@cache
def resource_dir(name: str) -> Path:
    """Folder `schemas`, `pipelines` or `demo_data`, from the wheel if it is one, else the checkout.

    Raises
    ------
    FileNotFoundError
        If neither place holds the folder: the installation is broken.
    """
    package = Path(str(files("triage")))
    for folder in (package / "_resources" / name, package.parent / name):
        if folder.is_dir():
            return folder
    raise FileNotFoundError(f"the data folder {name!r} is not part of this installation")
