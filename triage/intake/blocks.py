"""Finds several survey tables on one sheet, below one another or side by side."""

from collections.abc import Iterator
from dataclasses import replace

import polars as pl

from triage.contract import Contract, normalise
from triage.contract.profile import Profile
from triage.errors import HeadingError, Place
from triage.intake.headings import key_words
from triage.intake.sheets import Note, Sheet, column_index

MOST_TABLES = 50  # on one sheet; more are a form repeated for each home, which is no table


def tables_of(
    sheet: Sheet, header: int, profile: Profile | None, contract: Contract, shown: str
) -> list[tuple[Sheet, int]]:
    """Take a sheet apart into its tables.

    A table below starts at a line that names the home's reference again, with other headings or
    in other columns; the same headings again are only a line of the first table. A table beside
    has a reference of its own, and a column without any cell before it.

    Parameters
    ----------
    sheet, header
        The sheet, and its first heading line as `find_header` gives it.
    profile, contract
        What the headings mean.
    shown
        Name of the file for messages.

    Returns
    -------
    list of (Sheet, int)
        Each table as a sheet of its own, numbered as the file shows it, with its heading line.

    Raises
    ------
    HeadingError
        If there are more than `MOST_TABLES`.
    """
    if sheet.first_row == 0:  # Parquet has columns, no lines
        return [(sheet, header)]
    lines = 1 if profile is None else profile.layout.header_lines
    starts = _starts(sheet, header, lines, profile, contract)
    if len(starts) > MOST_TABLES:
        what = f"the sheet holds more than {MOST_TABLES} tables"
        where = Place(shown, sheet.name, starts[MOST_TABLES] + sheet.first_row)
        raise HeadingError(what, where, "put all homes into one table")
    ends = [*starts[1:], sheet.cells.height]
    spans = [
        (0 if start == header else start, end) for start, end in zip(starts, ends, strict=True)
    ]
    return [
        (_part(table, names, is_first=first == 0 and column == 0), starts[k] - first)
        for k, (first, end) in enumerate(spans)
        for table in [_lines_of(sheet, first, end)]
        for column, names in enumerate(_beside(table, starts[k] - first, lines, profile, contract))
    ]


def note_above(
    sheet: Sheet, header: int, profile: Profile | None, contract: Contract
) -> Iterator[Note]:
    """Say of a line above the headings that a profile states that it looks like headings too."""
    if profile is None:
        return
    words = set(key_words(profile, contract))
    for row in range(min(header, sheet.cells.height)):
        texts = {text for text in _texts(sheet, row) if text}
        others = {normalise(text) for text in texts - words} & set(profile.columns)
        if texts & words and others:
            number, stated = row + sheet.first_row, header + sheet.first_row
            message = (
                f"row {number} names fields as row {stated} does; what lies between them was not "
                "read: if it is a table, put it below the other or on a sheet of its own"
            )
            yield Note("table_above_not_read", message, raw=f"row {number}")


def _starts(
    sheet: Sheet, header: int, lines: int, profile: Profile | None, contract: Contract
) -> list[int]:
    """First heading lines of the tables below one another."""
    words = key_words(profile, contract)
    below = sheet.cells.slice(header + lines)
    hits = pl.any_horizontal(pl.all().is_in(words)) if below.width else pl.lit(False)
    found = below.select(hits.fill_null(False).alias("hit")).get_column("hit").arg_true()
    heads = [_texts(sheet, header + line) for line in range(lines)]
    depth = next((k for k, head in enumerate(heads) if any(t in words for t in head if t)), 0)
    # Bounded: a file in which every line holds such a word is no survey.
    rows = [row + header + lines for row in found.head(20 * MOST_TABLES).to_list()]
    others, current = [], heads[depth]
    for row in rows:  # the same headings as those of the table above are a line of that table
        texts = _texts(sheet, row)
        if texts != current and _is_heading(sheet, row):
            others.append(row)
            current = texts
    return [header, *dict.fromkeys(max(row - depth, header + lines) for row in others)]


def _texts(sheet: Sheet, row: int) -> tuple[str | None, ...]:
    if row >= sheet.cells.height:
        return ()
    return tuple((text.strip() or None) if text else None for text in sheet.cells.row(row))


def _is_heading(sheet: Sheet, row: int) -> bool:
    """Whether a line names the reference and at least one thing more, and holds no answers."""
    texts = [text for text in _texts(sheet, row) if text]
    return len(texts) > 1 and not any(text.isdecimal() for text in texts)


def _lines_of(sheet: Sheet, first: int, end: int) -> Sheet:
    if first == 0 and end == sheet.cells.height:
        return sheet
    low, high = first + sheet.first_row, end + sheet.first_row
    notes = tuple(
        note for note in sheet.notes if (first == 0 if note.row is None else low <= note.row < high)
    )
    return replace(sheet, cells=sheet.cells.slice(first, end - first), first_row=low, notes=notes)


def _beside(
    table: Sheet, header: int, lines: int, profile: Profile | None, contract: Contract
) -> Iterator[list[str]]:
    """Column letters of each table, side by side; one list of all if there is only one."""
    names = table.cells.columns
    head = table.cells.slice(header, lines)
    words = {normalise(word) for word in key_words(profile, contract)}
    keyed = [name for name in names if words & _folded(head.get_column(name))]
    if len(keyed) < 2:
        yield names
        return
    used = table.cells.slice(header).select((pl.all().str.strip_chars() != "").any()).row(0)
    groups: list[list[str]] = [[]]
    for name, is_used in zip(names, used, strict=True):
        if is_used:
            groups[-1].append(name)
        elif groups[-1]:
            groups.append([])
    joined: list[list[str]] = []
    for group in groups:
        if joined and not any(name in keyed for name in group):
            joined[-1] += group  # a spacer inside of a table
        elif joined and not any(name in keyed for name in joined[-1]):
            joined[-1] += group
        else:
            joined.append(group)
    for group in joined:  # with the empty columns inside, so that letters count on
        yield names[names.index(group[0]) : names.index(group[-1]) + 1]


def _part(table: Sheet, names: list[str], *, is_first: bool) -> Sheet:
    if names == table.cells.columns:
        return table
    notes = tuple(note for note in table.notes if _belongs(note, names, is_first=is_first))
    return replace(table, cells=table.cells.select(names), notes=notes)


def _belongs(note: Note, names: list[str], *, is_first: bool) -> bool:
    if note.column is None:
        return note.row is not None or is_first
    place = column_index(note.column.split(":")[0])
    low, high = column_index(names[0]), column_index(names[-1])
    return low <= place <= high or (is_first and place < low)


def _folded(texts: pl.Series) -> set[str]:
    return {normalise(text) for text in texts.drop_nulls()}
