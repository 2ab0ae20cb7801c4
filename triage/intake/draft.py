"""Drafts a source profile from survey files: what is sure, what a person must decide, and why."""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from pathlib import Path

from triage.contract import Contract, Field
from triage.contract.profile import Layout
from triage.errors import FileError, ManyErrors, TriageError
from triage.intake.draft_dates import DateProof, prove_order
from triage.intake.draft_decide import Decider, Decision
from triage.intake.draft_layout import TableStart, find_start
from triage.intake.draft_seen import Nameless, Seen, SheetSeen, layout_of, look_at, table_of
from triage.intake.draft_words import Words, unknown_words_of
from triage.intake.field_rules import new_context
from triage.intake.files import read_sheets
from triage.intake.limits import DEFAULT_LIMITS, Limits
from triage.intake.sheets import Sheet


@dataclass(frozen=True, slots=True)
class LeftOut:
    """A sheet that the draft does not describe, and why. `is_table`: its rows must not get lost."""

    file: str
    sheet: str | None
    why: str
    is_table: bool


@dataclass(frozen=True, slots=True)
class Draft:
    """What is proposed for one family of files.

    `sheets` are those described; `words` belong to columns with a code list, sure ones first.
    `errors` are files that could not be read.
    """

    files: tuple[str, ...]
    layout: Layout
    sheets: tuple[SheetSeen, ...]
    left_out: tuple[LeftOut, ...]
    decisions: tuple[Decision, ...]
    nameless: tuple[Nameless, ...]
    dates: DateProof
    words: tuple[Words, ...]
    errors: tuple[TriageError, ...]

    @property
    def sure(self) -> tuple[Decision, ...]:
        """Headings whose field is sure."""
        return tuple(d for d in self.decisions if d.sure is not None)

    @property
    def open(self) -> tuple[Decision, ...]:
        """Headings that a person must decide on."""
        return tuple(d for d in self.decisions if d.sure is None)

    @property
    def exit_code(self) -> int:
        """0 if nothing is left to decide, else 1."""
        left = self.open or self.nameless or self.errors
        return int(bool(left) or any(sheet.is_table for sheet in self.left_out))


def draft_profile(
    files: Sequence[Path],
    contract: Contract,
    measures: Mapping[str, str],
    as_of: date | None = None,
    *,
    limits: Limits = DEFAULT_LIMITS,
    progress: Callable[[str], None] | None = None,
) -> Draft:
    """Look at files of one family and propose how to read them.

    Parameters
    ----------
    files
        Survey files that one profile shall describe.
    contract, measures
        Fields and code lists, and the texts of measures that the policy knows.
    as_of
        Its year is the last in which a survey can have been made; today if None.
    limits
        Upper bounds for one file.
    progress
        Called with the name of each file before it is read.

    Raises
    ------
    FileError, ManyErrors
        If no file holds a survey table. Of several files, those that cannot be read are named in
        `errors` of the result.
    """
    as_of = as_of or date.today()
    context = new_context(contract, None, measures, as_of)
    decider = Decider(contract, context)
    sheets, errors = _read_all(files, limits, progress)
    found, left_out = _tables(sheets, decider.dictionary.exact)
    if not found:
        raise _nothing_found(files, errors)
    headings, nameless = look_at(found)
    decisions = tuple(decider.decide(headings))
    shown = tuple(path.as_posix() for path in files)
    return Draft(
        files=shown,
        layout=_layout(found, left_out, sheets),
        sheets=tuple(found),
        left_out=tuple(left_out),
        decisions=decisions,
        nameless=tuple(nameless),
        dates=prove_order(_dated(decisions, contract), as_of),
        words=_words(decisions, contract),
        errors=tuple(errors),
    )


def _dated(decisions: Sequence[Decision], contract: Contract) -> list[tuple[Seen, Field]]:
    """Columns of dates: whatever they date, their cells tell how this team writes dates."""
    dated: list[tuple[Seen, Field]] = []
    for decision in decisions:
        best = decision.sure or next(iter(decision.candidates), None)
        field = contract.fields[best.field] if best is not None else None
        if best is not None and field is not None and field.type == "date" and best.fit.read:
            dated.append((decision.seen, field))
    return dated


def _read_all(
    files: Sequence[Path], limits: Limits, progress: Callable[[str], None] | None
) -> tuple[list[tuple[str, Sheet]], list[TriageError]]:
    sheets: list[tuple[str, Sheet]] = []
    errors: list[TriageError] = []
    for path in files:
        shown = path.as_posix()
        if progress is not None:
            progress(f"reading {shown}")
        try:
            sheets += [(shown, sheet) for sheet in read_sheets(path, shown, None, limits)]
        except ManyErrors as many:
            errors += many.errors
        except TriageError as error:
            errors.append(error)
    return sheets, errors


def _tables(
    sheets: list[tuple[str, Sheet]], exact: Mapping[str, str]
) -> tuple[list[SheetSeen], list[LeftOut]]:
    """Sheets with a table where most rows have it; a profile has one layout for all its sheets."""
    found: list[SheetSeen] = []
    left_out: list[LeftOut] = []
    for file, sheet in sheets:
        start = None if sheet.is_empty else find_start(sheet, exact)
        if start is not None:
            found.append(table_of(file, sheet, start))
        else:
            why = "it is empty" if sheet.is_empty else "no line of it looks like survey headings"
            left_out.append(LeftOut(file, sheet.name, why, is_table=False))
    rows: dict[TableStart, int] = {}
    for part in found:
        rows[part.start] = rows.get(part.start, 0) + part.rows + 1
    if not rows:
        return [], left_out
    usual = max(rows, key=lambda start: (rows[start], -start.header))
    for part in found:
        if part.start != usual:
            row = layout_of(part.start, part.sheet).header_row
            why = (
                f"its headings begin in row {row} or are built otherwise; it needs its own profile"
            )
            left_out.append(LeftOut(part.file, part.sheet.name, why, is_table=True))
    return [part for part in found if part.start == usual], left_out


def _layout(
    found: list[SheetSeen], left_out: list[LeftOut], sheets: list[tuple[str, Sheet]]
) -> Layout:
    """The layout, with the names of the sheets if they are the same in every workbook.

    Sheets with a table of another layout stay named, so that a run refuses them instead of
    leaving their rows out.
    """
    layout = layout_of(found[0].start, found[0].sheet)
    wanted: dict[str, dict[str, None]] = {}
    for file, sheet in sheets:
        wanted.setdefault(file, {})
        is_described = any(p.file == file and p.sheet is sheet for p in found)
        is_other = any(s.file == file and s.sheet == sheet.name and s.is_table for s in left_out)
        if sheet.name is not None and (is_described or is_other):
            wanted[file][sheet.name] = None
    names = {tuple(sorted(named)) for named in wanted.values()}
    if len(names) != 1 or names == {()}:
        return layout
    ordered = tuple(next(iter(wanted.values())))
    return Layout(ordered, layout.header_row, layout.header_lines, layout.units_row)


def _nothing_found(files: Sequence[Path], errors: list[TriageError]) -> TriageError:
    if errors:
        return errors[0] if len(errors) == 1 else ManyErrors(errors)
    what = "no sheet holds a line with two known headings, so no table was found"
    fix = "write the profile by hand; schemas/profiles/example.toml shows how"
    return FileError(what, ", ".join(path.as_posix() for path in files), fix)


def _words(decisions: Sequence[Decision], contract: Contract) -> tuple[Words, ...]:
    found: dict[str, Words] = {}
    for decision in sorted(decisions, key=lambda d: d.sure is None):
        best = decision.sure or next(iter(decision.candidates), None)
        if best is None or best.field in found:
            continue
        field = contract.fields[best.field]
        words = unknown_words_of(decision.seen, field, best.fit.unread, contract)
        if words is not None and field.type in ("code", "codes"):
            found[best.field] = words
    return tuple(found.values())
