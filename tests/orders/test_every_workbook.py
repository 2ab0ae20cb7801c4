"""Every workbook made of hostile surveys holds text alone, and an office program opens it."""

import re
import shutil
import subprocess
from pathlib import Path
from xml.etree import ElementTree
from zipfile import ZipFile

import openpyxl
import pytest
from cli_helpers import Stock, triage
from hostile_texts import HOMES
from office import tool_at_hand

_MAIN = "{http://schemas.openxmlformats.org/spreadsheetml/2006/main}"
_OTHERS = {"queues", "inspections", "visits", "template", "records"}


@pytest.fixture(scope="module")
def books(
    hostile: Stock, orders: Path, tmp_path_factory: pytest.TempPathFactory
) -> dict[str, Path]:
    """By name: the queues, a visit list, an inspection list, templates, and each order."""
    folder = tmp_path_factory.mktemp("books")
    made = {f"order_{n}": path for n, path in enumerate(sorted(orders.glob("*/*.xlsx")))}
    assert len(made) == len(HOMES)
    for name, words, file in (
        ("visits", ("gaps", hostile.out, "--out", folder / "gaps"), "gaps/visit_list.xlsx"),
        (
            "inspections",
            ("select", hostile.out, "--seed", 1, "--out", folder / "w"),
            "w/inspections.xlsx",
        ),
        ("template", ("template", folder / "t.xlsx"), "t.xlsx"),
        ("records", ("template", folder / "r.xlsx", "--records"), "r.xlsx"),
    ):
        done = triage(*words)
        assert done.code == 0, done.err
        made[name] = folder / file
    made["queues"] = hostile.out / "queues.xlsx"
    assert set(made) >= _OTHERS
    return {name: shutil.copyfile(path, folder / f"{name}.xlsx") for name, path in made.items()}


def test_no_cell_is_a_formula_or_a_link(books: dict[str, Path]) -> None:
    for path in books.values():
        with ZipFile(path) as book:
            for name in book.namelist():
                if name.startswith("xl/worksheets/sheet"):
                    tree = ElementTree.fromstring(book.read(name))
                    assert list(tree.iter(f"{_MAIN}f")) == []
                    assert list(tree.iter(f"{_MAIN}hyperlink")) == []
        for sheet in openpyxl.load_workbook(path):
            texts = [
                c for row in sheet.iter_rows(values_only=True) for c in row if isinstance(c, str)
            ]
            assert [text for text in texts if re.match(r"[=+\-@\t\r]", text)] == []


def test_an_office_opens_each_and_finds_the_same_sheets(
    books: dict[str, Path], tmp_path: Path
) -> None:
    office = tool_at_hand("soffice")
    profile = f"-env:UserInstallation=file://{tmp_path}/profile"
    words = [office, profile, "--headless", "--convert-to", "ods", "--outdir", tmp_path]
    done = subprocess.run(
        [*words, *books.values()], capture_output=True, text=True, timeout=240, check=False
    )
    assert done.returncode == 0, done.stderr
    for name, path in books.items():
        with ZipFile(tmp_path / f"{name}.ods") as book:
            content = book.read("content.xml").decode()
        names = re.findall(r'<table:table table:name="([^"]+)"', content)
        assert names == openpyxl.load_workbook(path).sheetnames
        assert "table:formula" not in content
        assert len(re.findall(r"<text:p>", content)) > 20
