"""Flats under one roof: what any survey says of it holds for all, and two that differ disagree."""

from datetime import date

import polars as pl
import pytest
from record_frames import on_record
from record_frames import table as records
from rule_homes import BASES, FIX, POLICY, REVIEW, SAFE, Answer, Home, Survey, judge

from triage import stages
from triage.rules.codes import KEY
from triage.rules.shared_roof import roofs_shared

LATER = date(2026, 6, 1)
FLAT = {"property_type": "flat", "built_form": "within_block"}
LOFT, CAVITY = BASES["loft"].but(**FLAT), BASES["cavity"].but(**FLAT)
LEAK = "roof_leak_evidence"
Told = list[tuple[str, str | None]]


def _queues(*homes: Home, buildings: list[str | None] | None = None) -> Told:
    named = ["B1"] * len(homes) if buildings is None else buildings
    return [(row["queue"], row["lane"]) for row in judge(homes, buildings=named).rows()]


def _later(grade: str = "observed", **answers: Answer) -> Survey:
    reach = {name: LOFT.facts[name] for name in ("survey_reach_inside", "survey_reach_outside")}
    return Survey({**FLAT, **reach, "survey_date": LATER, **answers}, grade)


def test_two_flats_that_differ_about_their_roof_contradict_each_other() -> None:
    homes = [LOFT.but(**{LEAK: "active"}), LOFT]
    judged = judge(homes, buildings=["B1", "B1"])
    for row in judged.rows():
        assert (row["queue"], row["lane"]) == (REVIEW, "contradiction")
        assert row["disputed_fields"] == [LEAK]
    held = judged.whole.current.conflicts.select("property_id", "row_id", "other_row_id")
    assert held["property_id"].to_list() == ["H000000", "H000001"]
    assert held.select("row_id", "other_row_id").unique().height == 1  # the same two cells


@pytest.mark.parametrize("buildings", [[None, None], ["B1", "B2"], ["B1", None]])
def test_without_a_common_building_each_is_judged_by_itself(buildings: list[str | None]) -> None:
    homes = [LOFT.but(**{LEAK: "active"}), LOFT]
    assert _queues(*homes, buildings=buildings) == [(FIX, None), (SAFE, None)]


def test_houses_of_one_terrace_keep_a_roof_each() -> None:
    house = BASES["loft"].but(property_type="house", built_form="mid_terrace")
    assert _queues(house.but(**{LEAK: "active"}), house) == [(FIX, None), (SAFE, None)]


def test_a_house_beside_a_block_keeps_its_own_disagreements() -> None:
    house = BASES["loft"].but(gutter_condition="blocked")
    differs = Survey({**house.facts, "survey_date": LATER, "gutter_condition": "good"})
    told = _queues(house.also(differs), LOFT, LOFT, buildings=[None, "B1", "B1"])
    assert told == [(REVIEW, "contradiction"), (SAFE, None), (SAFE, None)]


def test_what_one_flat_saw_of_the_roof_serves_the_other() -> None:
    unseen = LOFT.without(LEAK, "roof_covering_condition", "gutter_condition")
    assert _queues(unseen) == [(REVIEW, "evidence_gap")]
    assert _queues(unseen, LOFT) == [(SAFE, None), (SAFE, None)]


def test_a_fault_that_one_flat_saw_holds_every_flat() -> None:
    leaking, unseen = LOFT.but(**{LEAK: "active"}), LOFT.without(LEAK)
    assert _queues(unseen, leaking) == [(FIX, None), (FIX, None)]


def test_another_flat_does_not_unsee_a_leak_however_good_its_look() -> None:
    # A better and later look at home supersedes (5.5); from another flat it is another piece.
    photographed = LOFT.but(**{LEAK: "active"}).marked(**{LEAK: "photographed"})
    again = _later(**{LEAK: "none_seen"})
    assert _queues(photographed.also(again)) == [(SAFE, None)]
    other = LOFT.but(survey_date=LATER)
    assert _queues(photographed, other) == [(REVIEW, "contradiction")] * 2


def test_what_is_a_dwellings_own_stays_its_own() -> None:
    own = {"plumbing_leak": "active", "ceiling_air_seal": "open"}
    assert _queues(LOFT.but(**own), LOFT)[1] == (SAFE, None)


def test_a_flat_below_another_one_neither_takes_nor_tells_of_the_roof() -> None:
    below = CAVITY.but(roof_form="none_above")
    # Its own ceiling is dry: that says nothing of the roof, and the leak above is not over it.
    told = _queues(below, LOFT.but(**{LEAK: "active"}))
    assert told == [(SAFE, None), (FIX, None)]


def test_rain_goods_concern_the_walls_of_the_flats_below_too() -> None:
    below = CAVITY.but(roof_form="none_above").without("gutter_condition")
    blocked = LOFT.but(gutter_condition="blocked")
    assert _queues(below, blocked) == [(FIX, None), (FIX, None)]
    good = CAVITY.but(roof_form="none_above")
    assert _queues(good, blocked) == [(REVIEW, "contradiction")] * 2


def test_a_repair_that_one_flat_shows_to_work_mends_the_roof_of_all() -> None:
    repair = records(
        "repair",
        {
            "trigger_rule_ids": ["W01"],
            "repair_type": "covering",
            "contractor_id": "roofer",
            "completed_on": date(2026, 3, 10),
            "repair_verified": "yes",
            "verified_by": "ow",
            "verified_on": date(2026, 5, 20),
            "water_test": "hose",
            "mc_before_pct": 24.0,
            "mc_after_pct": 15.0,
            "mc_after_date": date(2026, 5, 20),
        },
    )
    mended = LOFT.also(_later(**{LEAK: "none_seen"}))
    neighbour = LOFT.but(**{LEAK: "active"})  # surveyed in February, before the repair
    proven = judge([mended, neighbour], records=on_record(repairs=repair), buildings=["B1", "B1"])
    assert [row["queue"] for row in proven.rows()] == [SAFE, SAFE]
    without = judge([mended, neighbour], buildings=["B1", "B1"])
    assert {row["lane"] for row in without.rows()} == {"contradiction"}


@pytest.mark.parametrize(("surveyed", "queue"), [(date(2026, 2, 16), SAFE), (LATER, FIX)])
def test_a_decision_covers_what_a_neighbours_survey_had_told_by_then(
    surveyed: date, queue: str
) -> None:
    decision = {
        "measure_code": "cavity_fill",
        "rule_ids": ["W04"],
        "decision": "accept",
        "reason_code": "opening",
        "reason": "opened at the eaves and dry",
        "decided_by": "R. Alder",
        "competence": "building_surveyor",
        "decided_on": date(2026, 4, 1),
        "expires_on": date(2027, 3, 1),
    }
    decided = on_record(decisions=records("decision", decision))
    wall = CAVITY.without("gutter_condition")
    neighbour = LOFT.but(gutter_condition="blocked", survey_date=surveyed)
    first, _ = judge([wall, neighbour], records=decided, buildings=["B1", "B1"]).rows()
    assert first["queue"] == queue


def _membership(*homes: tuple[str, str, str | None, str | None, str | None]) -> list[str]:
    """Homes that share a roof, of (id, part, type, form, roof form) in one building."""
    names = ("property_id", "building_part", "property_type", "built_form", "roof_form")
    rows = pl.DataFrame(homes, schema=dict.fromkeys(names, pl.String), orient="row")
    buildings = rows.select("property_id", building_id=pl.lit("B1")).unique()
    shared = roofs_shared(rows, buildings, POLICY)
    assert shared.select(KEY).is_unique().all()
    return [
        f"{home}/{part}>{roof}{' below' if below else ''}"
        for home, part, _, roof, below in shared.iter_rows()
    ]


def test_who_shares_a_roof() -> None:
    flat = ("flat", "within_block", "pitched_cold")
    assert _membership(("A", "main", *flat), ("B", "main", *flat)) == ["A/main>main", "B/main>main"]
    assert _membership(("A", "main", *flat)) == []  # alone under it
    # What is communal is the building's: it belongs to the main roof.
    assert _membership(("A", "main", *flat), ("X", "communal", None, None, None)) == [
        "A/main>main",
        "X/communal>main",
    ]
    # Of B no survey says what it is: a dwelling of a block of flats is a flat.
    assert _membership(("A", "main", *flat), ("B", "main", None, None, None)) == [
        "A/main>main",
        "B/main>main",
    ]
    house = ("house", "end_terrace", "pitched_cold")
    assert _membership(("A", "main", *flat), ("H", "main", *house)) == []
    # An extension has a roof of its own, shared with no main part.
    assert _membership(("A", "main", *flat), ("B", "extension_1", *flat)) == []


def test_a_flat_is_below_only_where_no_survey_of_it_says_otherwise() -> None:
    top, under = ("flat", None, "pitched_cold"), ("flat", None, "none_above")
    assert _membership(("A", "main", *top), ("B", "main", *under), ("B", "main", *top)) == [
        "A/main>main",
        "B/main>main",
    ]
    assert _membership(("A", "main", *top), ("B", "main", *under)) == [
        "A/main>main",
        "B/main>main below",
    ]


def test_the_order_of_the_flats_decides_nothing() -> None:
    homes = [
        LOFT.but(**{LEAK: "active"}),
        LOFT.without(LEAK).but(gutter_condition="poor"),
        LOFT.but(roof_covering="tile_plain"),
    ]
    forwards, backwards = _queues(*homes), _queues(*reversed(homes))
    assert forwards == backwards[::-1]


def test_homes_of_one_building_are_judged_in_one_batch(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(stages, "BATCH_HOMES", 2)
    places = pl.DataFrame(
        {
            "property_id": ["A", "B", "C", "D", "E"],
            "building_id": ["B1", None, None, "B1", None],
        }
    )
    batches = [part["property_id"].to_list() for part in stages.in_batches(places)]
    assert batches == [["A", "B", "D"], ["C"], ["E"]]


def test_no_home_is_one_empty_batch() -> None:
    none = pl.DataFrame(schema={"property_id": pl.String, "building_id": pl.String})
    assert [part.height for part in stages.in_batches(none)] == [0]
