"""The figure of homes that moved: its bands are the printed counts, and nothing but these."""

import re
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import polars as pl
import pytest
from drawn import bands, columns, outside, texts

from triage.contract.disclosure import load_disclosure
from triage.contract.policy_load import policy_dir
from triage.learn.cells import HOMES, Table
from triage.learn.suppression import Release, suppress
from triage.report.charts import draw
from triage.report.document import Figure, Flows
from triage.report.flow_figure import Moves, MoveWords, flow_ends, flow_figure
from triage.report.labels import FIX, LEFT, NOT_JUDGED, REVIEW, SAFE
from triage.report.picture import write_picture
from triage.summary.movement import moves_of
from triage.summary.told import Told

WORDS = MoveWords("flow", "homes", "Homes by their worst queue", ("Before", "Now"))
RULES = load_disclosure(policy_dir("default")).audiences
FROMS, TOS = flow_ends()
Counts = dict[tuple[str, str], int]


def _counts(rng: np.random.Generator) -> Counts:
    """Homes by where from and where to: many stayed, a few moved, some ways are empty."""
    scale = rng.choice([4, 40, 400])
    ways = [(was, now) for was in FROMS for now in TOS if (was, now) != (NOT_JUDGED, NOT_JUDGED)]
    ways = [w for w in ways if w != (FROMS[-1], LEFT)]
    drawn = rng.poisson(rng.exponential(scale, len(ways)) * (rng.random(len(ways)) < 0.6))
    return dict(zip(ways, map(int, drawn), strict=True))


def _release(counts: Counts, audience: str) -> Release:
    rows = [(was, now, counts.get((was, now), 0)) for was in FROMS for now in TOS]
    frame = pl.DataFrame(
        rows, {"queue_before": pl.String, "queue": pl.String, HOMES: pl.Int64}, orient="row"
    )
    return suppress([Table("movement", "moved", frame)], RULES[audience])


def _figure(release: Release) -> Figure | None:
    return flow_figure(moves_of(Told(release)), WORDS)


def _mark(figure: Figure) -> Flows:
    (mark,) = figure.marks
    assert isinstance(mark, Flows)
    return mark


def _told(figure: Figure) -> Counts:
    """Flows as the text alternative says them."""
    names = {"safe to insulate": SAFE, "fix water first": FIX, "specialist review": REVIEW}
    places = "|".join((*names, *FROMS[3:], *TOS[3:]))
    stayed, _, moved = figure.alt.partition("Moved: ")
    found: Counts = {}
    for place, n in re.findall(rf"({places}) ([\d,]+)", stayed):
        found[names.get(place, place), names.get(place, place)] = _number(n)
    for text in filter(None, moved.removesuffix(".").split("; ")):
        left = re.fullmatch(rf"([\d,]+) from ({places}), left the stock", text)
        went = re.fullmatch(
            rf"([\d,]+) (?:from ({places})|(new to the stock),) to ({places})", text
        )
        if left:
            found[names.get(left[2], left[2]), LEFT] = _number(left[1])
        else:
            assert went, text
            was = went[2] or went[3]
            found[names.get(was, was), names.get(went[4], went[4])] = _number(went[1])
    return found


def _number(text: str) -> int:
    return int(text.replace(",", ""))


@pytest.mark.parametrize("seed", range(12))
def test_bands_are_the_homes_and_conserve_them(seed: int) -> None:
    counts = _counts(np.random.default_rng(seed))
    figure = _figure(_release(counts, "internal"))
    if not sum(counts.values()):
        assert figure is None
        return
    assert figure is not None
    mark, homes = _mark(figure), sum(counts.values())
    assert [sum(p.homes for p in side) for side in (mark.before, mark.after)] == [homes, homes]
    assert f"n = {homes:,} homes" in figure.unit
    for side, places in enumerate((mark.before, mark.after)):
        for number, place in enumerate(places):
            through = sum(f.homes for f in mark.flows if (f.was, f.now)[side] == number)
            assert through == place.homes == _number(place.shown)
    drawing = draw(figure, 523.0)
    assert outside(drawing) == []
    heights = sorted(bands(drawing))
    expected = sorted(n for n in counts.values() if n)
    assert np.array(heights) * homes / sum(heights) == pytest.approx(expected)
    # Each column is as high as what flows through it, small ones apart, which are drawn to be seen.
    per_home = sum(heights) / homes
    for edge, places in zip(
        sorted({x for x, _ in columns(drawing, 10.0)}), (mark.before, mark.after), strict=True
    ):
        tall = sorted(h for x, h in columns(drawing, 10.0) if x == edge)
        assert tall == pytest.approx(sorted(max(p.homes * per_home, 1.4) for p in places))


def _neighbours(counts: Counts, release: Release, rng: np.random.Generator) -> Iterator[Counts]:
    """Tables that differ from this one in counts that are withheld."""
    hidden = release.tables["movement"].filter("is_withheld")
    ways = [
        (was, now)
        for was, now in hidden.select("queue_before", "queue").iter_rows()
        if (was, now) in counts
    ]
    for _ in range(5):
        if len(ways) < 2:
            return
        changed = dict(counts)
        one, two = (ways[int(k)] for k in rng.choice(len(ways), 2, replace=False))
        step = int(rng.integers(1, 3))
        changed[one] += step
        if rng.random() < 0.7:  # what is gained here is lost there
            changed[two] = max(0, changed[two] - step)
        yield changed


@pytest.mark.parametrize("audience", ["funder", "public"])
def test_the_same_printed_counts_are_the_same_figure(audience: str, tmp_path: Path) -> None:
    rng = np.random.default_rng(7)
    alike = 0
    for number in range(14):
        counts = _counts(rng)
        release = _release(counts, audience)
        for other in _neighbours(counts, release, rng):
            again = _release(other, audience)
            if not again.tables["movement"].equals(release.tables["movement"]):
                continue
            one, two = _figure(release), _figure(again)
            assert one == two
            alike += 1
            if one is not None and two is not None and number % 7 == 0:
                for name in ("a", "b"):
                    (tmp_path / name).mkdir(exist_ok=True)
                files = write_picture(tmp_path / "a", one, "s")
                write_picture(tmp_path / "b", two, "s")
                for file in files:
                    assert (tmp_path / "a" / file).read_bytes() == (
                        tmp_path / "b" / file
                    ).read_bytes()
    assert alike > 8, "too few pairs were alike to show anything"


@pytest.mark.parametrize("audience", ["funder", "public"])
def test_no_withheld_count_is_in_the_figure(audience: str) -> None:
    rng = np.random.default_rng(11)
    seen = 0
    for _ in range(25):
        counts = _counts(rng)
        release = _release(counts, audience)
        figure = _figure(release)
        table = release.tables["movement"]
        printed = {
            (was, now): n
            for was, now, n in table.select("queue_before", "queue", HOMES).iter_rows()
            if n
        }
        inner = {way: n for way, n in printed.items() if "all" not in way}
        if figure is None:
            assert not inner
            continue
        assert _told(figure) == inner
        allowed = {f"{n:,}" for n in printed.values()}
        hidden = table.filter(
            pl.col("is_withheld") & (pl.col("queue_before") != "all") & (pl.col("queue") != "all")
        ).height
        words = [figure.title, figure.alt, *texts(draw(figure, 523.0))]
        for text in words:
            assert set(re.findall(r"\d+(?:,\d{3})*", text)) <= allowed
        assert (f"{hidden} of the 25 flows are withheld" in figure.unit) == (hidden > 0)
        base = RULES[audience].rounding
        assert all(
            place.homes % base == 0
            for side in (_mark(figure).before, _mark(figure).after)
            for place in side
        )
        seen += hidden > 0
    assert seen > 10


def _moves(counts: Counts, hidden: set[tuple[str, str]] = frozenset()) -> Moves:  # type: ignore[assignment]
    flows = {
        (w, n): None if (w, n) in hidden else counts.get((w, n), 0) for w in FROMS for n in TOS
    }
    was = {w: sum(counts.get((w, n), 0) for n in TOS) for w in FROMS}
    now = {n: sum(counts.get((w, n), 0) for w in FROMS) for n in TOS}
    return Moves(flows, was, now, sum(counts.values()))


def test_titles_say_the_finding() -> None:
    figure = flow_figure(_moves({(SAFE, SAFE): 900, (REVIEW, SAFE): 53, (SAFE, FIX): 60}), WORDS)
    assert figure is not None
    assert figure.title == (
        "60 homes went from safe to insulate to fix water first, the largest move between queues"
    )
    still = flow_figure(_moves({(SAFE, SAFE): 12, (FROMS[-1], FIX): 3}), WORDS)
    assert still is not None
    assert still.title == "None of the 15 homes moved from one queue to another"
    quiet = flow_figure(_moves({(SAFE, SAFE): 120}, {(SAFE, FIX)}), WORDS)
    assert quiet is not None
    assert quiet.title == "No move of homes between queues can be shown"


def test_nothing_to_draw_is_no_figure() -> None:
    assert flow_figure(_moves({}), WORDS) is None
    every = {(w, n) for w in FROMS for n in TOS}
    assert flow_figure(_moves({(SAFE, FIX): 4}, every), WORDS) is None
    lone = flow_figure(_moves({(FIX, LEFT): 1}), WORDS)
    assert lone is not None
    assert outside(draw(lone, 523.0)) == []
