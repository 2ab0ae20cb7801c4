"""What kind of file it really is, whatever its name says; refuses what cannot be read."""

import zipfile
from pathlib import Path

from triage.errors import FileError
from triage.intake.damage import damage_refused
from triage.intake.limits import Limits
from triage.intake.ole import ole_kind

KIND_OF_SUFFIX = {
    ".xlsx": "xlsx",
    ".xlsm": "xlsx",
    ".xls": "xls",
    ".xlsb": "xlsb",
    ".ods": "ods",
    ".csv": "csv",
    ".tsv": "csv",
    ".txt": "csv",
    ".parquet": "parquet",
}
_NAMED = {
    "xlsx": "an Excel workbook (xlsx)",
    "xls": "an old Excel workbook (xls)",
    "xlsb": "a binary Excel workbook (xlsb)",
    "ods": "an OpenDocument workbook (ods)",
    "csv": "plain text",
    "parquet": "a Parquet file",
    "html": "a web page",
    "xml": "an XML file",
    "gzip": "a gzip archive",
    "zip": "a zip archive without a workbook in it",
    "archive": "a compressed archive",
    "pdf": "a PDF document",
    "ole": "an old Office document without a workbook in it",
    "binary": "binary data",
}
_UNPACK = "unpack it and give the file that is inside"
_RESAVE = "open it in a spreadsheet program and save it as xlsx"
_FIX = {
    "html": _RESAVE,
    "xml": _RESAVE,
    "gzip": _UNPACK,
    "zip": _UNPACK,
    "archive": _UNPACK,
    "pdf": "ask for the spreadsheet that the document was printed from",
    "ole": "give the spreadsheet itself",
    "binary": "export the survey again as xlsx or csv",
}
_MAGIC = (
    (b"PAR1", "parquet"),
    (b"\x1f\x8b", "gzip"),
    (b"BZh", "archive"),
    (b"7z\xbc\xaf\x27\x1c", "archive"),
    (b"Rar!", "archive"),
    (b"\xfd7zXZ", "archive"),
    (b"\x28\xb5\x2f\xfd", "archive"),
    (b"%PDF", "pdf"),
)
_OLE = b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1"
_TEXT_MARKS = (b"\xff\xfe", b"\xfe\xff", b"\xef\xbb\xbf")
_SAMPLE = 8192


def file_kind(path: Path, shown: str, limits: Limits) -> str:
    """Kind of a survey file: xlsx, xls, xlsb, ods, csv or parquet.

    Parameters
    ----------
    path
        The file.
    shown
        Its name as the messages should show it.
    limits
        Upper bounds for its size, packed and unpacked.

    Raises
    ------
    FileError
        If it is missing, a folder, empty, too large, encrypted, of a kind that is not read, or
        if its content is not what the end of its name says.
    """
    _refuse_unreadable(path, shown, limits)
    expected = KIND_OF_SUFFIX.get(path.suffix.lower())
    found = _content_kind(path, shown, limits)
    if expected is None:
        kinds = ", ".join(sorted(KIND_OF_SUFFIX))
        raise FileError(
            f"a name ending in {path.suffix!r} is no survey file", shown, f"use {kinds}"
        )
    if found == expected:
        return found
    what = f"the name says {_NAMED[expected]}, the content is {_NAMED[found]}"
    suffix = next((s for s, kind in KIND_OF_SUFFIX.items() if kind == found), None)
    raise FileError(what, shown, _FIX.get(found, f"rename it to end in {suffix}"))


def _refuse_unreadable(path: Path, shown: str, limits: Limits) -> None:
    if not path.exists():
        raise FileError("there is no such file", shown, "check the path, or the pattern of files")
    if path.is_dir():
        raise FileError("this is a folder, not a file", shown, "name the files in it")
    size = path.stat().st_size
    if size == 0:
        raise FileError(
            "the file is empty", shown, "ask for it again; the transfer may have failed"
        )
    if size > limits.file_bytes:
        what = f"the file has {size / 2**20:.0f} MiB, more than {limits.file_bytes / 2**20:.0f}"
        raise FileError(what, shown, "split it into several files")


def _content_kind(path: Path, shown: str, limits: Limits) -> str:
    try:
        with path.open("rb") as stream:
            head = stream.read(_SAMPLE)
    except OSError as error:
        raise FileError(
            f"cannot be opened: {error.strerror}", shown, "close it elsewhere"
        ) from error
    for magic, kind in _MAGIC:
        if head.startswith(magic):
            return kind
    if head.startswith(_OLE):
        return ole_kind(path, shown)
    if head.startswith(b"PK"):
        return _zip_kind(path, shown, limits)
    return _text_kind(head)


def _text_kind(head: bytes) -> str:
    start = head.lstrip(b"\xef\xbb\xbf \t\r\n").lower()
    if start.startswith((b"<!doctype html", b"<html", b"<table", b"<meta")):
        return "html"
    if start.startswith(b"<?xml"):
        return "html" if b"<html" in start else "xml"
    if head.startswith(_TEXT_MARKS):
        return "csv"
    if b"\0" not in head:
        return "csv"
    # UTF-16 without a mark: about every other byte of a western text is zero.
    name = "utf-16-be" if head[::2].count(0) > head[1::2].count(0) else "utf-16-le"
    sample = head[: len(head) // 2 * 2].decode(name, errors="replace")
    is_text = sum(sign.isprintable() or sign.isspace() for sign in sample) > 0.99 * len(sample)
    return "csv" if is_text else "binary"


def _zip_kind(path: Path, shown: str, limits: Limits) -> str:
    with damage_refused(shown), zipfile.ZipFile(path) as archive:
        names = set(archive.namelist())
        _refuse_bomb(archive, shown, limits)
        if "xl/workbook.xml" in names:
            return "xlsx"
        if "xl/workbook.bin" in names:
            return "xlsb"
        if "mimetype" in names and b"opendocument.spreadsheet" in archive.read("mimetype"):
            return _ods_kind(archive, shown)
    return "zip"


def _ods_kind(archive: zipfile.ZipFile, shown: str) -> str:
    if b"manifest:encryption-data" in archive.read("META-INF/manifest.xml"):
        raise FileError("the workbook is encrypted", shown, "save it without a password")
    return "ods"


def _refuse_bomb(archive: zipfile.ZipFile, shown: str, limits: Limits) -> None:
    unpacked = sum(entry.file_size for entry in archive.infolist())
    if unpacked > limits.unpacked_bytes:
        what = (
            f"the workbook unpacks to {unpacked / 2**20:.0f} MiB, "
            f"more than {limits.unpacked_bytes / 2**20:.0f}"
        )
        raise FileError(what, shown, "split it into several workbooks")
