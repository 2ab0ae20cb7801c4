"""Looks into the container of old Office files: a workbook, an encrypted one, or neither."""

from pathlib import Path

from triage.errors import FileError


def ole_kind(path: Path, shown: str) -> str:
    """Kind of an old Office container: xls, or ole for any other.

    Raises
    ------
    FileError
        If it holds an encrypted workbook of the newer kind; the reader finds an encrypted xls.
    """
    content = path.read_bytes()  # bounded by Limits.file_bytes
    if "EncryptedPackage".encode("utf-16-le") in content:
        raise FileError("the workbook is encrypted", shown, "save it without a password")
    is_book = any(name.encode("utf-16-le") in content for name in ("Workbook", "Book"))
    return "xls" if is_book else "ole"
