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
    NOT_EVALUATED,
    PRESUMED,
    PRESUMES,
    UNDECIDABLE,
)
from triage.rules.evaluate import Answers

SAFE, FIX, REVIEW = "safe-to-insulate", "fix-water-first", "specialist-review"
QUEUES = (SAFE, FIX, REVIEW)
LANES = ("technical", "inspection", "safety", "contradiction", "expired", "evidence_gap")
RBR = "rbr__"  # review before repair
_ANY_OPEN = (UNDECIDABLE, EXPIRED)


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
    limits = {name: parameter.value for name, parameter in policy.parameters.items()}
    # The comparison gives a constant condition such as TRUE the height of the frame.
    rows = pl.col("measure_group").is_not_null()
    return all_frame.select(
        (rows & bind(rule.review_before_repair, limits).fill_null(value=False)).alias(RBR + rule.id)
        for rule in policy.rules.values()
        if rule.review_before_repair
    )


def join_variants(
    rows: pl.DataFrame, answers: Answers, first: pl.DataFrame, policy: Policy
) -> tuple[pl.DataFrame, pl.DataFrame, pl.DataFrame, pl.DataFrame]:
    """Bring the variants of a disputed assessment together.

    A rule that fires whichever value is right, fires; one that fires for only some is disputed;
    otherwise the less favourable answer stands.

    Returns
    -------
    tuple
        Results (with `fix_whatever`: some fix rule fires in every variant), missing, presumed and
        review-first flags, one row per assessment, in order.
    """
    number = rows["assessment"]
    fix_rules = [
        r.id for r in policy.rules.values() if r.outcome == FIX and r.id in answers.results.columns
    ]
    any_fix = pl.any_horizontal((pl.col(r) == FIRES) for r in fix_rules).alias("fix_whatever")
    results = answers.results.with_columns(any_fix).insert_column(0, number)
    missing = answers.missing.insert_column(0, number)
    presumed = answers.presumed.insert_column(0, number)
    first = first.insert_column(0, number)
    many = number.is_duplicated()
    if not many.any():
        return tuple(frame.drop("assessment") for frame in (results, missing, presumed, first))  # type: ignore[return-value]
    rules = [name for name in answers.results.columns if name != "assessment"]
    worst = [
        pl.when((pl.max(r) == FIRES) & (pl.min(r) < FIRES))
        .then(DISPUTED)
        .otherwise(pl.max(r))
        .cast(pl.UInt8)
        .alias(r)
        for r in rules
    ]
    return (
        _merge(results, many, [*worst, pl.col("fix_whatever").all()]),
        _merge(missing, many, [pl.col(c).any() for c in missing.columns if c != "assessment"]),
        _merge(presumed, many, [pl.col(c).any() for c in presumed.columns if c != "assessment"]),
        _merge(first, many, [pl.col(c).any() for c in first.columns if c != "assessment"]),
    )


def _merge(frame: pl.DataFrame, many: pl.Series, how: list[pl.Expr]) -> pl.DataFrame:
    merged = frame.filter(many).group_by("assessment", maintain_order=True).agg(how)
    return (
        pl.concat([frame.filter(~many), merged.select(frame.columns)])
        .sort("assessment")
        .drop("assessment")
    )


def decide(
    base: pl.DataFrame,
    results: pl.DataFrame,
    presumed: pl.DataFrame,
    first: pl.DataFrame,
    policy: Policy,
) -> Decision:
    """Pick the queue by precedence (5.2) and the lane.

    Parameters
    ----------
    base
        One row per assessment: `measure_group`, `measure_code`.
    results, presumed, first
        As `join_variants` gives them, in the same order.

    Returns
    -------
    Decision
        `table` columns: queue, lane, severity, presumed_topics, over_presumed, clearance_unmet,
        clearance_open and the Boolean grounds.
    """
    rules = policy.rules
    board = pl.concat([base, results, presumed, first], how="horizontal").with_columns(
        _satisfied(policy)
    )
    topics = _topic_count(policy, presumed)
    unmet, unanswered = _clearances(policy)
    board = board.with_columns(
        topics.alias("presumed_topics"),
        unmet.alias("clearance_unmet"),
        unanswered.alias("clearance_open"),
    )
    gating = [rule for rule in rules.values() if rule.outcome in GATING]
    board = board.with_columns(
        _fired(gating, FIX).alias("_fix"),
        _any([_is(r, FIRES) & pl.col(RBR + r.id) for r in gating if r.review_before_repair]).alias(
            "_first"
        ),
        (
            _any([_is(r, FIRES) for r in gating if r.outcome == REVIEW and r.lane != "safety"])
            | _any(
                [
                    _is(r, FIRES) & pl.col(RBR + r.id)
                    for r in gating
                    if r.outcome == FIX and r.review_before_repair
                ]
            )
            | pl.col("clearance_unmet")
        ).alias("_technical"),
        _any([_is(r, FIRES) for r in gating if r.lane == "safety"]).alias("_safety"),
        _any([_is(r, DISPUTED) for r in gating]).alias("_disputed"),
        (
            _any([_open(r, policy, (UNDECIDABLE,)) for r in gating])
            | _any([_is(r, CONFIRM) for r in gating])
            | pl.col("clearance_open")
            | (pl.col("presumed_topics") > int(policy.number("max_presumed_topics")))
        ).alias("_gap"),
        _any([_open(r, policy, (EXPIRED,)) for r in gating]).alias("_expired"),
        pl.max_horizontal(pl.when(_is(r, FIRES)).then(r.severity).otherwise(0) for r in gating)
        .cast(pl.Int8)
        .alias("severity"),
    )
    board = board.with_columns(_queue().alias("queue"))
    board = board.with_columns(_lane(policy).alias("lane"))
    effective = board.select(results.columns[: len(rules)])
    grounds = ["queue", "lane", "severity", "presumed_topics", "clearance_unmet", "clearance_open"]
    return Decision(board.select(grounds), effective)


def _is(rule: Rule, code: int) -> pl.Expr:
    return pl.col(rule.id) == code


def _any(tests: list[pl.Expr]) -> pl.Expr:
    return pl.any_horizontal(tests) if tests else pl.lit(value=False)


def _open(rule: Rule, policy: Policy, codes: tuple[int, ...]) -> pl.Expr:
    """A rule that the group requires and that could not be decided."""
    groups = [group.code for group in policy.groups.values() if rule.id in group.required]
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


def _fired(gating: list[Rule], outcome: str) -> pl.Expr:
    """A rule of this outcome fires; for repairs also when some repair is due whatever is right."""
    fires = _any([_is(r, FIRES) for r in gating if r.outcome == outcome])
    return fires | pl.col("fix_whatever") if outcome == FIX else fires


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
            answer_due = _any([pl.col(gate).is_in([UNDECIDABLE, EXPIRED]) for gate in any_of])
            unanswered.append(concerned & ~met & answer_due)
            unmet.append(concerned & ~met & ~answer_due)
    return _any(unmet), _any(unanswered)


def _queue() -> pl.Expr:
    held = pl.any_horizontal("_technical", "_safety", "_disputed", "_gap", "_expired")
    return (
        pl.when(pl.col("_first"))
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
        pl.when(pl.col("_technical"))
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


def unevaluated(policy: Policy) -> list[str]:
    """Ids that this version does not evaluate, in register order."""
    return [rule.id for rule in policy.rules.values() if rule.awaits]


__all__ = [
    "FIX",
    "LANES",
    "NOT_EVALUATED",
    "QUEUES",
    "REVIEW",
    "SAFE",
    "Decision",
    "decide",
    "join_variants",
    "review_first",
    "unevaluated",
]
