"""Age limits of evidence (survey dictionary 5.6; mould 12 months by dry run Q9).

The as-of date is 31 October 2026. Limits are calendar months: an answer is good up to and on the
same day of the month that ends them.
"""

from datetime import date

from rule_changes import older
from rule_homes import BASES, REVIEW, SAFE, Home, Survey, judge, judge_one

DAY = date(2026, 2, 16)
# Field, home, oldest day that is fresh, and the day before it, which is too old.
MILD = [
    ("roof_leak_evidence", "loft", date(2024, 10, 31), date(2024, 10, 30)),  # 24 months
    ("gutter_condition", "rafter", date(2024, 10, 31), date(2024, 10, 30)),
    ("flashing_condition", "rafter", date(2024, 10, 31), date(2024, 10, 30)),
    ("valley_condition", "rafter", date(2024, 10, 31), date(2024, 10, 30)),
    ("roof_covering_condition", "loft", date(2024, 10, 31), date(2024, 10, 30)),
    ("pointing_condition", "cavity", date(2022, 10, 31), date(2022, 10, 30)),  # 48 months
    ("ground_to_dpc_mm", "inside_wall", date(2022, 10, 31), date(2022, 10, 30)),
    ("subfloor_vent_state", "air", date(2024, 10, 31), date(2024, 10, 30)),  # 24
    ("visible_mould", "loft", date(2025, 10, 31), date(2025, 10, 30)),  # 12 months
    ("foam_defects", "over_deck_foam_below", date(2021, 10, 31), date(2021, 10, 30)),  # 60
]
SEVERE = [
    ("roof_leak_evidence", "loft", date(2025, 10, 31), date(2025, 10, 30)),  # 12 months
    ("gutter_condition", "rafter", date(2025, 10, 31), date(2025, 10, 30)),
    ("pointing_condition", "outside_wall", date(2024, 10, 31), date(2024, 10, 30)),  # 24
    ("visible_mould", "loft", date(2025, 10, 31), date(2025, 10, 30)),  # 12, the same
    ("foam_defects", "over_deck_foam_below", date(2023, 10, 31), date(2023, 10, 30)),  # 36
]
LASTING = [  # construction facts: no limit until contradicted
    ("wall_construction", "cavity"),
    ("cavity_width_mm", "cavity"),
    ("embedded_timber", "inside_wall"),
    ("foam_type", "over_deck_foam_below"),
]


def _seen_on(home: Home, field: str, on: date, **record: str) -> Home:
    """The home with one answer from an older visit and everything else from the recent one."""
    first = home.surveys[0]
    visit = Survey(
        {
            field: first.facts[field],
            "survey_date": on,
            "survey_reach_inside": first.facts["survey_reach_inside"],
            "survey_reach_outside": first.facts["survey_reach_outside"],
            **record,
        }
    )
    return home.without(field).also(visit)


def _exposed(home: Home) -> Home:
    return home.but(exposure_class="very_severe")


def test_limits_in_sheltered_and_moderate_exposure() -> None:
    _check(MILD, [BASES[name] for _, name, _, _ in MILD])


def test_limits_in_severe_and_very_severe_exposure() -> None:
    _check(SEVERE, [_exposed(BASES[name]) for _, name, _, _ in SEVERE])


def test_the_height_of_the_course_ages_faster_in_severe_exposure() -> None:
    # Insulation inside an exposed wall waits for an hourly result (R10h); outside, a height that
    # is out of date is presumed and checked.
    wall = _exposed(BASES["outside_cavity_wall"])
    days = (date(2024, 10, 31), date(2024, 10, 30))
    fresh, old = judge([_seen_on(wall, "ground_to_dpc_mm", day) for day in days]).rows()
    assert (fresh["queue"], fresh["checks"]) == (SAFE, [])
    assert (old["queue"], len(old["checks"])) == (SAFE, 1)


def _check(limits: list[tuple[str, str, date, date]], homes: list[Home]) -> None:
    listed = list(zip(limits, homes, strict=True))
    fresh = judge([_seen_on(home, field, day) for (field, _, day, _), home in listed]).rows()
    old = judge([_seen_on(home, field, day) for (field, _, _, day), home in listed]).rows()
    for ((field, *_), home), new_row, old_row in zip(listed, fresh, old, strict=True):
        assert new_row["queue"] == SAFE, (field, home.name)
        _expired(old_row, home, field)


def _expired(row: dict, home: Home, field: str) -> None:  # type: ignore[type-arg]
    assert (row["queue"], row["lane"]) == (REVIEW, "expired"), home.name
    assert row["expired"] == [field]
    assert "out of date" in row["reason"]


def test_exposure_computed_from_place_shortens_the_limit_too() -> None:
    home = BASES["loft"].without("exposure_class")
    told = _seen_on(home, "roof_leak_evidence", date(2025, 6, 1))  # 17 months
    rows = judge([told, told.but(place="exposed")]).rows()
    assert [row["lane"] for row in rows] == [None, "expired"]


def test_construction_facts_do_not_age() -> None:
    homes = [_seen_on(BASES[name], field, date(2005, 1, 1)) for field, name in LASTING]
    assert judge(homes).safe() == [True] * len(LASTING)


def test_an_old_fault_still_fires() -> None:
    home = older(BASES["loft"], date(2010, 1, 1)).but(roof_leak_evidence="active")
    assert judge_one(home)["fired"] == ["W01"]


def test_age_and_a_gap_together_are_a_gap() -> None:
    both = _seen_on(BASES["loft"], "roof_leak_evidence", date(2020, 1, 1)).without("visible_mould")
    row = judge_one(both)
    assert (row["queue"], row["lane"]) == (REVIEW, "evidence_gap")
    assert set(row["missing"]) == {"roof_leak_evidence", "visible_mould"}


def test_a_survey_without_a_date_cannot_clear_and_has_not_expired() -> None:
    row = judge_one(BASES["loft"].without("survey_date", "mc_date"))
    assert (row["queue"], row["lane"]) == (REVIEW, "evidence_gap")


def test_a_timber_reading_ages_from_its_own_date() -> None:
    rafter = BASES["rafter"].without("timber_decay_grade")
    fresh, old = judge(
        [rafter.but(mc_date=date(2025, 10, 31)), rafter.but(mc_date=date(2025, 10, 30))]
    ).rows()  # 12 months
    assert fresh["queue"] == SAFE
    assert (old["lane"], old["expired"]) == ("expired", ["timber_mc_pct"])


def test_a_safe_row_says_until_when() -> None:
    # The mould look of 16 February 2026 is the first to lapse: twelve months later.
    expires = judge_one(BASES["loft"])["expires_on"]
    assert abs((expires - date(2027, 2, 16)).days) <= 1


def test_the_day_told_is_the_day_it_lapses() -> None:
    expires = judge_one(BASES["loft"])["expires_on"]
    days = [date.fromordinal(expires.toordinal() + n) for n in (0, 1)]
    rows = [judge_one(BASES["loft"], as_of=day) for day in days]
    assert rows[0]["queue"] == SAFE
    assert rows[1]["queue"] == REVIEW


def test_good_until_sees_the_field_behind_a_quantity() -> None:
    # The wall face is a quantity; its pointing, 48 months good, ends before mould (12 months).
    home = _seen_on(BASES["outside_wall"], "pointing_condition", date(2022, 12, 15))
    row = judge_one(home)
    assert row["queue"] == SAFE
    assert row["expires_on"] == date(2026, 12, 15)
    assert judge_one(BASES["outside_wall"])["expires_on"] == date(2027, 2, 16)
