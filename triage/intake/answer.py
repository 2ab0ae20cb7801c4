"""What one cell text was read as."""

import re
from dataclasses import dataclass
from datetime import date

Value = str | float | int | date | tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Answer:
    """A value, an unknown of a stated kind, or a problem; a value may carry a note as well.

    `flag` is "<", ">" or "~" for a limit or an approximate number. `unknown` is a kind of
    unknown. `grade` is the evidence grade that the text itself states. `problem` is a kind of
    problem, and `message` says what is wrong and what to do.
    """

    value: Value | None = None
    flag: str | None = None
    unknown: str | None = None
    grade: str | None = None
    problem: str | None = None
    message: str = ""

    @property
    def is_plain(self) -> bool:
        """Whether there is a value and nothing else to keep."""
        return self.value is not None and not (self.flag or self.grade or self.problem)


def refused(problem: str, message: str, unknown: str = "illegible") -> Answer:
    """An answer that could not be used: unknown, with the problem kept."""
    return Answer(unknown=unknown, problem=problem, message=message)


FORMULA = "formula_without_value"
_FORMULA = re.compile(r"=\s*[-+(A-Za-z0-9\"$].*", re.DOTALL)
ERROR_CELL = (
    "#DIV/0!",
    "#N/A",
    "#NAME?",
    "#NULL!",
    "#NUM!",
    "#REF!",
    "#VALUE!",
    "#GETTING_DATA",
    "#SPILL!",
    "#CALC!",
)


def error_cell(text: str) -> Answer | None:
    """The refusal of a cell with a spreadsheet error or a bare formula; None for any other text."""
    if _FORMULA.fullmatch(text):
        message = "this is a formula, not its result; open the workbook and save it with values"
        return refused(FORMULA, message)
    if text.upper() in ERROR_CELL or text.startswith("Err:"):
        return refused("error_cell", f"the cell holds the error {text}; mend its formula")
    return None
