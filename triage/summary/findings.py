"""Parts 8 to 12 of a programme summary: repairs, decisions, quality, limits, map."""

from dataclasses import replace

import polars as pl

from triage.report.document import Figure, Grid, Section, Spot, Words
from triage.report.labels import LIMITS, PRE_START, plain
from triage.store import Store
from triage.summary.content import legend, shares_of
from triage.summary.counts import REPAIR_STATES
from triage.summary.facts import Facts
from triage.summary.foam import foam_part
from triage.summary.foam_shares import METHOD, percents
from triage.summary.maps import (
    FOLDER,
    Spec,
    area_grid,
    areas_told,
    drawn_specs,
    map_alt,
    map_title,
    specs,
)
from triage.summary.roofs import share_interval
from triage.summary.told import NO_SHARE, Told


def last_parts(told: Told, facts: Facts, store: Store) -> list[Section]:
    """Foamed roofs, repairs, overrides, quality, limits, map."""
    return [
        foam_part(told, store, facts.waves),
        _repairs(told, store),
        _overrides(told, facts),
        _quality(told, store),
        Section(
            "11  Limits",
            (
                Words(LIMITS, strong=True),
                *(Words(text) for text in facts.cautions),
                Words(PRE_START),
            ),
        ),
        _map(told, facts),
    ]


def _repairs(told: Told, store: Store) -> Section:
    title = "8  Repairs"
    repairs = store.table("report_repair")
    if not repairs.height:
        rows = [(what, "not recorded") for what in (*REPAIR_STATES, "median days", "spend range")]
        blank = Grid("repairs", "Repairs", ("Repairs", "Count"), tuple(rows), on_paper=False)
        return Section(
            title, (blank, Words(f"Not recorded: {'; '.join(what for what, _ in rows)}."))
        )
    whole = told.homes("repairs")
    counts = [told.homes("repairs", state=state) for state in REPAIR_STATES]
    lines = [
        (f"Homes whose least advanced repair is {state}", told.text(n))
        for state, n in zip(REPAIR_STATES, counts, strict=True)
    ]
    lines.append(("Homes with a repair", told.text(whole)))
    if not told.rule.withholds:
        states = dict(repairs.group_by("state").len().iter_rows())
        lines += [(f"Repairs {s}", f"{states.get(s, 0):,}") for s in REPAIR_STATES]
        lines.append(("Repairs ordered in all", f"{repairs.height:,}"))
    lines += _days_and_spend(told, repairs)
    note = "A home with several repairs counts under the one that is least far."
    return Section(
        title,
        (
            Grid(
                "repairs", "Repairs", ("Repairs", "Count"), tuple(lines), notes=(note, *told.notes)
            ),
        ),
    )


def _days_and_spend(told: Told, repairs: pl.DataFrame) -> list[tuple[str, str]]:
    """Median days and spend; of a group below the minimum nothing is said."""
    done = repairs.drop_nulls("days").filter(pl.col("days") >= 0)
    lines = []
    # Decided by printed counts, so that whether it is printed tells nothing more.
    ended = [told.homes("repairs", state=state) for state in REPAIR_STATES[1:]]
    enough = None not in ended and sum(n or 0 for n in ended) >= told.rule.cell_min
    median = done.select(pl.col("days").cast(pl.Float64).median()).item()
    days = f"{median:.0f}" if enough and median is not None else NO_SHARE
    lines.append(("Median days from order to completion", days))
    paid = repairs.drop_nulls(["cost_amount", "cost_currency"])
    for (currency,), rows in paid.group_by(["cost_currency"], maintain_order=True):
        said = NO_SHARE
        # The ends of the range are single homes: outsiders get the middle half, to two figures.
        ends = (0.25, 0.75) if told.rule.withholds else (0.0, 1.0)
        many = rows["property_id"].n_unique() >= 2 * told.rule.cell_min
        if not told.rule.withholds or (many and told.homes("repairs") is not None):
            low, high = (rows["cost_amount"].quantile(q, "linear") or 0.0 for q in ends)
            figures = ".2g" if told.rule.withholds else ".6g"
            said = f"{float(f'{low:{figures}}'):,.0f} to {float(f'{high:{figures}}'):,.0f}"
        name = "Spend a repair, middle half" if told.rule.withholds else "Spend a repair, all"
        lines.append((f"{name}, {currency}", said))
    if not paid.height:
        lines.append(("Spend range", "not recorded"))
    return lines


def _overrides(told: Told, facts: Facts) -> Section:
    title = "9  Overrides and exceptions"
    if not told.has("override_rules"):
        return Section(
            title, (Words("Decisions of a named specialist in force on the cut-off date: none."),)
        )
    blocks = []
    for table, column, head in (
        ("override_rules", "override_rules_rule_id", "Rule"),
        ("override_reasons", "override_reasons_reason_code", "Reason of the decision"),
    ):
        rows = told.release.tables[table].filter(pl.col(column) != "all").sort(column)
        lines = tuple(
            (
                f"{facts.rule_titles.get(k, plain(k))} ({k})" if head == "Rule" else plain(k),
                told.text(n),
            )
            for k, n in rows.select(column, "homes").iter_rows()
        )
        words = f"Accepted by a named specialist with conditions, by {head.lower()}"
        note = "A home can count more than once."
        blocks.append(Grid(table, words, (head, "Homes"), lines, notes=(note, *told.notes)))
    return Section(title, tuple(blocks))


def _quality(told: Told, store: Store) -> Section:
    safe, seen = told.homes("clearances"), told.homes("clearances", seen="observed or better")
    judged = told.homes("queues")
    opened = told.homes("quality", flag="contradiction open")
    ends = told.homes("quality", flag="evidence ends within 90 days")
    rows = (
        ("Clearances that rest on observed evidence or better", *_of(told, seen, safe)),
        ("Homes with an open contradiction", *_of(told, opened, judged)),
        ("Homes with evidence that expires within 90 days", *_of(told, ends, judged)),
    )
    grid = Grid(
        "quality",
        "Quality of the evidence",
        ("What", "Homes", "Of", "Share"),
        rows,
        notes=(
            "Clearances are safe to insulate, once a home and measure group; each is as good as "
            "the weakest answer that it needs.",
            *told.notes,
        ),
    )
    return Section("10  Quality", (grid, *_contractors(told, store)))


def _of(told: Told, part: int | None, whole: int | None) -> tuple[str, str, str]:
    return told.text(part), told.text(whole), told.share(part, whole)


def _contractors(told: Told, store: Store) -> list[Words | Grid]:
    lead = "Contractor outcomes (verified and failed repairs)"
    looked = store.table("report_repair").filter(
        pl.col("state").is_in(["verified", "failed verification"])
    )
    if not looked.height:
        return [Words(f"{lead}: not recorded.")]
    if told.rule.withholds:
        return [Words(f"{lead}: not printed for this reader; contractors stay with the programme.")]
    by = looked.group_by(pl.col("contractor_id").fill_null("not recorded")).agg(
        pl.len().alias("looked_at"),
        (pl.col("state") == "failed verification").sum().alias("failed"),
    )
    rows = []
    for who, n, failed in by.sort("contractor_id").iter_rows():
        span = share_interval((failed, failed), (n, n))
        rows.append((str(who), f"{n:,}", f"{failed:,}", percents(span)))
    heads = ("Contractor", "Repairs looked at", "Failed", "Share failed, interval")
    return [Grid("contractors", lead, heads, tuple(rows), notes=(METHOD,))]


def _map(told: Told, facts: Facts) -> Section:
    title = "12  Map by area"
    drawn = specs(told, facts.foam_classes)
    if facts.other_areas:
        words = (
            "Areas: left out. The last report counted by other areas, and the two together would "
            "tell of homes that are in one of both alone."
        )
        return Section(title, (Words(words),))
    if not told.has("areas"):
        return Section(title, (Words("Areas: not recorded, or all homes are in one."),))
    notes = _map_notes(told)
    first, *others = (area_grid(told, spec, notes) for spec in drawn)
    grid = replace(first, columns=(f"Area ({facts.area_words})", *first.columns[1:]), on_paper=True)
    figure = _map_figure(told, facts, drawn[0])
    if figure is None:
        words = "No area is drawn: none has a place and a count of homes that can be shown."
        return Section(title, (Words(words), grid, *others))
    larger = _larger(drawn, drawn_specs(told, facts))
    return Section(title, (figure, Words(larger), grid, *others))


def _larger(every: list[Spec], drawn: list[Spec]) -> str:
    """Which maps stand in the folder, and which do not."""
    names = "; ".join(spec.heading.lower() for spec in drawn)
    said = (
        f"Larger maps, as PNG and SVG, are in the folder {FOLDER}: {names}. Their tables are in "
        "the CSV files."
    )
    left = "; ".join(spec.heading.lower() for spec in every if spec not in drawn)
    return f"{said} Not drawn, as no area has a count that can be shown: {left}." if left else said


def _map_notes(told: Told) -> tuple[str, ...]:
    if not told.rule.withholds:
        return ()
    rule = told.rule
    return (
        f"Areas with fewer than {rule.map_area_min} homes, and classes with fewer than "
        f"{rule.map_class_min}, are withheld.",
        *told.notes,
    )


def _map_figure(told: Told, facts: Facts, spec: Spec) -> Figure | None:
    """A small map of the queues; None if no area may be drawn."""
    rows = areas_told(told, spec)
    places = {a: (lat, lon) for a, lat, lon in facts.places.iter_rows()}
    spots = [
        Spot(area, *places[area], total, shares_of(parts, total))
        for area, parts, total in rows
        if total and area in places
    ]
    if not spots:
        return None
    unit = (
        "Homes by worst queue, share of each area; the area of a circle grows with its homes. Each "
        "stands at the middle of its homes, or beside it where others are. "
    )
    left = "Areas whose homes are withheld are not drawn." if told.rule.withholds else ""
    words = map_title(told, spec, rows), (unit + left).strip(), map_alt(told, spec, rows, spec.told)
    return Figure("area_map", *words, tuple(spots), legend(told))
