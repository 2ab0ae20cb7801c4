"""Foamed roofs as a wave of inspections drew them: strata, the rate over all, what follows."""

from collections.abc import Callable

import polars as pl

from triage.learn.detection import at_most_failing
from triage.learn.rates import Total, total
from triage.report.document import Figure, Grid, Span, Words
from triage.report.labels import plain
from triage.summary.foam_shares import METHOD, interval_of, percents, rounded_note, span_figure
from triage.summary.told import NO_SHARE, Told
from triage.summary.wave import WaveFound

Counts = Callable[[str, str], int | None]
"""A count by stratum (or all) and status; the status "failing" is one of those opened."""
_COLUMNS = (
    *("Stratum", "Roofs (N)", "Drawn", "Opened", "Failing", "Not completed"),
    *("Share failing, interval", "Failing roofs of N"),
)


def wave_blocks(told: Told, wave: WaveFound, suffix: str) -> list[Words | Grid | Figure]:
    """Strata, the rate over all of them, non-response and what follows.

    Parameters
    ----------
    told
        Printed counts; of the wave, if they are not the true ones.
    wave
        What was found. To a reader from whom counts are withheld nothing of it is told but which
        strata were opened as planned.
    suffix
        Sets the tables of several waves apart.
    """
    counts = _printed(told) if told.rule.withholds else _true(wave.roofs)
    strata = wave.by_stratum["stratum"].to_list()
    whole = _pooled(told, counts, strata, wave) if told.rule.withholds else wave.whole
    if whole is not None and whole.opened < told.rule.percent_min:
        whole = None
    spans = [span for stratum in strata if (span := _span(told, counts, stratum))]
    blocks: list[Words | Grid | Figure] = [
        Words(f"{wave.words}.{_not_in_it(told, wave)}"),
        _strata(told, counts, wave, whole, suffix),
        Words(_over_all(told, counts, wave, whole)),
    ]
    if spans:
        blocks.append(span_figure(spans, f"foam_intervals{suffix}"))
    blocks.append(Words(_non_response(told, counts, wave)))
    return [*blocks, *_what_follows(told, counts, wave, suffix)]


def _not_in_it(told: Told, wave: WaveFound) -> str:
    if told.rule.withholds:
        return ""
    done = f" {wave.done:,} roofs that earlier waves had opened are not in N."
    fresh = (
        f" {wave.fresh:,} roofs that carry foam were not known when it was drawn: it says nothing "
        "of them."
    )
    return (done if wave.done else "") + (fresh if wave.fresh else "")


def _printed(told: Told) -> Counts:
    def count(stratum: str, status: str) -> int | None:
        if status == "failing":
            return told.homes("roof_verdicts", stratum=stratum, verdict="failing")
        return told.homes("roofs", stratum=stratum, status=status)

    return count


def _true(roofs: pl.DataFrame) -> Counts:
    def count(stratum: str, status: str) -> int:
        of = pl.lit(value=True) if stratum == "all" else pl.col("stratum") == stratum
        such = pl.lit(value=True) if status == "all" else pl.col("status") == status
        return roofs.filter(of & (pl.col("is_failing") if status == "failing" else such)).height

    return count


def _strata(told: Told, counts: Counts, wave: WaveFound, whole: Total | None, suffix: str) -> Grid:
    rows = []
    for row in wave.by_stratum.to_dicts():  # a row a stratum
        stratum = str(row["stratum"])
        opened, failing = counts(stratum, "opened"), counts(stratum, "failing")
        said = percents(interval_of(told, failing, opened))
        of_all = f"{row['failing_low']:,} to {row['failing_high']:,}"
        has_range = not told.rule.withholds and opened
        shown = "not opened" if opened == 0 else said
        rows.append((*_counted(told, counts, stratum), shown, of_all if has_range else NO_SHARE))
    rows.append((*_counted(told, counts, "all"), *_whole_words(told, whole)))
    weighed = f" All strata: {whole.method}." if whole else ""
    effect = wave.plan.effect
    clusters = f" Design effect of clusters: {effect:.2f}." if effect > 1 else ""
    notes = (
        f"{METHOD} Failing roofs of N: inverted hypergeometric, the same confidence.{weighed}"
        f"{clusters} Drawn: by chance, stand-ins from the reserve included. Roofs found without "
        "foam are not among those that may fail. A stratum groups roofs alike in how they fail, "
        "as they were when the wave was drawn.",
        *rounded_note(told),
        *told.notes,
    )
    return Grid(
        f"foam_strata{suffix}",
        "Foamed roofs by stratum: opened at random, and what that says",
        _COLUMNS,
        tuple(rows),
        notes=notes,
        widths=(3.3, 0.8, 0.8, 0.9, 0.9, 1.1, 1.5, 1.4),
        has_total=True,
    )


def _counted(told: Told, counts: Counts, stratum: str) -> tuple[str, ...]:
    roofs, chance = counts(stratum, "all"), counts(stratum, "not selected at random")
    drawn = None if roofs is None or chance is None else roofs - chance
    if drawn is not None and told.rule.withholds and drawn < told.rule.cell_min:
        drawn = None  # the difference of two rounded counts, and a small one
    rest = [counts(stratum, status) for status in ("opened", "failing", "not completed")]
    label = "All strata" if stratum == "all" else stratum
    return (label, *map(told.text, (roofs, drawn, *rest)))


def _span(told: Told, counts: Counts, stratum: str) -> Span | None:
    opened, failing = counts(stratum, "opened"), counts(stratum, "failing")
    span = interval_of(told, failing, opened)
    if span is None or not opened or failing is None:
        return None
    return Span(stratum, *span, failing / opened, f"n = {opened:,}")


def _pooled(told: Told, counts: Counts, strata: list[str], wave: WaveFound) -> Total | None:
    """The rate over all strata out of printed counts alone; None if one of them is withheld.

    The interval is the widest that the possible counts give; N is taken as it is printed.
    """
    printed = [[counts(s, what) for what in ("all", "opened", "failing")] for s in strata]
    known = [[n for n in row if n is not None] for row in printed]
    if any(len(row) < 3 for row in known):
        return None
    tables = []
    for least_failing in (True, None, False):
        rows = []
        for roofs, opened, failing in known:
            x, n = failing, opened
            if least_failing is not None:
                x = told.possible(failing, least=least_failing)
                n = told.possible(opened, least=not least_failing)
            rows.append((max(roofs, n), n, min(x, n)))
        tables.append(pl.DataFrame(rows, ["roofs", "opened", "failing"], orient="row"))
    low, said, high = (total(table, wave.plan) for table in tables)
    share = None if low.share is None or high.share is None else said.share
    ends = min(low.low, said.low), max(high.high, said.high)
    most = low.failing_low, high.failing_high
    counted = said.roofs, said.opened, said.failing
    return Total(*counted, share, *ends, *most, said.confidence, said.method)


def _whole_words(told: Told, whole: Total | None) -> tuple[str, str]:
    if whole is None:
        return NO_SHARE, NO_SHARE
    span = percents((whole.low, whole.high))
    roofs = f"{whole.failing_low:,} to {whole.failing_high:,}"
    said = f"range {span}" if whole.share is None else f"{whole.share:.0%}, {span}"
    return said, NO_SHARE if told.rule.withholds else roofs


def _over_all(told: Told, counts: Counts, wave: WaveFound, whole: Total | None) -> str:
    if counts("all", "opened") == 0:
        return "Random openings: none recorded of this wave. Without them no share can be given."
    if whole is None:
        why = "a count of a stratum is withheld, or " if told.rule.withholds else ""
        least = told.rule.percent_min
        return f"No rate over all strata: {why}fewer than {least} roofs were opened at random."
    span = f"{whole.low:.0%} to {whole.high:.0%}"
    about = "about " if told.rule.rounding > 1 else ""
    whole_roofs = f"{about}{whole.roofs:,} roofs"
    if whole.share is None:
        few = f"{wave.plan.policy.number('few_openings'):g}"
        return (
            f"Estimated range: {span} of {whole_roofs} failing, at {whole.confidence:.0%} "
            f"confidence. No single figure: fewer than {few} roofs of a stratum were opened, so "
            "the bounds of the strata are added up."
        )
    return (
        f"Estimated {whole.share:.0%} of {whole_roofs} failing (interval {span}): {about}"
        f"{whole.failing:,} of {whole.opened:,} opened at random, each stratum weighted by its "
        "roofs. Roofs that could not be opened are taken to fail like those that were."
    )


def _non_response(told: Told, counts: Counts, wave: WaveFound) -> str:
    lost, waiting = counts("all", "not completed"), counts("all", "not visited yet")
    said = f"Non-response: {told.text(lost)} roofs drawn by chance, not completed"
    if told.rule.withholds:
        return f"{said}; {told.text(waiting)} not visited yet."
    reasons = wave.roofs.drop_nulls("why_not").group_by("why_not").len().sort("why_not")
    by = ", ".join(f"{plain(str(why))} {n:,}" for why, n in reasons.iter_rows())
    visited = wave.roofs.height - (waiting or 0) - (counts("all", "not selected at random") or 0)
    share = f" ({lost / visited:.0%} of {visited:,} visited)" if lost and visited >= 10 else ""
    left = ""
    if wave.left_out:
        left = (
            f" {wave.left_out:,} inspections call themselves random of roofs that the wave did not "
            "draw, or of its reserve out of turn; they are not used."
        )
    return f"{said}{share}{': ' + by if by else ''}; {waiting or 0:,} not visited yet.{left}"


def _what_follows(
    told: Told, counts: Counts, wave: WaveFound, suffix: str
) -> list[Words | Grid | Figure]:
    """What a stratum calls for; outsiders read only that nothing was found, where it may be."""
    if told.rule.withholds:
        said = [_none_found(told, counts, stratum, wave) for stratum in sorted(wave.reached)]
        return [Words(text) for text in said if text]
    by_stratum = wave.actions.group_by("stratum", maintain_order=True).agg(
        pl.col("because").str.join("; "), pl.col("to_do").str.join(" ")
    )
    heads = ("Stratum", "Found at random", "What follows")
    title = "What follows for each stratum"
    rows = tuple(by_stratum.iter_rows())
    return [Grid(f"foam_actions{suffix}", title, heads, rows, 3, (), (2.6, 2.6, 3))] if rows else []


def _none_found(told: Told, counts: Counts, stratum: str, wave: WaveFound) -> str | None:
    """Said of printed counts: the fewest that may have been opened, of the most there may be."""
    roofs, opened = counts(stratum, "all"), counts(stratum, "opened")
    if not roofs or not opened or counts(stratum, "failing") != 0:
        return None
    most, least = told.possible(roofs, least=False), told.possible(opened, least=True)
    plan = wave.plan
    fail = at_most_failing(most, min(least, most), 0, plan.sure, plan.sensitivity, plan.effect)
    return (
        f"{stratum}: no failing roof found in about {opened:,} of {roofs:,} opened at random; at "
        f"{plan.sure:.0%} confidence at most {fail:,} fail."
    )
