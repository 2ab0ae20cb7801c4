"""How far each surveyed cell counts: its grade, whether it could be seen, and its age."""

from collections.abc import Mapping, Sequence
from datetime import date

import polars as pl

from triage.contract.policy import FieldEvidence, Policy, View
from triage.rules.events import EVENT, ended_classes

RANK_BITS = 15  # low four bits of a quality: rank of the grade, 1 the weakest, 0 no value
COUNTS = 16  # good enough to clear a rule, seen at least from the ordinary distance
CLOSE = 32  # seen close up from outside, or not by sight at all
STALE = 64  # would count but for its age
DATELESS = 128  # would count, if anybody had written the date

QUALITY = "q__"
SOURCE = "r__"


def grade_rows(
    rows: pl.DataFrame,
    marks: pl.DataFrame,
    fields: Sequence[str],
    policy: Policy,
    as_of: date | pl.Expr,
) -> pl.DataFrame:
    """Add a quality column `q__<field>` for each field to survey rows.

    Parameters
    ----------
    rows
        One row per accepted survey row: `row_id`, `base_grade`, `exposed` (severe or very severe
        exposure), the survey record fields, `fields` and what `events.with_events` adds.
    marks
        Sparse `row_id`, `field`, `grade`: cells whose own text carries a grade.
    fields
        Fields to grade.
    policy
        Gives the evidence standard of each field and the age limits. [months]
    as_of
        Date at which ages are taken; an expression over `rows` gives each row a date of its own.

    Returns
    -------
    pl.DataFrame
        `rows` with one UInt8 a field: rank of the grade in the low four bits, then the flags
        COUNTS, CLOSE, STALE, DATELESS; null where the field is null. Also `reach_inside_rank`,
        `reach_outside_rank`, `survey_on`.
    """
    ready = _with_reach(rows, policy).with_columns(
        pl.col("base_grade").replace_strict(_ranks(policy), return_dtype=pl.UInt8).alias("_rank"),
        pl.col("survey_date").alias("survey_on"),
    )
    own = _mark_columns(marks, fields, policy)
    marked = [name for name in own.columns if name != "row_id"]
    if marked:
        ready = ready.join(own, on="row_id", how="left", maintain_order="left")
    plain = {policy.evidence.of(name) for name in fields if f"_mark_{name}" not in marked}
    shared = {standard: f"_std_{n}" for n, standard in enumerate(sorted(plain, key=repr))}
    ready = ready.with_columns(
        _quality(standard, _row_rank(standard, policy), policy, as_of).alias(alias)
        for standard, alias in shared.items()
    )
    graded = []
    for name in fields:
        standard = policy.evidence.of(name)
        if f"_mark_{name}" in marked:
            rank = pl.coalesce(f"_mark_{name}", _row_rank(standard, policy))
            quality = _quality(standard, rank, policy, as_of)
        else:
            quality = pl.col(shared[standard])
        graded.append(pl.when(pl.col(name).is_not_null()).then(quality).alias(QUALITY + name))
    spare = ["_rank", *shared.values(), *marked]
    return ready.with_columns(graded).drop(spare)


def _ranks(policy: Policy) -> dict[str, int]:
    return {grade: policy.evidence.rank(grade) for grade in policy.evidence.grades}


def _mark_columns(marks: pl.DataFrame, fields: Sequence[str], policy: Policy) -> pl.DataFrame:
    wanted = marks.filter(pl.col("field").is_in(list(fields)))
    if wanted.is_empty():
        return pl.DataFrame(schema={"row_id": pl.UInt32})
    ranked = wanted.with_columns(
        pl.col("grade").replace_strict(_ranks(policy), return_dtype=pl.UInt8),
        ("_mark_" + pl.col("field")).alias("field"),
    )
    return ranked.pivot(on="field", index="row_id", values="grade", aggregate_function="min")


def _with_reach(rows: pl.DataFrame, policy: Policy) -> pl.DataFrame:
    """Where the surveyor was: the split columns, else what the method says, then the limits."""
    evidence = policy.evidence
    columns = []
    for side, order, position in (("inside", evidence.inside, 0), ("outside", evidence.outside, 1)):
        order_rank = {name: n for n, name in enumerate(order)}
        by_method = {
            method: order_rank[pair[position]] for method, pair in evidence.from_method.items()
        }
        reach = pl.coalesce(
            pl.col(f"survey_reach_{side}").replace_strict(
                order_rank, default=None, return_dtype=pl.UInt8
            ),
            pl.col("survey_method").replace_strict(by_method, default=None, return_dtype=pl.UInt8),
            pl.lit(0, pl.UInt8),  # nobody said where they were: as from the desk
        )
        for limit, pair in evidence.limited_by.items():
            if pair[position]:
                limited = pl.col("access_limits").list.contains(limit).fill_null(value=False)
                top = pl.lit(order_rank[pair[position]], pl.UInt8)
                reach = pl.when(limited).then(pl.min_horizontal(reach, top)).otherwise(reach)
        columns.append(reach.alias(f"reach_{side}_rank"))
    return rows.with_columns(columns)


def _row_rank(standard: FieldEvidence, policy: Policy) -> pl.Expr:
    """Rank of a cell that carries no mark: the row's grade, raised by a meter or an opening."""
    evidence = policy.evidence
    rank = pl.col("_rank")
    observed = evidence.rank("observed")
    if standard.reading:
        measured = pl.lit(evidence.rank("measured"), pl.UInt8)
        return pl.when(rank >= observed).then(measured).otherwise(rank)
    view = evidence.views[standard.view]
    if view.inside is None:
        return rank
    opened = pl.col("reach_inside_rank") == len(evidence.inside) - 1
    by_opening = pl.lit(evidence.rank("opened_up"), pl.UInt8)
    return pl.when((rank == observed) & opened).then(by_opening).otherwise(rank)


def _quality(
    standard: FieldEvidence, rank: pl.Expr, policy: Policy, as_of: date | pl.Expr
) -> pl.Expr:
    evidence = policy.evidence
    # Records, photographs and what people say were not seen from anywhere: their grade decides.
    unseen = rank <= evidence.rank("photographed")
    strong = rank >= evidence.rank(standard.clears_at)
    seen = strong & (unseen | _reached(evidence.views[standard.view], policy))
    if standard.not_where:
        seen = seen & ~_where_it_tells_nothing(standard)
    close = unseen | (pl.col("reach_outside_rank") == len(evidence.outside) - 1)
    bits = rank.cast(pl.UInt8) + pl.when(close).then(CLOSE).otherwise(0).cast(pl.UInt8)
    if standard.expires == "none":
        return bits + pl.when(seen).then(COUNTS).otherwise(0).cast(pl.UInt8)
    good_until = last_good_day(standard, policy)
    flag = (
        pl.when(seen & (good_until >= as_of))
        .then(COUNTS)
        .when(seen & good_until.is_null())
        .then(DATELESS)
        .when(seen)
        .then(STALE)
        .otherwise(0)
    )
    return bits + flag.cast(pl.UInt8)


def _where_it_tells_nothing(standard: FieldEvidence) -> pl.Expr:
    """Whether the same row says that the answer is about something else (E05)."""
    tests = [
        pl.col(name).list.contains(code) for name, codes in standard.not_where for code in codes
    ]
    return pl.any_horizontal(tests).fill_null(value=False)


def last_good_day(standard: FieldEvidence, policy: Policy) -> pl.Expr:
    """Last day on which an answer is within its age limit, by calendar months; null if undated.

    A meter reading counts from its own date; an event ends what was recorded up to its day. Needs
    `survey_date`, `mc_date`, `exposed` and the columns of `events.with_events`.
    """
    on = pl.col("survey_date")
    if standard.expires == "timber_reading":
        on = pl.coalesce("mc_date", "survey_date")
    limit = policy.parameters[f"expiry_{standard.expires}_months"]
    exposed = limit.value if limit.exposed is None else limit.exposed
    months = pl.when(pl.col("exposed")).then(int(exposed)).otherwise(int(limit.value))
    aged = on.dt.offset_by(pl.format("{}mo", months))
    if standard.expires not in ended_classes(policy):
        return aged
    ended = pl.col(EVENT + standard.expires).dt.offset_by("-1d")
    return pl.when(aged.is_not_null()).then(pl.min_horizontal(aged, ended))


def _reached(view: View, policy: Policy) -> pl.Expr:
    evidence = policy.evidence
    tests = []
    if view.inside is not None:
        tests.append(pl.col("reach_inside_rank") >= evidence.inside.index(view.inside))
    if view.outside is not None:
        tests.append(pl.col("reach_outside_rank") >= evidence.outside.index(view.outside))
    if not tests:
        return pl.lit(value=True)
    return pl.any_horizontal(tests) if view.either else pl.all_horizontal(tests)


def quality_words(quality: int | None, policy: Policy) -> Mapping[str, object]:
    """Grade and standing of one cell in words, for explanations."""
    if quality is None:
        return {"grade": None, "counts": False, "why_not": "not known"}
    grade = policy.evidence.grades[(quality & RANK_BITS) - 1]
    if quality & COUNTS:
        return {"grade": grade, "counts": True, "why_not": None}
    if quality & STALE:
        why = "older than its age limit"
    elif quality & DATELESS:
        why = "the survey has no date"
    else:
        why = "grade too weak, not visible from where the surveyor was, or not about timber"
    return {"grade": grade, "counts": False, "why_not": why}
