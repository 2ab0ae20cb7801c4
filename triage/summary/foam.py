"""Part 7 of a programme summary: roofs that already carry foam, stream by stream."""

from collections.abc import Sequence

import polars as pl

from triage.report.document import Figure, Grid, Section, Span, Words
from triage.report.labels import plain
from triage.store import Store
from triage.summary.counts import FOUND
from triage.summary.foam_shares import METHOD, interval_of, percents, rounded_note, span_figure
from triage.summary.foam_wave import wave_blocks
from triage.summary.roofs import roofs_range
from triage.summary.told import NO_SHARE, Told
from triage.summary.wave import WaveFound


def foam_part(told: Told, store: Store, waves: Sequence[WaveFound] = ()) -> Section:
    """Strata with their intervals, non-response, and what other streams found.

    With waves, the strata, draws and rates are theirs; the last one comes first.
    """
    title = "7  Roofs that already carry foam"
    if not told.has("roofs"):
        return Section(title, (Words("Foamed roofs: none found in the surveys of this run."),))
    if waves:
        own = [
            block
            for number, wave in enumerate(reversed(waves), start=1)
            for block in wave_blocks(told, wave, "" if number == 1 else f"_{number}")
        ]
        return Section(title, (*own, *_targeted(told, store)))
    return Section(title, (*_as_found(told), _non_response(told, store), *_targeted(told, store)))


def _as_found(told: Told) -> list[Words | Grid | Figure]:
    """Strata as the inspections and surveys name them: what was drawn is not known."""
    strata = sorted(set(told.release.tables["roofs"]["stratum"]) - {"all"})
    rows, spans = [], []
    for stratum in [*strata, "all"]:
        roofs = told.homes("roofs", stratum=stratum)
        opened = told.homes("roofs", stratum=stratum, status="opened")
        lost = told.homes("roofs", stratum=stratum, status="not completed")
        failing = told.homes("roof_verdicts", stratum=stratum, verdict="failing")
        span = interval_of(told, failing, opened)
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
            *rounded_note(told),
            *told.notes,
        ),
        widths=(3.6, 0.9, 1, 0.9, 1.1, 1.5, 1.4),
        has_total=True,
    )
    blocks: list[Words | Grid | Figure] = [grid]
    opened = told.homes("roofs", status="opened")
    if opened == 0:
        blocks.append(Words("Random openings: not recorded. Without them no share can be given."))
    else:
        blocks.append(Words("No wave of inspections was named: no rate over all strata is given."))
    if spans:
        blocks.append(span_figure(spans))
    return blocks


def _out_of(told: Told, failing: int | None, opened: int | None, roofs: int | None) -> str:
    """Whole roofs, only where the counts are exact."""
    if told.rule.rounding > 1 or failing is None or not opened or roofs is None:
        return NO_SHARE
    low, high = roofs_range(failing, opened, roofs)
    return f"{low:,} to {high:,}"


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
