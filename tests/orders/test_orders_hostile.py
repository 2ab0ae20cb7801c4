"""Hostile texts of surveys show as text in workbook, HTML and PDF; printed pages are whole."""

import os
import re
import shutil
import subprocess
from pathlib import Path
from xml.etree import ElementTree
from zipfile import ZipFile

import openpyxl
import pytest
from cli_helpers import Stock, triage
from hostile_texts import FORMULA, HOMES, LONG

_MAIN = "{http://schemas.openxmlformats.org/spreadsheetml/2006/main}"


@pytest.fixture(scope="module")
def orders(hostile: Stock, tmp_path_factory: pytest.TempPathFactory) -> Path:
    out = tmp_path_factory.mktemp("orders") / "o"
    homes = [f"--home={text}" for text in HOMES]
    done = triage("orders", hostile.out, "--out", out, *homes, f"--contact={FORMULA}")
    assert done.code == 0, done.err
    return out


def _tool(name: str) -> str:
    found = shutil.which(name)
    if found is None and os.environ.get("TRIAGE_OFFICE") != "required":
        pytest.skip(f"{name} is not installed; TRIAGE_OFFICE=required makes this a failure")
    assert found is not None, f"{name} is required and not installed"
    return found


def test_no_cell_is_a_formula_or_a_link(orders: Path) -> None:
    books = sorted(orders.glob("*/*.xlsx"))
    assert len(books) == len(HOMES)
    for path in books:
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


def test_the_whole_text_stands_in_the_workbook(orders: Path) -> None:
    seen = {
        str(row[1])
        for path in orders.glob("*/*.xlsx")
        for row in openpyxl.load_workbook(path)["Tasks"].iter_rows(min_row=4, values_only=True)
    }
    active = {text for text in HOMES if text[0] in "+@"}
    assert {"'" + text for text in active} | (set(HOMES) - active) == seen
    rows = [
        " ".join(str(cell) for cell in row)
        for path in orders.glob("*/*.xlsx")
        for row in openpyxl.load_workbook(path)["Tasks"].iter_rows(min_row=4, values_only=True)
    ]
    assert all(LONG in row for row in rows)


def test_office_opens_every_workbook(orders: Path, tmp_path: Path) -> None:
    office = _tool("soffice")
    books = sorted(orders.glob("*/*.xlsx"))
    profile = f"-env:UserInstallation=file://{tmp_path}/profile"
    done = subprocess.run(
        [office, profile, "--headless", "--convert-to", "ods", "--outdir", tmp_path, *books],
        capture_output=True,
        text=True,
        timeout=240,
        check=False,
    )
    assert done.returncode == 0, done.stderr
    for path in books:
        with ZipFile(tmp_path / f"{path.stem}.ods") as book:
            content = book.read("content.xml").decode()
        names = re.findall(r'<table:table table:name="([^"]+)"', content)
        assert {"Tasks", "Measures", "Repairs", "Notes", "Codes"} <= set(names)
        assert "table:formula" not in content
        assert "Repair wanted" in content


def test_html_runs_nothing(orders: Path) -> None:
    pages = sorted(orders.glob("homes/*/*.html"))
    assert len(pages) == 2 * len(HOMES)
    together = ""
    for path in pages:
        text = path.read_text(encoding="utf-8")
        assert re.findall(r"<(script|img|iframe|a|b|link|object)\b", text, re.IGNORECASE) == []
        assert re.search("[\u200e\u200f\u202a-\u202e\u2066-\u2069]", text) is None
        assert len(text) < 60_000
        together += text
    assert "&lt;script&gt;alert(1)&lt;/script&gt;" in together
    assert "=HYPERLINK(&quot;http://example.invalid&quot;" in together


def test_pdf_pages_show_the_text_and_none_is_empty(orders: Path) -> None:
    reader, fonts = _tool("pdftotext"), _tool("pdffonts")
    together = ""
    for path in sorted(orders.rglob("*.pdf")):
        text = subprocess.run(
            [reader, "-layout", path, "-"], capture_output=True, text=True, check=True
        ).stdout
        for page in text.split("\f")[:-1]:
            assert len(re.sub(r"\s+", "", page)) > 150
        listed = subprocess.run([fonts, path], capture_output=True, text=True, check=True).stdout
        assert {line.split()[-5] for line in listed.splitlines()[2:]} == {"yes"}
        assert b"/JavaScript" not in path.read_bytes()
        assert b"/URI" not in path.read_bytes()
        together += text
    assert "<script>alert(1)</script>" in together
    assert "=HYPERLINK" in together
    assert "… (cut" in together


def test_no_text_leaves_the_page(orders: Path) -> None:
    reader = _tool("pdftotext")
    for path in sorted(orders.rglob("*.pdf")):
        boxes = subprocess.run(
            [reader, "-bbox", path, "-"], capture_output=True, text=True, check=True
        ).stdout
        number = r'="(-?[\d.]+)"'
        sides = " ".join(f"{side}{number}" for side in ("xMin", "yMin", "xMax", "yMax"))
        places = re.findall(f"<word {sides}", boxes)
        assert len(places) > 50
        for left, top, right, bottom in places:
            assert float(left) >= 40
            assert float(right) <= 595.3 - 40
            assert float(top) >= 30
            assert float(bottom) <= 841.9 - 8
