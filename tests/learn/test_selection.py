"""Which roofs are selected: strata, priorities, streams, reserve."""

from collections import Counter

import polars as pl
import pytest
from roof_frames import POLICY, frame, roof, stock
from scipy import stats

from triage.errors import PolicyError
from triage.learn.allocation import random_visits
from triage.learn.priority import with_priority
from triage.learn.roofs import foamed_roofs
from triage.learn.selection import Plan, select_roofs
from triage.learn.strata import with_strata

# Worked ranking of the job notes 6.2 (COMPUTED): likelihood, consequence, gap, priority.
KNOWN = {"foam_thickness_mm": 100.0, "timber_mc_pct": 14.0, "foam_evidence": ["none_found"]}
ROOF_A = roof(
    "A", foam_substrate="slate_tile", roof_covering_condition="fair", roof_underlay="none",
    dwellings=6, storeys=3.0,
)  # fmt: skip
ROOF_B = roof(
    "B", foam_type="closed_cell", foam_substrate="felt_hr", roof_underlay="felt_bitumen_hr",
    foam_defects=["crack"], sale_or_lender_due=True, foam_thickness_mm=100.0,
    foam_evidence=["none_found"],
)  # fmt: skip
ROOF_C = roof(
    "C", foam_type="open_cell", foam_substrate="timber_board", roof_underlay="boards",
    foam_air_gap_mm=50.0, foam_defects=["none_seen"], foam_thickness_mm=150.0,
    foam_evidence=["moisture_calc", "product_certificate"],
)  # fmt: skip


@pytest.mark.parametrize(
    ("one", "likelihood", "consequence", "gap", "priority"),
    [(ROOF_A, 0.30, 4, 0.75, 2.10), (ROOF_B, 0.35, 3, 0.25, 1.31), (ROOF_C, 0.02, 1, 0.12, 0.02)],
    ids="ABC",
)
def test_worked_ranking(
    one: dict[str, object], likelihood: float, consequence: int, gap: float, priority: float
) -> None:
    roofs = frame([one]).with_columns(stratum=pl.lit("s"))
    row = with_priority(roofs, POLICY).to_dicts()[0]
    # Roof C moves below the start of its class for its papers and its gap: never to nothing.
    assert row["likelihood"] == pytest.approx(likelihood, abs=0.0101)
    assert row["consequence"] == consequence
    assert row["evidence_gap"] == pytest.approx(gap, abs=0.0051)
    assert row["priority"] == pytest.approx(priority, abs=0.0101)


CLASSES = [
    (1, {"foam_substrate": "slate_tile", "roof_covering_condition": "poor"}),
    (2, {"foam_substrate": "slate_tile"}),
    (3, {"foam_substrate": "felt_hr"}),
    (3, {"foam_substrate": "timber_board", "foam_defects": ["crack"]}),
    (5, {"foam_substrate": "felt_hr", "foam_type": "open_cell", "foam_air_gap_mm": 50.0}),
    (4, {"foam_substrate": "felt_hr", "foam_air_gap_mm": 50.0}),  # type unknown
    (5, {"foam_substrate": "membrane_lr", "foam_type": "open_cell"}),
    (4, {}),
    (3, {"cold_side": True, "roof_outer_class_resolved": "class_1", "foam_type": "closed_cell"}),
    (4, {"cold_side": None, "roof_outer_class_resolved": "class_1", "foam_type": "closed_cell"}),
]


@pytest.mark.parametrize(("number", "known"), CLASSES)
def test_classes(number: int, known: dict[str, object]) -> None:
    roofs = frame([roof("A", **known)]).with_columns(stratum=pl.lit("s"))
    row = with_priority(roofs, POLICY).to_dicts()[0]
    assert row["class_number"] == number
    assert row["start_from"].startswith(f"class {number}: ")


def test_the_parts_of_a_priority_multiply_to_it() -> None:
    roofs = with_priority(stock(300).with_columns(stratum=pl.lit("s")), POLICY)
    for row in roofs.to_dicts():
        product = row["likelihood"] * row["consequence"] * (1 + row["evidence_gap"]) * row["timing"]
        assert row["priority"] == pytest.approx(product, abs=1e-6)
        moved = row["start"] + sum(float(word.rsplit(" ", 1)[1]) for word in row["moved_by"])
        assert row["likelihood"] == pytest.approx(min(0.95, max(0.01, moved)), abs=1e-6)
        assert row["consequence"] == 1 + len(row["consequence_of"])
        assert row["evidence_gap"] == len(row["unknown_fields"]) / 8


def test_rates_take_the_place_of_the_class() -> None:
    rates = pl.DataFrame({"stratum": ["s"], "likelihood": [0.10], "basis": ["3 in 40"]})
    roofs = frame([ROOF_A, ROOF_B]).with_columns(stratum=pl.Series(["s", "t"]))
    rows = with_priority(roofs, POLICY, rates).to_dicts()
    assert (rows[0]["start"], rows[0]["start_from"]) == (0.10, "3 in 40")
    assert rows[1]["start"] == 0.20


def test_no_stratum_is_small_and_substrate_holds_longest() -> None:
    roofs = [roof(f"a{n}", foam_substrate="felt_hr", foam_type="open_cell") for n in range(20)]
    roofs += [roof(f"b{n}", foam_substrate="felt_hr", foam_type="closed_cell") for n in range(3)]
    roofs += [
        roof(f"c{n}", foam_substrate="slate_tile", foam_type="closed_cell") for n in range(30)
    ]
    strata = with_strata(frame(roofs), POLICY)
    sizes = dict(strata.group_by("stratum").len().iter_rows())
    assert sorted(sizes.values()) == [23, 30]
    merged = strata.filter(pl.col("roof_id") == "b0")["stratum"].item()
    assert merged.startswith("felt or plastic underlay | closed-cell + open-cell | ")
    few = with_strata(frame(roofs[:5]), POLICY)
    assert few["stratum"].n_unique() == 1


@pytest.mark.parametrize("seed", range(5))
def test_every_roof_has_one_stratum_of_eight_or_more(seed: int) -> None:
    strata = with_strata(stock(150, seed), POLICY)
    assert strata.height == 150
    assert strata.group_by("stratum").len()["len"].min() >= 8
    assert strata.group_by("stratum_key").agg(pl.col("stratum").n_unique())["stratum"].max() == 1


def test_the_seed_brings_back_the_list_in_whatever_order_the_rows_come() -> None:
    roofs = stock(400)
    first = select_roofs(roofs, Plan(POLICY, visits=90), seed=7)
    for shuffle in range(3):
        other = roofs.sample(fraction=1, shuffle=True, seed=shuffle)
        again = select_roofs(other, Plan(POLICY, visits=90), seed=7)
        assert again.chosen.equals(first.chosen)
        assert again.reserve.equals(first.reserve)
        assert again.strata.equals(first.strata)
        assert again.frame_digest == first.frame_digest
    other_seed = select_roofs(roofs, Plan(POLICY, visits=90), seed=8)
    drawn = [set(s.chosen.filter(stream="random")["roof_id"]) for s in (first, other_seed)]
    assert drawn[0] != drawn[1]


def test_streams_add_up_and_the_random_one_is_drawn_first() -> None:
    selection = select_roofs(stock(400), Plan(POLICY, visits=90), seed=7)
    counts = Counter(selection.chosen["stream"])
    assert counts == {"random": 27, "targeted": 63}
    strata = selection.strata
    assert strata["roofs"].sum() == 400
    assert strata.filter(pl.col("roofs") >= 30)["random_n"].min() >= 1
    random = selection.chosen.filter(stream="random")
    assert random["selection_weight"].sum() == pytest.approx(
        strata.filter(pl.col("random_n") > 0)["roofs"].sum()
    )
    assert selection.chosen.filter(stream="targeted")["selection_weight"].is_null().all()
    # Whatever the priorities are, the draw is the same.
    rates = pl.DataFrame({"stratum": strata["stratum"], "likelihood": 0.9, "basis": "x"})
    rated = select_roofs(stock(400), Plan(POLICY, visits=90, rates=rates), seed=7)
    assert rated.chosen.filter(stream="random")["roof_id"].equals(random["roof_id"])
    # The targeted list is the head of what is left.
    left = selection.roofs.filter(pl.col("stream") != "random", pl.col("stream").is_not_null())
    others = selection.roofs.filter(pl.col("stream").is_null())
    assert left["priority"].min() >= others["priority"].max()


def test_the_reserve_is_the_next_in_the_draw_targeted_or_not() -> None:
    selection = select_roofs(stock(400), Plan(POLICY, visits=300), seed=7)
    assert selection.reserve.filter(stream="targeted").height > 0
    for (_,), rows in selection.reserve.group_by("stratum"):
        n = selection.strata.filter(stratum=rows["stratum"][0])["random_n"].item()
        orders = sorted(rows["draw_order"])
        assert orders == list(range(n + 1, n + 1 + len(orders)))


def test_the_random_stream_is_unbiased() -> None:
    """Over 150 seeds every roof is drawn as often as its stratum's share says, within chance."""
    roofs = stock(120)
    plan = Plan(POLICY, visits=120)
    times: Counter[str] = Counter()
    for seed in range(150):
        times.update(select_roofs(roofs, plan, seed).chosen.filter(stream="random")["roof_id"])
    strata = select_roofs(roofs, plan, 0)
    chance = dict(strata.strata.select("stratum", pl.col("random_n") / pl.col("roofs")).iter_rows())
    # 99.9 % limits for 120 roofs at once; refused and high-priority roofs are no exception.
    tail = 0.001 / 2 / 120
    for row in strata.roofs.to_dicts():
        p = chance[row["stratum"]]
        low, high = stats.binom.ppf([tail, 1 - tail], 150, p)
        assert low <= times[row["roof_id"]] <= high, row["roof_id"]
    drawn = sum(times[r] for r in strata.roofs.filter("refused_before")["roof_id"])
    assert drawn > 0


def test_without_visits_the_draw_is_what_detection_needs() -> None:
    selection = select_roofs(stock(400), Plan(POLICY), seed=1)
    assert selection.detection.openings == 69  # job notes 6.4: N = 400, 5 %, s = 0.8
    assert selection.strata["random_n"].sum() == 69
    thorough = select_roofs(stock(400), Plan(POLICY, thorough=True), seed=1)
    assert thorough.strata["random_n"].sum() == 55  # D = 20, s = 1
    clustered = select_roofs(stock(400), Plan(POLICY, cluster_roofs=8), seed=1)
    assert clustered.strata["random_n"].sum() == 118  # 69 x 1.7 = 117.3


def test_done_roofs_stay_in_the_count_and_are_not_drawn_again() -> None:
    roofs = stock(100)
    done = tuple(roofs["roof_id"][:40])
    selection = select_roofs(roofs, Plan(POLICY, visits=60, done=done), seed=3)
    assert not set(done) & set(selection.chosen["roof_id"])
    assert not set(done) & set(selection.reserve["roof_id"])
    assert selection.strata["roofs"].sum() == 100


def test_an_earlier_wave_freezes_its_strata() -> None:
    roofs = stock(200)
    first = select_roofs(roofs, Plan(POLICY, visits=50), seed=3)
    changed = roofs.with_columns(foam_type=pl.lit("open_cell"))
    plan = Plan(POLICY, visits=50, frozen=first.roofs.select("roof_id", "stratum"))
    second = select_roofs(changed, plan, seed=3)
    assert second.roofs["stratum"].equals(first.roofs["stratum"])
    assert second.frame_digest == first.frame_digest


def test_too_few_visits_and_unknown_strata_are_told() -> None:
    roofs = stock(400)
    with pytest.raises(PolicyError, match="visits do not suffice"):
        select_roofs(roofs, Plan(POLICY, visits=2), seed=1)
    with pytest.raises(PolicyError, match="no stratum 'slate'"):
        select_roofs(roofs, Plan(POLICY, visits=90, extra={"slate": 5}), seed=1)
    with pytest.raises(ValueError, match="id of its own"):
        select_roofs(pl.concat([roofs, roofs]), Plan(POLICY, visits=90), seed=1)


@pytest.mark.parametrize(
    ("sizes", "visits", "expected"),
    [
        ({"a": 60, "b": 30, "c": 10}, 10, {"a": 6, "b": 3, "c": 1}),
        ({"a": 900, "b": 30, "c": 70}, 3, {"a": 1, "b": 1, "c": 1}),
        ({"a": 900, "b": 30, "c": 20}, 1, {"a": 1, "b": 1, "c": 0}),
        ({"a": 5, "b": 5}, 99, {"a": 5, "b": 5}),
        ({"a": 10, "b": 10, "c": 10}, 4, {"a": 2, "b": 1, "c": 1}),
    ],
)
def test_visits_are_shared_out(
    sizes: dict[str, int], visits: int, expected: dict[str, int]
) -> None:
    assert random_visits(sizes, visits, 30, {}, "plan") == expected


def test_extra_visits_come_on_top() -> None:
    assert random_visits({"a": 60, "b": 40}, 10, 30, {"b": 3}, "plan") == {"a": 6, "b": 7}


def test_visits_are_grouped_by_area_and_scaffold() -> None:
    roofs = stock(100).with_columns(building_id=pl.lit("Block 1"))
    chosen = select_roofs(roofs, Plan(POLICY, visits=60), seed=3).chosen
    assert chosen["visit_order"].to_list() == list(range(1, 61))
    assert chosen["visit_area"].is_sorted()


def _part(home: str, **known: object) -> dict[str, object]:
    own = {"property_id": home, "building_part": "main", "measure_code": "foam_check"}
    place = {"measure_group": "FOAM", "region_name": "North", "building_id": None, "exposure": None}
    return {**own, **place, "lat": None, "lon": None, "fired": [], **known}


def test_homes_under_one_roof_are_one_roof() -> None:
    queue = pl.DataFrame(
        [
            _part("1", building_id="B", fired=["W01", "F01"]),
            _part("2", building_id="B"),
            _part("3"),
            _part("4", measure_group="CEIL"),
        ],
        schema_overrides={
            "building_id": pl.String,
            "exposure": pl.String,
            "fired": pl.List(pl.String),
        },
    )
    evidence = pl.DataFrame(
        {
            "property_id": ["1", "2", "3"],
            "building_part": "main",
            "variant": 0,
            "foam_type": ["open_cell", "closed_cell", "open_cell"],
            "foam_substrate": ["felt_hr", None, None],
            "foam_air_gap_mm": [50.0, 0.0, None],
            "foam_defects": [["none_seen"], ["crack"], ["none_seen"]],
            "foam_evidence": [["none_found"], None, None],
        }
    )
    quantities = pl.DataFrame(
        {
            "property_id": ["1", "3"],
            "building_part": "main",
            "measure_code": "foam_check",
            "cold_side": [True, False],
        }
    )
    extra = pl.DataFrame(
        {
            "property_id": ["2"],
            "building_part": "main",
            "storeys": [4.0],
            "sale_or_lender_due": [True],
        }
    )
    roofs = foamed_roofs(queue, evidence, quantities, extra)
    assert roofs["roof_id"].to_list() == ["3 / main", "B / main"]
    alone, block = roofs.to_dicts()
    assert (block["property_ids"], block["dwellings"]) == (["1", "2"], 2)
    assert block["foam_type"] is None  # they differ
    assert block["foam_substrate"] == "felt_hr"
    assert block["foam_air_gap_mm"] == 0.0
    assert block["foam_defects"] == ["crack"]
    assert block["foam_evidence"] is None  # nobody asked at the other home
    assert block["water_rule_fires"]
    assert not block["roof_rule_fires"]
    assert block["cold_side"]
    assert block["storeys"] == 4.0
    assert block["sale_or_lender_due"]
    assert alone["foam_defects"] == ["none_seen"]
    assert alone["sale_or_lender_due"] is None
