"""Decides what becomes of each row: accepted, rejected with a reason, or superseded."""

from collections.abc import Sequence
from dataclasses import dataclass

import polars as pl

from triage.intake.result import SCHEMAS

NO_HOME = "no reference of the home; the row is not used"
NO_PART = "no readable building part; the row is not used"
MEASURE_FIELDS = ("measure_code", "measure_material", "measure_thickness_mm")
KEY = ("property_id", "building_part", "survey_id")
_NULL = "\x00"


@dataclass(frozen=True, slots=True)
class Decided:
    """Status of every row (schema of `rows`), the accepted rows, and problems with keys.

    `problems` has row_id, kind, field, raw and message.
    """

    rows: pl.DataFrame
    clean: pl.DataFrame
    problems: pl.DataFrame


def decide_rows(
    clean: pl.DataFrame,
    sources: pl.DataFrame,
    beside: Sequence[pl.DataFrame] = (),
    lines: pl.DataFrame | None = None,
) -> Decided:
    """Accept, reject or supersede every row, by content alone: no order of rows or files matters.

    Parameters
    ----------
    clean
        Typed rows, one per row read, `survey_id` filled.
    sources
        row_id and source_id of the same rows.
    beside
        What is known of cells beyond their value, as frames with row_id and texts. Two rows
        are the same only if this is the same too: "open cell" is not "open cell (assumed)".
    lines
        row_id and message of rows that are no survey rows; they are rejected with it.

    Raises
    ------
    AssertionError
        If accepted, rejected and superseded rows do not add up to the rows read: a bug.
    """
    none = pl.DataFrame(schema={"row_id": pl.UInt32(), "message": pl.String()})
    told = none if lines is None else lines.select("row_id", "message")
    reason = (
        pl.when(pl.col("message").is_not_null())
        .then("message")
        .when(pl.col("property_id").is_null())
        .then(pl.lit(NO_HOME))
        .when(pl.col("building_part").is_null())
        .then(pl.lit(NO_PART))
    )
    keyed = clean.select("row_id", "property_id", "building_part")
    keyed = keyed.join(told, on="row_id", how="left", maintain_order="left")
    judged = keyed.select("row_id", reason.alias("reason"))
    kept = clean.filter(judged.get_column("reason").is_null())
    kept, superseded, problems = _settle_duplicates(kept, beside)
    rows = (
        sources.join(judged, on="row_id", how="left", maintain_order="left")
        .join(superseded, on="row_id", how="left", maintain_order="left")
        .with_columns(
            pl.when(pl.col("superseded_by").is_not_null())
            .then(pl.lit("superseded"))
            .when(pl.col("reason").is_not_null())
            .then(pl.lit("rejected"))
            .otherwise(pl.lit("accepted"))
            .alias("status"),
            pl.coalesce("why", "reason").alias("reason"),
        )
        .select(SCHEMAS["rows"].keys())
        .cast(pl.Schema(SCHEMAS["rows"]))
    )
    _check_sum(rows, clean, kept)
    return Decided(rows, kept, problems)


def _check_sum(rows: pl.DataFrame, clean: pl.DataFrame, kept: pl.DataFrame) -> None:
    count = dict(rows.group_by("status").len().iter_rows())
    total = sum(count.values())
    if total != clean.height or count.get("accepted", 0) != kept.height:
        raise AssertionError(f"{clean.height} rows read, but {count} with {kept.height} kept")


def _settle_duplicates(
    kept: pl.DataFrame, beside: Sequence[pl.DataFrame]
) -> tuple[pl.DataFrame, pl.DataFrame, pl.DataFrame]:
    """Rows that stay, rows that give way (row_id, superseded_by, why), and problems."""
    doubled = kept.filter(pl.struct(KEY).is_duplicated())
    gone = pl.DataFrame(
        schema={"row_id": pl.UInt32(), "superseded_by": pl.UInt32(), "why": pl.String()}
    )
    problems = pl.DataFrame(
        schema={
            name: SCHEMAS["problems"][name]
            for name in ("row_id", "kind", "field", "raw", "message")
        }
    )
    if doubled.is_empty():
        return kept, gone, problems
    told = _with_content(doubled, beside)
    older, told = _supersede_older(told)
    copies, told, merged = _supersede_copies(told)
    numbered = _number_rest(told)
    gone = pl.concat([gone, older, copies])
    kept = (
        kept.join(gone, on="row_id", how="anti", maintain_order="left")
        .update(merged, on="row_id")
        .update(numbered.select("row_id", "survey_id"), on="row_id")
    )
    problems = numbered.select(
        "row_id",
        pl.lit("duplicate_key").alias("kind"),
        pl.lit("survey_id").alias("field"),
        pl.col("first_id").alias("raw"),
        pl.format(
            "another row has this home, part and survey with other content; kept as {}", "survey_id"
        ).alias("message"),
    )
    return kept, gone, problems


def _with_content(doubled: pl.DataFrame, beside: Sequence[pl.DataFrame]) -> pl.DataFrame:
    """The rows with their content as texts: `facts` without the measure, `how`, `measure`."""
    fields = [name for name in doubled.columns if name not in ("row_id", *MEASURE_FIELDS)]
    told = doubled.with_columns(
        _joined(doubled, fields).alias("facts"),
        _joined(doubled, list(MEASURE_FIELDS[1:])).alias("how"),
        _joined(doubled, list(MEASURE_FIELDS)).alias("measure"),
    ).select("row_id", *KEY, "survey_date", "measure_code", "facts", "how", "measure")
    for frame in beside:
        names = [name for name in frame.columns if name != "row_id"]
        texts = frame.select("row_id", _joined(frame, names).alias("more"))
        texts = texts.group_by("row_id").agg(pl.col("more").sort().str.join("\x1d"))
        told = told.join(texts, on="row_id", how="left").select(
            pl.exclude("facts", "more"),
            pl.concat_str("facts", pl.col("more").fill_null(_NULL), separator="\x1c").alias(
                "facts"
            ),
        )
    return told.sort(*KEY, "facts", "measure", "row_id")


def _joined(frame: pl.DataFrame, names: list[str]) -> pl.Expr:
    texts = [
        pl.col(name).list.join("\x1f") if isinstance(frame.schema[name], pl.List) else pl.col(name)
        for name in names
    ]
    return pl.concat_str(
        [text.cast(pl.String).fill_null(_NULL) for text in texts], separator="\x1e"
    )


def _supersede_older(told: pl.DataFrame) -> tuple[pl.DataFrame, pl.DataFrame]:
    """An earlier visit under the same key gives way to the latest; undated rows stay."""
    latest = pl.col("survey_date").max().over(KEY)
    newest = pl.when(pl.col("survey_date") == latest).then("row_id").min().over(KEY)
    is_older = (pl.col("survey_date") < latest).fill_null(False)
    marked = told.with_columns(newest.alias("superseded_by"), is_older.alias("is_older"))
    older = marked.filter("is_older").select(
        "row_id", "superseded_by", pl.lit("a later visit has the same survey_id").alias("why")
    )
    return older, marked.filter(~pl.col("is_older")).drop("superseded_by", "is_older")


def _supersede_copies(
    told: pl.DataFrame,
) -> tuple[pl.DataFrame, pl.DataFrame, pl.DataFrame]:
    """Rows of one content give way to the first, which takes over the measures they propose."""
    same = [*KEY, "facts", "how"]
    marked = told.with_columns(pl.col("row_id").min().over(same).alias("superseded_by"))
    is_copy = pl.col("row_id") != pl.col("superseded_by")
    copies = marked.filter(is_copy).select(
        "row_id", "superseded_by", pl.lit("the same content as another row").alias("why")
    )
    merged = (
        marked.group_by("superseded_by")
        .agg(pl.col("measure_code").drop_nulls().str.split(";").list.explode(empty_as_null=True))
        .select(
            pl.col("superseded_by").alias("row_id"),
            pl.col("measure_code").list.drop_nulls().list.unique().list.sort().list.join(";"),
        )
        .filter(pl.col("measure_code") != "")
    )
    return copies, marked.filter(~is_copy).drop("superseded_by"), merged


def _number_rest(told: pl.DataFrame) -> pl.DataFrame:
    """Rows that still share a key get survey_id "X#2", "X#3", in the order of their content."""
    place = pl.int_range(pl.len()).over(KEY)
    return (
        told.sort(*KEY, "survey_date", "facts", "measure", nulls_last=True)
        .with_columns(place.alias("place"), pl.col("survey_id").alias("first_id"))
        .filter(pl.col("place") > 0)
        .with_columns(pl.format("{}#{}", "survey_id", pl.col("place") + 1).alias("survey_id"))
    )
