"""Short ways to drive the real command line, and a small programme for it to work on."""

import json
import os
import subprocess
import sys
from collections.abc import Callable, Mapping, Sequence
from contextlib import redirect_stderr, redirect_stdout
from dataclasses import dataclass
from datetime import date, datetime
from io import StringIO
from pathlib import Path
from typing import Any
from unittest.mock import patch

import xlsxwriter

from triage.cli import main

LONG = bool(os.environ.get("TRIAGE_LONG"))
"""Whether tests that others already hold in one are run one by one, and on both demonstrations."""
HEAD = ["property_id", "building_part", "latitude", "longitude", "gutter_condition", "measure_code"]
GOOD = ["H1", "main", 54.5, -3.0, "good", "loft_topup"]
PROGRAMME = """name = "Small stock"
programme_id = "small"
country_code = "GB"
as_of = 2026-10-31

[[sources]]
files = "surveys/*.*"
"""
Grid = Sequence[Sequence[Any]]


@dataclass(frozen=True, slots=True)
class Answer:
    """What a command left: exit code, standard output, standard error."""

    code: int
    out: str
    err: str

    @property
    def json(self) -> Any:
        """The one JSON value on standard output; anything beside it is an error."""
        return json.loads(self.out)


Triage = Callable[..., Answer]


def triage(*words: object) -> Answer:
    """Run the entry point in this process, as the console script does."""
    out, err = StringIO(), StringIO()
    code: object = 0
    argv = ["triage", *map(str, words)]
    with patch.object(sys, "argv", argv), redirect_stdout(out), redirect_stderr(err):
        try:
            main()
        except SystemExit as stop:
            code = stop.code
    assert isinstance(code, int | None)
    return Answer(code or 0, out.getvalue(), err.getvalue())


def command(*words: object) -> list[str]:
    """The same command for a process of its own."""
    return [sys.executable, "-m", "triage", *map(str, words)]


def triage_process(*words: object, cwd: Path | None = None) -> Answer:
    """Run a command in a process of its own."""
    plain = os.environ | {"PYTHONUTF8": "1", "NO_COLOR": "1"}
    done = subprocess.run(
        command(*words), capture_output=True, encoding="utf-8", cwd=cwd, env=plain, check=False
    )
    return Answer(done.returncode, done.stdout, done.stderr)


def write_book(path: Path, sheets: Mapping[str, Grid]) -> Path:
    """Write a workbook whose cells are exactly these values."""
    path.parent.mkdir(parents=True, exist_ok=True)
    options = {
        "strings_to_formulas": False,
        "strings_to_urls": False,
        "strings_to_numbers": False,
        "default_date_format": "dd/mm/yyyy",
    }
    with xlsxwriter.Workbook(str(path), options) as book:
        for name, rows in sheets.items():
            page = book.add_worksheet(name)
            for number, row in enumerate(rows):
                for column, value in enumerate(row):
                    if isinstance(value, datetime | date):
                        page.write_datetime(number, column, value)
                    elif value is not None:
                        page.write(number, column, value)
    return path


@dataclass(frozen=True, slots=True)
class Stock:
    """A programme in a folder of its own: its file, its surveys, and where runs of it go."""

    folder: Path

    @property
    def programme(self) -> Path:
        return self.folder / "programme.toml"

    @property
    def out(self) -> Path:
        return self.folder / "runs" / "run"

    def write(self, text: str = PROGRAMME) -> "Stock":
        (self.folder / "surveys").mkdir(exist_ok=True)
        self.out.parent.mkdir(exist_ok=True)
        self.programme.write_text(text, encoding="utf-8")
        return self

    def survey(self, rows: Grid, name: str = "survey.xlsx", sheet: str = "Roofs") -> "Stock":
        write_book(self.folder / "surveys" / name, {sheet: rows})
        return self

    def profile(self, text: str) -> "Stock":
        """Let a profile describe the surveys."""
        (self.folder / "team.toml").write_text('name = "team"\n' + text, encoding="utf-8")
        return self.write(PROGRAMME + 'profile = "team.toml"\n')

    def run(self, *options: str) -> Answer:
        return triage("run", self.programme, "--out", self.out, *options)

    def leftovers(self) -> list[str]:
        """Everything that stands where runs go, hidden folders too."""
        return sorted(path.name for path in self.out.parent.iterdir())
