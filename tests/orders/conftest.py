"""Runs that the tests of work orders share: both demonstrations, and a stock of hostile texts."""

import csv
from collections.abc import Callable
from pathlib import Path

import pytest
from cli_helpers import PROGRAMME, Stock, triage
from hostile_texts import FORMULA, HOMES, LONG

_HEAD = (
    *("property_id", "building_part", "latitude", "longitude", "admin_area_code"),
    *("survey_date", "gutter_condition", "roof_leak_evidence", "photo_refs", "measure_code"),
    *("foam_type", "foam_substrate"),
)
Demo = tuple[Path, Path]


@pytest.fixture(scope="session")
def demo(tmp_path_factory: pytest.TempPathFactory) -> Callable[[str], Demo]:
    """A demonstration by name: its programme file and a finished run, made once."""
    folder = tmp_path_factory.mktemp("orders") / "demo"
    assert triage("demo", folder).code == 0
    made: dict[str, Demo] = {}

    def of(name: str) -> Demo:
        if name not in made:
            programme, run = folder / name / "programme.toml", folder / f"run_{name}"
            assert triage("run", programme, "--out", run).code in (0, 1)
            made[name] = (programme, run)
        return made[name]

    return of


@pytest.fixture(scope="session")
def hostile(tmp_path_factory: pytest.TempPathFactory) -> Stock:
    """A run of homes whose names, areas and photographs are attacks."""
    stock = Stock(tmp_path_factory.mktemp("hostile"))
    stock.write(PROGRAMME.replace('"Small stock"', f"'{FORMULA}'"))
    with (stock.folder / "surveys" / "s.csv").open("w", encoding="utf-8", newline="") as stream:
        lines = csv.writer(stream)
        lines.writerow(_HEAD)
        for text in HOMES:
            found = ("2026-05-01", "poor", "recent", f"{text};{LONG}", "loft_topup")
            lines.writerow((text, "main", 54.5, -3.0, text, *found, "open_cell", "deck_board"))
    done = stock.run()
    assert done.code == 0, done.out + done.err
    return stock


@pytest.fixture(scope="session")
def orders(hostile: Stock, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Its orders."""
    out = tmp_path_factory.mktemp("orders") / "o"
    homes = [f"--home={text}" for text in HOMES]
    done = triage("orders", hostile.out, "--out", out, *homes, f"--contact={FORMULA}")
    assert done.code == 0, done.err
    return out


@pytest.fixture
def no_papers(monkeypatch: pytest.MonkeyPatch) -> None:
    """Orders come without what their PDFs show, which is most of the time of a pack."""
    monkeypatch.setattr("triage.orders.papers._MANY", 10**9)  # in this process
    monkeypatch.setattr("triage.orders.papers.write_pages", lambda path, *_, **__: path.touch())
