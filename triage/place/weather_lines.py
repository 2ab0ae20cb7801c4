"""Lines of a weather file: bounded in size, each with a date that exists and a known shape."""

import csv
from dataclasses import dataclass
from pathlib import Path

import polars as pl

from triage.errors import FileError, Place

MAX_BYTES = 64 * 1024 * 1024  # a year is about 1.7 MB
MAX_HOURS = 250_000  # 28 years
EPW_DATE = r"^(?<year>\d{4}),\s*(?<month>\d{1,2}),\s*(?<day>\d{1,2}),\s*(?<hour>\d{1,2}),"
TMY3_DATE = (
    r"^(?<month>\d{1,2})/(?<day>\d{1,2})/(?<year>\d{4}),\s*(?<hour>\d{1,2}):(?<minute>\d\d),"
)
_MONTH_DAYS = [31, 28, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31]


@dataclass(frozen=True, slots=True)
class Finding:
    """Something that a reader of the record must know; `is_loss` if readings were left out."""

    where: Place
    what: str
    is_loss: bool

    def __str__(self) -> str:
        return f"{self.where}: {self.what}"


def text_lines(path: Path) -> list[str]:
    """All lines of a text file of bearable size.

    Raises
    ------
    FileError
        If the file is missing, unreadable, larger than `MAX_BYTES`, empty or no text.
    """
    if not path.is_file():
        raise FileError("the weather file is missing", str(path), "mend the path")
    try:
        with path.open("rb") as file:
            data = file.read(MAX_BYTES + 1)
    except OSError as error:
        raise FileError(
            f"the file cannot be read ({error})", str(path), "close or free it"
        ) from error
    if len(data) > MAX_BYTES:
        what = f"the file is larger than {MAX_BYTES // 1024**2} MB"
        raise FileError(what, str(path), "split it by years and give one file")
    if not data.strip() or b"\0" in data:
        raise FileError("the file is empty or no text", str(path), "give an EPW or TMY3 text file")
    try:
        text = data.decode("utf-8-sig")
    except UnicodeDecodeError:
        text = data.decode("latin-1")  # place names; the readings are ASCII in both
    return text.replace("\r\n", "\n").replace("\r", "\n").split("\n")


def cells(path: Path, lines: list[str], index: int) -> list[str]:
    """Cells of one line of a header, quotes undone, empty ones at its end left out."""
    try:
        return [cell.strip() for cell in next(csv.reader([lines[index].rstrip(", ")]), [])]
    except csv.Error as error:
        where = Place(str(path), row=index + 1)
        raise FileError(f"the line cannot be read ({error})", where, "mend the line") from error


def dated_lines(
    path: Path, lines: list[str], start: int, pattern: str, fields: int
) -> tuple[pl.DataFrame, tuple[Finding, ...]]:
    """Lines with a date that exists and no more fields than the format has.

    Parameters
    ----------
    path, lines
        The file and all its lines; hours begin at index `start`.
    pattern
        Regular expression with the groups year, month, day, hour, and minute if there is one.
    fields
        Number of fields of the format.

    Returns
    -------
    pl.DataFrame, tuple of Finding
        `row` (line of the file), `text`, the parts of the date, `hour` 0 to 23; lines left out.

    Raises
    ------
    FileError
        If there are more than `MAX_HOURS` lines or none that can be used.
    """
    text = pl.col("text")
    rows = (
        pl.DataFrame({"text": lines[start:]}, schema={"text": pl.String})
        .with_row_index("row", start + 1)
        .with_columns(text.str.strip_chars_end(", \t\x1a"))  # the readings end where they end
        .filter(text.str.len_bytes() > 0)
    )
    if rows.height > MAX_HOURS:
        what = f"{rows.height} hours, more than {MAX_HOURS}"
        raise FileError(what, str(path), "give fewer years")
    parts = rows["text"].str.extract_groups(pattern).struct.unnest().cast(pl.Int32)
    rows = rows.hstack(parts)
    # A number too much would shift all columns, and quotes would join lines.
    fits = (text.str.count_matches(",", literal=True) < fields) & ~text.str.contains(
        '"', literal=True
    )
    rows = rows.with_columns(fits=fits, dated=_exists(parts.columns).fill_null(value=False))
    findings = _lines_left_out(path, rows, fields)
    rows = rows.filter("fits", "dated")
    if rows.is_empty():
        fix = "look at the first lines of data; give a whole file"
        raise FileError(
            "no line holds an hour with a usable date", Place(str(path), row=start + 1), fix
        )
    # 1 to 24 name the hour that ends; a file that starts days at 0 names the one that begins.
    if not (rows["hour"] == 0).any():
        rows = rows.with_columns(pl.col("hour") - 1)
    elif (rows["hour"] == 24).any():
        raise FileError("hours run from 0 and to 24", str(path), "number them 1 to 24, or 0 to 23")
    return rows, findings


def _exists(columns: list[str]) -> pl.Expr:
    year = pl.col("year")
    leap = (year % 4 == 0) & ((year % 100 != 0) | (year % 400 == 0)) & (pl.col("month") == 2)
    days = pl.col("month").replace_strict(
        list(range(1, 13)), _MONTH_DAYS, default=0, return_dtype=pl.Int32
    ) + leap.cast(pl.Int32)
    whole = pl.col("minute").is_in([0, 60]) if "minute" in columns else pl.lit(value=True)
    return (
        year.is_between(1800, 2200)
        & pl.col("day").is_between(1, days)
        & pl.col("hour").is_between(0, 24)
        & whole
    )


def _lines_left_out(path: Path, rows: pl.DataFrame, fields: int) -> tuple[Finding, ...]:
    found = []
    for bad, what in (
        (~rows["fits"], f"more than {fields} fields or a quotation mark"),
        (rows["fits"] & ~rows["dated"], "no date and hour that exist"),
    ):
        if bad.any():
            where = Place(str(path), row=int(rows["row"].filter(bad)[0]))
            found.append(
                Finding(where, f"{_lines_word(int(bad.sum()))} left out: {what}", is_loss=True)
            )
    return tuple(found)


def _lines_word(count: int) -> str:
    return "1 line" if count == 1 else f"{count} lines, this the first,"
