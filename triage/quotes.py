"""Quotes both cells of a disagreement where a reader meets it: in the reason, and beside it."""

import polars as pl

from triage.rules.codes import KEY
from triage.rules.table import ID
from triage.work import Work


def quote_conflicts(work: Work) -> None:
    """Add to the queue `conflict_notes`: both cells of each disagreement that concerns the row."""
    queue, held = work.store.table("queue"), work.store.table("contradiction")
    work.store.put("queue", with_quotes(queue, held))


def with_quotes(queue: pl.DataFrame, contradictions: pl.DataFrame) -> pl.DataFrame:
    """Add both cells to the rows that a disagreement concerns.

    Parameters
    ----------
    queue
        The queue table, with the list `disputed_fields`.
    contradictions
        Both cells of each disagreement, as `55_contradiction.sql` writes them.

    Returns
    -------
    pl.DataFrame
        `queue` with `conflict_notes`, List(String), after `reason`; the reason of a row in the
        lane `contradiction` ends with the first of them.
    """
    quoted = contradictions.select(
        *KEY, pl.col("field").alias("disputed_fields"), _quote().alias("conflict_notes")
    )
    notes = (
        queue.select(*ID, "disputed_fields")
        .explode("disputed_fields")
        .drop_nulls("disputed_fields")
        .join(quoted, on=[*KEY, "disputed_fields"], how="inner", maintain_order="left_right")
        .group_by(ID, maintain_order=True)
        .agg("conflict_notes")
    )
    told = queue.join(notes, on=ID, how="left", maintain_order="left").with_columns(
        pl.col("conflict_notes").fill_null(pl.lit([], pl.List(pl.String)))
    )
    count = pl.col("conflict_notes").list.len()
    more = pl.when(count > 1).then(pl.format(" And {} more.", count - 1)).otherwise(pl.lit(""))
    first = pl.concat_str("reason", pl.lit(" "), pl.col("conflict_notes").list.first(), more)
    quotes = (pl.col("lane") == "contradiction") & (count > 0)
    reason = pl.when(quotes).then(first.str.strip_chars()).otherwise("reason").alias("reason")
    columns = [name for name in queue.columns if name != "conflict_notes"]
    columns.insert(columns.index("reason") + 1, "conflict_notes")
    return told.with_columns(reason).select(columns)


def _quote() -> pl.Expr:
    field = pl.col("field").str.replace_all("_", " ", literal=True)
    return pl.format("{}: {} against {}.", field, _cell(""), _cell("other_"))


def _cell(other: str) -> pl.Expr:
    """What a record says, as it is written where that differs, where it stands, and its date."""

    def named(word: str, column: str) -> pl.Expr:
        text = pl.col(other + column).cast(pl.String)
        return pl.when(text.is_not_null()).then(pl.concat_str(pl.lit(f", {word}"), text))

    elsewhere = pl.when(pl.col(f"{other}home") != pl.col("property_id"))
    where = pl.concat_str(
        f"{other}file",
        named("sheet ", "sheet"),
        named("row ", "row"),
        named("column ", "column"),
        named("", "record"),
        elsewhere.then(pl.concat_str(pl.lit(", home "), pl.col(f"{other}home"))),
        named("", "survey_date"),
        ignore_nulls=True,
    )
    value, raw = pl.col(f"{other}value"), _on_one_line(pl.col(f"{other}raw"))
    written = pl.when(raw != value).then(pl.format(", written “{}”", raw)).otherwise(pl.lit(""))
    return pl.format("{}{} ({})", value, written.fill_null(""), where)


def _on_one_line(text: pl.Expr) -> pl.Expr:
    """Text of a survey without line ends and characters that could steer a terminal."""
    return text.str.replace_all(r"\s+", " ").str.replace_all(r"\p{C}", "\ufffd")
