"""Shares of foamed roofs that fail, as they are printed."""

from triage.report.document import Figure, Span
from triage.summary.roofs import CONFIDENCE, share_interval
from triage.summary.told import NO_SHARE, Told

METHOD = f"Interval: Wilson score, {CONFIDENCE:.0%} two-sided."


def rounded_note(told: Told) -> tuple[str, ...]:
    """That intervals are wider for a reader of rounded counts."""
    if told.rule.rounding == 1:
        return ()
    return ("The interval is the widest that the rounded counts leave possible.",)


def interval_of(told: Told, failing: int | None, opened: int | None) -> tuple[float, float] | None:
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


def span_figure(spans: list[Span], name: str = "foam_intervals") -> Figure:
    """Shares of strata with their intervals."""
    ends = f"{min(s.low for s in spans):.0%} to {max(s.high for s in spans):.0%}"
    title = f"Estimated share of roofs failing: the intervals of the strata shown span {ends}"
    alt = "; ".join(f"{s.label}: {s.low:.0%} to {s.high:.0%}, {s.shown}" for s in spans) + "."
    unit = f"Estimated share of roofs that fail, percent of each stratum. {METHOD} n roofs opened."
    return Figure(name, title, unit, alt, tuple(spans))
