"""The answer of one rule, from what its condition says on three readings of the evidence."""

import polars as pl

from triage.contract.policy import Rule
from triage.rules.board import Board
from triage.rules.codes import (
    CLEAR,
    CONFIRM,
    EXPIRED,
    FIRES,
    NOT_APPLICABLE,
    PRESUMED,
    UNDECIDABLE,
)

_FALSE = pl.lit(value=False)


def verdict(rule: Rule, board: Board) -> pl.Expr:
    """UInt8 expression over a board's columns: the rule's answer, under the rule's id.

    It fires on firm evidence; fired by assumed evidence alone it asks for confirmation; it is
    clear only where what it needs is known and its condition is false on clearing evidence.
    """
    applies, fires = pl.col(f"c|applies|{rule.id}"), pl.col(f"c|fires|{rule.id}")
    if rule.outcome == "clears-gate":
        return _gate(applies, fires).cast(pl.UInt8).alias(rule.id)
    met = board.all_met(rule)
    false = fires.eq_missing(_FALSE)
    answer = (
        pl.when(_on("f", rule))
        .then(FIRES)
        .when(_on("a", rule))
        .then(CONFIRM)
        .when(applies.eq_missing(_FALSE))
        .then(NOT_APPLICABLE)
        .when(applies & met & false & ~_leans(rule, board))
        .then(CLEAR)
        .when(applies & met & (false | (fires.is_null() & _excused(rule.fires, board))))
        .then(PRESUMED)
        .when(applies.is_null() & _leans_on_applicability(rule, board))
        .then(PRESUMED)
        .when(_only_age(rule, board))
        .then(EXPIRED)
        .otherwise(UNDECIDABLE)
    )
    return answer.cast(pl.UInt8).alias(rule.id)


def _on(letter: str, rule: Rule) -> pl.Expr:
    """The rule concerns the row and its condition holds, on one reading."""
    both = pl.col(f"{letter}|applies|{rule.id}") & pl.col(f"{letter}|fires|{rule.id}")
    return both.fill_null(value=False)


def _leans(rule: Rule, board: Board) -> pl.Expr:
    """Some need is met by presumption only."""
    tests = [~board.known(any_of) for any_of in rule.needs_in(board.group)]
    return pl.any_horizontal(tests) if tests else _FALSE


def _excused(sql: str | None, board: Board) -> pl.Expr:
    """Every name that leaves the condition open is itself presumed."""
    tests = [~board.unknown(name) | board.presumed(name) for name in board.open_names(sql)]
    return pl.all_horizontal(tests) if tests else pl.lit(value=True)


def _leans_on_applicability(rule: Rule, board: Board) -> pl.Expr:
    """Whether the rule concerns the row at all is open only for what is presumed."""
    names = board.open_names(rule.applies)
    if not names:
        return _FALSE
    some = pl.any_horizontal([board.unknown(name) & board.presumed(name) for name in names])
    return some & _excused(rule.applies, board)


def _only_age(rule: Rule, board: Board) -> pl.Expr:
    """Age is the only thing that keeps the rule open."""
    aging = set(board.frames.stale.columns)
    lacks = board.lacks(rule)
    if not lacks:
        return _FALSE
    aged = [~test | (pl.col(f"old|{name}") if name in aging else _FALSE) for name, test in lacks]
    return pl.all_horizontal(aged) & pl.any_horizontal([test for _, test in lacks])


def _gate(applies: pl.Expr, fires: pl.Expr) -> pl.Expr:
    """A gate is met on evidence that clears or not at all: `fires` met, `clear` known not met."""
    return (
        pl.when(applies.eq_missing(_FALSE))
        .then(NOT_APPLICABLE)
        .when((applies & fires).fill_null(value=False))
        .then(FIRES)
        .when(applies & fires.eq_missing(_FALSE))
        .then(CLEAR)
        .otherwise(UNDECIDABLE)
    )
