"""Which disagreements part the queues (E02): those of fields whose other value changes one."""

import polars as pl

from triage.contract.policy import Policy
from triage.rules.board import rule_fields
from triage.rules.codes import KEY
from triage.rules.evaluate import Answers
from triage.rules.queue import decide
from triage.rules.variants import Verdicts, with_repairs_due

_AT = "assessment"
_NO_DECISION = ("refused", "wants_evidence", "came_back", "parted")


def parting_fields(
    rows: pl.DataFrame,
    answers: Answers,
    first: pl.DataFrame,
    accepted: pl.DataFrame,
    conflicts: pl.DataFrame,
    policy: Policy,
) -> pl.Series:
    """Disputed fields whose other value would put the assessment into another queue.

    Each variant is judged as if it were all there is. Where no single value but only all other
    values together change the queue, every disputed field that the measure's rules read is named.

    Parameters
    ----------
    rows
        Assessment rows with variants: the key, `assessment`, `variant`, `measure_group` and
        `measure_code`; variant 0 is the evidence taken, the others as `current` numbers them.
    answers, first
        What the rules said, and where review would come first, in the order of `rows`.
    accepted
        A Boolean for each rule that a decision accepts, one row an assessment.
    conflicts
        Disputed fields: the key and `field`.
    policy
        The pack.

    Returns
    -------
    pl.Series
        List(String), sorted, one an assessment in order; empty where no queue changes.
    """
    many = rows[_AT].is_duplicated()
    base = rows.filter(pl.col("variant") == 0).select(_AT).with_row_index("_base")
    told = rows.filter(many).select(*KEY, _AT, "variant", "measure_group", "measure_code")
    if told.is_empty():
        return _lists(base, told.select(_AT, pl.lit("").alias("field")))
    at = told.join(base, on=_AT, how="left", maintain_order="left")["_base"]
    results = with_repairs_due(answers.results.filter(many), policy)
    others = (frame.filter(many) for frame in (answers.missing, answers.presumed, first))
    board = told.select("measure_group", "measure_code").with_columns(
        pl.lit(value=False).alias(name) for name in _NO_DECISION
    )
    covered = accepted[at] if accepted.width else accepted
    queue = decide(board, Verdicts(results, *others), covered, policy).table["queue"]
    judged = told.with_columns(queue)
    taken = judged.filter(pl.col("variant") == 0).select(_AT, pl.col("queue").alias("_taken"))
    other = judged.join(taken, on=_AT, how="inner").filter(pl.col("queue") != pl.col("_taken"))
    return _lists(base, _fields(other, conflicts, policy))


def _fields(other: pl.DataFrame, conflicts: pl.DataFrame, policy: Policy) -> pl.DataFrame:
    """The assessment and field of each disagreement that parts the queues."""
    numbered = dict(enumerate(conflicts["field"].unique().sort(), start=1))
    alone = other.filter(pl.col("variant") > 0).select(
        _AT,
        pl.col("variant")
        .replace_strict(numbered, default=None, return_dtype=pl.String)
        .alias("field"),
    )
    together = other.filter(pl.col("variant") < 0).join(alone, on=_AT, how="anti")
    read = pl.DataFrame(
        [
            (group, name)
            for rule in policy.rules.values()
            for group in rule.groups
            for name in sorted(rule_fields(rule, group, policy))
        ],
        schema={"measure_group": pl.String, "field": pl.String},
        orient="row",
    ).unique()
    jointly = together.join(conflicts.select(*KEY, "field"), on=KEY, how="inner").join(
        read, on=["measure_group", "field"], how="semi"
    )
    return pl.concat([alone, jointly.select(_AT, "field")])


def _lists(base: pl.DataFrame, fields: pl.DataFrame) -> pl.Series:
    gathered = fields.group_by(_AT).agg(pl.col("field").unique().sort())
    joined = base.join(gathered, on=_AT, how="left", maintain_order="left")
    return joined["field"].fill_null(pl.Series([[]], dtype=pl.List(pl.String)))
