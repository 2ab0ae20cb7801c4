"""A long table repeats its head; many homes go into several files of bounded size."""

import re
import shutil
import subprocess
from pathlib import Path

import pytest

from triage.orders import papers
from triage.orders import run as orders_run
from triage.orders.run import file_name
from triage.report.home_sheet import Grid, Page
from triage.report.sheet_pdf import write_pages


def _pages(path: Path) -> list[str]:
    reader = shutil.which("pdftotext")
    if reader is None:
        pytest.skip("pdftotext is not installed (poppler-utils)")
    done = subprocess.run(
        [reader, "-layout", path, "-"], capture_output=True, text=True, check=True
    )
    return done.stdout.split("\f")[:-1]


def test_a_table_keeps_its_head_on_every_page(tmp_path: Path) -> None:
    rows = tuple((f"row {n}", "text " * 30) for n in range(120))
    grid = Grid("A long table", ("First head", "Second head"), rows, (20, 80))
    write_pages(tmp_path / "a.pdf", "t", [Page("H1", "Title", ("line",), (grid,), "foot line")])
    pages = _pages(tmp_path / "a.pdf")
    assert len(pages) > 3
    assert all("First head" in page and "Second head" in page for page in pages)
    assert all("foot line" in page and "H1" in page for page in pages)
    found = re.findall(r"row (\d+)", "".join(pages))
    assert found == [str(n) for n in range(120)]


def test_each_home_starts_a_page_and_its_foot_names_it(tmp_path: Path) -> None:
    made = [Page(f"H{n}", f"Title {n}", (), (), "foot") for n in range(3)]
    write_pages(tmp_path / "a.pdf", "t", made)
    pages = _pages(tmp_path / "a.pdf")
    assert [re.findall(r"H\d", page) for page in pages] == [["H0"], ["H1"], ["H2"]]


def test_a_row_taller_than_a_page_goes_on(tmp_path: Path) -> None:
    lines = "\n".join(f"line-{n}" for n in range(58))
    grid = Grid("Tall", ("", ""), (("what", lines), ("what", lines)), (20, 80))
    write_pages(tmp_path / "a.pdf", "t", [Page("H", "T", (), (grid,), "f")])
    assert "".join(_pages(tmp_path / "a.pdf")).count("line-57") == 2


def test_files_are_split_so_that_memory_is_bounded(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    held: list[int] = []

    def counted(path: Path, title: str, pages: list[Page], *, large: bool = False) -> None:
        del title, large
        held.append(len(pages))
        path.touch()

    monkeypatch.setattr(papers, "write_pages", counted)
    maker = orders_run._Maker.__new__(orders_run._Maker)
    maker.folder, maker.files, maker.papers = tmp_path, [], papers.Papers(1)
    many = (Page(str(n), "", (), (), "") for n in range(2 * orders_run.HOMES_A_FILE + 1))
    maker._pdfs("q", "area", "title", many)
    assert held == [orders_run.HOMES_A_FILE, orders_run.HOMES_A_FILE, 1]
    assert maker.files == ["q/area.pdf", "q/area-2.pdf", "q/area-3.pdf"]


def test_names_of_files_are_plain_and_differ() -> None:
    names = [file_name(text) for text in ("a/b", "a b", "../a", "a", "", "\u202e", "A" * 90)]
    assert len(set(names)) == len(names)
    assert all(re.fullmatch(r"[A-Za-z0-9_-]{1,80}", name) for name in names)
    assert file_name("EX8") == "EX8"


def test_files_written_side_by_side_are_those_written_one_by_one(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(papers.os, "cpu_count", lambda: 2)
    made = [Page(f"H{n}", f"Title {n}", (), (), "foot") for n in range(3)]
    for name, homes in (("one", 3), ("side", papers._MANY)):
        (tmp_path / name).mkdir()
        with papers.Papers(homes) as written:
            for n, page in enumerate(made):
                written.write(tmp_path / name / f"{n}.pdf", "t", [page], large=n == 1)
    for n in range(3):
        one, side = (tmp_path / name / f"{n}.pdf" for name in ("one", "side"))
        assert one.read_bytes() == side.read_bytes()
    with pytest.raises(FileNotFoundError), papers.Papers(papers._MANY) as written:
        written.write(tmp_path / "nowhere" / "0.pdf", "t", made)
