"""Property (a): a missing or a worse answer never makes a row safe that was not.

The statement is dry run D6 and 5.4 of the survey dictionary. Two kinds of home are tried: every
single fault of the rule cases, and generated homes with a few changed answers.
"""

from functools import cache

from hypothesis import given
from hypothesis import strategies as st
from rule_cases import CASES, HOMES
from rule_changes import FOAM_DETAILS, alone_behind, blanked, fields_behind, presumable, worse
from rule_generated import changed_homes, few
from rule_homes import BASES, LIBRARY, POLICY, Home, judge

from triage.contract.assemblies import Alternatives
from triage.contract.expressions import strict_names
from triage.rules.codes import NOT_APPLICABLE


@cache
def _needed(group: str) -> list[tuple[str, bool, tuple[str, ...]]]:
    """Rule, whether it must concern the row, and fields to blank together.

    One set for each need of a required rule, one for each name that decides whether the rule
    concerns the row at all, and each single field behind a calculated quantity.
    """
    sets = []
    for name in POLICY.groups[group].required:
        rule = POLICY.rules[name]
        sets += [(name, True, fields_behind(any_of)) for any_of in rule.needs_in(group)]
        sets += [(name, True, f) for any_of in rule.needs_in(group) for f in alone_behind(any_of)]
        applies = strict_names(rule.applies) if rule.applies else ()
        sets += [(name, False, f) for f in alone_behind(applies)]
        sets += [(name, False, fields_behind((n,))) for n in applies if n not in POLICY.parameters]
    return [entry for entry in sets if entry[2]]


@cache
def _faulty() -> list[Home]:
    """A home with the fault of each rule case, in each group that the case concerns."""
    return [
        home.but(**case.adverse)
        for case in CASES
        for home in {home.group: home for home in case.homes()}.values()
    ]


def _blank_all(homes: list[Home]) -> list[str]:
    """Homes that blanking made safe without the check of a presumption that allows it."""
    judged = judge(homes)
    before, answers = judged.safe(), judged.answers()
    trials = []
    for number, home in enumerate(homes):
        sets = {
            fields: None
            for rule, concerned, fields in _needed(home.group)
            if not concerned or answers[number][rule] != NOT_APPLICABLE
        }
        trials += [
            (number, fields, blanked(home, fields))
            for fields in sets
            if any(home.answers(f) is not None or f == "place" for f in fields)
            and not _is_the_only_trace(home, fields)
            and not _is_beyond_belief(home, fields)
        ]
    after = judge([home for _, _, home in trials])
    wrong = []
    for (number, fields, home), row, safe in zip(trials, after.rows(), after.safe(), strict=True):
        if not safe or before[number]:
            continue
        allowed = [text for f in fields for text in presumable(home.group).get(f, [])]
        if not set(allowed) & set(row["checks"]):
            wrong.append(f"{_told(homes[number])} safe without {', '.join(fields)}")
    return wrong


def _is_the_only_trace(home: Home, fields: tuple[str, ...]) -> bool:
    """Foam known only by its own details: without these nothing speaks of foam any more.

    A record that says no foam and tells where the foam is contradicts itself; it counts as foam.
    """
    said = home.facts.get("foam_present") in ("yes", "suspected")
    return not said and bool(set(FOAM_DETAILS) & set(fields))


def _is_beyond_belief(home: Home, fields: tuple[str, ...]) -> bool:
    """A thickness under the least that is tried where none is told (alternatives.toml)."""
    least = min(
        (n for entry in LIBRARY.alternatives if entry.field in fields for n in _numbers(entry)),
        default=0.0,
    )
    return fields == ("measure_thickness_mm",) and (home.thickness_mm or least) < least


def _numbers(entry: Alternatives) -> list[float]:
    return [value for value in entry.values if isinstance(value, float)]


def _worsen_all(homes: list[Home], steps: int) -> list[str]:
    trials = [(n, *made) for n, home in enumerate(homes) for made in worse(home, steps)]
    before = judge(homes).safe()
    after = judge([home for *_, home in trials]).safe()
    return [
        f"{_told(homes[number])} safe with {name} = {value}"
        for (number, name, value, _), safe in zip(trials, after, strict=True)
        if safe and not before[number]
    ]


def _told(home: Home) -> str:
    sound = BASES.get(home.name, HOMES[home.name])
    changed = {k: v for k, v in home.facts.items() if v != sound.facts.get(k)}
    return f"{home.name} ({home.material}, {home.place}) {changed}:"


def test_blanking_a_need_hides_no_fault() -> None:
    assert _blank_all(_faulty()) == []


def test_a_second_fault_hides_no_fault() -> None:
    assert _worsen_all(_faulty(), steps=1) == []


@few
@given(st.lists(changed_homes(), min_size=30, max_size=30))
def test_blanking_a_need_never_makes_a_generated_home_safe(homes: list[Home]) -> None:
    assert _blank_all(homes) == []
    assert sum(judge(homes).safe()) > len(homes) / 3  # not all are held by something else


@few
@given(st.lists(changed_homes(), min_size=30, max_size=30))
def test_a_worse_answer_never_makes_a_generated_home_safe(homes: list[Home]) -> None:
    assert _worsen_all(homes, steps=2) == []
