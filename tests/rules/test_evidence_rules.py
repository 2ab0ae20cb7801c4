"""Evidence rules E05 to E08, and text that says "(assumed)" (survey dictionary 4.5, 3.1)."""

from datetime import date

import polars as pl
import pytest
from cli_helpers import Stock
from rule_cases import CASES
from rule_homes import AS_OF, BASES, FIX, POLICY, REVIEW, SAFE, Answer, Home, judge, judge_one

from triage.rules.batches import same_answers
from triage.rules.codes import CLEAR, FIRES
from triage.rules.standing import read_again_on
from triage.store import Store

READ = BASES["rafter"].without("timber_decay_grade")  # W09 rests on the reading alone
JULY = date(2026, 7, 1)

# ---- E05: not timber, treated or salted, or a scale that is no per cent ------------------------


def test_a_reading_of_timber_clears() -> None:
    assert judge_one(READ)["queue"] == SAFE
    assert judge_one(READ.but(mc_location=["rafter_foot", "ridge"]))["queue"] == SAFE


@pytest.mark.parametrize("where", ["not_timber", "treated_or_salted"])
def test_a_reading_of_something_else_is_ignored_for_clearance(where: str) -> None:
    home = READ.but(mc_location=["rafter_foot", where])
    judged = judge([home, READ.without("timber_mc_pct")])
    row, unread = judged.rows()
    assert (row["queue"], row["lane"]) == (REVIEW, "evidence_gap")
    assert (row["queue"], row["lane"]) == (unread["queue"], unread["lane"])
    assert "timber_mc_pct" in row["missing"]
    kept = judged.whole.current.table.filter(pl.col("property_id") == "H000000")
    assert kept["timber_mc_pct"].item() == 14.0  # kept for the trend


def test_ignored_for_clearance_is_not_ignored_for_alarm() -> None:
    wet = READ.but(mc_location=["not_timber"], timber_mc_pct=30.0)
    assert judge_one(wet)["queue"] == FIX


# ---- E06: timber read in the drying half-year only ---------------------------------------------

WINTER_RULES = ("R03", "R04", "R08", "R09", "J01")
SUMMER = {"timber_mc_pct": 9.0, "mc_date": JULY, "timber_decay_grade": "d0"}


def _cases(rule: str) -> list[Home]:
    mine = [case for case in CASES if case.rule == rule]
    return [home.but(**case.adverse) for case in mine for home in case.homes()]


@pytest.mark.parametrize("rule", WINTER_RULES)
def test_a_dry_summer_reading_clears_no_rule_about_winter_wetting(rule: str) -> None:
    homes = _cases(rule)
    assert homes
    unread = judge([home.without("timber_mc_pct", "mc_date") for home in homes]).answers()
    summer = judge([home.but(**SUMMER) for home in homes]).answers()
    assert [answer[rule] for answer in unread] == [answer[rule] for answer in summer]
    assert FIRES in {answer[rule] for answer in summer}
    assert CLEAR not in {answer[rule] for answer in summer}


@pytest.mark.parametrize("base", ["rafter", "inside_wall", "foam_on_deck"])
def test_a_summer_reading_is_to_be_taken_again_and_the_day_is_set(base: str) -> None:
    home = BASES[base].but(**SUMMER)
    row = judge_one(home, as_of=date(2026, 9, 10))
    assert row["read_again_on"] == date(2026, 10, 1)
    assert any("2026-10-01" in note for note in row["notes"])
    # Within the wetting half-year the day has come.
    assert judge_one(home)["read_again_on"] == AS_OF == date(2026, 10, 31)


def test_a_winter_reading_needs_no_other() -> None:
    row = judge_one(BASES["rafter"])
    assert row["read_again_on"] is None
    assert not any("drying half-year" in note for note in row["notes"])


@pytest.mark.parametrize(
    ("as_of", "north", "day"),
    [
        (date(2026, 4, 1), True, date(2026, 10, 1)),
        (date(2026, 9, 30), True, date(2026, 10, 1)),
        (date(2026, 3, 31), True, date(2026, 3, 31)),
        (date(2026, 12, 24), True, date(2026, 12, 24)),
        (date(2026, 10, 1), False, date(2027, 4, 1)),
        (date(2026, 2, 1), False, date(2026, 4, 1)),
        (date(2026, 9, 30), False, date(2026, 9, 30)),
        (date(2026, 9, 1), None, date(2026, 10, 1)),  # nobody knows where it is: as in the north
    ],
)
def test_the_wetting_half_year_by_hemisphere(as_of: date, north: bool | None, day: date) -> None:
    base = pl.DataFrame({"latitude_north": [north, north]}, schema={"latitude_north": pl.Boolean})
    results = pl.DataFrame({"W09s": [FIRES, CLEAR]}, schema={"W09s": pl.UInt8})
    assert read_again_on(base, results, POLICY, as_of).to_list() == [day, None]


# ---- E07: batches that say the same of every home ----------------------------------------------

SAME: dict[str, Answer] = dict.fromkeys(POLICY.evidence.batch_fields, "good")
DAY = date(2026, 3, 3)


def _batch(
    homes: int, surveyor: str | None = "jh", on: date = DAY, archetype: str | None = None
) -> pl.DataFrame:
    names = [f"{surveyor}{on}{archetype}-{n}" for n in range(homes)]
    return pl.DataFrame(
        {"property_id": names, **{name: ["good"] * homes for name in SAME}}
    ).with_columns(
        pl.lit(surveyor, pl.String).alias("surveyor_id"),
        pl.lit(on).alias("survey_date"),
        pl.lit(archetype, pl.String).alias("archetype_code"),
    )


MANY = int(POLICY.number("batch_min_homes"))


def test_one_surveyor_one_day_the_same_everywhere_is_flagged() -> None:
    (flag,) = same_answers(_batch(MANY), POLICY).to_dicts()
    assert (flag["kind"], flag["who"], flag["survey_date"]) == ("one_surveyor_one_day", "jh", DAY)
    assert flag["homes"] == MANY


@pytest.mark.parametrize(("homes", "again"), [(40, 2), (41, 3), (100, 5)])
def test_five_per_cent_of_a_flagged_batch_are_visited_again(homes: int, again: int) -> None:
    assert same_answers(_batch(homes), POLICY)["visit_again"].to_list() == [again]


def test_fewer_homes_other_days_other_people_and_other_answers_are_no_batch() -> None:
    few = _batch(MANY - 1)
    assert same_answers(few, POLICY).height == 0
    next_day = _batch(1, on=date(2026, 3, 4))
    other = _batch(1, surveyor="ow")
    differs = _batch(1).with_columns(
        pl.lit("other").alias("property_id"), pl.lit("blocked").alias("gutter_condition")
    )
    nobody = _batch(MANY, surveyor=None)
    assert same_answers(pl.concat([few, next_day, other, differs, nobody]), POLICY).height == 0


def test_an_archetype_without_any_variance_is_flagged() -> None:
    days = [_batch(1, surveyor=f"s{n}", archetype="T3") for n in range(MANY)]
    (flag,) = same_answers(pl.concat(days), POLICY).to_dicts()
    assert (flag["kind"], flag["who"], flag["homes"]) == ("one_archetype", "T3", MANY)
    varied = _batch(1, surveyor="x", archetype="T3").with_columns(
        pl.lit("poor").alias("gutter_condition")
    )
    assert same_answers(pl.concat([*days, varied]), POLICY).height == 0


# ---- E08: the method could not have seen it ----------------------------------------------------

GROUND = {"survey_reach_inside": "none", "survey_reach_outside": "external_ground"}
ROOMS = {"survey_reach_inside": "internal", "survey_reach_outside": "external_close"}
INSIDE = {"survey_reach_inside": "opened_up", "survey_reach_outside": "none"}


@pytest.mark.parametrize(
    ("base", "reach", "field"),
    [
        ("loft", GROUND, "roof_leak_evidence"),  # the reference's own example
        ("loft", ROOMS, "roof_leak_evidence"),
        ("loft", INSIDE, "roof_covering_condition"),
        ("rafter", {**ROOMS, **GROUND}, "flashing_condition"),
        ("cavity", INSIDE, "pointing_condition"),
        ("cavity", GROUND, "cavity_state"),
        ("floor", GROUND, "visible_mould"),
    ],
)
def test_what_could_not_be_seen_counts_as_not_seen(
    base: str, reach: dict[str, str], field: str
) -> None:
    home = BASES[base].but(**reach)
    judged = judge([home, home.without(field)])
    claimed, blank = judged.rows()
    assert claimed["queue"] == REVIEW
    assert (claimed["queue"], claimed["lane"]) == (blank["queue"], blank["lane"])
    assert field in claimed["missing"]


def test_no_foam_claimed_from_the_rooms_leaves_the_check_that_an_unknown_leaves() -> None:
    # The policy presumes no foam on a check before start; a claim from the rooms is no better.
    home = BASES["loft"].but(**ROOMS).marked(roof_leak_evidence="photographed")
    claimed, blank = judge([home, home.without("foam_present")]).rows()
    assert claimed["checks"] == blank["checks"]
    assert any("foam" in check for check in claimed["checks"])
    seen = judge_one(BASES["loft"])
    assert not any("foam" in check for check in seen["checks"])


def test_a_fault_claimed_from_afar_still_fires() -> None:
    assert judge_one(BASES["loft"].but(**GROUND, roof_leak_evidence="active"))["queue"] == FIX


# ---- "(assumed)", and scales that are no number ------------------------------------------------

HEAD = [
    *("property_id", "building_part", "latitude", "longitude", "survey_date", "survey_method"),
    *("wall_insulation_existing", "gutter_condition", "timber_mc_pct", "mc_location"),
    "measure_code",
]
PLACE = ["main", 51.0, -1.3, date(2026, 2, 16), "internal_void"]
ROWS = [
    ["CERT", *PLACE, "None (assumed)", "Blocked (assumed)", "14 (est.)", "Foot", "loft_topup"],
    ["SEEN", *PLACE, "None", "Blocked", "14", "in foam", "loft_topup"],
    ["REL", *PLACE, "None", "Good", "200 REL", "salted; plate", "loft_topup"],
]


@pytest.fixture(scope="module")
def read(tmp_path_factory: pytest.TempPathFactory) -> dict[str, pl.DataFrame]:
    """A small sheet, read by the program: its typed rows, the grades of its cells, its queue."""
    stock = Stock(tmp_path_factory.mktemp("assumed")).write().survey([HEAD, *ROWS])
    done = stock.run()
    assert done.code in (0, 1), done.err
    with Store(stock.out / "store.duckdb", read_only=True) as store:
        return {name: store.table(name) for name in ("clean_survey", "evidence_mark", "queue")}


def _cell(read: dict[str, pl.DataFrame], home: str, field: str) -> object:
    rows = read["clean_survey"].filter(pl.col("property_id") == home)
    return rows[field].item()


def test_assumed_text_enters_as_assumed(read: dict[str, pl.DataFrame]) -> None:
    row = read["clean_survey"].filter(pl.col("property_id") == "CERT")["row_id"].item()
    marks = read["evidence_mark"].filter(pl.col("row_id") == row)
    graded = dict(marks.select("field", "grade").iter_rows())
    assert graded["wall_insulation_existing"] == "assumed"
    assert graded["gutter_condition"] == "assumed"
    assert graded["timber_mc_pct"] == "assumed"
    assert _cell(read, "CERT", "gutter_condition") == "blocked"
    assert _cell(read, "CERT", "timber_mc_pct") == 14.0


def test_an_assumed_fault_is_confirmed_first_and_a_seen_one_ordered(
    read: dict[str, pl.DataFrame],
) -> None:
    rows = {row["property_id"]: row for row in read["queue"].iter_rows(named=True)}
    assert (rows["SEEN"]["queue"], rows["SEEN"]["main_rule"]) == (FIX, "W04")
    assert (rows["CERT"]["queue"], rows["CERT"]["lane"]) == (REVIEW, "evidence_gap")
    assert "W04" in rows["CERT"]["confirm_first"]


def test_a_relative_scale_is_no_number_and_a_place_that_is_no_timber_is_known(
    read: dict[str, pl.DataFrame],
) -> None:
    assert _cell(read, "REL", "timber_mc_pct") is None
    assert pl.Series(_cell(read, "REL", "mc_location")).sort().to_list() == [
        "treated_or_salted",
        "wall_plate",
    ]
    assert pl.Series(_cell(read, "SEEN", "mc_location")).to_list() == ["not_timber"]
