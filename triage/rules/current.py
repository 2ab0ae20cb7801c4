"""The current evidence of each home-part: for each field the best answer, and what disagrees."""

from collections.abc import Sequence
from dataclasses import dataclass

import polars as pl

from triage.contract.policy import Policy
from triage.rules.codes import KEY as KEY  # noqa: PLC0414 - the evidence of a home-part has it
from triage.rules.grading import COUNTS, QUALITY, RANK_BITS, SOURCE

# The survey's own record, not a claim about the home: two visits differ in it by nature.
NOT_DISPUTED = ("survey_date", "mc_date", "access_limits", "photo_refs", "postal_code")


@dataclass(frozen=True, slots=True)
class Current:
    """Evidence as it stands.

    `table` has one row per home-part and variant: the key, `variant` (0 is the current evidence;
    higher numbers put a disputed value in its place), `survey_on`, and for each field its value,
    its quality `q__…` and the survey row it came from, `r__…`.
    `conflicts` has one row per disputed field: key, `field`, `row_id`, `other_row_id`.
    """

    table: pl.DataFrame
    conflicts: pl.DataFrame


def current_evidence(rows: pl.DataFrame, fields: Sequence[str], policy: Policy) -> Current:
    """Take the best answer to each field from all survey rows of a home-part.

    Best is: counts for clearing, then the higher grade, then the newer date. Two firm answers
    that differ are a conflict unless one is of a higher grade and at least as new (5.5).

    Parameters
    ----------
    rows
        Graded survey rows, see `grading.grade_rows`; any order.
    fields
        Fields to take over.
    policy
        Gives the order of grades.
    """
    numbered = rows.with_columns(pl.len().over(KEY).alias("_surveys"))
    single = numbered.filter(pl.col("_surveys") == 1).with_columns(
        pl.when(pl.col(name).is_not_null()).then("row_id").alias(SOURCE + name) for name in fields
    )
    kept = [*KEY, "survey_on", *_columns(fields)]
    several = numbered.filter(pl.col("_surveys") > 1)
    if several.is_empty():
        return Current(_variant(single.select(kept), 0), _no_conflicts())
    several = _in_content_order(several, fields)
    merged = several.group_by(KEY, maintain_order=True).agg(pl.max("survey_on"), *_picks(fields))
    table = pl.concat([single.select(kept), merged.select(kept)])
    claims = [name for name in fields if name not in NOT_DISPUTED]
    conflicts = _conflicts(several, merged, claims, policy)
    variants = _variants(merged.select(kept), several, conflicts)
    return Current(pl.concat([_variant(table, 0), *variants]), conflicts)


def _columns(fields: Sequence[str]) -> list[str]:
    return [column for name in fields for column in (name, QUALITY + name, SOURCE + name)]


def _variant(table: pl.DataFrame, number: int) -> pl.DataFrame:
    return table.with_columns(pl.lit(number, pl.Int32).alias("variant"))


def _no_conflicts() -> pl.DataFrame:
    text = dict.fromkeys((*KEY, "field"), pl.String)
    return pl.DataFrame(schema={**text, "row_id": pl.UInt32, "other_row_id": pl.UInt32})


def as_text(name: str, dtype: pl.DataType) -> pl.Expr:
    """A value in a form in which equal answers compare equal."""
    column = pl.col(name)
    return (
        column.list.sort().list.join("|") if isinstance(dtype, pl.List) else column.cast(pl.String)
    )


def _in_content_order(several: pl.DataFrame, fields: Sequence[str]) -> pl.DataFrame:
    """Order rows by what they say, so that file and row order cannot decide a tie."""
    texts = [as_text(name, several.schema[name]).fill_null("") for name in fields]
    content = pl.concat_str(texts, separator="\x1f").alias("_content")
    return several.with_columns(content).sort(
        *KEY, "survey_on", "_content", descending=[False, False, True, False], nulls_last=True
    )


def _priority(name: str) -> pl.Expr:
    """One number that orders the answers of a home-part; -1 where there is none."""
    quality = pl.col(QUALITY + name)
    counts = ((quality & COUNTS) > 0).cast(pl.Int64)
    rank = (quality & RANK_BITS).cast(pl.Int64)
    day = pl.col("survey_on").cast(pl.Int32).cast(pl.Int64).fill_null(0)
    return ((counts * 16 + rank) * 1_000_000 + day).fill_null(-1)


def _picks(fields: Sequence[str]) -> list[pl.Expr]:
    picks = []
    for name in fields:
        best = _priority(name).arg_max()
        row = pl.when(pl.col(name).is_not_null()).then("row_id")
        picks += [
            pl.col(name).get(best),
            pl.col(QUALITY + name).get(best),
            row.get(best).alias(SOURCE + name),
        ]
    return picks


def _conflicts(
    several: pl.DataFrame, merged: pl.DataFrame, fields: Sequence[str], policy: Policy
) -> pl.DataFrame:
    """Firm answers that differ from the one taken and that nothing better and newer supersedes."""
    firm_rank = policy.evidence.rank(policy.evidence.firm_from)
    schema = several.schema
    firm = {name: (pl.col(QUALITY + name) & RANK_BITS) >= firm_rank for name in fields}
    differing = several.group_by(KEY, maintain_order=True).agg(
        (as_text(name, schema[name]).filter(firm[name]).n_unique() > 1).alias(name)
        for name in fields
    )
    found = [_no_conflicts()]
    for name in fields:
        keys = differing.filter(pl.col(name)).select(KEY)
        if keys.is_empty():
            continue
        rank = (pl.col(QUALITY + name) & RANK_BITS).alias("_rank")
        answers = (
            several.join(keys, on=KEY, how="semi")
            .filter(pl.col(name).is_not_null() & firm[name])
            .select(*KEY, "row_id", "survey_on", rank, as_text(name, schema[name]).alias("_text"))
        )
        taken = merged.select(*KEY, pl.col(SOURCE + name).alias("row_id"))
        best = answers.join(taken, on=[*KEY, "row_id"], how="inner")
        pairs = answers.join(best, on=KEY, how="inner", suffix="_best").filter(
            pl.col("_text") != pl.col("_text_best")
        )
        newer = (pl.col("survey_on_best") >= pl.col("survey_on")).fill_null(value=False)
        standing = pairs.filter(~((pl.col("_rank_best") > pl.col("_rank")) & newer))
        first = standing.sort(
            *KEY,
            "_rank",
            "survey_on",
            "_text",
            descending=[False, False, True, True, False],
            nulls_last=True,
        )
        found.append(
            first.unique([*KEY, "_text"], keep="first", maintain_order=True).select(
                *KEY,
                pl.lit(name).alias("field"),
                pl.col("row_id_best").alias("row_id"),
                pl.col("row_id").alias("other_row_id"),
            )
        )
    return pl.concat(found)


def _variants(
    merged: pl.DataFrame, several: pl.DataFrame, conflicts: pl.DataFrame
) -> list[pl.DataFrame]:
    """Copies of the evidence with each disputed value in turn, and with all of them at once."""
    if conflicts.is_empty():
        return []
    tables, every = [], merged.join(conflicts.select(KEY), on=KEY, how="semi")
    for number, (name, part) in enumerate(sorted(_by_field(conflicts).items()), start=1):
        other = several.select(
            *KEY, "row_id", pl.col(name).alias("_value"), pl.col(QUALITY + name).alias("_quality")
        )
        # Several other answers to one field are rare; each makes a copy of its own.
        disputed = part.select(*KEY, pl.col("other_row_id").alias("row_id")).join(
            other, on=[*KEY, "row_id"], how="left", maintain_order="left"
        )
        base = merged.join(disputed, on=KEY, how="inner")
        tables.append(_variant(_swap(base, name), number))
        once = disputed.unique(KEY, keep="first", maintain_order=True)
        swapped = _swap(every.join(once, on=KEY, how="inner"), name)
        every = pl.concat([every.join(once, on=KEY, how="anti"), swapped])
    return [*tables, _variant(every, -1)]


def _by_field(conflicts: pl.DataFrame) -> dict[str, pl.DataFrame]:
    return {
        str(key[0]): part for key, part in conflicts.partition_by("field", as_dict=True).items()
    }


def _swap(base: pl.DataFrame, name: str) -> pl.DataFrame:
    columns = [column for column in base.columns if column not in ("_value", "_quality", "row_id")]
    return base.with_columns(
        pl.col("_value").alias(name),
        pl.col("_quality").alias(QUALITY + name),
        pl.col("row_id").alias(SOURCE + name),
    ).select(columns)
