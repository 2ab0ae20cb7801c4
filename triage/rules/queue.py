"""Picks the queue and the lane of each assessment from the answers of its rules."""

from dataclasses import dataclass

import polars as pl

from triage.contract.expressions import bind
from triage.contract.policy import GATING, Policy, Rule
from triage.rules.codes import (
    CLEAR,
    CONFIRM,
    DISPUTED,
    EXPIRED,
    FIRES,
    PRESUMED,
    PRESUMES,
    UNDECIDABLE,
)
from triage.rules.variants import FIX_WHATEVER, Verdicts

SAFE, FIX, REVIEW = "safe-to-insulate", "fix-water-first", "specialist-review"
RBR = "rbr__"  # review before repair


@dataclass(frozen=True, slots=True)
class Decision:
    """One row per assessment.

    `table` holds the queue and its grounds, `effective` the rule results with met gates taken
    into account.
    """

    table: pl.DataFrame
    effective: pl.DataFrame


def review_first(all_frame: pl.DataFrame, policy: Policy) -> pl.DataFrame:
    """Where a fired rule would put review before repair (5.2): one Boolean a rule that can."""
    limits = policy.limits
    # The comparison gives a constant condition such as TRUE the height of the frame.
    rows = pl.col("measure_group").is_not_null()
    return all_frame.select(
        (rows & bind(rule.review_before_repair, limits).fill_null(value=False)).alias(RBR + rule.id)
        for rule in policy.rules.values()
        if rule.review_before_repair
    )


def decide(
    base: pl.DataFrame, verdicts: Verdicts, accepted: pl.DataFrame, policy: Policy
) -> Decision:
    """Pick the queue by precedence (5.2) and the lane.

    Parameters
    ----------
    base
        One row per assessment: `measure_group`, `measure_code`, and the Booleans `refused`,
        `wants_evidence` (decisions of a specialist), `came_back` (from repairs, again) and
        `parted` (records that disagree would put it into different queues).
    verdicts
        The answers, in the same order.
    accepted
        A Boolean for each rule that a decision accepts where it fired.
    policy
        The pack.

    Returns
    -------
    Decision
        `table` columns: queue, lane, severity, presumed_topics, clearance_unmet and
        clearance_open.
    """
    parts = [base, verdicts.results, verdicts.presumed, verdicts.first]
    board = _accept(pl.concat(parts, how="horizontal"), accepted, policy)
    board = board.with_columns(_satisfied(policy))
    topics = _topic_count(policy, verdicts.presumed)
    unmet, unanswered = _clearances(policy)
    board = board.with_columns(
        topics.alias("presumed_topics"),
        unmet.alias("clearance_unmet"),
        unanswered.alias("clearance_open"),
    )
    board = board.with_columns(_grounds(policy))
    board = board.with_columns(_queue().alias("queue"))
    board = board.with_columns(_lane(policy).alias("lane"))
    effective = board.select(list(policy.rules))
    grounds = ["queue", "lane", "severity", "presumed_topics", "clearance_unmet", "clearance_open"]
    return Decision(board.select(grounds), effective)


def _accept(board: pl.DataFrame, accepted: pl.DataFrame, policy: Policy) -> pl.DataFrame:
    """Rules that a specialist accepted hold the row no longer; what they said stays in results."""
    if not accepted.width:
        return board
    repairs = [c for c in accepted.columns if policy.rules[c].outcome == FIX]
    cleared = [
        pl.when(accepted[name]).then(pl.lit(CLEAR, pl.UInt8)).otherwise(pl.col(name)).alias(name)
        for name in accepted.columns
    ]
    board = board.with_columns(cleared)
    if not repairs:
        return board
    # Of a row with an accepted repair, only the repairs that still stand count.
    touched = accepted.select(pl.any_horizontal(repairs).alias("x"))["x"]
    return board.with_columns((pl.col(FIX_WHATEVER) & ~touched).alias(FIX_WHATEVER))


def _grounds(policy: Policy) -> list[pl.Expr]:
    """Why a row might be held, each a Boolean, and the worst severity that fired."""
    gating = [rule for rule in policy.rules.values() if rule.outcome in GATING]
    reversing = [rule for rule in gating if rule.review_before_repair]
    first = {rule.id: _is(rule, FIRES) & pl.col(RBR + rule.id) for rule in reversing}
    technical = [_is(r, FIRES) for r in gating if r.outcome == REVIEW and r.lane != "safety"]
    technical += [first[rule.id] for rule in reversing if rule.outcome == FIX]
    gaps = [_open(r, policy, (UNDECIDABLE,)) for r in gating] + [_is(r, CONFIRM) for r in gating]
    too_many = pl.col("presumed_topics") > int(policy.number("max_presumed_topics"))
    severities = [pl.when(_is(r, FIRES)).then(r.severity).otherwise(0) for r in gating]
    grounds = {
        "_fix": _any([_is(r, FIRES) for r in gating if r.outcome == FIX]) | pl.col(FIX_WHATEVER),
        "_first": _any(list(first.values())),
        "_technical": _any(technical) | pl.col("clearance_unmet") | pl.col("refused"),
        "_safety": _any([_is(r, FIRES) for r in gating if r.lane == "safety"]),
        "_disputed": _any([_is(r, DISPUTED) for r in gating]) | pl.col("parted"),
        "_gap": _any(gaps) | pl.col("clearance_open") | too_many | pl.col("wants_evidence"),
        "_expired": _any([_open(r, policy, (EXPIRED,)) for r in gating]),
        "severity": pl.max_horizontal(severities).cast(pl.Int8),
    }
    return [test.alias(name) for name, test in grounds.items()]


def _is(rule: Rule, code: int) -> pl.Expr:
    return pl.col(rule.id) == code


def _any(tests: list[pl.Expr]) -> pl.Expr:
    return pl.any_horizontal(tests) if tests else pl.lit(value=False)


def _open(rule: Rule, policy: Policy, codes: tuple[int, ...]) -> pl.Expr:
    """A rule that the group requires and that could not be decided."""
    groups = policy.groups_requiring(rule.id)
    return pl.col(rule.id).is_in(list(codes)) & pl.col("measure_group").is_in(groups)


def _satisfied(policy: Policy) -> list[pl.Expr]:
    """Results of the rules that a met gate names: cleared, except what a gate may not touch."""
    gates: dict[str, list[str]] = {}
    for rule in policy.rules.values():
        if rule.outcome == "clears-gate":
            for name in rule.clears:
                gates.setdefault(name, []).append(rule.id)
    return [
        pl.when(
            _any([pl.col(gate) == FIRES for gate in by]) & pl.col(name).is_between(PRESUMED, FIRES)
        )
        .then(pl.lit(CLEAR, pl.UInt8))
        .otherwise(pl.col(name))
        .alias(name)
        for name, by in gates.items()
    ]


def _topic_count(policy: Policy, presumed: pl.DataFrame) -> pl.Expr:
    topics: dict[str, list[pl.Expr]] = {}
    for number, item in enumerate(policy.presumptions):
        if item.counts and f"{PRESUMES}{number}" in presumed.columns:
            topics.setdefault(item.topic, []).append(pl.col(f"{PRESUMES}{number}"))
    tests = [_any(flags).cast(pl.Int32) for flags in topics.values()]
    return pl.sum_horizontal(tests) if tests else pl.lit(0, pl.Int32)


def _clearances(policy: Policy) -> tuple[pl.Expr, pl.Expr]:
    """Required clearances not met: known not met, or not answered yet."""
    unmet, unanswered = [], []
    wanted = [
        (pl.col("measure_group") == g.code, g.required_clearances) for g in policy.groups.values()
    ]
    wanted += [
        (pl.col("measure_code") == m.code, m.required_clearances) for m in policy.measures.values()
    ]
    for concerned, clearances in wanted:
        for any_of in clearances:
            met = _any([pl.col(gate) == FIRES for gate in any_of])
            # A gate that only one of two records meets is an open question, not a no.
            open_ones = [UNDECIDABLE, EXPIRED, DISPUTED]
            answer_due = _any([pl.col(gate).is_in(open_ones) for gate in any_of])
            unanswered.append(concerned & ~met & answer_due)
            unmet.append(concerned & ~met & ~answer_due)
    return _any(unmet), _any(unanswered)


def _queue() -> pl.Expr:
    held = pl.any_horizontal("_technical", "_safety", "_disputed", "_gap", "_expired")
    return (
        pl.when(pl.col("_first") | pl.col("came_back"))
        .then(pl.lit(REVIEW))
        .when(pl.col("_fix"))
        .then(pl.lit(FIX))
        .when(held)
        .then(pl.lit(REVIEW))
        .otherwise(pl.lit(SAFE))
    )


def _lane(policy: Policy) -> pl.Expr:
    named = {g.code: g.review_lane for g in policy.groups.values() if g.review_lane}
    technical = pl.col("measure_group").replace_strict(
        named, default="technical", return_dtype=pl.String
    )
    lane = (
        pl.when(pl.col("came_back"))
        .then(pl.lit("repeat_return"))
        .when(pl.col("_technical"))
        .then(technical)
        .when(pl.col("_safety"))
        .then(pl.lit("safety"))
        .when(pl.col("_disputed"))
        .then(pl.lit("contradiction"))
        .when(pl.col("_gap"))
        .then(pl.lit("evidence_gap"))
        .otherwise(pl.lit("expired"))
    )
    return pl.when(pl.col("queue") == REVIEW).then(lane)
