"""Hostile texts of surveys show as text in orders, HTML and PDF; printed pages are whole."""

import re
import subprocess
from pathlib import Path

import openpyxl
from hostile_texts import HOMES, LONG
from office import tool_at_hand


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
    reader, fonts = tool_at_hand("pdftotext"), tool_at_hand("pdffonts")
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
    reader = tool_at_hand("pdftotext")
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
