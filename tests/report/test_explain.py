import copy

import pytest
from report_frames import explanation

from triage.report.explain import render_explanation


def test_a_reviewer_sees_decision_why_facts_place_rules_limits_in_that_order() -> None:
    text = render_explanation(explanation())
    heads = [
        "Decision",
        "Why: main, loft topup",
        "Facts, and the cells they came from",
        "Place and climate",
        "Every rule: main, loft topup",
        "Limits",
    ]
    places = [text.index(f"\n{head}\n") for head in heads]
    assert places == sorted(places)
    assert "main, loft topup: FIX WATER FIRST" in text
    assert "surveys/north.xlsx, sheet Roofs, row 214, column Loft ins" in text
    assert 'written “4"”' in text
    assert "does not clear a rule: assumed values never clear a rule" in text
    assert "NOT EVALUATED in this version; nothing is claimed (1): R07" in text
    assert "missing: loft_rh_pct" in text


def test_it_prints_on_paper() -> None:
    explained = explanation() | {"limits": ["very long words " * 40, "x" * 250]}
    lines = render_explanation(explained).splitlines()
    assert max(len(line) for line in lines) <= 100
    assert all(line == line.rstrip() for line in lines)


def test_text_of_a_survey_cannot_steer_the_terminal() -> None:
    text = render_explanation(explanation())
    assert "\x1b" not in text
    assert "leaks at joint \ufffd[31m" in text


def test_safe_says_what_it_does_not_claim() -> None:
    # job-and-survey 5.10
    safe = copy.deepcopy(explanation())
    assert "It does not say that the building is dry" in render_explanation(safe)
    safe["parts"] = safe["parts"][:1]  # type: ignore[index]
    assert "does not say" not in render_explanation(safe)


def test_release_is_told_apart() -> None:
    text = render_explanation(explanation())
    assert "ext1, cavity fill: SAFE TO INSULATE (released)" in text
    part = explanation()["parts"][1] | {"released": False}  # type: ignore[index]
    text = render_explanation(explanation() | {"parts": [part]})
    assert "SAFE TO INSULATE (checks outstanding)" in text


def test_values_of_a_clear_rule_are_shown() -> None:
    clear = {"rule": "W09", "title": "Timber is wet", "values": {"timber_mc_pct": 12.0}}
    part = explanation()["parts"][0] | {"clear": ["W01", clear]}  # type: ignore[index]
    text = render_explanation(explanation() | {"parts": [part]})
    assert "clear (2): W01\n    W09  Timber is wet: timber_mc_pct = 12" in text


@pytest.mark.parametrize("left_out", ["place", "facts", "parts", "limits"])
def test_a_bare_explanation_still_reads(left_out: str) -> None:
    bare = {key: value for key, value in explanation().items() if key != left_out}
    assert render_explanation(bare).startswith("Home H000214\n=====")
