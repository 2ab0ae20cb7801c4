"""The register as a practitioner reads it. Expected sentences are written by hand from the SQL."""

import pytest

from triage.contract.policy_load import load_policy, policy_dir
from triage.report.conditions import plain_condition
from triage.report.register import register_text

LIMITS = {"mc_act_pct": 20.0}


@pytest.mark.parametrize(
    ("sql", "words"),
    [
        ("", ""),
        ("TRUE", "true"),
        ("gutter_condition = 'poor'", "gutter_condition is poor"),
        ("a <> 'b' AND c IS NULL", "a is not b and c is not known"),
        ("a NOT IN ('b', 'c')", "a is none of (b, c)"),
        ("timber_mc_pct >= mc_act_pct", "timber_mc_pct >= 20 [mc_act_pct]"),
        ("COALESCE(a = 'b', FALSE) OR d", "a is b or d"),
        ("COALESCE(a = 'b' OR c, FALSE) AND d", "(a is b or c) and d"),
        (
            "COALESCE(roof_form <> 'none_above', TRUE)",
            "(roof_form is not none_above, or not known)",
        ),
        (
            "COALESCE(a AND COALESCE(b >= mc_act_pct, TRUE), FALSE)",
            "(a and (b >= 20 [mc_act_pct], or not known))",
        ),
        ("array_contains(foam_defects, 'crack')", "foam_defects has crack"),
        ("NOT array_contains(foam_evidence, 'batch_log')", "foam_evidence lacks batch_log"),
    ],
)
def test_conditions_read_as_words(sql: str, words: str) -> None:
    assert plain_condition(sql, LIMITS) == words


def test_register_prints_every_entry_without_sql() -> None:
    policy = load_policy(policy_dir("default"))
    text = register_text(policy)
    lines = text.splitlines()
    assert max(map(len, lines)) <= 100
    starts = {line.split("  ")[0] for line in lines if line[:1].isalpha()}
    assert set(policy.rules) <= starts
    for sign in ("COALESCE", "array_contains", " <> ", "'poor'"):
        assert sign not in text


def test_register_says_what_a_repair_must_leave_undone_and_where_that_is_from() -> None:
    policy = load_policy(policy_dir("default"))
    text = " ".join(register_text(policy).split())
    told = [rule for rule in policy.rules.values() if rule.must_not]
    assert len(told) > 10
    for rule in told:
        assert f"must not be done: {' '.join(rule.must_not)} [{rule.must_not_source}]" in text


def test_texts_of_the_default_pack_stand_alone() -> None:
    """Lengths and signs are house style (common practice, no source)."""
    policy = load_policy(policy_dir("default"))
    for rule in policy.rules.values():
        for text, most in ((rule.statement, 200), (rule.next_action, 200), (rule.cautions, 220)):
            assert len(text) <= most, rule.id
            assert not any(sign in text for sign in ("`", "SEEN", "POLICY", "_")), rule.id
            assert text == text.strip(), rule.id
            assert text.endswith(".") or not text, rule.id
        assert any(m in rule.source for m in ("SEEN", "MEMORY", "PRACTICE", "POLICY")), rule.id
