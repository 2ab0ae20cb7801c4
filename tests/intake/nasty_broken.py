"""Fixtures that have to be refused: damaged, hostile, encrypted, or not what their name says."""

import gzip
import io
import struct
import zipfile
from collections.abc import Callable
from pathlib import Path

import xlwt
from nasty_xlsx import FILES as _WRITTEN
from nasty_xlsx import HEAD, fill, xlsx

FILES: dict[str, Callable[[Path], None]] = {}
_BOMB = (
    b'<?xml version="1.0"?><!DOCTYPE s [<!ENTITY a "aaaaaaaaaaaaaaaaaaaa">'
    + b"".join(b'<!ENTITY %c "%s">' % (98 + k, b"&%c;" % (97 + k) * 20) for k in range(8))
    + b"]><styleSheet>&i;</styleSheet>"
)  # 20 to the 9th letters


@xlsx("_good.xlsx")
def _good(book: object) -> None:
    fill(book, [HEAD, ["H1", "main"]])  # type: ignore[arg-type]


_WRITE_GOOD = _WRITTEN.pop("_good.xlsx")


def _good_bytes(path: Path) -> bytes:
    whole = path.with_suffix(".tmp")
    _WRITE_GOOD(whole)
    content = whole.read_bytes()
    whole.unlink()
    return content


def _states_more(path: Path) -> None:
    """The directory of the archive states 4 GiB less a byte for one part (APPNOTE.TXT 4.3.12)."""
    content = bytearray(_good_bytes(path))
    entry = content.find(b"PK\x01\x02")
    struct.pack_into("<I", content, entry + 24, 0xFFFFFFFE)
    path.write_bytes(bytes(content))


def _with_bomb(path: Path) -> None:
    with (
        zipfile.ZipFile(io.BytesIO(_good_bytes(path))) as good,
        zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as made,
    ):
        for name in good.namelist():
            entry = zipfile.ZipInfo(name, (2026, 1, 1, 0, 0, 0))
            made.writestr(entry, _BOMB if name == "xl/styles.xml" else good.read(name))


def _locked(path: Path) -> None:
    book = xlwt.Workbook()
    book.add_sheet("Roofs").write(0, 0, "property_id")
    book.save(str(path))
    # [MS-XLS] 2.4.117: FilePass in the place of WriteAccess says that the rest is encrypted.
    path.write_bytes(path.read_bytes().replace(b"\x5c\x00\x70\x00", b"\x2f\x00\x70\x00"))


def _archive(path: Path) -> None:
    with zipfile.ZipFile(path, "w") as made:
        made.writestr(zipfile.ZipInfo("photos/readme.txt", (2026, 1, 1, 0, 0, 0)), "nothing")


def _bytes(content: bytes) -> Callable[[Path], None]:
    return lambda path: path.write_bytes(content) and None


FILES |= {
    "states_more.xlsx": _states_more,
    "entity_bomb.xlsx": _with_bomb,
    "locked.xls": _locked,
    "photos_only.xlsx": _archive,
    "cut_off.xlsx": lambda path: path.write_bytes(_good_bytes(path)[:-200]) and None,
    "really_xlsx.xls": lambda path: path.write_bytes(_good_bytes(path)) and None,
    "really_xlsx.csv": lambda path: path.write_bytes(_good_bytes(path)) and None,
    "web_page.xls": _bytes(b"<html><table><tr><td>property_id</td></tr></table></html>"),
    "printed.xlsx": _bytes(b"%PDF-1.7\n%invented"),
    "letter.xls": _bytes(b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1" + b"\0" * 600),
    "packed.csv": _bytes(gzip.compress(b"property_id,building_part\nH1,main\n", mtime=0)),
    "nothing.csv": lambda path: path.write_bytes(b"") and None,
}
