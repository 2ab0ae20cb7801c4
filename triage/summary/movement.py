"""Part 5 of a programme summary: homes that moved since the last report."""

from triage.report.document import Grid, Section, Words
from triage.report.flow_figure import Moves, MoveWords, flow_ends, flow_figure, title_of
from triage.report.labels import FIX, REVIEW, SAFE
from triage.summary.facts import Facts
from triage.summary.told import Told


def movement_part(told: Told, facts: Facts) -> Section:
    """The figure, the matrix from and to, and who came back to fix water first."""
    title = "5  Movement since the last report"
    if not told.has("movement"):
        words = f"Not recorded: {facts.before}."
        return Section(title, (Words(words),))
    moves = moves_of(told)
    rows = [
        (
            title_of(was),
            *(told.text(moves.flows[was, now]) for now in moves.now),
            told.text(moves.was[was]),
        )
        for was in moves.was
    ]
    rows.append(("All", *map(told.text, moves.now.values()), told.text(moves.whole)))
    grid = Grid(
        "movement",
        "Homes by worst queue: before in rows, now in columns",
        ("From", *(f"to {title_of(now).lower()}" for now in moves.now), "All"),
        tuple(rows),
        notes=told.notes,
    )
    came = {w: told.homes("movement", queue_before=w, queue=FIX) for w in (SAFE, REVIEW)}
    back = (
        f"Came or returned to fix water first: {told.text(came[SAFE])} homes from safe to "
        f"insulate, {told.text(came[REVIEW])} from specialist review. Repairs that failed their "
        "check: see part 8."
    )
    by = f"Homes by their worst queue, {facts.before} at the left, this report at the right"
    figure = flow_figure(moves, MoveWords("movement_flow", "homes", by, ("Before", "Now")))
    drawn = [figure] if figure else [Words("No flow between queues can be drawn.")]
    return Section(title, (Words(f"Compared with {facts.before}."), *drawn, grid, Words(back)))


def moves_of(told: Told) -> Moves:
    """The movement as it is printed, from and to in the order of the table."""
    froms, tos = flow_ends()
    return Moves(
        {
            (was, now): told.homes("movement", queue_before=was, queue=now)
            for was in froms
            for now in tos
        },
        {was: told.homes("movement", queue_before=was) for was in froms},
        {now: told.homes("movement", queue=now) for now in tos},
        told.homes("movement"),
    )
