"""One sheet, mapped and typed: its raw cells, its typed rows, and everything odd about them."""

from collections.abc import Iterable
from dataclasses import dataclass, replace

import polars as pl

from triage.contract import Field
from triage.contract.profile import Profile
from triage.errors import Place, ProfileError, TriageError
from triage.intake.answer import Value
from triage.intake.columns import ODD_SCHEMA, type_column
from triage.intake.elsewhere import with_other_columns
from triage.intake.field_rules import Context, field_reader
from triage.intake.headings import MappedColumn, SheetMap
from triage.intake.lines import lines_between
from triage.intake.sheets import Sheet
from triage.intake.unit_change import refuse_changed_units
from triage.intake.units import UNITS, find_unit, is_resistance

ODD_CELL_SCHEMA = ODD_SCHEMA | {"field": pl.String(), "column": pl.String()}


@dataclass(frozen=True, slots=True)
class SheetTable:
    """The rows of one sheet; every frame counts them from 0 in `row`.

    `raw` has sheet_row and cells; `clean` every field of the contract, in order; `odd` one row
    per cell that is more than a plain value (`ODD_CELL_SCHEMA`); `lines` the rows that are no
    survey rows (`LINE_SCHEMA`), of which no cell is in `odd`.
    """

    sheet: Sheet
    columns: tuple[MappedColumn, ...]
    raw: pl.DataFrame
    clean: pl.DataFrame
    odd: pl.DataFrame
    lines: pl.DataFrame


def unit_errors(
    sheet_map: SheetMap, profile: Profile | None, context: Context
) -> list[TriageError]:
    """Units of the profile that the quantity of their field does not have."""
    if profile is None:
        return []
    errors: list[TriageError] = []
    for column in profile.columns.values():
        quantity = context.contract.fields[column.field].quantity or ""
        used = any(mapped.field == column.field for mapped in sheet_map.mapped)
        if column.unit is None or not used or find_unit(quantity, column.unit) is not None:
            continue
        if quantity == "length_mm" and is_resistance(column.unit):
            if column.field not in profile.thermal_r:
                what = f"{column.heading!r} holds R-values, but no material is declared"
                fix = f"add [thermal_r] {column.field} = 0.04, the conductivity in W/mK"
                errors.append(ProfileError(what, Place(str(profile.path)), fix))
            continue
        what = f"{column.unit!r} is no unit of {column.field!r}"
        fix = f"write one of {', '.join(UNITS.get(quantity, {})) or 'none: leave it out'}"
        errors.append(ProfileError(what, Place(str(profile.path), column=column.heading), fix))
    return errors


def type_sheet(sheet: Sheet, sheet_map: SheetMap, context: Context) -> SheetTable:
    """Type the rows of a sheet. Rows without any text are no rows.

    Parameters
    ----------
    sheet, sheet_map
        The sheet, and its columns without errors.
    context
        What the source says about its cells.
    """
    context = _of_sheet(context, sheet)
    cells = sheet.cells.slice(sheet_map.start).with_row_index(
        "sheet_row", sheet_map.start + sheet.first_row
    )
    cells, filled = _filled_rows(cells, sheet.cells.columns)
    lines = lines_between(cells.select(sheet.cells.columns), filled, sheet, sheet_map)
    raw = cells.select(
        pl.col("sheet_row").cast(pl.UInt32), pl.concat_list(sheet.cells.columns).alias("cells")
    )
    typed: dict[str, pl.Series] = {}
    odd: list[pl.DataFrame] = [pl.DataFrame(schema=ODD_CELL_SCHEMA)]
    schema = context.contract.polars_schema()
    for column in sheet_map.mapped:
        name = str(column.field)
        reader = field_reader(context.contract.fields[name], column.unit, context)
        blank, value = _blank_of(context.contract.fields[name], context.profile)
        texts = cells.get_column(column.letters)
        result = type_column(texts, schema[name], reader, blank, value)
        quantity = context.contract.fields[name].quantity
        result = refuse_changed_units(texts, result, quantity, column.unit, cells["sheet_row"])
        typed[name] = result.values
        odd.append(_with_place(result.odd, column, result.values))
    clean = _with_constants(pl.DataFrame(typed, height=cells.height), schema, context)
    told = pl.concat(odd).join(lines, on="row", how="anti", maintain_order="left")
    told = with_other_columns(told, sheet_map.mapped, context.contract, context.profile)
    return SheetTable(sheet, sheet_map.columns, raw, clean, told, lines)


def _filled_rows(cells: pl.DataFrame, names: list[str]) -> tuple[pl.DataFrame, pl.Series]:
    """Rows with any text, and the number of their cells that have one."""
    if not names:
        return cells, pl.Series(dtype=pl.UInt32)
    has_text = [(pl.col(name).str.strip_chars() != "").fill_null(False) for name in names]
    filled = cells.select(pl.sum_horizontal(has_text).alias("filled")).get_column("filled")
    return cells.filter(filled > 0), filled.filter(filled > 0)


def constant_columns(profile: Profile | None) -> Iterable[tuple[str, Value]]:
    """Fields with one value for every row of the source."""
    return profile.constants.items() if profile is not None else ()


def _of_sheet(context: Context, sheet: Sheet) -> Context:
    stated = context.profile.reading.decimal if context.profile is not None else None
    return replace(
        context,
        comma_decimal=(stated or sheet.decimal) == ",",
        # In a workbook a number cell arrives with a point, whatever the program shows.
        point_decimal=not sheet.is_text or (stated or sheet.decimal) == ".",
        is_1904=sheet.is_1904,
    )


def _blank_of(asked: Field, profile: Profile | None) -> tuple[str, Value | None]:
    if profile is None:
        return "blank", None
    meant = profile.blank.get(asked.name, profile.blank_default)
    return ("blank", blank_value(asked, meant)) if meant.startswith("=") else (meant, None)


def blank_value(asked: Field, meant: str) -> Value:
    """The value that "=..." of a profile stands for, in the type of the field."""
    text = meant.removeprefix("=")
    if asked.type == "integer":
        return int(float(text))
    if asked.type == "number":
        return float(text)
    if asked.type in ("codes", "texts"):
        return tuple(part.strip() for part in text.replace(",", ";").split(";"))
    return text


def _with_place(odd: pl.DataFrame, column: MappedColumn, values: pl.Series) -> pl.DataFrame:
    placed = odd.with_columns(
        pl.lit(column.field).alias("field"), pl.lit(column.letters).alias("column")
    )
    if column.grade is None:
        return placed
    graded = values.is_not_null().arg_true().cast(pl.UInt32)
    own = placed.filter(pl.col("grade").is_not_null()).get_column("row")
    rest = pl.DataFrame({"row": graded.filter(~graded.is_in(own.implode()))})
    marked = rest.with_columns(
        pl.lit(column.grade).alias("grade"),
        pl.lit(column.field).alias("field"),
        pl.lit(column.letters).alias("column"),
    )
    return pl.concat([placed, marked], how="diagonal_relaxed").select(list(ODD_CELL_SCHEMA))


def _with_constants(
    typed: pl.DataFrame, schema: dict[str, pl.DataType], context: Context
) -> pl.DataFrame:
    """Every field of the contract in its order: typed, constant, or null."""
    fixed = {
        name: list(value) if isinstance(value, tuple) else value
        for name, value in constant_columns(context.profile)
    }
    meant = context.profile.blank.get("building_part", "") if context.profile is not None else ""
    if "building_part" not in typed.columns and meant.startswith("="):
        fixed.setdefault("building_part", meant[1:])
    return typed.select(
        pl.col(name)
        if name in typed.columns
        else pl.lit(fixed.get(name), dtype=kind, allow_object=False).alias(name)
        for name, kind in schema.items()
    )
