"""Writes numbers as their format shows them, where the format says more than the number."""

import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass

import polars as pl

from triage.intake.units import UNITS, find_unit, is_resistance

BARE_FORMULA = "=formula"
_TOKEN = re.compile(r'"(?P<text>[^"]*)"|\\(?P<sign>.)|\[[^\]]*\]|_.|\*.|(?P<bare>.)')
_DIGITS = frozenset("0#?")
_PLAIN = frozenset("0#?.,;-+() /")
_SHOWN = re.compile(r"([A-Za-z]*[ -]*)(\d[\d.,]*)(\D*)")
_ZEROS = re.compile(r"0{2,}")


@dataclass(frozen=True, slots=True)
class Form:
    """What a number format adds: per cent, a unit before or behind, or zeros in front."""

    is_percent: bool = False
    before: str = ""
    behind: str = ""
    width: int = 0


def form_of(code: str) -> Form | None:
    """What a number format adds to a number; None if nothing that could change a reading.

    Parameters
    ----------
    code
        As ECMA-376 part 1, 18.8.31 describes it, such as `0%`, `0" in"` or `00000`.
    """
    literal = {False: "", True: ""}
    bare = ""
    for token in _TOKEN.finditer(code):
        if token["bare"] == ";":
            break
        seen = any(sign in _DIGITS for sign in bare)
        literal[seen] += token["text"] or token["sign"] or ""
        bare += token["bare"] or ""
    if "%" in bare:
        return Form(is_percent=True)
    if not set(bare) <= _PLAIN or not _DIGITS & set(bare):
        return None
    before, behind = literal[False].strip(), literal[True].strip()
    if behind and not before and _is_unit(behind):
        return Form(behind=" " + behind)
    if before and not behind and is_resistance(before.rstrip(" -")):
        return Form(before=before)
    return Form(width=len(bare)) if _ZEROS.fullmatch(bare) and not before + behind else None


def write_shown(
    cells: pl.DataFrame, places: Mapping[tuple[str, Form], Iterable[int]]
) -> pl.DataFrame:
    """Replace numbers by what the sheet shows: 0.18 by 18%, 4 by 4 in, 42 by 0042.

    Parameters
    ----------
    cells
        Texts by column letters.
    places
        (Column letters, form) -> rows, counted from 0.
    """
    for (name, form), rows in places.items():
        if name in cells.columns:
            cells = cells.with_columns(_as_shown(cells.get_column(name), form, rows))
    return cells


def write_formulas(cells: pl.DataFrame, places: Iterable[tuple[str, int]]) -> pl.DataFrame:
    """Write a sign for a formula into the cells that hold one and no result.

    The reader gives nothing for such a cell, and no row where a row has nothing else.

    Parameters
    ----------
    cells
        Texts by column letters.
    places
        Column letters and row, counted from 0.
    """
    at: dict[str, set[int]] = {}
    for name, row in places:
        if name in cells.columns:
            at.setdefault(name, set()).add(row)
    last = max((max(rows) for rows in at.values()), default=-1)
    if last >= cells.height:
        cells = pl.concat([cells, cells.clear(last + 1 - cells.height)])
    for name, rows in at.items():
        column = cells.get_column(name)
        places_of = pl.Series(sorted(rows), dtype=pl.UInt32)
        empty = places_of.filter(column.gather(places_of).is_null())
        cells = cells.with_columns(column.scatter(empty, BARE_FORMULA))
    return cells


def _as_shown(column: pl.Series, form: Form, rows: Iterable[int]) -> pl.Series:
    at = pl.Series(sorted({row for row in rows if row < column.len()}), dtype=pl.UInt32)
    texts = column.gather(at)
    numbers = texts.cast(pl.Float64, strict=False)
    if form.is_percent:
        # Ten digits: 0.07 * 100 is 7.000000000000001 in binary.
        shown = (numbers * 100).round(10).cast(pl.String).str.strip_suffix(".0") + "%"
    elif form.width:
        is_whole = texts.str.contains(r"^[0-9]+$").fill_null(False)
        shown = pl.select(pl.when(is_whole).then(texts.str.zfill(form.width))).to_series()
    else:
        shown = form.before + texts + form.behind
    known = numbers.is_not_null() & shown.is_not_null()
    return column.scatter(at.filter(known), shown.filter(known))


def _is_unit(text: str) -> bool:
    return any(find_unit(quantity, text) is not None for quantity in UNITS)


def is_shown_unit(text: str) -> bool:
    """Whether a number as the sheet shows it carries a unit, or zeros in front."""
    found = _SHOWN.fullmatch(text.strip())
    if found is None:
        return False
    before, behind = found[1].strip(" -"), found[3].strip()
    if before or behind:
        return is_resistance(before) if before else _is_unit(behind)
    return found[2].startswith("0") and found[2].isdigit() and len(found[2]) > 1
