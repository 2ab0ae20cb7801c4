"""The two reading pages of the survey workbook: how to fill it in, and every code list."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any

from triage.contract import Contract, Field
from triage.report.cells import inert_text

UNKNOWN_WORDS = ("not seen", "no access", "refused")
_UNKNOWN_MEANINGS = (
    "looked for, could not be seen",
    "could not get to it",
    "the resident declined",
)
_CODES_SHEET = "Codes"
_NOTE_WIDTH, _MEANING_WIDTH, _USERS_WIDTH = 100, 70, 50  # characters of the default font
_LINE_HEIGHT = 15.0  # points

Notes = tuple[tuple[str, tuple[str, ...]], ...]
_NOTES: Notes = (
    (
        "How to fill in",
        (
            "One row for each part of a home and each visit. A home with one extension has two.",
            "Row 3 of the sheet Survey holds the field names. Keep that row as it is; columns that "
            "you do not use may be deleted, and their order may change.",
            "A star and bold type mark what is required; row 2 says for which measures.",
            "Pick codes from the lists; the sheet Codes says what each one means.",
            "Where several answers are allowed, put a semicolon between them.",
            "Answers in comments, colours or crossed-out text are not read. Write them in cells.",
        ),
    ),
    (
        "Unknown is never no",
        (
            "No, none and none_seen mean that you looked at the place and it is not there.",
            "If you looked and could not see it, write: not seen.",
            "If you could not get to it, write: no access.",
            "If the resident declined, write: refused.",
            "A blank cell means that no answer was given. It never counts as no.",
            "Write 0 only for a reading of zero. An unseen loft has no 0 in it.",
            "N/A is read as a blank. Where an element does not exist, use the code of the list: "
            "none_present, absent or not_applicable.",
        ),
    ),
    (
        "How you know it",
        (
            "A value counts as seen by you, on the day, unless the cell says otherwise.",
            "If you were told it, add (per tenant) or (per owner) after the value.",
            "If it comes from a paper, add (per drawing) or (cert). If it is a guess, (assumed).",
            "survey_reach_inside and survey_reach_outside say how far you got: an answer that "
            "cannot be had from there does not count.",
        ),
    ),
    (
        "Units and dates",
        (
            "Row 2 gives the unit of each column. Lengths are millimetres, areas square metres, "
            "temperatures degrees Celsius, densities kg/m3.",
            "Timber moisture is per cent of dry mass. A relative scale is no per cent: leave the "
            "cell blank.",
            "Where a meter stops, write the limit with its sign: <7 or >40.",
            "Write dates as 2026-03-31.",
            "Identifiers, postal codes and area codes are text; leading zeros stay.",
        ),
    ),
    (
        "Cautions",
        (
            "Do not disturb anything that may hold asbestos: loose granular fill, textured "
            "coatings, old boards, slates and pipe lagging.",
            "Do not enter a void that is unsafe, unlit or not boarded, or that has open wiring.",
            "Do not disturb bats, birds or their nests; the law protects them in many places.",
            "Foam, gas, flues, wiring and structure are for people licensed to judge them.",
            "Fresh foam and strong smells: stay out and report it.",
            "This survey sorts homes by moisture risk. It does not certify any of them, and local "
            "codes and licensed practice stand above it.",
            "Keep names, health and other personal matters out of the workbook.",
        ),
    ),
)


@dataclass(frozen=True, slots=True)
class CodeBlocks:
    """Where each list stands on the sheet Codes: its choices and the rows that hold them."""

    rows: Mapping[str, tuple[int, int]]
    words: Mapping[str, tuple[str, ...]]

    def offers(self, field: Field) -> bool:
        """Whether there is a drop-down for the field."""
        return bool(self.words.get(block_name(field)))

    def choices(self, field: Field) -> list[str]:
        """What the drop-down of a field offers, the words for unknown last."""
        return list(self.words[block_name(field)])

    def source(self, field: Field) -> str:
        """The same as a range, for lists too long to stand inside a validation."""
        first, last = self.rows[block_name(field)]
        return f"={_CODES_SHEET}!$B${first + 1}:$B${last + 1}"


def block_name(field: Field) -> str:
    """The list's name, or the field's where it has codes of its own beyond the list."""
    if field.code_list is None or field.extra:
        return field.name
    return field.code_list


def write_notes(book: Any, contract: Contract) -> None:  # noqa: ANN401
    """Add the sheet Notes of the survey workbook."""
    count = len(contract.fields)
    last = f"{count} fields; `triage fields` prints what each one means."
    write_pages(book, _NOTES, last)


def write_pages(book: Any, notes: Notes, last: str) -> None:  # noqa: ANN401
    """Add a sheet Notes: headings with their lines, and a last line."""
    sheet = book.add_worksheet("Notes")
    title = book.add_format({"bold": True, "font_size": 13, "bottom": 1})
    line = book.add_format({"text_wrap": True, "valign": "top"})
    sheet.set_column(0, 0, _NOTE_WIDTH, line)
    sheet.hide_gridlines(2)
    sheet.fit_to_pages(1, 0)
    row = 0
    for heading, lines in notes:
        sheet.write_string(row, 0, heading, title)
        for number, text in enumerate(lines, start=1):
            sheet.set_row(row + number, _height(text, _NOTE_WIDTH))
            sheet.write_string(row + number, 0, inert_text(text), line)
        row += len(lines) + 2
    sheet.write_string(row, 0, inert_text(last), line)


def write_codes(
    book: Any,  # noqa: ANN401
    contract: Contract,
    measures: Mapping[str, str],
    fields: Iterable[Field] | None = None,
) -> CodeBlocks:
    """Add the sheet Codes: a block for each list in use, with the fields that use it.

    The fields are those of the survey unless others are given.
    """
    sheet = book.add_worksheet(_CODES_SHEET)
    head = book.add_format({"bold": True, "bottom": 1, "bg_color": "#E9E9E9"})
    bold = book.add_format({"bold": True, "valign": "top"})
    wrap = book.add_format({"text_wrap": True, "valign": "top"})
    for column, (text, width) in enumerate(
        (("List", 30), ("Code", 26), ("Meaning", _MEANING_WIDTH), ("Used by", _USERS_WIDTH))
    ):
        sheet.set_column(column, column, width, wrap)
        sheet.write_string(0, column, text, head)
    sheet.freeze_panes(1, 0)
    sheet.set_landscape()
    sheet.fit_to_pages(1, 0)
    sheet.repeat_rows(0)
    rows: dict[str, tuple[int, int]] = {}
    words: dict[str, tuple[str, ...]] = {}
    row = 1
    for name, (entries, users) in _blocks(
        contract, measures, contract.fields.values() if fields is None else fields
    ).items():
        sheet.write_string(row, 0, name, bold)
        sheet.write_string(row, 3, ", ".join(users), wrap)
        for number, (code, meaning) in enumerate(entries):
            used = ", ".join(users) if number == 0 else ""
            height = max(_height(meaning, _MEANING_WIDTH), _height(used, _USERS_WIDTH))
            sheet.set_row(row + number, height)
            sheet.write_string(row + number, 1, inert_text(code), wrap)
            sheet.write_string(row + number, 2, inert_text(meaning), wrap)
        rows[name] = (row, row + len(entries) - 1)
        words[name] = tuple(code for code, _ in entries)
        row += len(entries) + 1
    return CodeBlocks(rows, words)


def _blocks(
    contract: Contract, measures: Mapping[str, str], fields: Iterable[Field]
) -> dict[str, tuple[list[tuple[str, str]], list[str]]]:
    blocks: dict[str, tuple[list[tuple[str, str]], list[str]]] = {}
    for field in fields:
        if field.type not in ("code", "codes"):
            continue
        entries, users = blocks.setdefault(block_name(field), ([], []))
        if field.name not in users:
            users.append(field.name)
        if entries:
            continue
        if field.codes_from is not None:
            entries += measures.items()
            continue
        entries += [
            (code.code, code.definition)
            for code in contract.definitions(field)
            if code.code in field.known_codes
        ]
        if "unknown" in field.codes:
            entries += zip(UNKNOWN_WORDS, _UNKNOWN_MEANINGS, strict=True)
    return blocks


def _height(text: str, width: int) -> float:
    """Row height for a wrapped text; not every office program works it out on opening."""
    return _LINE_HEIGHT * max(1, -(-len(text) // (width - 8)))
