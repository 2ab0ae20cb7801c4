"""Evaluates every rule on three readings of the evidence, and keeps every answer.

`all` holds every value, `firm` leaves out assumed and inherited ones, `clear` keeps only what is
good enough to clear a rule.
"""

from dataclasses import dataclass

import polars as pl

from triage.contract.policy import GATING, Policy, Presumption, Rule
from triage.rules.asking import smallest_sets
from triage.rules.board import Board, rule_fields
from triage.rules.codes import NOT_APPLICABLE, NOT_EVALUATED, PRESUMED, PRESUMES
from triage.rules.frames import Frames
from triage.rules.verdict import verdict


@dataclass(frozen=True, slots=True)
class Answers:
    """What the rules said, one row per assessment row.

    `results` has a UInt8 a rule (see RESULT_WORDS); `missing` a Boolean `miss__<field>` a field
    that would settle an undecidable rule; `presumed` a Boolean a presumption, by its position.
    """

    results: pl.DataFrame
    missing: pl.DataFrame
    presumed: pl.DataFrame


def evaluate(frames: Frames, policy: Policy) -> Answers:
    """Evaluate the pack on assessment rows.

    Parameters
    ----------
    frames
        Assessment rows read three ways; `clear` and the others hold the context flags.
    policy
        The rules, presumptions and limits.

    Returns
    -------
    Answers
        In the row order of `frames`.
    """
    index = pl.int_range(frames.all.height, dtype=pl.UInt32, eager=True).alias("_row")
    parts = []
    # Without any row one group is evaluated all the same, so that the columns are there.
    groups = frames.all["measure_group"].unique().sort().to_list() or [*policy.groups][:1]
    for group in groups:
        rows = index.filter(frames.all["measure_group"] == group)
        parts.append(_of_group(Board(group, frames.of_group(group), policy), rows))
    order = pl.concat([part.results.select("_row") for part in parts])["_row"].arg_sort()
    joined = [
        pl.concat([getattr(part, name) for part in parts], how="diagonal")[order].drop("_row")
        for name in ("results", "missing", "presumed")
    ]
    blank = [rule for rule in policy.rules if rule not in joined[0].columns]
    results = joined[0].with_columns(pl.lit(NOT_APPLICABLE, pl.UInt8).alias(rule) for rule in blank)
    return Answers(
        results.select(pl.col(rule).fill_null(NOT_APPLICABLE) for rule in policy.rules),
        *(_in_order(frame) for frame in joined[1:]),
    )


def _in_order(flags: pl.DataFrame) -> pl.DataFrame:
    """Columns in an order of their own, whichever groups a batch happens to hold."""
    # Numbered ones by number: the shorter name is the smaller number.
    numbered = {name: len(name) if name.startswith(PRESUMES) else 0 for name in flags.columns}
    names = sorted(flags.columns, key=lambda name: (numbered[name], name))
    return flags.select(pl.col(name).fill_null(value=False) for name in names)


def _of_group(board: Board, rows: pl.Series) -> Answers:
    policy, group = board.policy, board.group
    answers = board.answers()
    # Lazily, so that tests which several verdicts share are made once.
    results = answers.lazy().select(verdict(rule, board) for rule in board.rules).collect()
    # What is missing is asked of the verdicts, so it is drawn up after them.
    answers = answers.hstack(results)
    used = answers.select(_used(number, item, board) for number, item in board.presumptions)
    holding = {*policy.groups[group].required, *_required_gates(policy, group)}
    missing = smallest_sets(
        answers.hstack(used) if used.width else answers,
        {rule.id: board.lacks(rule) for rule in board.rules if rule.id in holding},
        {rule.id: board.weak(rule) for rule in board.rules if rule.outcome in GATING},
        board.presumptions,
        int(policy.number("max_presumed_topics")),
    )
    waiting = [rule.id for rule in policy.rules.values() if rule.awaits and group in rule.groups]
    results = results.with_columns(pl.lit(NOT_EVALUATED, pl.UInt8).alias(name) for name in waiting)
    frames = (results, _tall(missing, rows), _tall(used, rows))
    return Answers(*(frame.insert_column(0, rows) for frame in frames))


def _used(number: int, item: Presumption, board: Board) -> pl.Expr:
    """Whether a presumption carries any gating rule's answer on the row."""
    tests = [pl.col(rule.id) == PRESUMED for rule in board.rules if _reads(rule, item, board)]
    used = pl.any_horizontal(tests) if tests else pl.lit(value=False)
    return (used & pl.col(f"p{number}")).alias(f"{PRESUMES}{number}")


def _reads(rule: Rule, item: Presumption, board: Board) -> bool:
    return rule.outcome in GATING and item.field in rule_fields(rule, board.group, board.policy)


def _required_gates(policy: Policy, group: str) -> set[str]:
    """Gates that the group, or any of its measures, must show."""
    wanted = [*policy.groups[group].required_clearances]
    for measure in policy.measures.values():
        if measure.group == group:
            wanted += measure.required_clearances
    return {gate for any_of in wanted for gate in any_of}


def _tall(frame: pl.DataFrame, like: pl.Series) -> pl.DataFrame:
    """A frame without columns has no height; give it the rows it stands for."""
    return (
        frame if frame.width else pl.DataFrame({"_none": pl.repeat(False, len(like), eager=True)})
    )
