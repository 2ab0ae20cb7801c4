"""Brings the variants of a disputed assessment together, so that neither value is lost."""

from dataclasses import dataclass

import polars as pl

from triage.contract.policy import Policy
from triage.rules.codes import DISPUTED, FIRES
from triage.rules.evaluate import Answers

FIX_WHATEVER = "fix_whatever"
_AT = "assessment"


@dataclass(frozen=True, slots=True)
class Verdicts:
    """One row per assessment, in order, in every frame.

    `results` holds the rule answers and `fix_whatever`: some repair is due whichever value is
    right. `missing`, `presumed` and `first` are Boolean: fields to ask for, presumptions in use,
    rules that would put review before repair.
    """

    results: pl.DataFrame
    missing: pl.DataFrame
    presumed: pl.DataFrame
    first: pl.DataFrame


def join_variants(
    rows: pl.DataFrame, answers: Answers, first: pl.DataFrame, policy: Policy
) -> Verdicts:
    """Make one row of the variants of each assessment.

    A rule that fires whichever value is right, fires; one that fires for only some is disputed;
    otherwise the less favourable answer stands.

    Parameters
    ----------
    rows
        Assessment rows with variants: `assessment` numbers them.
    answers, first
        What the rules said, and where review would come first, in the order of `rows`.
    policy
        Says which rules are repairs.
    """
    rules = answers.results.columns
    results = with_repairs_due(answers.results, policy)
    how = [*(_worst(rule) for rule in rules), pl.col(FIX_WHATEVER).all()]
    number = rows[_AT]
    return Verdicts(
        _merged(results, number, how),
        _merged(answers.missing, number, [pl.col(c).any() for c in answers.missing.columns]),
        _merged(answers.presumed, number, [pl.col(c).any() for c in answers.presumed.columns]),
        _merged(first, number, [pl.col(c).any() for c in first.columns]),
    )


def with_repairs_due(results: pl.DataFrame, policy: Policy) -> pl.DataFrame:
    """Add whether any repair is due."""
    repairs = [r for r in results.columns if policy.rules[r].outcome == "fix-water-first"]
    due = pl.any_horizontal(pl.col(r) == FIRES for r in repairs).alias(FIX_WHATEVER)
    return results.with_columns(due)


def _worst(rule: str) -> pl.Expr:
    only_some = (pl.max(rule) == FIRES) & (pl.min(rule) < FIRES)
    return pl.when(only_some).then(DISPUTED).otherwise(pl.max(rule)).cast(pl.UInt8).alias(rule)


def _merged(frame: pl.DataFrame, number: pl.Series, how: list[pl.Expr]) -> pl.DataFrame:
    many = number.is_duplicated()
    if not many.any():
        return frame
    numbered = frame.with_columns(number)
    merged = numbered.filter(many).group_by(_AT, maintain_order=True).agg(how)
    every = pl.concat([numbered.filter(~many), merged.select(numbered.columns)])
    return every.sort(_AT).drop(_AT)
