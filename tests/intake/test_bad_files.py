"""Every file that cannot be read is refused with one clear message."""

import gzip
import zipfile
from pathlib import Path

import fastexcel
import polars as pl
import pytest
import xlwt
from intake_helpers import LoadProfile, ReadFiles, WriteBook

from triage.errors import FileError, ManyErrors
from triage.intake import Limits
from triage.intake.books import read_book
from triage.intake.sniff import file_kind

WORKBOOKS = Path(__file__).parents[1] / "fixtures" / "workbooks"
GOOD = [["property_id", "building_part"], ["H1", "main"]]


def _refused(read_files: ReadFiles, path: Path, *words: str) -> None:
    with pytest.raises(FileError) as caught:
        read_files(path)
    assert caught.value.exit_code == 2
    for word in (*words, path.name):
        assert word in str(caught.value)


def test_missing_file(tmp_path: Path, read_files: ReadFiles) -> None:
    _refused(read_files, tmp_path / "gone.xlsx", "no such file")


def test_folder(tmp_path: Path, read_files: ReadFiles) -> None:
    (tmp_path / "survey.xlsx").mkdir()
    _refused(read_files, tmp_path / "survey.xlsx", "folder")


def test_file_of_no_bytes(tmp_path: Path, read_files: ReadFiles) -> None:
    (tmp_path / "survey.csv").write_bytes(b"")
    _refused(read_files, tmp_path / "survey.csv", "empty")


def test_workbook_without_cells(write_book: WriteBook, read_files: ReadFiles) -> None:
    _refused(read_files, write_book([]), "no sheet holds any cell")


def test_encrypted_xlsx(read_files: ReadFiles) -> None:
    _refused(read_files, WORKBOOKS / "encrypted.xlsx", "encrypted", "password")


def test_encrypted_xls(tmp_path: Path, read_files: ReadFiles) -> None:
    book = xlwt.Workbook()
    book.add_sheet("Roofs").write(0, 0, "property_id")
    path = tmp_path / "survey.xls"
    book.save(str(path))
    # [MS-XLS] 2.4.117: a FilePass record (0x002F) says that the rest is encrypted. It takes the
    # place of WriteAccess (0x005C), which has the same length here and stands near the start.
    content = path.read_bytes()
    assert content.count(b"\x5c\x00\x70\x00") == 1
    path.write_bytes(content.replace(b"\x5c\x00\x70\x00", b"\x2f\x00\x70\x00"))
    _refused(read_files, path, "encrypted", "password")


def test_gzip_called_csv(tmp_path: Path, read_files: ReadFiles) -> None:
    path = tmp_path / "survey.csv"
    path.write_bytes(gzip.compress(b"property_id,building_part\nH1,main\n"))
    _refused(read_files, path, "gzip", "unpack")


@pytest.mark.parametrize(
    ("name", "content", "word"),
    [
        (
            "survey.xls",
            b"<!DOCTYPE html><html><table><tr><td>H1</td></tr></table></html>",
            "web page",
        ),
        ("survey.xls", b"\xef\xbb\xbf\r\n<html xmlns:x='x'><table></table>", "web page"),
        ("survey.xls", b"<?xml version='1.0'?><Workbook/>", "XML"),
        ("survey.xls", b"property_id\tbuilding_part\nH1\tmain\n", "plain text"),
        ("survey.xlsx", b"%PDF-1.7 ...", "PDF"),
        ("survey.csv", b"\x00\x01\x02\x03" * 100, "binary"),
        ("survey.xls", b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1" + b"\0" * 600, "old Office document"),
        ("survey.docx", b"anything", "no survey file"),
    ],
)
def test_content_that_is_not_what_the_name_says(
    name: str, content: bytes, word: str, tmp_path: Path, read_files: ReadFiles
) -> None:
    (tmp_path / name).write_bytes(content)
    _refused(read_files, tmp_path / name, word)


def test_xlsx_called_xls_names_the_right_ending(
    write_book: WriteBook, read_files: ReadFiles
) -> None:
    path = write_book(GOOD)
    renamed = path.rename(path.with_suffix(".xls"))
    _refused(read_files, renamed, "(xlsx)", ".xlsx")


def test_an_xls_that_would_end_the_process_is_refused(
    tmp_path: Path, read_files: ReadFiles
) -> None:
    """A cell in column 65,280 of row 65,000 makes the reader ask for over 100 GB and abort."""
    book = xlwt.Workbook()
    sheet = book.add_sheet("Roofs")
    sheet.write(0, 0, "property_id")
    sheet.write(65_000, 1, 1234.5)
    path = tmp_path / "survey.xls"
    book.save(str(path))
    # [MS-XLS] 2.4.180, Number: record kind 0x0203, 14 bytes, then row and column.
    cell = bytes([0x03, 0x02, 14, 0]) + (65_000).to_bytes(2, "little") + (1).to_bytes(2, "little")
    far = cell[:-2] + (65_280).to_bytes(2, "little")
    content = path.read_bytes()
    small = bytes([0x7E, 0x02, 10, 0]) + cell[4:]
    assert (cell in content) != (small in content)  # a number is stored in one of two forms
    content = content.replace(cell, far).replace(small, small[:-2] + far[-2:])
    path.write_bytes(content)
    _refused(read_files, path, "damaged", "memory")


def test_an_xlsx_that_states_texts_it_cannot_hold_is_refused(
    write_book: WriteBook, tmp_path: Path, read_files: ReadFiles
) -> None:
    path = tmp_path / "false.xlsx"
    with zipfile.ZipFile(write_book(GOOD)) as good, zipfile.ZipFile(path, "w") as false:
        for name in good.namelist():
            content = good.read(name)
            if name == "xl/sharedStrings.xml":
                content = content.replace(b'uniqueCount="', b'uniqueCount="99999999999')
            false.writestr(name, content)
    _refused(read_files, path, "damaged", "sharedStrings")


def test_zip_without_a_workbook(tmp_path: Path, read_files: ReadFiles) -> None:
    with zipfile.ZipFile(tmp_path / "survey.xlsx", "w") as archive:
        archive.writestr("readme.txt", "nothing")
    _refused(read_files, tmp_path / "survey.xlsx", "without a workbook")


def test_truncated_workbook(write_book: WriteBook, read_files: ReadFiles) -> None:
    path = write_book(GOOD)
    path.write_bytes(path.read_bytes()[:-200])
    _refused(read_files, path, "damaged")


def test_short_cell_records_are_refused_because_the_reader_loses_them(
    read_files: ReadFiles,
) -> None:
    path = WORKBOOKS / "short_cells.xlsb"
    sheet = fastexcel.read_excel(path).load_sheet(0, header_row=None, dtypes="string")
    lossy = pl.DataFrame(sheet.to_arrow())
    read = sum(lossy.height - count for count in lossy.null_count().row(0))
    assert read < 23  # cells written; if this fails, the reader has learned and the refusal can go
    _refused(read_files, path, "short form", "xlsx")


def test_wrong_sheet_name_names_the_sheets_that_are_there(
    write_book: WriteBook, make_profile: LoadProfile, read_files: ReadFiles
) -> None:
    profile = make_profile('[layout]\nsheets = ["Roof"]\n[columns]\nproperty_id = "property_id"\n')
    with pytest.raises(FileError, match="no sheet 'Roof'") as caught:
        read_files(write_book(GOOD), profile=profile)
    assert "'Roofs'" in caught.value.fix


def test_unpacked_size_is_bounded(write_book: WriteBook) -> None:
    path = write_book(GOOD)
    with pytest.raises(FileError, match="unpacks to"):
        file_kind(path, "survey.xlsx", Limits(unpacked_bytes=100))
    with pytest.raises(FileError, match="MiB, more than"):
        file_kind(path, "survey.xlsx", Limits(file_bytes=100))


def test_rows_and_columns_are_bounded(write_book: WriteBook) -> None:
    path = write_book([*GOOD, ["H2", "main"]])
    with pytest.raises(FileError, match="3 rows, more than 2"):
        read_book(path, "xlsx", "survey.xlsx", None, Limits(rows=2))
    with pytest.raises(FileError, match="2 columns, more than 1"):
        read_book(path, "xlsx", "survey.xlsx", None, Limits(columns=1))


def test_a_sheet_that_uses_few_texts_often_is_sound(
    write_book: WriteBook, read_files: ReadFiles
) -> None:
    """Codes repeat: cells use the shared texts more often than their part has bytes."""
    rows = [[f"H{number % 10}", *GOOD[1][1:]] for number in range(3000)]
    assert read_files(write_book([GOOD[0], *rows])).counts["read"] == 3000


def test_a_stray_cell_far_out_is_refused_before_it_fills_the_memory(
    write_book: WriteBook, read_files: ReadFiles
) -> None:
    far: list[object] = [None] * 16_383
    _refused(read_files, write_book([*GOOD, [*far, "x"]]), "column XFD", "stray")


def test_text_that_is_not_in_the_stated_encoding(
    tmp_path: Path, make_profile: LoadProfile, read_files: ReadFiles
) -> None:
    path = tmp_path / "survey.csv"
    path.write_bytes("property_id;ä".encode("cp1252"))
    profile = make_profile(
        '[reading]\nencoding = "utf-8"\n[columns]\nproperty_id = "property_id"\n'
    )
    with pytest.raises(FileError, match=r"reading\.encoding"):
        read_files(path, profile=profile)


def test_all_files_are_looked_at_before_the_run_stops(
    tmp_path: Path, write_book: WriteBook, read_files: ReadFiles
) -> None:
    with pytest.raises(ManyErrors) as caught:
        read_files(tmp_path / "a.xlsx", write_book(GOOD), tmp_path / "b.xlsx")
    assert [error.where.file for error in caught.value.errors] == ["a.xlsx", "b.xlsx"]
