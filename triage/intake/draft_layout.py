"""Finds where the table of a sheet begins when no profile says so: heading lines, units row."""

from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass

from triage.contract import normalise
from triage.intake.sheets import Sheet
from triage.intake.units import UNITS, find_unit

_LOOKED_AT = 30  # title blocks of survey forms are shorter
_LEAST = 2  # known headings that make a line a heading line: one alone may be a title word
_LONGEST = 60  # characters; longer texts are remarks or instructions


@dataclass(frozen=True, slots=True)
class TableStart:
    """Index in `cells` of the first heading line, the number of such lines, and a units row."""

    header: int
    lines: int
    units_row: bool

    @property
    def data(self) -> int:
        """Index in `cells` of the first row of data."""
        return self.header + self.lines + self.units_row


def find_start(sheet: Sheet, exact: Mapping[str, str]) -> TableStart | None:
    """Where the table begins; None if no line looks like headings.

    Parameters
    ----------
    sheet
        The sheet.
    exact
        Folded known heading -> field.
    """
    height = min(_LOOKED_AT, sheet.cells.height)
    lines = [_folded(sheet, index) for index in range(height)]
    scores = [len({exact[text] for text in line if text in exact}) for line in lines]
    best = max(range(height), key=lambda index: (scores[index], -index), default=None)
    if best is None or scores[best] < _LEAST:
        return None
    if sheet.first_row == 0:  # Parquet: column names, no lines
        return TableStart(best, 1, units_row=False)
    units_row = best + 1 < height and _are_units(sheet.cells.row(best + 1))
    if best > 0 and _is_upper_line(lines[best - 1], lines[best]):
        return TableStart(best - 1, 2, units_row)
    return TableStart(best, 1, units_row)


def _folded(sheet: Sheet, index: int) -> list[str]:
    return [normalise(text) if text else "" for text in sheet.cells.row(index)]


def _is_upper_line(upper: list[str], lower: list[str]) -> bool:
    """Whether a line tells headings of the same words apart, as merged cells over them do."""
    named = [text for text in upper if text]
    if len(named) < 2 or any(len(text) > _LONGEST for text in named):
        return False
    last, joined = "", []
    for above, below in zip(upper, lower, strict=True):
        last = above or last
        joined.append((last, below) if below else ("", ""))
    twice = sum(count - 1 for text, count in Counter(lower).items() if text)
    still = sum(count - 1 for text, count in Counter(joined).items() if text[1])
    return twice > still


def _are_units(row: tuple[str | None, ...]) -> bool:
    """Whether the cells of a line are units and nothing else."""
    named = [text for text in row if text and text.strip()]
    known = [text for text in named if any(find_unit(kind, text) for kind in UNITS)]
    return len(known) >= 2 and 2 * len(known) > len(named) and not any(_is_number(t) for t in named)


def _is_number(text: str) -> bool:
    return text.strip().replace(".", "", 1).replace(",", "", 1).lstrip("-").isdigit()
