"""Repairs what spreadsheet programs did to postal and area codes, and says so."""

import polars as pl

from triage.intake.result import SCHEMAS

_UK = r"^(?:GIR ?0AA|[A-Z]{1,2}[0-9][A-Z0-9]? ?[0-9][A-Z]{2})$"
_PROBLEM = {
    name: SCHEMAS["problems"][name] for name in ("row_id", "kind", "field", "raw", "message")
}


def repair_codes(clean: pl.DataFrame) -> tuple[pl.DataFrame, pl.DataFrame]:
    """Give US ZIP and county codes their lost zeros back; write UK postcodes in the usual form.

    Returns
    -------
    tuple of DataFrame
        The rows with the codes repaired, and the problems (row_id, kind zero_restored, field,
        raw, message). Zeros are restored only where the row says that the home is in the US: a
        ZIP has five digits, or nine with the block, a county code five.
    """
    is_us = pl.col("country_code") == "US"
    zip_code = _without_fraction("postal_code")
    repaired = clean.with_columns(
        pl.when(is_us)
        .then(_zip(zip_code))
        .when(pl.col("country_code") == "GB")
        .then(_uk_postcode(pl.col("postal_code")))
        .otherwise("postal_code")
        .alias("postal_code"),
        pl.when(is_us & _without_fraction("admin_area_code").str.contains(r"^[0-9]{4,5}$"))
        .then(_without_fraction("admin_area_code").str.zfill(5))
        .otherwise("admin_area_code")
        .alias("admin_area_code"),
    )
    problems = [_restored(clean, repaired, name) for name in ("postal_code", "admin_area_code")]
    return repaired, pl.concat(problems)


def _without_fraction(name: str) -> pl.Expr:
    """Codes that went through a number column end in ".0"."""
    return pl.col(name).str.replace(r"^([0-9]+)\.0$", "${1}")


def _zip(code: pl.Expr) -> pl.Expr:
    with_block = code.str.extract(r"^([0-9]{3,5})-[0-9]{4}$")
    return (
        pl.when(code.str.contains(r"^[0-9]{3,5}$"))
        .then(code.str.zfill(5))
        .when(with_block.is_not_null())
        .then(pl.concat_str(with_block.str.zfill(5), code.str.slice(-5)))
        .when(code.str.contains(r"^[0-9]{7,9}$"))
        .then(pl.concat_str(code.str.zfill(9).str.slice(0, 5), pl.lit("-"), code.str.slice(-4)))
        .otherwise(code)
    )


def _uk_postcode(code: pl.Expr) -> pl.Expr:
    upper = code.str.to_uppercase()
    packed = upper.str.replace_all(" ", "")
    spaced = pl.concat_str(packed.str.head(-3), pl.lit(" "), packed.str.slice(-3))
    return pl.when(upper.str.contains(_UK)).then(spaced).otherwise(upper)


def _restored(before: pl.DataFrame, after: pl.DataFrame, name: str) -> pl.DataFrame:
    old, new = before.get_column(name), after.get_column(name)
    digits = [series.str.replace_all(r"[^0-9]", "") for series in (old, new)]
    grown = (digits[1].str.len_bytes() > digits[0].str.replace(r"0$", "").str.len_bytes()) & (
        digits[1].str.starts_with("0") & ~digits[0].str.starts_with("0")
    )
    changed = after.filter((before.get_column("country_code") == "US") & grown.fill_null(False))
    raw = old.filter((before.get_column("country_code") == "US") & grown.fill_null(False))
    return changed.select(
        "row_id",
        pl.lit("zero_restored").alias("kind"),
        pl.lit(name).alias("field"),
        raw.alias("raw"),
        pl.format("read as {}: a spreadsheet program had dropped its zeros", name).alias("message"),
    ).cast(pl.Schema(_PROBLEM))
