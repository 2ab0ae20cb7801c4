"""Which answers of a home-part differ from the one taken: disputed, superseded, or settled."""

from collections.abc import Iterator, Sequence

import polars as pl

from triage.contract.policy import FieldEvidence, Policy
from triage.rules.codes import KEY
from triage.rules.grading import COUNTS, QUALITY, RANK_BITS, SOURCE, STALE

BETTER, STRONGER, WEAK, SETTLED = "better_and_as_new", "stronger_kind", "not_firm", "settled"
_TOLD = ("value", "other_value", "grade", "other_grade")
CONFLICTS = pl.Schema(
    [
        *((name, pl.String) for name in (*KEY, "field")),
        *((name, pl.UInt32) for name in ("row_id", "other_row_id")),
        *((name, pl.String) for name in _TOLD),
    ]
)
SUPERSEDED = pl.Schema([*CONFLICTS.items(), ("why", pl.String)])


def as_text(name: str, dtype: pl.DataType) -> pl.Expr:
    """A value in a form in which equal answers compare equal."""
    column = pl.col(name)
    return (
        column.list.sort().list.join("|") if isinstance(dtype, pl.List) else column.cast(pl.String)
    )


def find_conflicts(
    several: pl.DataFrame, merged: pl.DataFrame, fields: Sequence[str], policy: Policy
) -> tuple[pl.DataFrame, pl.DataFrame, dict[str, pl.DataFrame]]:
    """Sort out the answers that differ from those taken.

    Two firm answers that differ are a conflict unless the one taken is of a higher grade, at
    least as new (5.5) and about the same dwelling, or of a stronger kind where the field ranks
    kinds (4.2). A later record
    that a named surveyor made on a day, with a photograph, of grade observed or better, from
    where the thing can be seen, settles a conflict if it agrees with one of the two.

    Parameters
    ----------
    several
        Graded rows of the home-parts with several surveys, sorted by key, in content order.
    merged
        One row a home-part, in the same order: for each field the answer taken, `r__<field>`.
    fields
        Fields that claim something about the home.

    Returns
    -------
    tuple
        Conflicts (`CONFLICTS`), one row for each further value; superseded answers
        (`SUPERSEDED`); by field the key and row that settles it (`row_id`).
    """
    conflicts, superseded = [CONFLICTS.to_frame()], [SUPERSEDED.to_frame()]
    settled = {}
    for name, pairs, answers in _differing(several, merged, fields, policy):
        words = _worded(name, policy)
        final = _settling(pairs, answers, policy.evidence.of(name), policy)
        if final.height:
            settled[name] = final.select(*KEY, "row_id")
            told = answers.join(final, on=KEY, how="inner", suffix="_best").filter(
                pl.col("_text") != pl.col("_text_best")
            )
            superseded.append(told.select(*words, pl.lit(SETTLED).alias("why")))
        still = pairs.join(final, on=KEY, how="anti", maintain_order="left")
        over = still.filter(pl.col("_why").is_not_null())
        superseded.append(over.select(*words, pl.col("_why").alias("why")))
        conflicts.append(_one_a_value(still.filter(pl.col("_why").is_null())).select(words))
    return pl.concat(conflicts), pl.concat(superseded), settled


def _one_a_value(standing: pl.DataFrame) -> pl.DataFrame:
    """One of the strongest and newest answers stands for all that say the same."""
    return standing.sort(
        *KEY,
        "_rank",
        "survey_on",
        "_text",
        descending=[False, False, True, True, False],
        nulls_last=True,
        maintain_order=True,
    ).unique([*KEY, "_text"], keep="first", maintain_order=True)


def _differing(
    several: pl.DataFrame, merged: pl.DataFrame, fields: Sequence[str], policy: Policy
) -> Iterator[tuple[str, pl.DataFrame, pl.DataFrame]]:
    """By field: answers that differ from the one taken, and all firm answers where any does."""
    group = several.select(pl.struct(KEY).rle_id().alias("_group"))["_group"]
    # Rows of a shared roof are keyed by it; whose survey they were decides what supersedes.
    whose = "dwelling" if "dwelling" in several.columns else "property_id"
    named = pl.col("surveyor_id").is_not_null() & (pl.col("photo_refs").list.len() > 0)
    slim = several.select(
        *(*KEY, "row_id", "survey_on"),
        pl.col(whose).alias("_whose"),
        named.fill_null(value=False).alias("_named"),
    ).with_row_index("_at")
    for name in fields:
        taken = merged.select(pl.col(SOURCE + name).alias("row_id")).join(
            slim, on="row_id", how="left", maintain_order="left"
        )["_at"]
        best = taken.gather(group)
        text = several.select(as_text(name, several.schema[name]).alias("_text"))["_text"]
        differs = (text != text.gather(best)).fill_null(value=False)
        if not differs.any():
            continue
        concerned = group.is_in(group.filter(differs).unique().implode()) & text.is_not_null()
        answers = _ranked(
            slim.with_columns(
                text, several[QUALITY + name].alias("_quality"), best.alias("_best")
            ).filter(concerned),
            policy.evidence.of(name),
            policy,
        )
        at_best = answers.filter(pl.col("_at") == pl.col("_best"))
        pairs = (
            answers.join(at_best, on=KEY, how="inner", suffix="_best", maintain_order="left")
            .filter(pl.col("_text") != pl.col("_text_best"))
            .with_columns(_why(policy).alias("_why"))
        )
        yield name, pairs, answers.filter(pl.col("_rank") >= _firm(policy))


def _firm(policy: Policy) -> int:
    return policy.evidence.rank(policy.evidence.firm_from)


def _ranked(answers: pl.DataFrame, standard: FieldEvidence, policy: Policy) -> pl.DataFrame:
    """Add the rank of the grade, and the kind of evidence where the field ranks kinds."""
    rank = pl.col("_quality") & RANK_BITS
    return answers.with_columns(rank.alias("_rank"), kind_of(rank, standard, policy).alias("_kind"))


def kind_of(rank: pl.Expr, standard: FieldEvidence, policy: Policy) -> pl.Expr:
    """Kind of evidence by the field's own ranking, 0 the weakest, from the rank of its grade."""
    kinds = {policy.evidence.rank(g): standard.kind_of(g) for g in policy.evidence.grades}
    return rank.replace_strict(kinds, default=0, return_dtype=pl.UInt8)


def _why(policy: Policy) -> pl.Expr:
    """Why the answer taken stands above the other; null where they are in conflict."""
    newer = (pl.col("survey_on_best") >= pl.col("survey_on")).fill_null(value=False)
    # Another dwelling looked at another piece of the roof: it does not unsee what was seen here.
    again = newer & (pl.col("_whose_best") == pl.col("_whose"))
    return (
        pl.when(pl.col("_rank") < _firm(policy))
        .then(pl.lit(WEAK))
        .when(pl.col("_kind_best") > pl.col("_kind"))
        .then(pl.lit(STRONGER))
        .when((pl.col("_rank_best") > pl.col("_rank")) & again)
        .then(pl.lit(BETTER))
    )


def _settling(
    standing: pl.DataFrame, answers: pl.DataFrame, standard: FieldEvidence, policy: Policy
) -> pl.DataFrame:
    """The newest record of each home-part that settles its conflict; none for most."""
    if standing.is_empty():
        return answers.clear()
    disputed = answers.join(
        standing.select(KEY).unique(), on=KEY, how="semi", maintain_order="left"
    )
    able = (
        pl.col("_named")
        & (pl.col("_rank") >= policy.evidence.rank("observed"))
        & ((pl.col("_quality") & (COUNTS | STALE)) > 0)
        & (pl.col("survey_on") == pl.col("survey_on").max().over(KEY))
    )
    last = disputed.filter(able).unique(KEY, keep="first", maintain_order=True)
    if last.is_empty():
        return last
    every = disputed.join(last, on=KEY, how="inner", suffix="_last")
    same = pl.col("_text") == pl.col("_text_last")
    agree = (
        # An earlier visit: a copy of the last record is no second opinion.
        every.filter(same & (pl.col("survey_on") < pl.col("survey_on_last")))
        .group_by(KEY)
        .agg(
            pl.col("_rank").max().alias("_rank_agree"),
            pl.col("survey_on").max().alias("_on_agree"),
        )
    )
    # An answer that the earlier one of the same opinion stood against, or that is now superseded.
    stood = (pl.col("_rank_agree") >= pl.col("_rank")).fill_null(value=False) | (
        pl.col("_on_agree") > pl.col("survey_on")
    ).fill_null(value=False)
    answered = (
        (pl.col("survey_on") < pl.col("survey_on_last")).fill_null(value=False)
        & ((pl.col("_rank_last") > pl.col("_rank")) | stood)
        & (pl.col("_kind_last") >= pl.col("_kind") if standard.ranking else True)
    )
    done = every.join(agree, on=KEY, how="inner").filter(~same).group_by(KEY).agg(answered.all())
    return last.join(
        done.filter(pl.all_horizontal(pl.exclude(KEY))).select(KEY), on=KEY, how="semi"
    )


def _worded(name: str, policy: Policy) -> list[pl.Expr]:
    grades = dict(enumerate(policy.evidence.grades, start=1))
    return [
        *map(pl.col, KEY),
        pl.lit(name).alias("field"),
        pl.col("row_id_best").alias("row_id"),
        pl.col("row_id").alias("other_row_id"),
        pl.col("_text_best").alias("value"),
        pl.col("_text").alias("other_value"),
        *(
            pl.col(rank).replace_strict(grades, return_dtype=pl.String).alias(called)
            for rank, called in (("_rank_best", "grade"), ("_rank", "other_grade"))
        ),
    ]
