"""Brings the variants of a disputed assessment together, so that neither value is lost."""

from dataclasses import dataclass, replace

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


def keep_firing(rows: pl.DataFrame, answers: Answers) -> Answers:
    """Let no answer that is too old to count argue away what was found since.

    An old look is no word against a newer one that saw a defect. A defect seen long ago is one
    against a newer look that saw none: that stays a dispute.

    Parameters
    ----------
    rows
        Assessment rows with variants: `assessment`, `variant` and `outdated`.
    answers
        What the rules said, in the order of `rows`.
    """
    if not rows["outdated"].any():
        return answers
    index = rows.select(_AT, "variant", "outdated").with_row_index("_row")
    base = index.filter(pl.col("variant") == 0).select(_AT, pl.col("_row").alias("_base"))
    at = index.join(base, on=_AT, how="left", maintain_order="left")["_base"]
    old = rows["outdated"]
    taken = answers.results[at]
    held = {rule: old & (taken[rule] == FIRES) for rule in answers.results.columns}
    results = answers.results.with_columns(
        pl.when(keeps).then(pl.lit(FIRES, pl.UInt8)).otherwise(pl.col(rule)).alias(rule)
        for rule, keeps in held.items()
        if keeps.any()
    )
    return replace(answers, results=results)


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
