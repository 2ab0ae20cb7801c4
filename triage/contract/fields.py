"""Fields and tables: what each column of the survey means and what it may hold."""

from dataclasses import dataclass
from datetime import date
from math import isnan

from triage.contract.codes import Code

TYPES = ("text", "code", "codes", "number", "integer", "date", "texts")
QUANTITIES = (
    "angle",
    "area",
    "count",
    "days",
    "density",
    "flow",
    "latitude",
    "length_m",
    "length_mm",
    "longitude",
    "money",
    "percent",
    "pitch",
    "pressure",
    "ratio",
    "speed",
    "temperature",
    "thermal_r",
    "u_value",
    "year",
)
"""Kinds of number a column may hold; intake converts units by them."""


@dataclass(frozen=True, slots=True)
class Field:
    """One column of a table.

    `low` and `high` are in `unit`, both included. `codes` are the codes of `code_list` with the
    extra ones of this field, in order; `"unknown"` among them is never stored: an unknown
    answer is null. `extra` are the codes that this field has beyond its list, `words` the
    spellings of list codes that are met in this field only. `need` starts with R (required),
    C (conditional) or O (optional). A `computed` field is worked out where it is blank; a
    survey need not hold it. `until_as_of` says that a date or year after the
    programme's as-of date is out of range.
    """

    name: str
    number: int
    group: str
    group_title: str
    type: str
    unit: str
    low: float | None
    high: float | None
    earliest: date | None
    until_as_of: bool
    code_list: str | None
    codes: tuple[str, ...]
    extra: tuple[Code, ...]
    words: tuple[Code, ...]
    codes_from: str | None
    need: str
    meaning: str
    help: str
    written: tuple[str, ...]
    headings: tuple[str, ...]
    unknown: tuple[str, ...]
    quantity: str | None
    computed: bool
    added: bool
    reason: str

    @property
    def known_codes(self) -> tuple[str, ...]:
        """The codes that can be stored: all but `unknown`."""
        return tuple(code for code in self.codes if code != "unknown")

    def in_range(self, value: float) -> bool:
        """Whether a number, in the field's unit, is one that the field may hold; never for NaN."""
        above = self.low is None or value >= self.low
        return above and (self.high is None or value <= self.high) and not isnan(value)

    @property
    def range_text(self) -> str:
        """The range in words: "0 to 600", "from 1990-01-01", or "" where there is none."""
        if self.low is not None and self.high is not None:
            return f"{self.low:.10g} to {self.high:.10g}"
        return "" if self.earliest is None else f"from {self.earliest.isoformat()}"

    @property
    def is_required(self) -> bool:
        """Whether the field is asked of every row, or of every row of the measures named."""
        return self.need.startswith("R")


@dataclass(frozen=True, slots=True)
class Table:
    """One table: what a row stands for, what makes it unique, its columns in order."""

    name: str
    grain: str
    primary_key: tuple[str, ...]
    columns: dict[str, Field]


@dataclass(frozen=True, slots=True)
class MinimumData:
    """Fields without which a measure group cannot be cleared (section 3.8 of the job notes)."""

    title: str
    fields: tuple[str, ...]
    measure_groups: dict[str, str]  # group -> "always", or the condition in words
