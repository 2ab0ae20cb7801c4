"""Types whole columns: plain cells in one go, every other text once."""

from dataclasses import dataclass, replace

import polars as pl

from triage.contract.text import INVISIBLE
from triage.intake.answer import Answer, Value
from triage.intake.field_rules import Reader
from triage.intake.number_rules import NumberRules
from triage.intake.texts import LONGEST_ID, SHORT_DATE

ODD_SCHEMA: dict[str, pl.DataType] = {
    "row": pl.UInt32(),
    "raw": pl.String(),
    "flag": pl.String(),
    "unknown": pl.String(),
    "grade": pl.String(),
    "problem": pl.String(),
    "message": pl.String(),
}
_PLAIN_NUMBER = r"^-?[0-9]{1,12}(\.[0-9]{1,12})?$"
_PLAIN_WHOLE = r"^-?[0-9]{1,12}$"
_ISO_DAY = r"^[0-9]{4}-[0-9]{2}-[0-9]{2}([ T]00:00:00)?$"
_FRACTION = r"^0?\.[0-9]*[1-9][0-9]*$"
# A name with a digit in it and no sign that could matter: not an unknown word, nor damaged.
_PLAIN_TEXT = r"^[A-Za-z][A-Za-z0-9]*([ \-/_.]?[A-Za-z0-9]+)*$|^[0-9]{1,15}$"


@dataclass(frozen=True, slots=True)
class TypedColumn:
    """Typed values, one per row, and what else is to be kept of some of them.

    `odd` has the schema `ODD_SCHEMA`; its `row` counts the rows of the column from 0.
    """

    values: pl.Series
    odd: pl.DataFrame


def type_column(
    cells: pl.Series, kind: pl.DataType, reader: Reader, blank: str, blank_value: Value | None
) -> TypedColumn:
    """Type one column.

    Parameters
    ----------
    cells
        Texts, null where there is none.
    kind
        Type of the field.
    reader
        How the texts are read.
    blank, blank_value
        What an empty cell means: a kind of unknown, or a value.

    Returns
    -------
    TypedColumn
        Every cell that is not empty has a value, or a row in `odd` with a kind of unknown.
    """
    texts = cells.str.strip_chars().replace("", None)
    reader = _told_of_fractions(texts, reader)
    fast = _fast_values(texts, kind, reader)
    rest = texts if fast is None else _where(fast.is_null(), texts)
    distinct = rest.drop_nulls().unique().sort()
    answers = [_read(text.translate(INVISIBLE).strip(), reader) for text in distinct]
    order = pl.Series(range(distinct.len()), dtype=pl.UInt32)
    index = rest.replace_strict(distinct, order, default=None, return_dtype=pl.UInt32)
    values = _gather([answer.value for answer in answers], kind, index)
    if fast is not None:
        values = fast.zip_with(fast.is_not_null(), values)
    odd = [_odd_rows(answers, distinct, index)]
    is_blank = texts.is_null()
    if blank_value is not None:
        filler = _gather(
            [blank_value], kind, pl.repeat(0, texts.len(), dtype=pl.UInt32, eager=True)
        )
        values = filler.zip_with(is_blank, values)
    elif blank != "blank":
        odd.append(_blank_rows(is_blank, blank))
    return TypedColumn(values, pl.concat(odd))


def _read(text: str, reader: Reader) -> Answer:
    return reader.read(text) if text else Answer(unknown="blank")


def _told_of_fractions(texts: pl.Series, reader: Reader) -> Reader:
    """In a percentage column with 0.4 in it, 1 may be 100 %, so it is doubtful as well."""
    rules = reader.number
    if rules is None or rules.quantity != "percent" or not texts.str.contains(_FRACTION).any():
        return reader
    return reader.with_rules(replace(rules, one_is_doubtful=True))


def _fast_values(texts: pl.Series, kind: pl.DataType, reader: Reader) -> pl.Series | None:
    """Values of the plain cells, null for all others; None if the column has no fast path."""
    if reader.number is not None:
        return _fast_numbers(texts, kind, reader.number, reader.zero_is_unknown)
    if reader.day is not None:
        is_day = texts.str.contains(_ISO_DAY)
        days = _where(is_day, texts.str.slice(0, 10)).str.to_date("%Y-%m-%d", strict=False)
        in_time = days <= reader.day.latest
        if reader.day.earliest is not None:
            in_time &= days >= reader.day.earliest
        return _where(in_time, days)
    if reader.unknown is not None:
        is_plain = texts.str.contains(_PLAIN_TEXT) & texts.str.contains(r"[0-9]")
        is_plain &= texts.str.len_bytes() <= LONGEST_ID
        is_plain &= ~texts.str.to_lowercase().is_in(list(reader.unknown))
        is_plain &= ~texts.str.contains(r"^[0-9]+[eE][0-9]+$")
        is_plain &= ~texts.str.contains(SHORT_DATE)
        return _where(is_plain, texts)
    return None


def _fast_numbers(
    texts: pl.Series, kind: pl.DataType, rules: NumberRules, zero_is_unknown: bool
) -> pl.Series | None:
    unit = rules.bare_unit
    if unit is None:
        return None
    pattern = _PLAIN_NUMBER if rules.point_decimal else _PLAIN_WHOLE
    plain = _where(texts.str.contains(pattern), texts)
    values = plain.cast(pl.Float64)
    if not unit.is_canonical:
        values = ((values + unit.shift) * unit.factor).round(9)
    low = float("-inf") if rules.low is None else rules.low
    high = float("inf") if rules.high is None else rules.high
    usable = values.is_between(low, high)
    if rules.is_whole:
        usable &= values == values.floor()
    if zero_is_unknown:
        usable &= values != 0
    if rules.quantity == "percent":
        usable &= (values <= 0) | (values > 1 if rules.one_is_doubtful else values >= 1)
    return _where(usable, values).cast(kind)


def _where(keep: pl.Series, values: pl.Series) -> pl.Series:
    """The values where `keep` is true, null elsewhere."""
    return pl.select(pl.when(keep).then(values)).to_series()


def _gather(values: list[Value | None], kind: pl.DataType, index: pl.Series) -> pl.Series:
    listed = [list(value) if isinstance(value, tuple) else value for value in values]
    # The null at the end is what a cell without an answer points to.
    source = pl.Series([*listed, None], dtype=kind, strict=True)
    return source.gather(index.fill_null(len(listed)))


def _odd_rows(answers: list[Answer], distinct: pl.Series, index: pl.Series) -> pl.DataFrame:
    if all(answer.is_plain for answer in answers):
        return pl.DataFrame(schema=ODD_SCHEMA)
    is_odd = pl.Series([not answer.is_plain for answer in answers] + [False], dtype=pl.Boolean)
    rows = is_odd.gather(index.fill_null(len(answers))).arg_true()
    at = index.gather(rows)
    told = {
        name: pl.Series([getattr(answer, name) or None for answer in answers], dtype=pl.String)
        for name in ("flag", "unknown", "grade", "problem", "message")
    }
    return pl.DataFrame(
        {"row": rows.cast(pl.UInt32), "raw": distinct.gather(at)}
        | {name: column.gather(at) for name, column in told.items()},
        schema=ODD_SCHEMA,
    )


def _blank_rows(is_blank: pl.Series, kind: str) -> pl.DataFrame:
    rows = is_blank.arg_true().cast(pl.UInt32)
    return pl.DataFrame({"row": rows}).select(
        pl.col("row"),
        *(
            (pl.lit(kind) if name == "unknown" else pl.lit(None)).cast(pl.String).alias(name)
            for name in list(ODD_SCHEMA)[1:]
        ),
    )
