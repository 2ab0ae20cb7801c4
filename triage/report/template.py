"""The blank survey workbook: one column a field, with lists, limits and help in the cells."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from io import BytesIO
from pathlib import Path
from typing import Any

import xlsxwriter

from triage.contract import Contract, Field
from triage.errors import FileError
from triage.report.cells import inert_text
from triage.report.fields import allowed_text, grouped, need_text
from triage.report.template_pages import UNKNOWN_WORDS, CodeBlocks, write_codes, write_notes

_LABEL_ROW, _HOLDS_ROW, _NAME_ROW = 0, 1, 2
_FIRST_ROW, _LAST_ROW = 3, 5002  # zero-based; enough for 5,000 parts
_KEY_COLUMNS = 2  # property_id and building_part stay in view
_INLINE_LIMIT = 255  # characters of a list inside a validation (published limit of xlsx)
_TITLE_LIMIT, _MESSAGE_LIMIT = 32, 255  # of an input message
# Light tints in turn: they differ in lightness and in hue for every common colour vision, and
# a rule at each change of group says the same without colour.
_TINTS = ("#D6E6F4", "#FBE6C8", "#E9E9E9", "#CFEDE3")
_MADE = datetime(2000, 1, 1)  # fixed, so that the same contract gives the same bytes
_LAST_DAY = date(2199, 12, 31)  # of days that may lie ahead: an expiry, the end of a warranty
_UNIT_ENDINGS = ("_kg_m3", "_w_m2k", "_m2", "_mm", "_pct", "_deg", "_c", "_m")
_SHORTER = {"dpc": "DPC", "rh": "RH", "mc": "moisture", "id": "ID", "u": "U"}


@dataclass(frozen=True, slots=True)
class _Look:
    label: Any
    holds: Any
    name: Any
    cell: Any


def write_template(path: Path, contract: Contract, measures: Mapping[str, str]) -> None:
    """Write a blank survey workbook.

    Parameters
    ----------
    path
        Where to write it; must end in .xlsx and must not exist.
    contract
        The fields and code lists.
    measures
        Measure code -> plain name, from the policy in force.

    Raises
    ------
    FileError
        If a file stands there already, the folder is missing, or it cannot be written.
    """
    check_name(path)
    save_new(path, _workbook(contract, measures))


def check_name(path: Path) -> None:
    """Refuse a name that is not one of a workbook.

    Raises
    ------
    FileError
        If it does not end in .xlsx.
    """
    if path.suffix.lower() != ".xlsx":
        raise FileError("a template is an .xlsx workbook", str(path), "end the name in .xlsx")


def save_new(path: Path, made: bytes) -> None:
    """Write a new file, never over one that is there.

    Raises
    ------
    FileError
        If a file stands there already, the folder is missing, or it cannot be written.
    """
    try:
        with path.open("xb") as stream:
            stream.write(made)
    except FileExistsError as problem:
        fix = "choose another name, or move the file away first"
        raise FileError("the file exists already; it is left as it is", str(path), fix) from problem
    except OSError as problem:
        reason = problem.strerror or str(problem)
        fix = "check that the folder exists and that you may write there"
        raise FileError(f"cannot write the template: {reason}", str(path), fix) from problem


def label_text(field: Field) -> str:
    """The field's name as words, without its unit: "Ceiling insulation"."""
    name = field.name
    ending = next((end for end in _UNIT_ENDINGS if name.endswith(end)), "")
    words = name.removesuffix(ending).split("_")
    text = " ".join(_SHORTER.get(word, word) for word in words)
    return text[:1].upper() + text[1:]


def _workbook(contract: Contract, measures: Mapping[str, str]) -> bytes:
    stream = BytesIO()
    with new_book(stream, "Survey template") as book:
        survey = book.add_worksheet("Survey")
        write_notes(book, contract)
        blocks = write_codes(book, contract, measures)
        write_grid(book, survey, list(grouped(contract).values()), blocks)
    return stream.getvalue()


def new_book(stream: BytesIO, title: str) -> Any:  # noqa: ANN401
    """A workbook whose bytes depend on nothing but what is written into it."""
    options = {"in_memory": True, "strings_to_formulas": False, "strings_to_urls": False}
    book = xlsxwriter.Workbook(stream, options)
    book.set_properties({"title": title, "created": _MADE})
    return book


def write_grid(
    book: Any,  # noqa: ANN401
    sheet: Any,  # noqa: ANN401
    groups: Sequence[Sequence[Field]],
    blocks: CodeBlocks,
) -> None:
    """Write the columns of one table: label, what it holds, name; lists and limits below.

    Parameters
    ----------
    book, sheet
        The workbook, and a blank sheet of it.
    groups
        Fields, those that belong together in one group, tinted alike.
    blocks
        Where the code lists stand.
    """
    sheet.set_row(_LABEL_ROW, 34)
    sheet.set_row(_HOLDS_ROW, 48)
    sheet.set_row(_NAME_ROW, 18)
    sheet.freeze_panes(_FIRST_ROW, _KEY_COLUMNS)
    sheet.set_zoom(90)
    sheet.set_landscape()
    sheet.repeat_rows(_LABEL_ROW, _NAME_ROW)
    sheet.repeat_columns(0, _KEY_COLUMNS - 1)
    column = 0
    for number, fields in enumerate(groups):
        tint = _TINTS[number % len(_TINTS)]
        for place, field in enumerate(fields):
            _write_field(sheet, column, field, _look(book, tint, field, place == 0))
            rule = cell_validation(field, blocks)
            sheet.data_validation(_FIRST_ROW, column, _LAST_ROW, column, rule)
            column += 1
    sheet.autofilter(_NAME_ROW, 0, _LAST_ROW, column - 1)


def _look(book: Any, tint: str, field: Field, is_first: bool) -> _Look:  # noqa: ANN401
    edge = {"left": 5 if is_first else 1, "left_color": "#404040" if is_first else "#BFBFBF"}
    top = {**edge, "bg_color": tint, "text_wrap": True, "valign": "top"}
    kinds = {"date": "yyyy-mm-dd", "number": "General", "integer": "General"}
    # text stays text: a leading zero is kept, and 1-2 does not become a date
    cell = {"num_format": kinds.get(field.type, "@"), **(edge if is_first else {})}
    return _Look(
        label=book.add_format({**top, "bold": _is_asked(field)}),
        holds=book.add_format({**top, "font_size": 8}),
        name=book.add_format(
            {**edge, "bg_color": "#262626", "font_color": "#FFFFFF", "font_size": 9}
        ),
        cell=book.add_format(cell),
    )


def _write_field(sheet: Any, column: int, field: Field, look: _Look) -> None:  # noqa: ANN401
    star = " *" if _is_asked(field) else ""
    letter = f"{field.group} · " if field.group else ""
    sheet.write_string(
        _LABEL_ROW, column, inert_text(f"{letter}{label_text(field)}{star}"), look.label
    )
    sheet.write_string(_HOLDS_ROW, column, inert_text(_holds(field)), look.holds)
    sheet.write_string(_NAME_ROW, column, field.name, look.name)
    longest = max((len(code) for code in field.codes), default=0)
    width = max(14, len(field.name) * 0.85 + 4, min(longest, 24) + 2)
    sheet.set_column(column, column, min(width, 28), look.cell)


def _is_asked(field: Field) -> bool:
    return field.is_required and not field.computed


def _holds(field: Field) -> str:
    need = "may stay blank: worked out" if field.computed else need_text(field)
    if field.type in ("code", "codes"):
        several = "one or several, with ; between" if _may_be_several(field) else "pick one"
        return f"{several}\n{need}"
    return f"{allowed_text(field)}\n{need}"


def cell_validation(field: Field, blocks: CodeBlocks) -> dict[str, Any]:
    """What a cell of a field may hold, and the help shown with it, for `data_validation`."""
    note = f"{field.help or field.meaning} {_unknown_hint(field)}"
    rule: dict[str, Any] = {
        "validate": "any",
        "input_title": label_text(field)[:_TITLE_LIMIT],
        "input_message": note[:_MESSAGE_LIMIT],
        "error_title": "Please check",
        "error_type": "warning",
    }
    if blocks.offers(field):
        rule |= _choices(field, blocks)
    elif field.type == "date":
        rule |= {
            "validate": "date",
            "criteria": "between",
            "minimum": field.earliest or date(1900, 1, 1),
            "maximum": "=TODAY()" if field.until_as_of else _LAST_DAY,
            "error_message": "Not a date, or outside the range. Write it as 2026-03-31.",
        }
    elif field.type in ("number", "integer") and field.low is not None:
        # a warning and no stop: <20, "no access" and the like must be able to stay
        rule |= {
            "validate": "decimal" if field.type == "number" else "integer",
            "criteria": "between",
            "minimum": field.low,
            "maximum": field.high,
            "error_message": f"Expected {allowed_text(field)}. Keep it only if it is a limit such "
            f"as <20, or one of: {', '.join(UNKNOWN_WORDS)}.",
        }
    return rule


def _choices(field: Field, blocks: CodeBlocks) -> dict[str, Any]:
    choices = blocks.choices(field)
    inline = len(",".join(choices)) <= _INLINE_LIMIT
    may_be_several = _may_be_several(field)
    return {
        "validate": "list",
        "source": choices if inline else blocks.source(field),
        # several codes in a cell are right, though no list can offer them
        "error_type": "information" if may_be_several else "warning",
        "error_message": "Not one answer of the list. The sheet Codes has all of them"
        + (", and several may stand with ; between." if may_be_several else "."),
    }


def _may_be_several(field: Field) -> bool:
    # A surveyor may propose several measures (a field of a group); a record names one.
    return field.type == "codes" or (field.codes_from is not None and field.group != "")


def _unknown_hint(field: Field) -> str:
    if field.group in ("A", "K", "L") and not field.codes:
        return ""
    if not field.group and "unknown" not in field.codes:
        return ""  # a record is of something that was done or decided
    return f"Unknown: write {', '.join(UNKNOWN_WORDS[:-1])} or {UNKNOWN_WORDS[-1]}."
