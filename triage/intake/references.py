"""Says which references of homes look like another spelling, or like no reference at all."""

import polars as pl

from triage.intake.result import SCHEMAS

_PROBLEM = {
    name: SCHEMAS["problems"][name] for name in ("row_id", "kind", "field", "raw", "message")
}
_LEAST_ROWS = 10  # of a table, before its references have a habit
_SHARE_WITH_DIGIT = 0.95


def doubtful_references(clean: pl.DataFrame, sources: pl.DataFrame) -> pl.DataFrame:
    """References that may be another one written differently; nothing is put together.

    "0042", "42", "42.0" and "h 12", "H12" differ by what spreadsheet programs and people do to
    them. A reference without any digit, where nearly all others of its table have one, may be a
    title or a remark.

    Parameters
    ----------
    clean, sources
        Rows with row_id and property_id; their source_id.

    Returns
    -------
    pl.DataFrame
        Problems with row_id, kind, field, raw and message, one for each reference concerned.
    """
    homes = clean.select("row_id", "property_id").filter(pl.col("property_id").is_not_null())
    return pl.concat([_spelled_twice(homes), _without_digit(homes, sources)])


def _spelled_twice(homes: pl.DataFrame) -> pl.DataFrame:
    each = homes.group_by("property_id").agg(pl.len().alias("rows"), pl.col("row_id").min())
    folded = pl.col("property_id").str.to_lowercase().str.replace_all(r"\s", "")
    folded = folded.str.replace(r"^([0-9]+)\.0$", "${1}").str.replace(r"^0+([0-9])", "${1}")
    alike = each.with_columns(folded.alias("folded")).filter(pl.len().over("folded") > 1)
    ranked = alike.sort("folded", "rows", "property_id", descending=[False, True, False])
    usual = pl.col("property_id").first().over("folded")
    other = ranked.with_columns(usual.alias("usual")).filter(pl.col("property_id") != usual)
    message = pl.format(
        "'{}' may be the home '{}' of other rows; they are kept as two homes until one spelling "
        "is used",
        "property_id",
        "usual",
    )
    return _problems(other, "reference_spelled_twice", message)


def _without_digit(homes: pl.DataFrame, sources: pl.DataFrame) -> pl.DataFrame:
    placed = homes.join(sources.select("row_id", "source_id"), on="row_id", how="left")
    has_digit = pl.col("property_id").str.contains(r"\d")
    is_habit = (has_digit.mean().over("source_id") >= _SHARE_WITH_DIGIT) & (
        pl.len().over("source_id") >= _LEAST_ROWS
    )
    message = pl.format(
        "'{}' has no digit, unlike the other references; if it is no home, delete the row",
        "property_id",
    )
    return _problems(placed.filter(is_habit & ~has_digit), "unusual_reference", message)


def _problems(found: pl.DataFrame, kind: str, message: pl.Expr) -> pl.DataFrame:
    return found.select(
        "row_id",
        pl.lit(kind).alias("kind"),
        pl.lit("property_id").alias("field"),
        pl.col("property_id").alias("raw"),
        message.alias("message"),
    ).cast(pl.Schema(_PROBLEM))
