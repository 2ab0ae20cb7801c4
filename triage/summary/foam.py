"""Part 7 of a programme summary: roofs that already carry foam, stream by stream."""

import polars as pl

from triage.report.document import Figure, Grid, Section, Span, Words
from triage.report.labels import plain
from triage.store import Store
from triage.summary.counts import FOUND
from triage.summary.roofs import CONFIDENCE, roofs_range, share_interval
from triage.summary.told import NO_SHARE, Told

METHOD = f"Interval: Wilson score, {CONFIDENCE:.0%} two-sided."


def foam_part(told: Told, store: Store) -> Section:
    """Strata with their intervals, non-response, and what other streams found."""
    title = "7  Roofs that already carry foam"
    if not told.has("roofs"):
        return Section(title, (Words("Foamed roofs: none found in the surveys of this run."),))
    strata = sorted(set(told.release.tables["roofs"]["stratum"]) - {"all"})
    rows, spans = [], []
    for stratum in [*strata, "all"]:
        roofs = told.homes("roofs", stratum=stratum)
        opened = told.homes("roofs", stratum=stratum, status="opened")
        lost = told.homes("roofs", stratum=stratum, status="not completed")
        failing = told.homes("roof_verdicts", stratum=stratum, verdict="failing")
        span = _interval(told, failing, opened)
        # Strata are opened at unlike rates: their plain sum is no estimate.
        whole = _out_of(told, failing, opened, roofs)
        if stratum == "all" and len(strata) > 1:
            span, whole = None, NO_SHARE
        said = "not opened" if opened == 0 else percents(span)
        label = "All strata" if stratum == "all" else stratum
        counts = map(told.text, (roofs, opened, failing, lost))
        rows.append((label, *counts, said, whole))
        if span and opened and failing is not None and stratum != "all":
            spans.append(Span(label, *span, failing / opened, f"n = {opened:,}"))
    grid = Grid(
        "foam_strata",
        "Foamed roofs by stratum: opened at random, and what that says",
        (
            *("Stratum", "Roofs (N)", "Opened at random", "Failing", "Not completed"),
            *("Share failing, interval", "Failing roofs of N"),
        ),
        tuple(rows),
        notes=(
            f"{METHOD} Failing roofs of N: inverted hypergeometric, the same confidence. A "
            "stratum groups roofs alike in how they fail.",
            *_rounded_note(told),
            *told.notes,
        ),
        widths=(3.6, 0.9, 1, 0.9, 1.1, 1.5, 1.4),
        has_total=True,
    )
    blocks: list[Words | Grid | Figure] = [grid]
    opened = told.homes("roofs", status="opened")
    if opened == 0:
        blocks.append(Words("Random openings: not recorded. Without them no share can be given."))
    if spans:
        blocks.append(_span_figure(spans))
    blocks += [_non_response(told, store), *_targeted(told, store)]
    return Section(title, tuple(blocks))


def _rounded_note(told: Told) -> tuple[str, ...]:
    if told.rule.rounding == 1:
        return ()
    return ("The interval is the widest that the rounded counts leave possible.",)


def _interval(told: Told, failing: int | None, opened: int | None) -> tuple[float, float] | None:
    """Made of printed counts alone, so that it tells nothing more than they do."""
    if not opened or failing is None or opened < told.rule.percent_min:
        return None
    counts = [
        (told.possible(n, least=True), told.possible(n, least=False)) for n in (failing, opened)
    ]
    return share_interval(*counts)


def percents(span: tuple[float, float] | None) -> str:
    """An interval of a share as it is printed."""
    return NO_SHARE if span is None else f"{span[0]:.0%} to {span[1]:.0%}"


def _out_of(told: Told, failing: int | None, opened: int | None, roofs: int | None) -> str:
    """Whole roofs, only where the counts are exact."""
    if told.rule.rounding > 1 or failing is None or not opened or roofs is None:
        return NO_SHARE
    low, high = roofs_range(failing, opened, roofs)
    return f"{low:,} to {high:,}"


def _span_figure(spans: list[Span]) -> Figure:
    ends = f"{min(s.low for s in spans):.0%} to {max(s.high for s in spans):.0%}"
    title = f"Estimated share of roofs failing: the intervals of the strata shown span {ends}"
    alt = "; ".join(f"{s.label}: {s.low:.0%} to {s.high:.0%}, {s.shown}" for s in spans) + "."
    unit = f"Estimated share of roofs that fail, percent of each stratum. {METHOD} n roofs opened."
    return Figure("foam_intervals", title, unit, alt, tuple(spans))


def _non_response(told: Told, store: Store) -> Words:
    lost = told.homes("roofs", status="not completed")
    if lost == 0 and told.homes("roofs", status="opened") == 0:
        return Words("Non-response: not recorded.")
    words = f"Non-response: {told.text(lost)} roofs selected at random, not completed"
    reasons = store.table("report_roof").filter(pl.col("status") == "not completed")
    if told.rule.withholds or not reasons.height:
        return Words(f"{words}.")
    by = reasons.group_by("why_not").len().sort("why_not")
    told_by = ", ".join(f"{plain(str(why))} {n:,}" for why, n in by.iter_rows())
    return Words(f"{words}: {told_by}.")


def _targeted(told: Told, store: Store) -> list[Words | Grid]:
    """Findings of other streams: to the programme by stream and stratum, to others as counts."""
    found = store.table("report_finding")
    lead = "Found in targeted inspections (not a rate)"
    if not found.height:
        return [Words(f"{lead}: not recorded.")]
    if told.rule.withholds:
        return [_targeted_counts(told, lead)]
    counted = found.group_by("stream", "stratum").agg(
        pl.len().alias("visits"),
        (pl.col("status") == "opened").sum().alias("opened"),
        pl.col("is_failing").sum().alias("failing"),
        pl.col("is_damaged").sum().alias("damaged"),
    )
    rows = tuple(
        (plain(str(stream)), str(stratum), *(f"{n:,}" for n in counts))
        for stream, stratum, *counts in counted.sort("stream", "stratum").iter_rows()
    )
    heads = ("Stream", "Stratum", "Visits", "Opened", "Failing", "Timber damage")
    return [Grid("foam_targeted", lead, heads, rows, texts=2)]


def _targeted_counts(told: Told, lead: str) -> Grid:
    counts = [(what.capitalize(), told.homes("targeted", found=what)) for what in FOUND]
    every = (*counts, ("Roofs visited", told.homes("targeted")))
    rows = tuple((what, told.text(n)) for what, n in every)
    return Grid("foam_targeted", lead, ("Found", "Roofs"), rows, notes=told.notes)
