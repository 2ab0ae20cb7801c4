"""Part 7 with a wave: strata as drawn, the rate over all of them, and who may read what."""

import re
from datetime import date
from itertools import product
from pathlib import Path

import numpy as np
import polars as pl
import pytest
from attack import worked_out
from published_portfolios import held
from roof_frames import POLICY, inspections, stock
from scipy import stats

from triage.contract.disclosure import load_disclosure
from triage.contract.policy_load import policy_dir
from triage.learn.openings import RandomOpenings, random_openings
from triage.learn.rates import rates, total
from triage.learn.selection import Plan, Selection, select_roofs
from triage.learn.suppression import suppress
from triage.report.document import Figure, Grid, Words
from triage.store import Store
from triage.summary.counts import OPENED, Stock, _roof_links, _roofs
from triage.summary.foam import foam_part
from triage.summary.foam_wave import wave_blocks
from triage.summary.links import Links
from triage.summary.told import Told
from triage.summary.wave import WaveFound, wave_found
from triage.waves.read import DrawnWave

RULES = load_disclosure(policy_dir("default")).audiences
NOW = pl.Series([f"P{n:05d}" for n in range(603)])  # three more than in the frame
Rows = list[dict[str, object]]


@pytest.fixture(scope="module")
def selection() -> Selection:
    return select_roofs(stock(600), Plan(POLICY, visits=500, thorough=True), seed=11)


def _wave(selection: Selection, before: tuple[str, ...] = ()) -> DrawnWave:
    record = {
        "run_id": "abc",
        "as_of": "2026-10-31",
        "seed": selection.seed,
        "visits": 500,
        "detect_share": 0.05,
        "thorough": True,
        "cluster_roofs": 1.0,
        "frame_sha256": selection.frame_digest,
    }
    known = pl.DataFrame({"inspection_id": list(before)}, schema={"inspection_id": pl.String})
    return DrawnWave(selection.roofs, selection.strata, known, record)


def _opened(selection: Selection, every: int = 0, **found: object) -> Rows:
    """Every random roof opened and sound; one in `every` failing."""
    random = selection.chosen.filter(stream="random").sort("stratum", "roof_id")
    bad = {"verdict": "fix_water", **found}
    return [
        {"property_id": home, **(bad if every and n % every == 0 else {})}
        for n, home in enumerate(random["property_id"])
    ]


def _blocks(
    found: WaveFound, audience: str, published: WaveFound | None = None
) -> list[Words | Grid | Figure]:
    """What a reader gets; `published` is what the printed counts were made of, if not the same."""
    tables = [t for t in _roofs((published or found).roofs, Stock("one", "w")) if t.counts.height]
    return wave_blocks(Told(suppress(tables, RULES[audience])), found, "")


def _grid(blocks: list[Words | Grid | Figure], name: str) -> dict[str, tuple[str, ...]]:
    (grid,) = [b for b in blocks if isinstance(b, Grid) and b.name == name]
    return {row[0]: row[1:] for row in grid.rows}


def _text(blocks: list[Words | Grid | Figure]) -> str:
    return " ".join(b.text for b in blocks if isinstance(b, Words))


def test_the_rate_over_all_strata_is_that_of_the_weights_of_the_list(selection: Selection) -> None:
    """Weights of the failing roofs over all weights, as survey texts have it."""
    rows = _opened(selection, every=6)
    found = wave_found(_wave(selection), inspections(rows), POLICY, NOW)
    failing = {row["property_id"] for row in rows if row.get("verdict") == "fix_water"}
    drawn = selection.chosen.filter(stream="random")
    weights = dict(drawn.select("property_id", "selection_weight").iter_rows())
    by_weight = sum(weights[home] for home in failing) / sum(weights.values())
    assert found.whole.share == pytest.approx(by_weight)
    # The same from the strata: N_h p_h.
    sizes = dict(selection.roofs.group_by("stratum").len().iter_rows())
    shares = {}
    for stratum, homes in drawn.group_by("stratum").agg("property_id").iter_rows():
        shares[stratum] = len(failing & set(homes)) / len(homes)
    assert found.whole.share == pytest.approx(sum(sizes[s] * p for s, p in shares.items()) / 600)
    blocks = _blocks(found, "internal")
    last = _grid(blocks, "foam_strata")["All strata"]
    assert last[:5] == ("600", str(len(rows)), str(len(rows)), str(len(failing)), "0")
    assert last[5].startswith(f"{by_weight:.0%}, ")
    assert f"Estimated {by_weight:.0%} of 600 roofs failing (interval" in _text(blocks)
    assert " 3 roofs that carry foam were not known when it was drawn" in _text(blocks)


def test_of_several_waves_the_last_comes_first_and_none_hides_another(selection: Selection) -> None:
    """A second wave is drawn from the roofs that the first left; N is what it was drawn from."""
    rows = inspections(_opened(selection, every=6))
    first = wave_found(_wave(selection), rows, POLICY, NOW)
    opened = first.roofs.filter(pl.col("status") == "opened")["roof_id"]
    plan = Plan(POLICY, visits=200, thorough=True, done=tuple(opened))
    drawn = select_roofs(stock(600), plan, seed=12)
    more = _opened(drawn, every=2)
    ids = [{"inspection_id": f"J{n}", **row} for n, row in enumerate(more)]
    every = pl.concat([rows, inspections(ids)], how="diagonal_relaxed")
    second = wave_found(_wave(drawn, tuple(rows["inspection_id"])), every, POLICY, NOW)
    assert second.by_stratum["roofs"].sum() == second.whole.roofs == 600 - opened.len()
    assert (second.whole.opened, second.done) == (60, opened.len())
    # The first is what it was: roofs of the second draw are not of its own.
    again = wave_found(_wave(selection), every, POLICY, NOW)
    assert again.by_stratum.drop("type_differs").equals(first.by_stratum.drop("type_differs"))
    told = Told(suppress(_roofs(second.roofs, Stock("one", "w")), RULES["internal"]))
    with Store(Path(":memory:")) as store:
        store.put("report_finding", pl.DataFrame({"stream": []}, schema={"stream": pl.String}))
        part = foam_part(told, store, (first, second))
    names = [b.name for b in part.blocks if isinstance(b, Grid)]
    assert names == ["foam_strata", "foam_actions", "foam_strata_2", "foam_actions_2"]
    last = [b.rows[-1] for b in part.blocks if isinstance(b, Grid) and "strata" in b.name]
    assert [row[1] for row in last] == [str(600 - opened.len()), "600"]
    assert f"{opened.len()} roofs that earlier waves had opened" in _text(list(part.blocks))


def test_the_variance_is_that_of_a_stratified_sample_with_clusters(selection: Selection) -> None:
    """Width against the textbook: sum of W^2 (1 - f) p(1 - p) / (n - 1), times the effect."""
    rows = _opened(selection, every=3)
    table = wave_found(_wave(selection), inspections(rows), POLICY, NOW).by_stratum
    for roofs_alike in (1.0, 8.0):
        plan = Plan(POLICY, thorough=True, cluster_roofs=roofs_alike)
        n, x, big = (table[c].to_numpy().astype(float) for c in ("opened", "failing", "roofs"))
        p, w = x / n, big / big.sum()
        textbook = float((w**2 * (1 - n / big) * p * (1 - p) / (n - 1)).sum())
        half = stats.norm.ppf(0.975) * np.sqrt(textbook * (1 + (roofs_alike - 1) * 0.10))
        whole = total(table, plan)
        assert (whole.high - whole.low) / 2 == pytest.approx(half, rel=0.12)


def test_no_targeted_finding_moves_a_rate(selection: Selection) -> None:
    """Nor one in a drawn roof, before chance came to it or where it has not come yet."""
    rows = _opened(selection, every=6)[:-20]
    homes = selection.roofs["property_id"].to_list()
    bad = {"verdict": "remove_foam", "decay_grade_max": "d4", "foam_type_found": "open_cell"}
    blocks = {}
    for stream in ("targeted", "complaint", "works_opportunity"):
        for what in ({}, bad, {"outcome_status": "refused", "verdict": None}):
            early = {"selection_stream": stream, "inspected_on": date(2026, 1, 9), **what}
            others: Rows = [{"property_id": home, **early} for home in homes]
            found = wave_found(_wave(selection), inspections(rows + others), POLICY, NOW)
            for audience in RULES:
                blocks.setdefault(audience, []).append(_blocks(found, audience))
    assert all(one == first[0] for first in blocks.values() for one in first)


def test_what_was_recorded_before_the_draw_is_no_answer_to_it(selection: Selection) -> None:
    rows = inspections(_opened(selection, every=2))
    early = tuple(rows["inspection_id"])
    found = wave_found(_wave(selection, early), rows, POLICY, NOW)
    assert found.whole.opened == 0
    blocks = _blocks(found, "internal")
    assert "none recorded of this wave" in _text(blocks)
    assert _grid(blocks, "foam_strata")["All strata"][2:6] == ("0", "0", "0", "–")


def test_roofs_not_completed_are_told_and_stand_ins_count(selection: Selection) -> None:
    rows = _opened(selection)
    for row, why in zip(rows[:12], ["refused"] * 9 + ["no_access"] * 3, strict=True):
        row |= {"outcome_status": why, "verdict": None}
    rows = rows[:-4]  # four nobody went to yet
    reserve = selection.reserve.sort("stratum", "draw_order").head(2)
    rows += [{"property_id": home, "verdict": "specialist"} for home in reserve["property_id"]]
    undrawn = selection.roofs.filter(
        (pl.col("stream") != "random").fill_null(value=True) & ~pl.col("is_reserve")
    )
    rows.append({"property_id": undrawn["property_id"][0], "verdict": "specialist"})
    found = wave_found(_wave(selection), inspections(rows), POLICY, NOW)
    drawn = selection.chosen.filter(stream="random").height
    blocks = _blocks(found, "internal")
    last = _grid(blocks, "foam_strata")["All strata"]
    assert [int(x) for x in last[:5]] == [600, drawn + 2, drawn + 2 - 12 - 4, 2, 12]
    text = _text(blocks)
    visited = drawn + 2 - 4
    assert f"not completed ({12 / visited:.0%} of {visited} visited)" in text
    assert "no access 3, refused 9; 4 not visited yet" in text
    assert "1 inspections call themselves random of roofs that the wave did not draw, or" in text


def test_absence_is_stated_only_where_the_planned_number_was_opened(selection: Selection) -> None:
    rows = _opened(selection)
    short = {row["property_id"] for row in rows[:1]}
    (one,) = selection.roofs.filter(pl.col("property_id").is_in(list(short)))["stratum"]
    full = wave_found(_wave(selection), inspections(rows), POLICY, NOW)
    less = wave_found(_wave(selection), inspections(rows[1:]), POLICY, NOW)
    strata = set(selection.strata["stratum"])
    for found, silent in ((full, set()), (less, {one})):
        actions = [
            b for b in _blocks(found, "internal") if getattr(b, "name", "") == "foam_actions"
        ]
        said = {row[0] for row in actions[0].rows if row[1].startswith("no failing roof found in")}
        assert said == strata - silent
        outside = _text(_blocks(found, "funder"))
        assert {s for s in strata if f"{s}: no failing roof found in about" in outside} <= said


def test_an_outsider_reads_the_bound_of_the_fewest_openings_possible(selection: Selection) -> None:
    found = wave_found(_wave(selection), inspections(_opened(selection)), POLICY, NOW)
    told = re.findall(
        r"about ([\d,]+) of ([\d,]+) opened at random; at 95% confidence at most ([\d,]+) fail",
        _text(_blocks(found, "funder")),
    )
    assert told
    for opened, roofs, most in told:
        fewest, all_roofs = max(10, int(opened) - 2), int(roofs) + 2
        chance = stats.hypergeom.cdf(0, all_roofs, [int(most), int(most) + 1], fewest)
        assert chance[0] > 0.05 >= chance[1]


def test_few_openings_in_a_stratum_make_the_rate_a_range(selection: Selection) -> None:
    rows = _opened(selection, every=6)
    table = wave_found(_wave(selection), inspections(rows), POLICY, NOW).by_stratum
    small = table.sort("opened")["stratum"][0]
    inside = selection.roofs.filter(stratum=small)["property_id"].to_list()
    kept = [row for row in rows if row["property_id"] not in inside]
    kept += [row for row in rows if row["property_id"] in inside][:4]
    found = wave_found(_wave(selection), inspections(kept), POLICY, NOW)
    assert found.whole.share is None
    blocks = _blocks(found, "internal")
    assert _grid(blocks, "foam_strata")["All strata"][5].startswith("range ")
    assert "No single figure: fewer than 5 roofs of a stratum" in _text(blocks)
    assert "Estimated range: " in _text(blocks)
    assert "(interval" not in _text(blocks)


def _of(counts: list[tuple[int, int, int]]) -> WaveFound:
    """A wave of strata of so many roofs, opened and failing ones."""
    rows = [
        (f"s{n}-{k}", f"s{n}", OPENED[0] if k < opened else OPENED[-1], k < failing)
        for n, (roofs, opened, failing) in enumerate(counts)
        for k in range(roofs)
    ]
    frame = pl.DataFrame(rows, ["roof_id", "stratum", "status", "is_failing"], orient="row")
    flags = ("is_damaged", "is_grave", "is_water_only", "type_differs")
    seen = frame.filter(status="opened").with_columns(**dict.fromkeys(flags, False))
    strata = [(f"s{n}", roofs, opened) for n, (roofs, opened, _) in enumerate(counts)]
    planned = pl.DataFrame(strata, ["stratum", "roofs", "random_n"], orient="row")
    plan = Plan(POLICY, thorough=True)
    table = rates(RandomOpenings(seen, planned, 0), plan)
    roofs = frame.with_columns(why_not=pl.lit(None, pl.String), is_damaged=pl.lit(value=False))
    every = frozenset(table["stratum"])
    return WaveFound("w", plan, roofs, table, total(table, plan), pl.DataFrame(), every, 0, 0, 0)


def test_an_outsider_gets_the_widest_rate_of_the_printed_counts() -> None:
    """Whatever the true counts are, as long as they print alike; and theirs lies inside."""
    published = _of([(300, 100, 20), (200, 80, 15)])
    told = _blocks(published, "funder")
    span = [int(x) for x in re.findall(r"(\d+)%", _grid(told, "foam_strata")["All strata"][5])]
    for one, two, more, fewer in product((98, 102), (78, 82), (18, 22), (13, 17)):
        other = _of([(300, one, more), (200, two, fewer)])
        assert _blocks(other, "funder", published) == told
        assert span[1] - 1 <= 100 * other.whole.low
        assert 100 * other.whole.high <= span[2] + 1
    assert span[1] < span[0] < span[2]
    assert _grid(told, "foam_strata")["All strata"][6] == "–"  # rounded: no whole roofs


def test_a_withheld_count_leaves_no_rate_over_all_strata() -> None:
    blocks = _blocks(_of([(300, 100, 20), (200, 80, 3)]), "funder")
    assert _grid(blocks, "foam_strata")["All strata"][5:] == ("–", "–")
    assert "No rate over all strata: a count of a stratum is withheld" in _text(blocks)
    assert not [b for b in blocks if isinstance(b, Grid) and b.name == "foam_actions"]


def test_nothing_is_worked_out_of_two_reports_of_one_wave() -> None:
    """60 waves reported half way and at the end: the frame is the same in both."""
    rule, stories = RULES["funder"], []
    for seed in range(60):
        rng = np.random.default_rng(seed)
        n = int(rng.choice([30, 90, 300]))
        strata = rng.choice(["s0", "s1", "s2"], n, p=rng.dirichlet([1, 1, 1]))
        drawn, bad = rng.random(n) < 0.5, rng.random(n) < 0.2
        done = rng.permutation(n)
        published = []
        for run, share in (("one", 0.5), ("two", 1.0)):
            opened = drawn & (done < share * n)
            status = np.where(opened, "opened", np.where(drawn, "not visited yet", OPENED[-1]))
            frame = pl.DataFrame({"stratum": strata, "status": status, "is_failing": opened & bad})
            tables = [t for t in _roofs(frame, Stock(run, "w")) if t.counts.height]
            before = [published[-1][1]] if published else []
            links = Links()
            _roof_links(links, tables[0], Stock(run, "w"))
            published.append((tables, suppress(tables, rule, before, links.frame())))
        stories.append(held(published, rule))
        for run, s in product(("one", "two"), (None, "s0", "s1", "s2")):
            named = {("stratum", s)} if s else set()
            part = (f"{run} opened of wave w", frozenset(named))
            whole = (f"{run} roofs of wave w", frozenset({*named, ("status", "opened")}))
            stories[-1].puzzle.add([part], [whole], exact=True)  # verdicts are of those opened
    frames = [{c for c in s.puzzle.known if c[0] == "wave w"} for s in stories]
    assert all(len(cells) >= 2 for cells in frames)
    found = worked_out([s.puzzle for s in stories], [s.small for s in stories])
    assert [f for f in found if f] == []


def test_the_interval_covers_in_small_stocks_counted_out() -> None:
    """Every draw from two strata, for every number of failing roofs: no simulation."""
    (big, n), (small, m) = (14, 7), (10, 6)
    plan = Plan(POLICY, thorough=True)
    rows = list(product(range(n + 1), range(m + 1)))
    spans = {(x, y): _of([(big, n, x), (small, m, y)]).whole for x, y in rows}
    held_by = []
    for one, other in product(range(big + 1), range(small + 1)):
        truth = (one + other) / (big + small)
        chance = np.outer(
            stats.hypergeom.pmf(np.arange(n + 1), big, one, n),
            stats.hypergeom.pmf(np.arange(m + 1), small, other, m),
        )
        inside = [w.low - 1e-9 <= truth <= w.high + 1e-9 for w in spans.values()]
        held_by.append(float(chance[[x for x, _ in rows], [y for _, y in rows]] @ inside))
    assert plan.sure == 0.95
    assert np.mean(held_by) >= 0.95
    assert min(held_by) >= 0.90  # a score interval dips in places (Newcombe 1998)


def test_waves_drawn_again_and_again_are_unbiased_and_cover() -> None:
    """150 seeds through selection, openings and rates: the mean is the truth, 95 % are right."""
    roofs, plan = stock(240, seed=4), Plan(POLICY, visits=400, thorough=True)
    rng = np.random.default_rng(8)
    # Fails by what makes the strata, so that unlike shares meet unlike sizes.
    risk = roofs["foam_substrate"].replace_strict({"slate_tile": 0.5, "felt_hr": 0.2}, default=0.05)
    bad = set(roofs.filter(pl.Series(rng.random(240) < risk.to_numpy()))["property_id"])
    truth = len(bad) / 240
    shares, held_by = [], 0
    for seed in range(150):
        drawn = select_roofs(roofs, plan, seed)
        homes = drawn.chosen.filter(stream="random")["property_id"]
        seen: Rows = [
            {"property_id": h, **({"verdict": "specialist"} if h in bad else {})} for h in homes
        ]
        whole = total(rates(random_openings(inspections(seen), drawn), plan), plan)
        held_by += whole.low - 1e-9 <= truth <= whole.high + 1e-9
        if whole.share is not None:
            shares.append(whole.share)
    assert held_by >= 0.93 * 150
    assert len(shares) == 150
    assert abs(np.mean(shares) - truth) < 3 * np.std(shares) / np.sqrt(150)
    assert abs(np.mean(shares) - truth) < 0.01
