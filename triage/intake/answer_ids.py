"""The id of a question of a visit list: which run asked it, and of what."""

import hashlib

import polars as pl

_SHAPE = r"^(.+)-([0-9a-f]{8})$"
KEYS = ("property_id", "building_part", "field")


def question_mark(property_id: str, building_part: str, field: str) -> str:
    """Eight hexadecimal digits that belong to one question: home, part and field."""
    return _digits("|".join((property_id, building_part, field)))


def answer_id(run_id: str, property_id: str, building_part: str, field: str) -> str:
    """The id of a question, `<run_id>-<8 hex digits>`."""
    return f"{run_id}-{question_mark(property_id, building_part, field)}"


def answer_id_problems(rows: pl.DataFrame) -> pl.DataFrame:
    """Take the ids of answers apart and compare each with its key columns.

    Parameters
    ----------
    rows
        `answer_id` and the key columns `property_id`, `building_part`, `field`, text or null.

    Returns
    -------
    pl.DataFrame
        One row per row: `run`, the run that asked, and `told`, what is wrong with the id; null
        where nothing is.
    """
    keys = rows.select(pl.concat_str(KEYS, separator="|")).to_series()
    # Polars has no SHA-256, the one step that is made text by text.
    marks = [None if key is None else _digits(key) for key in keys]
    found = rows.select(
        pl.col("answer_id").str.extract(_SHAPE, 1).alias("run"),
        pl.col("answer_id").str.extract(_SHAPE, 2).alias("mark"),
        pl.Series("due", marks, dtype=pl.String),
        "answer_id",
    )
    return found.select(
        "run",
        pl.when(pl.col("mark").is_null())
        .then(pl.format("{} is no id of a question", pl.col("answer_id").fill_null("a blank")))
        .when(pl.col("due").is_null())
        .then(pl.lit("a key column of the question was emptied"))
        .when(pl.col("mark") != pl.col("due"))
        .then(
            pl.lit(
                "the id does not belong to this home, part and field: one of the four was edited"
            )
        )
        .alias("told"),
    )


def _digits(text: str) -> str:
    return hashlib.sha256(text.encode()).hexdigest()[:8]


def answer_ids(rows: pl.DataFrame, run_id: str) -> pl.Series:
    """`answer_id` of every row with the key columns."""
    keys = rows.select(pl.concat_str(KEYS, separator="|")).to_series()
    return pl.Series("answer_id", [f"{run_id}-{_digits(key)}" for key in keys], dtype=pl.String)
