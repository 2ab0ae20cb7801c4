"""The current evidence of each home-part: for each field the best answer, and what disagrees."""

from collections.abc import Sequence
from dataclasses import dataclass

import polars as pl

from triage.contract.policy import Policy
from triage.rules.codes import KEY as KEY  # noqa: PLC0414 - the evidence of a home-part has it
from triage.rules.conflicts import CONFLICTS, SUPERSEDED, as_text, find_conflicts, kind_of
from triage.rules.grading import COUNTS, QUALITY, RANK_BITS, SOURCE, STALE
from triage.rules.repairs import retire_repaired
from triage.rules.shared_roof import (
    repairs_of_roofs,
    roof_fields,
    roofs_shared,
    rows_of_roofs,
    told_of_dwellings,
    under_their_roof,
)

# The survey's own record, not a claim about the home: two visits differ in it by nature.
NOT_DISPUTED = ("survey_date", "mc_date", "access_limits", "photo_refs", "postal_code")


OUTDATED = "outdated"


@dataclass(frozen=True, slots=True)
class Current:
    """Evidence as it stands.

    `table` has one row per home-part and variant: the key, `variant` (0 is the current evidence;
    higher numbers put a disputed value in its place), `survey_on`, and for each field its value,
    its quality `q__…` and the survey row it came from, `r__…`. `outdated`: the disputed value is
    too old to count, and the one taken counts.
    `conflicts` has one row per disputed value and `superseded` one per answer that another one
    stands above: key, `field`, `row_id` (taken) and `other_row_id` with the values and grades of
    both; `why` it is superseded. A row may be about another dwelling under the same roof.
    """

    table: pl.DataFrame
    conflicts: pl.DataFrame
    superseded: pl.DataFrame


def current_evidence(
    rows: pl.DataFrame,
    fields: Sequence[str],
    policy: Policy,
    buildings: pl.DataFrame | None = None,
    repairs: pl.DataFrame | None = None,
) -> Current:
    """Take the best answer to each field from all survey rows of a home-part.

    Best is: counts for clearing, then the higher grade, then the newer date; where a field ranks
    kinds of evidence the stronger kind comes first. What is in conflict, `find_conflicts` says.

    Parameters
    ----------
    rows
        Graded survey rows, see `grading.grade_rows`; any order.
    fields
        Fields to take over.
    policy
        Gives the order of grades, and which dwellings share a roof.
    buildings
        `property_id`, `building_id`; None: no home shares a roof.
    repairs
        See `records.Records`. A repair shown to work at one dwelling mends the roof that all share.
    """
    taken = _taken(rows, fields, policy)
    if buildings is not None:
        members = roofs_shared(rows, buildings, policy)
        if members.height:
            of_roofs = rows_of_roofs(rows, members, policy)
            if repairs is not None:
                mended = repairs_of_roofs(repairs, members)
                of_roofs = retire_repaired(of_roofs, mended, policy)
            taken = _with_roofs(taken, of_roofs, members, fields, policy)
    fresh = taken.table.with_columns(pl.lit(value=False).alias(OUTDATED))
    variants = _variants(fresh, rows, taken.conflicts)
    table = pl.concat([_variant(fresh, 0), *variants])
    return Current(table, taken.conflicts, taken.superseded)


def _with_roofs(
    taken: Current,
    of_roofs: pl.DataFrame,
    members: pl.DataFrame,
    fields: Sequence[str],
    policy: Policy,
) -> Current:
    """Take the answers about shared roofs once a roof, and give them to its dwellings."""
    about = roof_fields(fields, policy)
    roofs = _taken(of_roofs, about, policy)
    return Current(
        under_their_roof(taken.table, roofs.table, members, policy),
        told_of_dwellings(taken.conflicts, roofs.conflicts, members, policy),
        told_of_dwellings(taken.superseded, roofs.superseded, members, policy),
    )


def _taken(rows: pl.DataFrame, fields: Sequence[str], policy: Policy) -> Current:
    """The answers taken, one row a home-part, and what differs from them; no variants yet."""
    numbered = rows.with_columns(pl.len().over(KEY).alias("_surveys"))
    single = numbered.filter(pl.col("_surveys") == 1).with_columns(
        pl.when(pl.col(name).is_not_null()).then("row_id").alias(SOURCE + name) for name in fields
    )
    kept = [*KEY, "survey_on", *_columns(fields)]
    several = numbered.filter(pl.col("_surveys") > 1)
    if several.is_empty():
        return Current(single.select(kept), CONFLICTS.to_frame(), SUPERSEDED.to_frame())
    several = _in_content_order(several, fields)
    merged = (
        several.group_by(KEY, maintain_order=True)
        .agg(pl.max("survey_on"), *_picks(fields, policy))
        .select(kept)
    )
    claims = [name for name in fields if name not in NOT_DISPUTED]
    conflicts, superseded, settled = find_conflicts(several, merged, claims, policy)
    for name, by in settled.items():
        merged = _settled(merged, name, by.join(_answers(several, name), on="row_id", how="left"))
    return Current(pl.concat([single.select(kept), merged]), conflicts, superseded)


def _columns(fields: Sequence[str]) -> list[str]:
    return [column for name in fields for column in (name, QUALITY + name, SOURCE + name)]


def _variant(table: pl.DataFrame, number: int) -> pl.DataFrame:
    return table.with_columns(pl.lit(number, pl.Int32).alias("variant"))


def _in_content_order(several: pl.DataFrame, fields: Sequence[str]) -> pl.DataFrame:
    """Order rows by what they say, so that file and row order cannot decide a tie."""
    texts = [as_text(name, several.schema[name]).fill_null("") for name in fields]
    content = pl.concat_str(texts, separator="\x1f").alias("_content")
    return several.with_columns(content).sort(
        *KEY, "survey_on", "_content", descending=[False, False, True, False], nulls_last=True
    )


def _priority(name: str, policy: Policy) -> pl.Expr:
    """One number that orders the answers of a home-part; -1 where there is none."""
    quality = pl.col(QUALITY + name)
    standard = policy.evidence.of(name)
    counts = ((quality & COUNTS) > 0).cast(pl.Int64)
    rank = (quality & RANK_BITS).cast(pl.Int64)
    order = counts * 16 + rank
    if standard.ranking:
        order = order + kind_of(quality & RANK_BITS, standard, policy).cast(pl.Int64) * 32
    day = pl.col("survey_on").cast(pl.Int32).cast(pl.Int64).fill_null(0)
    return (order * 1_000_000 + day).fill_null(-1)


def _picks(fields: Sequence[str], policy: Policy) -> list[pl.Expr]:
    picks = []
    for name in fields:
        best = _priority(name, policy).arg_max()
        row = pl.when(pl.col(name).is_not_null()).then("row_id")
        picks += [
            pl.col(name).get(best),
            pl.col(QUALITY + name).get(best),
            row.get(best).alias(SOURCE + name),
        ]
    return picks


def _answers(rows: pl.DataFrame, name: str) -> pl.DataFrame:
    return rows.select(
        "row_id", pl.col(name).alias("_value"), pl.col(QUALITY + name).alias("_quality")
    )


def _settled(merged: pl.DataFrame, name: str, by: pl.DataFrame) -> pl.DataFrame:
    """Put the answer that settles a conflict in the place of the one taken."""
    beside = merged.join(by, on=KEY, how="left", maintain_order="left")
    there = pl.col("row_id").is_not_null()
    return beside.with_columns(
        pl.when(there).then(new).otherwise(old).alias(old)
        for new, old in (
            ("_value", name),
            ("_quality", QUALITY + name),
            ("row_id", SOURCE + name),
        )
    ).select(merged.columns)


def _variants(
    taken: pl.DataFrame, rows: pl.DataFrame, conflicts: pl.DataFrame
) -> list[pl.DataFrame]:
    """Copies of the evidence with each disputed value in turn, and with all of them at once."""
    if conflicts.is_empty():
        return []
    concerned = rows.join(
        conflicts.select(pl.col("other_row_id").alias("row_id")), on="row_id", how="semi"
    )
    tables, every = [], taken.join(conflicts.select(KEY), on=KEY, how="semi")
    merged = every
    for number, (name, part) in enumerate(sorted(_by_field(conflicts).items()), start=1):
        # Several other answers to one field are rare; each makes a copy of its own.
        disputed = part.select(*KEY, pl.col("other_row_id").alias("row_id")).join(
            _answers(concerned, name), on="row_id", how="left", maintain_order="left"
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
    too_old = ((pl.col("_quality") & STALE) > 0) & ((pl.col(QUALITY + name) & COUNTS) > 0)
    return base.with_columns(
        (pl.col(OUTDATED) | too_old.fill_null(value=False)).alias(OUTDATED),
        pl.col("_value").alias(name),
        pl.col("_quality").alias(QUALITY + name),
        pl.col("row_id").alias(SOURCE + name),
    ).select(columns)
