"""Conditions of a policy: three-valued logic (dry run D1, D2, D4), names, limits, clear errors."""

import polars as pl
import pytest

from triage.contract.expressions import (
    UnusableExpressionError,
    bind,
    check_condition,
    names_in,
    strict_names,
)
from triage.errors import Place

T, F, N = True, False, None
WHERE = Place("rules/water.toml", row=12, column="W01")
KNOWN = ("gutter_condition", "valley_condition", "timber_mc_pct", "foam_location")
LIMITS = {"mc_act_pct": 20.0}


def _value(sql: str, **columns: object) -> bool | None:
    frame = pl.DataFrame(
        {name: [value] for name, value in columns.items()},
        schema_overrides={
            name: pl.List(pl.String) if name == "codes" else pl.String if name == "a" else None
            for name in columns
            if name in ("codes", "a")
        },
    )
    answer: bool | None = frame.select(bind(sql, {}).alias("_"))["_"][0]
    return answer


# Truth tables of SQL (ISO/IEC 9075, three-valued logic).
@pytest.mark.parametrize(
    ("p", "q", "both", "either"),
    [
        *((T, T, T, T), (T, F, F, T), (T, N, N, T), (F, T, F, T), (F, F, F, F)),
        *((F, N, F, N), (N, T, N, T), (N, F, F, N), (N, N, N, N)),
    ],
)
def test_and_and_or_know_what_cannot_be_told(
    p: bool | None, q: bool | None, both: bool | None, either: bool | None
) -> None:
    frame = pl.DataFrame({"p": [p], "q": [q]}, schema={"p": pl.Boolean, "q": pl.Boolean})
    told = frame.select(bind("p AND q", {}).alias("both"), bind("p OR q", {}).alias("either"))
    assert told.row(0) == (both, either)


@pytest.mark.parametrize(
    ("sql", "known", "unknown"),
    [
        ("a = 'poor'", T, N),
        ("a <> 'poor'", F, N),
        ("a IN ('poor', 'failed')", T, N),
        ("a NOT IN ('poor', 'failed')", F, N),
        ("NOT a = 'poor'", F, N),
        ("a IS NULL", F, T),
        ("COALESCE(a = 'poor', FALSE)", T, F),
        ("COALESCE(a NOT IN ('poor'), TRUE)", F, T),
        ("CASE WHEN a = 'poor' THEN TRUE ELSE FALSE END", T, F),
    ],
)
def test_a_blank_is_neither_true_nor_false(
    sql: str, known: bool | None, unknown: bool | None
) -> None:
    assert (_value(sql, a="poor"), _value(sql, a=None)) == (known, unknown)


def test_a_blank_list_holds_nothing_known() -> None:
    sql = "array_contains(codes, 'crack')"
    assert _value(sql, codes=["crack", "brittle"]) is True
    assert _value(sql, codes=["brittle"]) is False
    assert _value(sql, codes=None) is None


def test_one_unknown_optional_term_leaves_the_rest_decided() -> None:
    # D1: an optional term inside COALESCE fires when adverse and is silent when unknown.
    sql = "p OR COALESCE(q, FALSE)"
    frame = pl.DataFrame(
        {"p": [F, F, N, N], "q": [N, T, T, N]}, schema={"p": pl.Boolean, "q": pl.Boolean}
    )
    assert frame.select(bind(sql, {}).alias("_"))["_"].to_list() == [F, T, T, N]


def test_names_are_told_once_and_in_order() -> None:
    sql = "timber_mc_pct >= mc_act_pct OR (gutter_condition = 'poor' AND timber_mc_pct > 0)"
    assert set(names_in(sql)) == {"timber_mc_pct", "mc_act_pct", "gutter_condition"}
    assert len(names_in(sql)) == 3


@pytest.mark.parametrize(
    ("sql", "strict"),
    [
        ("a = 'x'", ("a",)),
        ("COALESCE(a = 'x', FALSE)", ()),
        ("COALESCE(a = 'x', FALSE) OR b", ("b",)),
        ("COALESCE((a = 'x' AND (b OR c)), FALSE) OR d", ("d",)),
        ("coalesce(a, FALSE) AND b = 'COALESCE('", ("b",)),
        ("NOT COALESCE(a, FALSE) AND a", ("a",)),
        ("b = 'a'", ("b",)),
    ],
)
def test_a_name_outside_every_coalesce_can_decide(sql: str, strict: tuple[str, ...]) -> None:
    assert strict_names(sql) == strict


def test_limits_are_bound_by_name_and_never_inside_quotes() -> None:
    frame = pl.DataFrame({"timber_mc_pct": [19.9, 20.0, None], "a": ["mc_act_pct", "x", "x"]})
    by_limit = frame.select(bind("timber_mc_pct >= mc_act_pct", LIMITS).alias("_"))["_"]
    assert by_limit.to_list() == [False, True, None]
    quoted = frame.select(bind("a = 'mc_act_pct'", LIMITS).alias("_"))["_"]
    assert quoted.to_list() == [True, False, False]
    doubled = frame.select(bind("a = 'it''s mc_act_pct'", LIMITS).alias("_"))["_"]
    assert doubled.to_list() == [False, False, False]


def test_a_negative_limit_keeps_its_sign() -> None:
    frame = pl.DataFrame({"level": [-11.0, -9.0]})
    told = frame.select(bind("level < lowest - 1", {"lowest": -9.0}).alias("_"))["_"]
    assert told.to_list() == [True, False]


def test_a_sound_condition_has_no_errors() -> None:
    sql = "timber_mc_pct >= mc_act_pct AND gutter_condition IN ('poor', '2nd class')"
    assert check_condition(sql, KNOWN, LIMITS, WHERE) == []


def test_an_unknown_name_is_refused_with_the_nearest_known_one() -> None:
    (error,) = check_condition("guter_condition = 'poor'", KNOWN, LIMITS, WHERE)
    assert "guter_condition" in error.what
    assert "gutter_condition" in error.fix
    assert error.where == WHERE


def test_a_bare_number_is_refused() -> None:
    (error,) = check_condition("timber_mc_pct >= 20.0", KNOWN, LIMITS, WHERE)
    assert "20.0" in error.what
    assert "parameters.toml" in error.fix


@pytest.mark.parametrize("sql", ["gutter_condition = ", "a = 'x')) OR b", "(a = 'x'", ""])
def test_what_is_no_condition_is_refused(sql: str) -> None:
    (error,) = check_condition(sql, KNOWN, LIMITS, WHERE)
    assert "not a condition" in error.what
    assert error.where == WHERE
    with pytest.raises(UnusableExpressionError):
        bind(sql, LIMITS)


@pytest.mark.parametrize("sql", ["AND", "a = 'x' OR OR b"])
def test_a_stray_word_is_refused(sql: str) -> None:
    assert check_condition(sql, ("a", "b"), LIMITS, WHERE)
