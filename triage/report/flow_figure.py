"""The figure of homes that moved between queues, from counts of which some may be withheld."""

from collections.abc import Mapping
from dataclasses import dataclass

from triage.report.chart_flows import STAYED, UNKNOWN
from triage.report.document import Figure, Flow, Flows, Look, Place
from triage.report.labels import ENTERED, FIX, LEFT, LOOK, NOT_JUDGED, QUEUES, REVIEW, SAFE

STAR = "*"
_GREY = "#9A9A95"
_SHORT = {SAFE: "safe", FIX: "fix water", REVIEW: "review"}
Counts = Mapping[tuple[str, str], int | None]


@dataclass(frozen=True, slots=True)
class Moves:
    """Counts of a movement as they are printed; None is withheld.

    `flows` by where from and where to, `was` and `now` the totals of either end by name, in the
    order to draw, `whole` all of them.
    """

    flows: Counts
    was: Mapping[str, int | None]
    now: Mapping[str, int | None]
    whole: int | None


@dataclass(frozen=True, slots=True)
class MoveWords:
    """What is counted, and how the two ends are called."""

    name: str
    what: str  # "homes"
    by: str  # "Homes by their worst queue"
    heads: tuple[str, str]


def flow_figure(moves: Moves, words: MoveWords) -> Figure | None:
    """Draw a movement; None where no count is left to draw.

    Two movements with the same printed counts give the same figure.
    """
    before = [name for name, homes in moves.was.items() if homes != 0]
    after = [name for name, homes in moves.now.items() if homes != 0]
    flows = [
        Flow(before.index(was), after.index(now), homes, _is_move(was, now))
        for (was, now), homes in moves.flows.items()
        if homes and was in before and now in after
    ]
    if not flows:
        return None
    mark = Flows(
        tuple(_place(name, moves, 0) for name in before),
        tuple(_place(name, moves, 1) for name in after),
        tuple(flows),
        words.heads,
    )
    hidden = sum(homes is None for homes in moves.flows.values())
    told = f"n = {_text(moves.whole)} {words.what}"
    unit = f"{words.by}; the height of a band is its {words.what}; {told}."
    if hidden:
        unit += (
            f" {hidden} of the {len(moves.flows)} flows are withheld ({STAR}) and not drawn: under "
            f"the smallest count printed, none, or kept back for others. Dotted: {words.what} of a "
            "column that no band shows."
        )
    return Figure(
        words.name,
        _title(moves, words),
        unit,
        _alt(moves, words),
        (mark,),
        _legend(mark),
        says_all=True,
    )


def _is_move(was: str, now: str) -> bool:
    return was != now


def _text(homes: int | None) -> str:
    return STAR if homes is None else f"{homes:,}"


def title_of(name: str) -> str:
    """Name of a queue or of another end, as a heading."""
    return LOOK[name].title if name in LOOK else name.capitalize()


def _place(name: str, moves: Moves, side: int) -> Place:
    """Its height is its printed total, or what the flows of it add up to if that is more."""
    total = (moves.was, moves.now)[side][name]
    mine = {ends: n for ends, n in moves.flows.items() if ends[side] == name}
    drawn = sum(n or 0 for n in mine.values())
    look = LOOK.get(name)
    return Place(
        name=title_of(name),
        homes=max(total or 0, drawn),
        shown=_text(total),
        detail=_detail(mine, side),
        look=(name, look.fill, look.hatch) if look else (name, _GREY, ""),
    )


def _detail(mine: Counts, side: int) -> str:
    """Who left a place, or who came to it."""
    parts = []
    for (was, now), homes in sorted(mine.items(), key=lambda f: f[0][0] != f[0][1]):
        if not homes:
            continue
        if was == now:
            parts += [f"{homes:,} stayed"] if side == 0 else []
        elif side == 0:
            parts.append(
                f"{homes:,} left" if now == LEFT else f"{homes:,} to {_SHORT.get(now, now)}"
            )
        else:
            parts.append(
                f"{homes:,} new" if was == ENTERED else f"{homes:,} from {_SHORT.get(was, was)}"
            )
    if None in mine.values():
        parts.append(f"others {STAR}" if parts else "")
    return ", ".join(part for part in parts if part)


def _between(moves: Moves) -> list[tuple[int, str, str]]:
    """Printed moves between two queues, the largest first."""
    found = [
        (homes, was, now)
        for (was, now), homes in moves.flows.items()
        if homes and was in LOOK and now in LOOK and was != now
    ]
    return sorted(found, key=lambda move: (-move[0], move[1], move[2]))


def _title(moves: Moves, words: MoveWords) -> str:
    found = _between(moves)
    if found:
        homes, was, now = found[0]
        went = f"{homes:,} {words.what} went from {LOOK[was].title.lower()} to "
        return f"{went}{LOOK[now].title.lower()}, the largest move between queues"
    hidden = any(
        homes is None and was in LOOK and now in LOOK and was != now
        for (was, now), homes in moves.flows.items()
    )
    if hidden:
        return f"No move of {words.what} between queues can be shown"
    return f"None of the {_text(moves.whole)} {words.what} moved from one queue to another"


def _alt(moves: Moves, words: MoveWords) -> str:
    """All printed flows in words: who stayed, then who moved, most first."""
    stayed = [
        f"{title_of(was).lower()} {n:,}"
        for (was, now), n in moves.flows.items()
        if was == now and n
    ]
    moved = [
        _told(was, now, n)
        for (was, now), n in sorted(moves.flows.items(), key=lambda f: -(f[1] or 0))
        if was != now and n
    ]
    told = [f"Stayed: {', '.join(stayed)}."] if stayed else []
    told += [f"Moved: {'; '.join(moved)}."] if moved else []
    return " ".join(told) or f"No {words.what} that can be shown."


def _told(was: str, now: str, homes: int) -> str:
    if now == LEFT:
        return f"{homes:,} from {title_of(was).lower()}, {LEFT}"
    source = f"{ENTERED}," if was == ENTERED else f"from {title_of(was).lower()}"
    return f"{homes:,} {source} to {title_of(now).lower()}"


def _legend(mark: Flows) -> tuple[Look, ...]:
    looks: list[Look] = [(look.title, look.fill, look.hatch) for look in QUEUES]
    looks.append(STAYED)
    drawn = [sum(f.homes for f in mark.flows if f.was == n) for n in range(len(mark.before))]
    ended = [sum(f.homes for f in mark.flows if f.now == n) for n in range(len(mark.after))]
    is_short = [
        place.homes > homes
        for places, counts in ((mark.before, drawn), (mark.after, ended))
        for place, homes in zip(places, counts, strict=True)
    ]
    return (*looks, UNKNOWN) if any(is_short) else tuple(looks)


def flow_ends() -> tuple[tuple[str, ...], tuple[str, ...]]:
    """Names of both columns in their order: queues, nothing to judge, new or gone."""
    return (SAFE, FIX, REVIEW, NOT_JUDGED, ENTERED), (SAFE, FIX, REVIEW, NOT_JUDGED, LEFT)
