"""A drafted source profile as TOML with comments for the person who decides."""

from collections.abc import Iterator
from pathlib import Path
from typing import Any

from triage.contract import Contract
from triage.errors import FileError
from triage.intake.draft import Draft
from triage.intake.draft_dates import DateProof
from triage.intake.draft_decide import Decision
from triage.intake.draft_values import says_resistance
from triage.intake.draft_words import Words, count_not_applicable, count_zeros
from triage.report.draft_columns import column_lines, counts_text, layout_text, places_text
from triage.report.toml_text import inert_words, quoted

_PART = "building_part"
_CONSTANTS = (
    "country_code",
    "survey_method",
    "surveyor_competence",
    "survey_reach_inside",
    "survey_reach_outside",
)
_ORDERS = {"DMY": "day first", "MDY": "month first", "YMD": "year first"}


def write_draft(path: Path, draft: Draft, contract: Contract) -> None:
    """Write the draft into a new file.

    Raises
    ------
    FileError
        If something stands there already, or it cannot be written.
    """
    text = draft_text(draft, contract)
    try:
        with path.open("x", encoding="utf-8", newline="\n") as stream:
            stream.write(text)
    except FileExistsError as problem:
        raise exists_already(path) from problem
    except OSError as problem:
        reason = problem.strerror or str(problem)
        fix = "check that the folder exists and that you may write there"
        raise FileError(f"cannot write the profile: {reason}", str(path), fix) from problem


def exists_already(path: Path) -> FileError:
    """The refusal to overwrite."""
    fix = "choose another name, or move the file away first"
    return FileError("the file exists already; it is left as it is", str(path), fix)


def draft_text(draft: Draft, contract: Contract) -> str:
    """The whole profile."""
    parts = (
        _head(draft),
        _layout(draft),
        _reading(draft),
        _blank(draft),
        _zero(draft, contract),
        _absent(draft, contract),
        column_lines(draft, contract),
        _constants(draft, contract),
        _evidence(),
        _ignore(draft),
        _thermal(draft, contract),
        _spellings(draft, contract),
    )
    return "\n\n".join("\n".join(part) for part in parts) + "\n"


def draft_dict(draft: Draft, out: Path) -> dict[str, Any]:
    """The draft as plain values, for JSON."""
    return {
        "format": 1,
        "exit_code": draft.exit_code,
        "out": out.as_posix(),
        "files": list(draft.files),
        "sheets": [
            {"file": s.file, "sheet": s.sheet.name, "rows": s.rows, "rows_looked_at": s.looked_at}
            for s in draft.sheets
        ],
        "sheets_left_out": [
            {"file": s.file, "sheet": s.sheet, "why": s.why, "is_table": s.is_table}
            for s in draft.left_out
        ],
        "header_row": draft.layout.header_row,
        "header_lines": draft.layout.header_lines,
        "units_row": draft.layout.units_row,
        "date_order": draft.dates.order,
        "sure": len(draft.sure),
        "to_decide": len(draft.open),
        "columns": [_column_dict(decision) for decision in draft.decisions],
        "columns_without_heading": [str(column.place) for column in draft.nameless],
        "unknown_words": {
            words.field: {word.text: word.cells for word in words.words} for words in draft.words
        },
        "errors": [
            {"code": e.code, "what": e.what, "where": str(e.where), "do": e.fix}
            for e in draft.errors
        ],
    }


def draft_summary(draft: Draft) -> Iterator[str]:
    """What was found, in a few lines."""
    for part in draft.sheets:
        name = f", sheet {part.sheet.name!r}" if part.sheet.name is not None else ""
        rows = f"{part.rows} rows"
        if part.looked_at < part.rows:
            rows += f", values of {part.looked_at} of them looked at"
        yield f"{part.file}{name}: {layout_text(draft.layout)}; {rows}"
    for left in draft.left_out:
        name = f", sheet {left.sheet!r}" if left.sheet is not None else ""
        yield f"{left.file}{name}: not described, {left.why}"
    yield f"{len(draft.sure)} headings mapped, {len(draft.open)} left to decide"
    for decision in draft.open:
        names = " or ".join(candidate.field for candidate in decision.candidates) or "no guess"
        yield f"  {inert_words(decision.seen.heading, 60)}: {names}"
    for nameless in draft.nameless:
        yield f"  {inert_words(str(nameless.place), 120)}: cells but no heading"


def _column_dict(decision: Decision) -> dict[str, Any]:
    sure, seen = decision.sure, decision.seen
    return {
        "heading": seen.heading,
        "places": [str(place) for place in seen.places],
        "cells": seen.cells,
        "blank": seen.blanks,
        "status": "sure" if sure is not None else "to_decide",
        "field": sure.field if sure is not None else None,
        "unit": sure.unit.stated if sure is not None and sure.unit is not None else None,
        "why": decision.why or None,
        "candidates": [
            {
                "field": candidate.field,
                "likeness": round(candidate.likeness, 1),
                "answers": candidate.fit.told,
                "answers_read": candidate.fit.read,
            }
            for candidate in decision.candidates
        ],
    }


def _head(draft: Draft) -> Iterator[str]:
    yield "# A draft: what is sure is a line; every guess is a comment until somebody decides."
    yield "# `triage check FILE --profile PROFILE` says what is still open."
    yield "# Looked at:"
    for part in draft.sheets:
        sheet = f", sheet {inert_words(part.sheet.name)}" if part.sheet.name is not None else ""
        rows = f"{part.rows} rows"
        if part.looked_at < part.rows:
            rows += f"; counts are of {part.looked_at} rows, evenly spaced"
        yield f"#   {inert_words(part.file, 120)}{sheet}: {rows}"
    for left in draft.left_out:
        sheet = f", sheet {inert_words(left.sheet)}" if left.sheet is not None else ""
        yield f"#   {inert_words(left.file, 120)}{sheet}: not described; {left.why}"
    for error in draft.errors:
        yield f"#   {inert_words(str(error.where), 120)}: not read; {inert_words(error.what, 120)}"
    yield ""
    yield f"name = {quoted(Path(draft.files[0]).stem)}"


def _layout(draft: Draft) -> Iterator[str]:
    layout = draft.layout
    yield "[layout]"
    if layout.sheets != ("*",):
        yield f"sheets = [{', '.join(quoted(name) for name in layout.sheets)}]"
    yield f"header_row = {layout.header_row}"
    yield f"header_lines = {layout.header_lines}"
    yield f"units_row = {str(layout.units_row).lower()}"


def _reading(draft: Draft) -> Iterator[str]:
    yield "[reading]"
    yield from _date_lines(draft.dates)
    sheets = [part.sheet for part in draft.sheets if part.sheet.is_text]
    if sheets:
        yield "# Encoding and delimiter are found out from each file; so is the decimal sign:"
        yield f"# decimal = {quoted(sheets[0].decimal)}"


def _date_lines(dates: DateProof) -> Iterator[str]:
    if dates.order is not None:
        others = [order for order in _ORDERS if order != dates.order]
        proof = ", ".join(f"{dates.against[order]} are no {order}" for order in others)
        yield f"# Of {dates.cells} dates written as numbers all can be {dates.order}; {proof}."
        yield f"date_order = {quoted(dates.order)}"
    elif dates.is_contradictory:
        yield "# The dates contradict each other: no order reads all of them. Ask the team."
        for order, count in dates.against.items():
            shown = ", ".join(f"'{inert_words(text)}'" for text in dates.examples[order])
            yield f"#   no {order} ({_ORDERS[order]}): {count} of {dates.cells}, such as {shown}"
        yield '# date_order = "DMY"'
    elif dates.cells:
        left = " or ".join(order for order in _ORDERS if not dates.against[order])
        yield f"# {dates.cells} dates are written as numbers and none proves the order: {left}."
        yield '# date_order = "DMY"'
    else:
        yield "# No date is written as three numbers, year last, so the order is not needed."
        yield '# date_order = "DMY"'


def _blank(draft: Draft) -> Iterator[str]:
    yield "[blank]                   # what an empty cell means"
    yield 'default = "blank"         # no answer; not_seen or not_asked if the team means that'
    part = next((d for d in draft.sure if d.sure is not None and d.sure.field == _PART), None)
    if part is None:
        yield f"# No heading surely fills {_PART}. If every row is the main part of its home:"
        yield f'# {_PART} = "=main"'
    elif part.seen.blanks:
        yield f"# {part.seen.blanks} rows name no part. If these are the main part of the home:"
        yield f'# {_PART} = "=main"'


def _zero(draft: Draft, contract: Contract) -> Iterator[str]:
    yield '[zero]                    # fields in which 0 was written for "did not look"'
    for decision in draft.sure:
        own = decision.sure
        if own is None or contract.fields[own.field].type not in ("number", "integer"):
            continue
        zeros = count_zeros(decision.seen)
        if zeros:
            said = f"{zeros} of {decision.seen.cells} cells hold 0: measured, or not looked at?"
            yield f'# {own.field} = "not_seen"  # {said}'


def _absent(draft: Draft, contract: Contract) -> Iterator[str]:
    yield "[not_applicable]          # columns in which N/A means that there is no such thing"
    yield "fields = ["
    for decision in draft.sure:
        own = decision.sure
        if own is None or "not_applicable" not in contract.fields[own.field].codes:
            continue
        count = count_not_applicable(decision.seen)
        if count:
            yield f"    # {quoted(own.field)},  # {count} cells say N/A"
    yield "]"


def _constants(draft: Draft, contract: Contract) -> Iterator[str]:
    yield "[constants]               # what is true of every row; only what no heading fills"
    filled = {d.sure.field for d in draft.sure if d.sure is not None}
    for name in _CONSTANTS:
        if name in filled or name not in contract.fields:
            continue
        codes = contract.fields[name].known_codes
        shown = ", ".join(codes[:12]) + (", …" if len(codes) > 12 else "")
        yield f'# {name} = ""  # one of: {shown}'


def _evidence() -> Iterator[str]:
    yield "[evidence]"
    yield "# How these cells are known: seen by the surveyor, unless somebody says otherwise."
    yield '# grade = "observed"'


def _ignore(draft: Draft) -> Iterator[str]:
    yield "[ignore]                  # headings left out on purpose"
    yield "headings = ["
    for decision in draft.open:
        seen = decision.seen
        if not decision.candidates:
            yield f"    # {quoted(seen.heading)},  # {places_text(seen)}, {counts_text(seen)}"
    yield "]"


def _thermal(draft: Draft, contract: Contract) -> Iterator[str]:
    yield "[thermal_r]               # W/mK of the material, to turn R-values into millimetres"
    for decision in draft.decisions:
        best = decision.sure or next(iter(decision.candidates), None)
        if best is not None and says_resistance(decision.seen, contract.fields[best.field]):
            heading = inert_words(decision.seen.heading)
            yield f"# {best.field} = 0.04  # {heading}: of which material?"


def _spellings(draft: Draft, contract: Contract) -> Iterator[str]:
    yield "# Words that no list knows, under the field that their column fills. Until one is given"
    yield "# its code, its cells are unknown. Take the # off what is right, and correct the rest."
    sure = {d.sure.field for d in draft.sure if d.sure is not None}
    for words in draft.words:
        yield ""
        yield from _word_lines(words, contract, is_sure=words.field in sure)


def _word_lines(words: Words, contract: Contract, *, is_sure: bool) -> Iterator[str]:
    condition = "" if is_sure else f"  # if '{inert_words(words.heading)}' is this field"
    yield f"[spellings.{words.field}]{condition}"
    codes = contract.fields[words.field].known_codes
    yield f"#   codes: {inert_words(', '.join(codes), 400)}"
    for word in words.words:
        first, *others = word.codes or ("",)
        more = f", or {' or '.join(others)}" if others else ""
        none = "" if word.codes else ", no code is near"
        cells = "1 cell" if word.cells == 1 else f"{word.cells} cells"
        yield f"# {quoted(word.text)} = {quoted(first)}  # {cells}{more}{none}"
    if words.more:
        yield f"#   and {words.more} more texts; `triage check` counts them all"
