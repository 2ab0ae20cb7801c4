"""The [columns] part of a drafted profile: sure headings as lines, the others as comments."""

from collections.abc import Iterator

from triage.contract import Contract
from triage.contract.profile import Layout
from triage.intake.draft import Draft
from triage.intake.draft_decide import Candidate, Decision
from triage.intake.draft_seen import Seen
from triage.intake.draft_values import UnitSeen, says_resistance
from triage.report.toml_text import inert_words, quoted

_EXAMPLES = 4
_PLACES = 4
_MIDNIGHT = " 00:00:00"  # how a date cell of a workbook arrives


def column_lines(draft: Draft, contract: Contract) -> Iterator[str]:
    """All of [columns]."""
    yield "[columns]"
    yield f"# Sure: {len(draft.sure)} headings. Read them through all the same."
    owners = {d.sure.field: d.seen.heading for d in draft.sure if d.sure is not None}
    for decision in draft.sure:
        yield ""
        yield from _sure_lines(decision, contract)
    yield ""
    if not draft.open and not draft.nameless:
        yield "# Nothing is left to decide."
        return
    yield f"# To decide: {len(draft.open)} headings. For each, take the # off one line, correct it,"
    yield "# or put the heading under [ignore]. Until then a run refuses it as unknown."
    for decision in draft.open:
        yield ""
        yield from _open_lines(decision, contract, owners)
    for nameless in draft.nameless:
        yield ""
        yield f"# {inert_words(str(nameless.place), 120)}: {nameless.cells} cells and no heading."
        yield "# No profile can name it: give it a heading in the file, or empty it."


def places_text(seen: Seen) -> str:
    """Where the heading stands: "column C", or column and sheet if it stands in several."""
    letters = dict.fromkeys(str(place.column) for place in seen.places)
    if len(seen.places) == 1 or len(letters) == 1:
        sheets = "" if len(seen.places) == 1 else f" of {len(seen.places)} sheets"
        return f"column {next(iter(letters))}{sheets}"
    named = [
        f"{place.column} of {inert_words(place.sheet or place.file)}"
        for place in seen.places[:_PLACES]
    ]
    more = len(seen.places) - len(named)
    return "columns " + ", ".join(named) + (f" and {more} more" if more > 0 else "")


def examples_text(seen: Seen) -> str:
    """The most frequent texts of the column with their counts."""
    few = list(seen.values.items())[:_EXAMPLES]
    if not few:
        return "no cell is filled"
    shown = [(inert_words(text.removesuffix(_MIDNIGHT)), count) for text, count in few]
    return "such as " + ", ".join(f"'{text}' ({count})" for text, count in shown)


def counts_text(seen: Seen) -> str:
    """How many cells were looked at, in one phrase."""
    blanks = f", {seen.blanks} blank" if seen.blanks else ""
    return f"{seen.cells} cells{blanks}"


def entry(heading: str, candidate: Candidate, unit: str | None = None) -> str:
    """The line of [columns] that maps the heading."""
    if unit is None:
        return f"{quoted(heading)} = {quoted(candidate.field)}"
    return f"{quoted(heading)} = {{ field = {quoted(candidate.field)}, unit = {quoted(unit)} }}"


def layout_text(layout: Layout) -> str:
    """The layout in words, for the summary."""
    lines = "" if layout.header_lines == 1 else f", {layout.header_lines} lines"
    units = ", a units row under them" if layout.units_row else ""
    return f"headings in row {layout.header_row}{lines}{units}"


def _sure_lines(decision: Decision, contract: Contract) -> Iterator[str]:
    seen, own = decision.seen, decision.sure
    assert own is not None
    yield f"# {places_text(seen)}: {counts_text(seen)}; {examples_text(seen)}"
    how = "" if own.is_exact else f"; almost {quoted(own.known)}"
    yield f"#   {_fit_text(own, contract)}{how}"
    unit = own.unit
    yield entry(seen.heading, own, unit.stated if unit is not None else None)
    if unit is not None and unit.stated is None:
        yield from _unit_lines(decision, own, unit, contract)


def _unit_lines(
    decision: Decision, own: Candidate, unit: UnitSeen, contract: Contract
) -> Iterator[str]:
    seen, field = decision.seen, contract.fields[own.field]
    if says_resistance(seen, field):
        yield "#   R-values, it seems. If so, write this line instead, and [thermal_r] below:"
        yield f"# {entry(seen.heading, own, 'R')}"
        return
    if not unit.bare:
        yield "#   unit: every number carries its own, or there is none yet"
        return
    yield f"#   unit: {unit.bare} numbers have none, and neither heading nor units row says it;"
    yield f"#   they are in range as {_shares(unit)}. Without a unit they stay unknown."
    yield "#   Ask the team, then write this line instead:"
    yield f"# {entry(seen.heading, own, _likeliest(unit))}"


def _open_lines(decision: Decision, contract: Contract, owners: dict[str, str]) -> Iterator[str]:
    seen = decision.seen
    yield f"# {quoted(inert_words(seen.heading, 80))}, {places_text(seen)}: {counts_text(seen)};"
    yield f"#   {examples_text(seen)}"
    yield f"#   {inert_words(decision.why, 160)}"
    for place in seen.places[1:] if seen.is_doubled else ():
        yield f"#   also {inert_words(str(place), 120)}: rename or delete one of the two"
    for candidate in decision.candidates:
        unit = candidate.unit.stated if candidate.unit is not None else None
        field = contract.fields[candidate.field]
        if unit is None and says_resistance(seen, field):
            unit = "R"
        elif unit is None and candidate.unit is not None and candidate.unit.bare:
            unit = _likeliest(candidate.unit)
        yield f"# {entry(seen.heading, candidate, unit)}  # {_reason(candidate, contract, owners)}"
    if not decision.candidates:
        yield f'# {quoted(seen.heading)} = ""  # no field is like it; `triage fields` lists them'


def _reason(candidate: Candidate, contract: Contract, owners: dict[str, str]) -> str:
    parts = [_fit_text(candidate, contract)]
    if candidate.is_exact:
        parts.append("a known heading of it")
    elif candidate.known:
        likeness = f"{candidate.likeness:.0f} of 100"
        parts.append(f"like '{inert_words(candidate.known)}' ({likeness})")
    unit = candidate.unit
    if unit is not None and unit.stated is None and unit.bare:
        parts.append(f"unit not stated, in range as {_shares(unit)}")
    if candidate.field in owners:
        parts.append(f"but '{inert_words(owners[candidate.field])}' fills it already")
    return "; ".join(parts)


def _fit_text(candidate: Candidate, contract: Contract) -> str:
    fit, field = candidate.fit, contract.fields[candidate.field]
    if field.type in ("text", "texts"):
        return "any text fits"
    if not fit.told:
        return "no answer to try"
    return f"{fit.read} of {fit.told} answers can be read"


def _shares(unit: UnitSeen) -> str:
    return ", ".join(f"{name} {share:.0%}" for name, share in unit.fits.items()) or "none"


def _likeliest(unit: UnitSeen) -> str | None:
    """The unit in which most numbers are in range; of equals the first, the field's own."""
    return max(unit.fits, key=lambda name: unit.fits[name], default=None)
