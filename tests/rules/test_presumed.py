"""Property (b): what is presumed is checked before work starts (dry run 6.4, D7, D8)."""

from functools import cache
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st
from rule_changes import presumable
from rule_generated import changed_homes, few
from rule_homes import GROUPS, POLICY, REVIEW, SAFE, Answer, Home, bases_of, judge

from triage.contract.policy import Presumption
from triage.rules.codes import NOT_APPLICABLE

ENTRIES = [(item, group) for item in POLICY.presumptions for group in item.groups]

# Dry run 6.4, its column "check on the day", in words that the check must hold.
CHECKED: dict[str, tuple[str, ...]] = {
    "flashing_condition": ("ground", "hatch", "rain"),
    "valley_condition": ("ground", "hatch", "rain"),
    "chimney_condition": ("ground", "hatch", "rain"),
    "gutter_condition": ("rain",),
    "downpipe_condition": ("Look",),
    "eaves_vent_state": ("Look", "baffle"),
    "exhaust_into_void": ("Trace",),
    "foam_present": ("no sprayed foam",),
    "plumbing_leak": ("Ask", "look"),
    "high_moisture_use": ("Ask",),
    "heritage_status": ("register",),
    "ground_to_dpc_mm": ("Expose", "look"),
    "salt_evidence": ("Look",),
    "frost_damage": ("Look",),
    "parapet_condition": ("parapet",),
    "construction_system": ("construction",),
    "exposure_class": ("exposure",),
    "roof_structure_concern": ("Look",),
}
# Dry run 6.4, last paragraph: never presumed, whatever else was seen.
NEVER: dict[str, str] = {
    "roof_leak_evidence": "CEIL RAFT EXTR IWI AIR FOAM",
    "roof_covering_condition": "CEIL RAFT EXTR FOAM",
    "visible_mould": " ".join(GROUPS),
    "wall_damp_evidence": "CWI IWI EWI FWI FLR",
    "cavity_state": "CWI",
    "cavity_width_mm": "CWI",
    "cavity_bridging": "CWI",
    "subfloor_moisture": "FLR",
    "subfloor_vent_state": "FLR",
    "embedded_timber": "IWI",
    "salt_evidence": "IWI",
}


def _open(item: Presumption, group: str, home: Home) -> Home:
    """The home with the field unknown and the presumption's condition met."""
    changes: dict[str, Answer] = {item.field: None}
    if item.field == "foam_present" and "NOT void_fabric_seen" in item.when:
        changes |= {"roof_underlay": None, "roof_deck": None}
    if item.field == "parapet_condition":
        # A parapet may be presumed absent under a pitched roof or small units only (Q4).
        changes |= {"roof_covering": "slate_natural", "roof_form": "pitched_cold"}
        changes |= {"roof_pitch_deg": 30.0}
    if item.field == "exposure_class" and group == "EWI":
        # Exposure counts only where the measure takes half of the drying (M03): board, dry air.
        changes |= {"measure_material": "eps_xps", "place": "arid"}
    return home.but(**changes)


def _presuming(item: Presumption, group: str) -> list[Home]:
    homes = [home for home in bases_of(group) if home.answers("foam_type") is None]
    return [_open(item, group, home) for home in homes or bases_of(group)]


@cache
def _judged() -> dict[tuple[int, str], list[dict[str, Any]]]:
    listed = [((ENTRIES.index(e), e[1]), home) for e in ENTRIES for home in _presuming(*e)]
    found: dict[tuple[int, str], list[dict[str, Any]]] = {}
    for (key, _), row in zip(listed, judge([home for _, home in listed]).rows(), strict=True):
        found.setdefault(key, []).append(row)
    return found


@pytest.mark.parametrize(
    ("item", "group"), ENTRIES, ids=[f"{item.field}-{group}" for item, group in ENTRIES]
)
def test_each_presumption_carries_its_check(item: Presumption, group: str) -> None:
    rows = _judged()[(ENTRIES.index((item, group)), group)]
    assert any(row["queue"] == SAFE for row in rows), "no sound home may presume it"
    used = [row for row in rows if item.check in row["checks"]]
    assert used, [row["checks"] for row in rows]
    assert not any(row["released"] for row in used)
    assert all(item.topic in row["presumed"] for row in used)


def test_each_check_says_what_to_look_at() -> None:
    for item in POLICY.presumptions:
        for word in CHECKED[item.field]:
            assert word.lower() in item.check.lower(), (item.field, item.check)


def test_what_may_never_be_presumed_holds_the_row() -> None:
    homes = {
        (field, home.name): home.without(field)
        for field, groups in NEVER.items()
        for group in groups.split()
        for home in bases_of(group)
        if not (field.startswith("subfloor") and home.name == "solid_floor")
    }
    for key, row in zip(homes, judge(list(homes.values())).rows(), strict=True):
        assert row["queue"] == REVIEW, key
        assert row["lane"] in ("evidence_gap", "inspection"), key
        assert key[0] in row["missing"] or row["lane"] == "inspection", key


@few
@given(st.lists(changed_homes(), min_size=30, max_size=30))
def test_no_generated_row_is_safe_without_the_check_of_what_it_presumes(homes: list[Home]) -> None:
    trials = [
        (field, checks, home.without(field))
        for home in homes
        for field, checks in presumable(home.group).items()
    ]
    judged = judge([home for *_, home in trials])
    safe = 0
    for (field, checks, home), row, answers in zip(
        trials, judged.rows(), judged.answers(), strict=True
    ):
        if row["queue"] != SAFE:
            continue
        safe += 1
        if not set(checks) & set(row["checks"]):
            needing = [
                name
                for name in POLICY.groups[home.group].required
                if any(field in any_of for any_of in POLICY.rules[name].needs_in(home.group))
            ]
            concerned = [n for n in needing if answers[n] != NOT_APPLICABLE]
            assert concerned == [], (home, home.facts, field)
    assert safe > len(trials) // 3  # otherwise nothing was shown


# Topics of the dry run's water kind that a loft may leave unseen: five, the limit is four.
_FIVE = (
    *("flashing_condition", "gutter_condition", "chimney_condition", "eaves_vent_state"),
    "plumbing_leak",
)


def test_four_topics_may_be_presumed_and_a_fifth_holds_the_row() -> None:
    (loft,) = [home for home in bases_of("CEIL") if home.name == "loft"]
    four, five = judge([loft.without(*_FIVE[:4]), loft.without(*_FIVE)]).rows()
    assert (four["queue"], four["presumed_topics"], four["released"]) == (SAFE, 4, False)
    assert (five["queue"], five["lane"], five["presumed_topics"]) == (REVIEW, "evidence_gap", 5)
    assert five["missing"]
    assert len(five["missing"]) == 1  # one answer brings it back to four


def test_gutters_and_downpipes_are_one_topic() -> None:
    (loft,) = [home for home in bases_of("CEIL") if home.name == "loft"]
    both = loft.without("gutter_condition", "downpipe_condition", "valley_condition")
    assert judge([both]).rows()[0]["presumed_topics"] == 1
