"""The fixed parts of the page: small tables and words, every text escaped."""

from collections.abc import Iterable, Mapping, Sequence
from html import escape
from typing import Any

import polars as pl

from triage.report.labels import (
    LIMITS,
    LOOK,
    PRE_START,
    QUEUES,
    SAFE_MAY_CLAIM,
    SAFE_MAY_NOT_CLAIM,
    SURVEY_QUALITIES,
    plain,
    visible,
)
from triage.report.summary import PERCENT_FROM

Cell = str | int | None
_MOST_KINDS = 40
_PLACES = {
    "rooftop": "Building",
    "address": "Plot or street number",
    "post_unit": "Full postcode",
    "post_sector": "Postcode sector or ZIP code",
    "admin_area": "Postcode area, council or county",
    "unplaced": "No usable place",
}
_SHAPES = (
    '<circle cx="8" cy="8" r="6.5" fill="{fill}" stroke="#1c1f23"/>',
    '<path d="M1 2.5H15L8 15Z" fill="{fill}" stroke="#1c1f23"/>',
    '<rect x="2" y="2" width="12" height="12" fill="{fill}" stroke="#1c1f23"/>'
    '<path d="M2 8L8 2M2 14L14 2M8 14L14 8" stroke="{ink}"/>',
)
_DEFINITIONS = (
    (
        "Home-part-measure",
        "One proposed measure for one part of one home. Queues and lanes are decided for each.",
    ),
    ("Home by its worst queue", "Fix water first counts before specialist review, before safe."),
    (
        "Safe to insulate",
        f"{SAFE_MAY_CLAIM} {SAFE_MAY_NOT_CLAIM} {PRE_START}",
    ),
    ("Released", "Safe, and nothing that must come first is outstanding."),
    (
        "Checks outstanding",
        "Safe, but checks of the named points or enabling work come before the work starts.",
    ),
    (
        "Cannot be decided yet",
        "A rule that the measure requires cannot be evaluated on the evidence held. "
        "That is not low risk.",
    ),
    (
        "Percentages",
        f"Shares of what is chosen, printed from {PERCENT_FROM} upwards; below that the count "
        "stands in their place.",
    ),
)


def text(value: object) -> str:
    """Any value as text of a page."""
    return escape(visible(str(value)))


def items(lines: Iterable[str]) -> str:
    """Lines of a list."""
    return "".join(f"<li>{text(line)}</li>" for line in lines)


def table(caption: str, heads: Sequence[str], lines: Iterable[Sequence[Cell]]) -> str:
    """One table; the first cell of a line is its heading, whole numbers stand to the right."""
    rows = [list(line) for line in lines]
    numeric = [bool(rows) and isinstance(rows[0][n], int) for n in range(len(heads))]
    top = "".join(
        f'<th scope="col"{_right(right)}>{text(head)}</th>'
        for head, right in zip(heads, numeric, strict=True)
    )
    body = "".join(f"<tr>{''.join(_cell(c, n) for n, c in enumerate(row))}</tr>" for row in rows)
    if not rows:
        body = f'<tr><td colspan="{len(heads)}">None.</td></tr>'
    return (
        f'<div class="scroll" tabindex="0" role="region" aria-label="{text(caption)}"><table>'
        f"<caption>{text(caption)}</caption><thead><tr>{top}</tr></thead>"
        f"<tbody>{body}</tbody></table></div>"
    )


def _right(numeric: bool) -> str:
    return ' class="n"' if numeric else ""


def _cell(value: Cell, place: int) -> str:
    shown = "–" if value is None else f"{value:,}" if isinstance(value, int) else text(value)
    if place == 0:
        return f'<th scope="row">{shown}</th>'
    return f"<td{_right(isinstance(value, int))}>{shown}</td>"


def hatch() -> str:
    """Hatching of the rings on the map, as the mark of a specialist's review has it.

    The rings begin at the top and are therefore turned by a quarter, their hatching with them.
    """
    look = QUEUES[2]
    return (
        '<svg class="hatch" width="0" height="0" aria-hidden="true">'
        '<pattern id="hatch" width="6" height="6" patternUnits="userSpaceOnUse">'
        f'<path d="M0 0H6V6H0Z" fill="{look.fill}"/>'
        f'<path d="M-1-1L7 7" stroke="{look.ink}" stroke-width="1.2"/></pattern></svg>'
    )


def legend() -> str:
    """The three marks of the map with their names."""
    return "".join(
        f'<li data-queue="{number}"><svg class="mark" viewBox="0 0 16 16" aria-hidden="true">'
        f"{shape.format(fill=look.fill, ink=look.ink)}</svg>{text(look.title)}</li>"
        for number, (look, shape) in enumerate(zip(QUEUES, _SHAPES, strict=True))
    )


def definitions() -> str:
    """Words that the page uses."""
    queues = ((look.title, look.meaning) for look in QUEUES[1:])
    told = (*_DEFINITIONS[:3], *queues, *_DEFINITIONS[3:])
    return "".join(f"<dt>{text(name)}</dt><dd>{text(meaning)}</dd>" for name, meaning in told)


def limits(not_evaluated: Sequence[str]) -> str:
    """What the results are not, and what was not looked at."""
    if not not_evaluated:
        return text(LIMITS)
    return text(f"{LIMITS} Not evaluated in this version: {', '.join(not_evaluated)}.")


def quality(record: Mapping[str, Any], tables: Mapping[str, pl.DataFrame]) -> str:
    """Rows in and out, problems, quality of surveys, places, disagreement, batches to revisit.

    `tables` holds problem (kind), survey (survey_quality, one row a home-part-measure), place
    (location_precision, one row a home), conflict (property_id) and batch (message).
    """
    rows = record["rows"]
    kinds = ("read", "accepted", "rejected", "superseded")
    problems = _counts(tables["problem"], "kind")
    parts = [
        table(
            "Survey rows: read = accepted + rejected + superseded",
            ["Rows", "Number"],
            [(name.capitalize(), int(rows[name])) for name in kinds],
        ),
        table(
            "What could not be read, placed or believed; each is listed in queues.xlsx",
            ["Kind", "Number"],
            [(plain(kind).capitalize(), n) for kind, n in problems[:_MOST_KINDS]],
        ),
        table(
            "Quality of the survey behind each home-part-measure",
            ["Survey", "Home-part-measures"],
            [
                (SURVEY_QUALITIES.get(kind, plain(kind)), n)
                for kind, n in _counts(tables["survey"], "survey_quality")
            ],
        ),
        table(
            "How well the place of a home is known",
            ["Place known to the", "Homes"],
            [
                (_PLACES.get(kind, plain(kind)), n)
                for kind, n in _counts(tables["place"], "location_precision")
            ],
        ),
    ]
    disputed = tables["conflict"]["property_id"].n_unique()
    said = [f"Homes on which two sources disagree: {disputed:,}."]
    said += tables["batch"]["message"].to_list()
    told = "".join(f"<p>{text(line)}</p>" for line in said)
    return f'<div class="two">{"".join(f"<div>{part}</div>" for part in parts)}</div>{told}'


def _counts(frame: pl.DataFrame, column: str) -> list[tuple[str, int]]:
    counted = frame.group_by(pl.col(column).fill_null("not known")).agg(n=pl.len().cast(pl.Int64))
    return counted.sort("n", column, descending=[True, False]).rows()


def queue_words() -> str:
    """Below the queue table: what ends a stay in each queue."""
    return "".join(
        f'<p class="note">{text(look.title)} ends when {text(look.leaves)}.</p>' for look in QUEUES
    )


def movement(moved: pl.DataFrame | None, queue: pl.DataFrame) -> str:
    """From-to table and causes of a comparison, or nothing.

    `moved` is movement.parquet of a comparison whose later run this is, with causes as one text.
    """
    if moved is None:
        return ""
    names = [look.queue for look in QUEUES]
    key = ["property_id", "building_part", "measure_code"]
    still = queue.join(moved, on=key, how="anti").select(
        change=pl.lit("same"), from_queue="queue", to_queue="queue"
    )
    steps = pl.concat([still, moved.select("change", "from_queue", "to_queue")])
    tally = {(a, b): n for a, b, n in steps.group_by("from_queue", "to_queue").len().rows()}
    lines: list[tuple[Cell, ...]] = [
        (_queue_title(a), *(int(tally.get((a, b), 0)) for b in (*names, None)))
        for a in (*names, None)
        if a is not None or any(tally.get((None, b)) for b in names)
    ]
    heads = ["Before", *(LOOK[name].title for name in names), "No longer listed"]
    by_cause = moved.group_by(pl.col("cause").fill_null("not known"), "how", "change").agg(
        n=pl.len().cast(pl.Int64)
    )
    causes = by_cause.sort("n", "cause", "how", "change", descending=[True, False, False, False])
    return (
        '<section aria-labelledby="moves-title"><h2 id="moves-title">Movement since the run before'
        '</h2><p class="note">Of the whole run, whatever is chosen above. Home-part-measures.</p>'
        + table("From queue (down) to queue (across)", heads, lines)
        + table(
            "Why they moved",
            ["Causes", "How they act", "What happened", "Home-part-measures"],
            [
                (cause, plain(how or ""), plain(change), n)
                for cause, how, change, n in causes.rows()
            ],
        )
        + "</section>"
    )


def _queue_title(queue: str | None) -> str:
    return "Not listed before" if queue is None else LOOK[queue].title
