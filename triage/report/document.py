"""A short document that says the same as PDF, as HTML and as CSV."""

from collections.abc import Sequence
from dataclasses import dataclass, field

Look = tuple[str, str, str]  # word, colour, hatch


@dataclass(frozen=True, slots=True)
class Words:
    """A paragraph; `strong` sets it off."""

    text: str
    strong: bool = False


@dataclass(frozen=True, slots=True)
class Grid:
    """A table: rows of text; words stand left, numbers right.

    `name` is that of its CSV file. `notes` are printed under it.
    """

    name: str
    title: str
    columns: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    texts: int = 1  # so many columns from the left hold words; the others are numbers
    notes: tuple[str, ...] = ()
    widths: tuple[float, ...] = ()  # shares of the width; none: equal numbers, the rest for words
    on_paper: bool = True  # false: a figure or a sentence says it; the file holds it all the same
    has_head: bool = True  # false: the first column says what the second is
    most: int = 16  # rows on a page; the file has all
    has_total: bool = False  # the last row is the total and always shown

    def shown(self) -> tuple[tuple[tuple[str, ...], ...], tuple[str, ...]]:
        """Rows and notes as a page has them: what is left out is said."""
        if len(self.rows) <= self.most:
            return self.rows, self.notes
        last = self.rows[-1:] if self.has_total else ()
        rows = (*self.rows[: self.most - len(last)], *last)
        left = f"{len(self.rows) - len(rows):,} more rows are in {self.name}.csv."
        return rows, (left, *self.notes)


@dataclass(frozen=True, slots=True)
class Bar:
    """One bar: its label and, in order, the length of each of its parts.

    `under` are the parts of a second, thinner bar below it; `numbers` stand in the parts, where
    they fit.
    """

    label: str
    parts: tuple[float, ...]
    shown: str
    under: tuple[float, ...] = ()
    numbers: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Span:
    """A share with its interval, 0 to 1."""

    label: str
    low: float
    high: float
    middle: float | None
    shown: str


@dataclass(frozen=True, slots=True)
class Spot:
    """An area on a map: degrees, homes, shares of its parts."""

    label: str
    lat: float
    lon: float
    homes: int
    parts: tuple[float, ...]


@dataclass(frozen=True, slots=True)
class Place:
    """An end of flows: `homes` sets its height, the words stand beside it."""

    name: str
    homes: int
    shown: str
    detail: str
    look: Look


@dataclass(frozen=True, slots=True)
class Flow:
    """Homes from one place to another, as numbers of the lists of places."""

    was: int
    now: int
    homes: int
    is_move: bool


@dataclass(frozen=True, slots=True)
class Flows:
    """Two columns of places and the flows between them; every height is a number of homes."""

    before: tuple[Place, ...]
    after: tuple[Place, ...]
    flows: tuple[Flow, ...]
    heads: tuple[str, str]


@dataclass(frozen=True, slots=True)
class Year:
    """Twelve values of each of a few states, beside each other, month by month.

    `limit` is drawn as a line, or named above the scale where that would flatten the bars.
    """

    months: tuple[str, ...]
    states: tuple[tuple[str, tuple[float, ...]], ...]
    unit: str
    limit: tuple[float, str] | None = None


@dataclass(frozen=True, slots=True)
class Figure:
    """Marks of one kind. The title says the finding, `unit` what is counted and n."""

    name: str
    title: str
    unit: str
    alt: str
    marks: (
        tuple[Bar, ...] | tuple[Span, ...] | tuple[Spot, ...] | tuple[Flows, ...] | tuple[Year, ...]
    )
    legend: tuple[Look, ...] = ()
    label_lines: int = 2  # lines that a label of a bar may take
    note: str = ""  # printed under it
    says_all: bool = False  # its labels say all that `alt` says: not printed on paper again


@dataclass(frozen=True, slots=True)
class Section:
    """A numbered part."""

    title: str
    blocks: tuple[Words | Grid | Figure, ...]


@dataclass(frozen=True, slots=True)
class Document:
    """All of it. `stamp` stands at the foot of every page."""

    title: str
    subtitle: str
    stamp: str
    sections: tuple[Section, ...]
    sign_off: tuple[tuple[str, str], ...] = field(default=())

    def grids(self) -> Sequence[Grid]:
        """All tables in order."""
        return [b for s in self.sections for b in s.blocks if isinstance(b, Grid)]
