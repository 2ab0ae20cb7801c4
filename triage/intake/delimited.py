"""Reads csv and other delimited text: encoding, delimiter and decimal sign found or as told."""

import codecs
import csv
import io
import re
from collections import Counter
from collections.abc import Iterator
from itertools import islice, zip_longest
from pathlib import Path

import polars as pl
from charset_normalizer import from_bytes

from triage.errors import FileError, Place
from triage.intake.limits import Limits
from triage.intake.sheets import Note, Sheet, letters
from triage.intake.torn import refuse_swallowed_lines, short_lines

_MARKS = (
    (codecs.BOM_UTF8, "utf-8-sig"),
    (codecs.BOM_UTF32_LE, "utf-32"),  # before UTF-16, whose mark it starts with
    (codecs.BOM_UTF32_BE, "utf-32"),
    (codecs.BOM_UTF16_LE, "utf-16"),
    (codecs.BOM_UTF16_BE, "utf-16"),
)
# Signs beyond letters that western survey sheets hold; any other sign speaks against cp1252.
_WESTERN_SIGNS = set("£€°²³½¼¾¹–—‘’“”•…×±µ§©®´·\xa0º")
_DELIMITERS = (",", ";", "\t", "|")
_SAMPLE_RECORDS = 200
_CHUNK = 20_000
_NAMED_DELIMITER = re.compile(r'"?sep=([^"\r\n])"?(?:\r\n|\r|\n)', re.IGNORECASE)
_DECIMAL_COMMA = re.compile(r"-?\d+,(?:\d{1,2}|\d{4,})")
_DECIMAL_POINT = re.compile(r"-?\d+\.\d+")


def read_delimited(
    path: Path,
    shown: str,
    limits: Limits,
    *,
    encoding: str | None = None,
    delimiter: str | None = None,
    decimal: str | None = None,
) -> Sheet:
    """Read a delimited text file; records are numbered as a spreadsheet program shows them.

    Parameters
    ----------
    path, shown
        The file, and its name for messages.
    limits
        Upper bounds for rows and columns.
    encoding, delimiter, decimal
        As the profile says; None finds them out.

    Raises
    ------
    FileError
        If the text cannot be decoded or taken apart, or breaks a limit.
    """
    data = path.read_bytes()
    notes: list[Note] = []
    if encoding is None:
        encoding, certain = find_encoding(data)
        if not certain:
            message = (
                f"the encoding was taken to be {encoding}; set reading.encoding if signs look odd"
            )
            notes.append(Note("encoding_guessed", message))
    try:
        text = data.decode(encoding)
    except UnicodeError as error:
        fix = "set reading.encoding in the profile, or save the file as UTF-8"
        raise FileError(f"the text is not {encoding}: {error}", shown, fix) from error
    if "\0" in text:
        fix = "set reading.encoding in the profile, or save the file as UTF-8"
        raise FileError(f"read as {encoding} the text holds zero bytes", shown, fix)
    text = text.removeprefix("\ufeff")
    named = _NAMED_DELIMITER.match(text)
    if named is not None:  # a line for one spreadsheet program, which does not show it as a row
        text = text[named.end() :]
    mark = delimiter or (named[1] if named is not None else find_delimiter(text))
    cells, widths = _table(text, mark, shown, limits)
    refuse_swallowed_lines(text, cells, mark, shown)
    notes += short_lines(widths, is_cut=not text.endswith(("\n", "\r")))
    sign = decimal or find_decimal(cells, mark)
    return Sheet(None, cells, tuple(notes), decimal=sign, is_text=True)


def find_encoding(data: bytes) -> tuple[str, bool]:
    """Encoding of a text, and whether that is certain or a guess."""
    for mark, name in _MARKS:
        if data.startswith(mark):
            return name, True
    even, odd = data[:8192:2].count(0), data[1:8192:2].count(0)
    if max(even, odd) * 8 > len(data[:8192]):  # about every other byte; a stray one is damage
        return ("utf-16-be" if even > odd else "utf-16-le"), False
    try:
        data.decode("utf-8")
        return "utf-8", True
    except UnicodeDecodeError:
        pass  # an older one-byte encoding
    try:
        beyond = {sign for sign in set(data.decode("cp1252")) if ord(sign) > 127}
        if all(sign.isalpha() or sign in _WESTERN_SIGNS for sign in beyond):
            return "cp1252", False
    except UnicodeDecodeError:
        pass  # not western either
    # Only the lines with such signs: the plain rest says nothing and takes time.
    lines = [line for line in data.splitlines() if not line.isascii()]
    best = from_bytes(b"\n".join(lines[:2_000])).best()
    return (best.encoding if best is not None else "cp1252"), False


def find_delimiter(text: str) -> str:
    """The delimiter that gives the most records of one common width."""
    best, best_score = ",", 0.0
    for delimiter in _DELIMITERS:
        sample = csv.reader(io.StringIO(text, newline=""), delimiter=delimiter)
        try:
            widths = [len(record) for record in islice(sample, _SAMPLE_RECORDS) if record]
        except csv.Error:
            continue
        if not widths:
            continue
        width, count = Counter(widths).most_common(1)[0]
        score = (width - 1) * count / len(widths)
        if score > best_score:
            best, best_score = delimiter, score
    return best


def find_decimal(cells: pl.DataFrame, delimiter: str) -> str:
    """The decimal sign: a comma only where the delimiter leaves room for it and cells show it."""
    if delimiter == ",":
        return "."
    texts = [text for column in cells.head(2_000).iter_columns() for text in column if text]
    commas = sum(bool(_DECIMAL_COMMA.fullmatch(text)) for text in texts)
    points = sum(bool(_DECIMAL_POINT.fullmatch(text)) for text in texts)
    return "," if commas > points else "."


def _table(text: str, delimiter: str, shown: str, limits: Limits) -> tuple[pl.DataFrame, list[int]]:
    """The cells, and the number of cells that each line was written with."""
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=delimiter)
    chunks: list[pl.DataFrame] = []
    widths: list[int] = []
    height = 0
    try:
        for records in _chunks(reader):
            widths += map(len, records)
            height += len(records)
            if height > limits.rows or max(widths[-len(records) :]) > limits.columns:
                what = f"more than {limits.rows} rows or {limits.columns} columns"
                raise FileError(what, shown, "split the file, or check the delimiter")
            columns = list(zip_longest(*records))
            named = {
                letters(k): pl.Series(column, dtype=pl.String) for k, column in enumerate(columns)
            }
            chunks.append(pl.DataFrame(named, height=len(records)))
    except csv.Error as error:
        where = Place(shown, row=reader.line_num)
        fix = "check the quotation marks around there, or set reading.delimiter"
        raise FileError(f"the line cannot be taken apart: {error}", where, fix) from error
    if not chunks:
        return pl.DataFrame(), []
    cells = pl.concat(chunks, how="diagonal")
    # ="0042" is how some exports keep a spreadsheet program from dropping zeros.
    freed = pl.all().str.replace(r'^="([^"]*)"$', "${1}").replace("", None)
    return cells.with_columns(freed), widths


def _chunks(reader: Iterator[list[str]]) -> Iterator[list[list[str]]]:
    while records := list(islice(reader, _CHUNK)):
        yield records
