"""Says of an answer that its column cannot take in which other column it would be at home."""

from collections.abc import Mapping

import polars as pl

from triage.contract import Contract, normalise
from triage.contract.profile import Profile
from triage.intake.headings import MappedColumn
from triage.intake.sheets import column_index

_ODD = ("unmapped", "not_a_number", "not_a_date")
_MOST_NAMED = 3  # an answer that so many fields share belongs nowhere in particular


def with_other_columns(
    odd: pl.DataFrame,
    columns: tuple[MappedColumn, ...],
    contract: Contract,
    profile: Profile | None,
) -> pl.DataFrame:
    """Add to the messages of answers that are on the list of another field which field that is.

    Parameters
    ----------
    odd
        Odd cells with raw, problem, message, field and column.
    columns, contract, profile
        The columns of the sheet, and what their answers mean.
    """
    strange = odd.filter(pl.col("problem").is_in(_ODD)).select("field", "column", "raw").unique()
    if strange.is_empty():
        return odd
    fields = _fields_by_answer(contract, profile)
    there = {c.field: c.letters for c in columns if c.field is not None}
    told = [
        (field, raw, hint)
        for field, column, raw in strange.iter_rows()
        if (hint := _hint(field, column, raw, fields, there))
    ]
    if not told:
        return odd
    hints = pl.DataFrame(
        told, schema={name: pl.String() for name in ("field", "raw", "hint")}, orient="row"
    ).unique(["field", "raw"], keep="first", maintain_order=True)
    is_odd = pl.col("problem").is_in(_ODD)
    joined = odd.join(hints, on=["field", "raw"], how="left", maintain_order="left")
    message = pl.when(is_odd & pl.col("hint").is_not_null()).then(
        pl.concat_str("message", "hint", separator="; ")
    )
    return joined.with_columns(message.otherwise("message").alias("message")).select(odd.columns)


def _fields_by_answer(contract: Contract, profile: Profile | None) -> dict[str, list[str]]:
    found: dict[str, list[str]] = {}
    for name, asked in contract.fields.items():
        if asked.type not in ("code", "codes"):
            continue
        own = profile.spellings.get(name, {}) if profile is not None else {}
        for text, code in {**contract.field_spelling(name), **own}.items():
            if code not in ("unknown", "not_applicable") and len(text) > 1:
                found.setdefault(text, []).append(name)
    return found


def _hint(
    field: str,
    column: str,
    raw: str,
    fields: Mapping[str, list[str]],
    there: Mapping[str, str],
) -> str:
    named = [name for name in fields.get(normalise(raw), []) if name != field]
    beside = [name for name in named if name in there]
    place = column_index(column)
    beside.sort(key=lambda name: (abs(column_index(there[name]) - place), name))
    if beside and (len(named) <= _MOST_NAMED or abs(column_index(there[beside[0]]) - place) == 1):
        return f"it is an answer of {beside[0]!r} in column {there[beside[0]]}: cells swapped?"
    if named and len(named) <= _MOST_NAMED:
        return f"it is an answer of {' or '.join(map(repr, sorted(named)))}: the wrong column?"
    return ""
