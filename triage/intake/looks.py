"""Colours and strokes over cells: they are not read, so it is said where they stand."""

from collections.abc import Collection, Iterator, Mapping

from triage.intake.sheets import Note

_BANDED = 0.45  # of the rows, all odd or all even: every other row, for the eye


def look_notes(looks: Mapping[str, Collection[int]], first: int, last: int) -> Iterator[Note]:
    """A note for each colour, and for cells struck out, in the rows of a table.

    A colour in every row, or in every other one, is only an ornament.

    Parameters
    ----------
    looks
        How cells look -> rows of the file with such cells.
    first, last
        First and last row of the table below its headings.
    """
    height = last - first + 1
    for look in sorted(looks):
        rows = sorted({row for row in looks[look] if first <= row <= last})
        if not rows:
            continue
        is_struck = look == "struck out"
        is_banded = len({row % 2 for row in rows}) == 1 and len(rows) >= _BANDED * height > 1
        if not is_struck and (len(rows) == height > 1 or is_banded):
            continue
        kind = "struck_out_not_read" if is_struck else "colour_not_read"
        told = (
            "are struck out; they are read as if they were not"
            if is_struck
            else ("are coloured; what the colour means is not read")
        )
        count = f"cells in {len(rows)} row{'s' if len(rows) > 1 else ''}, first in row {rows[0]},"
        yield Note(kind, f"{count} {told}; say it in a column of its own", raw=look)
