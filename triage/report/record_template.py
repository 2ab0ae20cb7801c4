"""The blank workbook for records: one sheet per table, with lists, limits and help in the cells."""

from collections.abc import Mapping
from io import BytesIO
from pathlib import Path

from triage.contract import Contract
from triage.report.template import check_name, new_book, save_new, write_grid
from triage.report.template_pages import Notes, write_codes, write_pages

SHEETS: Mapping[str, str] = {
    "inspection": "Inspections",
    "opening": "Openings",
    "repair": "Repairs",
    "reading": "Readings",
    "event": "Events",
    "decision": "Decisions",
    "answer": "Answers",
}
"""Record tables in the order in which they rest on each other, and the sheets that hold them."""

_LAST = "`triage record FILE` takes the workbook in; `triage record --list` says what is held."
_NOTES: Notes = (
    (
        "How to fill in",
        (
            "One row for each record. Sheets and columns that you do not use may be deleted.",
            "Row 3 of each sheet holds the field names. Keep that row as it is; the order of the "
            "columns may change. A column of your own may stay if its heading is in brackets: "
            "(remark).",
            "A star and bold type mark what is required.",
            "Pick codes from the lists; the sheet Codes says what each one means.",
            "Where several answers are allowed, put a semicolon between them.",
            "Write dates as 2026-03-31. No day of something done may lie in the future.",
            "Answers in comments, colours or crossed-out text are not read. Write them in cells.",
        ),
    ),
    (
        "Ids and versions",
        (
            "Each record has an id of its own, unique in the programme. Never use one twice.",
            "Nothing is overwritten. To correct or complete a record, send it again with its id: "
            "that is a new version, and the old one is kept. A row that says the same as one that "
            "is held is counted as repeated.",
            "property_id and building_part are written as in the surveys. A home that no survey "
            "has is refused.",
        ),
    ),
    (
        "Inspections, openings and readings",
        (
            "An inspection that could not be done is a record too: say why in outcome_status.",
            "Each opening names its inspection. An outcome dated before its opening is refused.",
            "A reading names the survey, inspection, opening or repair it was taken at; without a "
            "known one it names the home and the part.",
            "Only per cent scales count. A relative or colour scale is kept, and clears nothing.",
            "Where a meter stops, write the limit with its sign: <7 or >40.",
        ),
    ),
    (
        "Repairs",
        (
            "Send a repair when it is ordered, and again when it is started, completed, verified.",
            "repair_verified is set by somebody other than the installer, with photographs from "
            "after the repair, a test by rain or water, and the day.",
            "trigger_rule_ids are the rules that caused the order, as the work order names them.",
        ),
    ),
    (
        "Events",
        (
            "Name the homes (several with ; between), or an area: postcodes or their beginnings, "
            "or a centre with a radius in km.",
        ),
    ),
    (
        "Decisions",
        (
            "A decision is about one home, part and measure, and names the rules that it covers.",
            "It says who decided, with which competence, why, on what evidence, and until when: "
            "24 months at most.",
            "Accepting a rule of severity 5 needs a second person. Leaks and the stop-work rules "
            "can be accepted by nobody. The rule's own result stays visible.",
        ),
    ),
    (
        "Answers",
        (
            "Answers belong to the questions of a visit list. Fill in the visit list itself; its "
            "ids must not be edited.",
        ),
    ),
    (
        "Cautions",
        (
            "People stand here by a code, not by name, unless the programme agreed otherwise.",
            "Keep health and other personal matters out of the workbook.",
        ),
    ),
)


def write_record_template(path: Path, contract: Contract, measures: Mapping[str, str]) -> None:
    """Write a blank workbook with one sheet for each table of records.

    Parameters
    ----------
    path
        Where to write it; must end in .xlsx and must not exist.
    contract
        The tables and code lists.
    measures
        Measure code -> plain name, from the policy in force.

    Raises
    ------
    FileError
        If a file stands there already, the folder is missing, or it cannot be written.
    """
    check_name(path)
    stream = BytesIO()
    tables = {kind: list(contract.tables[kind].columns.values()) for kind in SHEETS}
    with new_book(stream, "Records template") as book:
        sheets = {kind: book.add_worksheet(name) for kind, name in SHEETS.items()}
        write_pages(book, _NOTES, _LAST)
        every = [field for fields in tables.values() for field in fields]
        blocks = write_codes(book, contract, measures, every)
        for kind, fields in tables.items():
            write_grid(book, sheets[kind], [fields], blocks)
    save_new(path, stream.getvalue())
