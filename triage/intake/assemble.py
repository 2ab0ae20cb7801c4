"""Puts the sheets of all files together into one result, and decides on every row."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field

import polars as pl

from triage.contract import Contract
from triage.intake.files import FileReading
from triage.intake.postal import repair_codes
from triage.intake.references import doubtful_references
from triage.intake.result import ROW_ID, SCHEMAS, Intake, clean_schema, empty_frame
from triage.intake.rows import NO_HOME, NO_PART, decide_rows
from triage.intake.sheets import Note
from triage.intake.table import SheetTable, constant_columns

_BESIDE = ("field", "flag", "unknown", "grade", "problem", "raw")
_DESK = "desk"
_USUAL_GRADE = "observed"
_DESK_GRADE = "documented"
_KEY_PROBLEMS = (
    ("property_id", "no_property_id", NO_HOME),
    ("building_part", "no_building_part", NO_PART),
)

_LINES: dict[str, pl.DataType] = {"row_id": ROW_ID, "kind": pl.String(), "message": pl.String()}


@dataclass
class _Parts:
    """Frames under way, one list per frame of the result."""

    frames: dict[str, list[pl.DataFrame]] = field(default_factory=dict)

    def add(self, name: str, frame: pl.DataFrame) -> None:
        schema = SCHEMAS[name]
        self.frames.setdefault(name, []).append(frame.select(schema.keys()).cast(pl.Schema(schema)))

    def joined(self, name: str) -> pl.DataFrame:
        return pl.concat([empty_frame(name), *self.frames.get(name, [])])


def assemble(
    readings: Sequence[FileReading],
    contract: Contract,
    country_code: str | None = None,
    programme_id: str | None = None,
) -> Intake:
    """One result from all files.

    Parameters
    ----------
    readings
        Files as read; those with errors give what could be read of them.
    contract
        The fields.
    country_code, programme_id
        What rows without one have.
    """
    parts = _Parts()
    cleans = [pl.DataFrame(schema=clean_schema(contract))]
    odds: list[pl.DataFrame] = []
    lines: list[pl.DataFrame] = [pl.DataFrame(schema=_LINES)]
    stems = [reading.stem for reading in readings]
    source_id = first = 0
    for reading in readings:
        name = reading.stem if stems.count(reading.stem) == 1 else reading.file
        _add_skipped(parts, reading)
        for table, beside in zip(reading.tables, _columns_beside(reading.tables), strict=True):
            ids = pl.int_range(first, first + table.raw.height, dtype=pl.UInt32, eager=True)
            _add_source(parts, reading, table, source_id, ids)
            cleans.append(_identified(table, name, beside, ids))
            odds.append(_add_odd(parts, reading, table, source_id, ids))
            lines.append(_identified_lines(table, ids))
            _add_grades(parts, reading, cleans[-1], contract)
            source_id += 1
            first += table.raw.height
    clean = _with_defaults(pl.concat(cleans), country_code, programme_id)
    return _decided(parts, clean, odds, pl.concat(lines))


def _add_skipped(parts: _Parts, reading: FileReading) -> None:
    for sheet, note in reading.skipped.items():
        parts.add("problems", _problem_of(note, reading.file, sheet))


def _problem_of(note: Note, file: str, sheet: str | None) -> pl.DataFrame:
    values = {
        "row_id": None,
        "kind": note.kind,
        "field": None,
        "raw": note.raw,
        "file": file,
        "sheet": sheet,
        "row": note.row,
        "column": note.column,
        "message": note.message,
    }
    return pl.DataFrame([values], schema=SCHEMAS["problems"])


def _add_source(
    parts: _Parts, reading: FileReading, table: SheetTable, source_id: int, ids: pl.Series
) -> None:
    source = {
        "source_id": source_id,
        "file": reading.file,
        "sha256": reading.sha256,
        "sheet": table.sheet.name,
        "profile": reading.profile.name if reading.profile is not None else None,
        "rows_read": ids.len(),
    }
    parts.add("sources", pl.DataFrame([source], schema=SCHEMAS["sources"]))
    columns: list[tuple[int | str | None, ...]] = [
        (source_id, c.position, c.letters, c.heading, c.field, c.status) for c in table.columns
    ]
    fixed = constant_columns(reading.profile)
    columns += [(source_id, None, None, None, name, "constant") for name, _ in fixed]
    parts.add("columns", pl.DataFrame(columns, schema=SCHEMAS["columns"], orient="row"))
    raw = table.raw.with_columns(ids.alias("row_id"), pl.lit(source_id).alias("source_id"))
    parts.add("raw", raw)
    numbers = table.raw.select("sheet_row").with_columns(ids.alias("row_id"))
    start = table.raw.get_column("sheet_row").min()
    for note in table.sheet.notes:
        is_above = note.row is not None and (start is None or note.row < int(str(start)))
        problem = _problem_of(note, reading.file, table.sheet.name).drop("row_id")
        placed = problem.join(numbers, left_on="row", right_on="sheet_row", how="left")
        if not is_above:
            parts.add("problems", placed)


def _columns_beside(tables: Sequence[SheetTable]) -> Iterator[str]:
    """First column of each table that stands beside an earlier one of its sheet, else nothing."""
    leftmost: dict[str | None, str] = {}
    for table in tables:
        first = table.columns[0].letters
        yield first if leftmost.setdefault(table.sheet.name, first) != first else ""


def _identified(table: SheetTable, name: str, beside: str, ids: pl.Series) -> pl.DataFrame:
    """Typed rows with row_id, and a survey_id made of file, sheet and row where there is none.

    Two tables side by side have rows of one number: `beside` tells the right one's apart.
    """
    prefix = name if table.sheet.name is None else f"{name}:{table.sheet.name}"
    made = pl.lit(f"{prefix}:{beside}") + table.raw.get_column("sheet_row").cast(pl.String)
    return table.clean.select(
        ids.alias("row_id"), pl.all().exclude("survey_id"), pl.coalesce("survey_id", made)
    ).select("row_id", *table.clean.columns)


def _identified_lines(table: SheetTable, ids: pl.Series) -> pl.DataFrame:
    """Lines that are no survey rows: row_id, kind and message."""
    numbers = pl.DataFrame({"row": pl.int_range(ids.len(), dtype=pl.UInt32, eager=True)})
    numbered = numbers.with_columns(ids.alias("row_id"))
    lines = table.lines.join(numbered, on="row", how="left", maintain_order="left")
    return lines.select("row_id", "kind", "message")


def _add_odd(
    parts: _Parts, reading: FileReading, table: SheetTable, source_id: int, ids: pl.Series
) -> pl.DataFrame:
    """Sort odd cells into problems; give them back with row_id for the frames of accepted rows."""
    rows = pl.DataFrame(
        {"row": pl.int_range(ids.len(), dtype=pl.UInt32, eager=True), "row_id": ids}
    ).with_columns(table.raw.get_column("sheet_row"))
    odd = table.odd.join(rows, on="row", how="left", maintain_order="left").with_columns(
        pl.lit(source_id).alias("source_id")
    )
    told = odd.filter(pl.col("problem").is_not_null()).with_columns(
        pl.lit(reading.file).alias("file"),
        pl.lit(table.sheet.name, dtype=pl.String).alias("sheet"),
        pl.col("sheet_row").alias("row"),
        pl.col("problem").alias("kind"),
    )
    of_column = pl.col("kind").is_in(["unit_missing", "unit_changed"])
    parts.add("problems", told.filter(~of_column))
    parts.add("problems", _by_column(told.filter(of_column)))
    return odd


def _by_column(told: pl.DataFrame) -> pl.DataFrame:
    """One problem for all cells of a column that lack a unit: the cure is one line of a profile."""
    return (
        told.group_by("column", "field", "message", maintain_order=True)
        .agg(
            pl.lit(None, dtype=pl.UInt32).first().alias("row_id"),
            pl.lit(None, dtype=pl.UInt32).first().alias("row"),
            pl.col("kind", "raw", "file", "sheet").first(),
            pl.len().alias("cells"),
        )
        .with_columns(
            pl.format("cells concerned: {}, such as {}; {}", "cells", "raw", "message").alias(
                "message"
            )
        )
    )


def _add_grades(
    parts: _Parts, reading: FileReading, clean: pl.DataFrame, contract: Contract
) -> None:
    """What a row's cells are worth: the profile's grade, at best documented without a visit."""
    order = [code.code for code in contract.codes["GRADE"]]
    usual = (reading.profile.grade if reading.profile is not None else None) or _USUAL_GRADE
    at_desk = max(usual, _DESK_GRADE, key=order.index)
    method = pl.col("survey_method")
    grade = (
        pl.when(method.is_null() | (method == _DESK)).then(pl.lit(at_desk)).otherwise(pl.lit(usual))
    )
    parts.add("grades", clean.select("row_id", grade.alias("base_grade")))


def _with_defaults(
    clean: pl.DataFrame, country_code: str | None, programme_id: str | None
) -> pl.DataFrame:
    """What the programme says holds where no survey of the home says otherwise.

    A later visit that leaves the country out does not move the home into another one.
    """
    said = pl.col("country_code").drop_nulls()
    of_home = pl.when(
        pl.col("property_id").is_not_null() & (said.n_unique().over("property_id") == 1)
    ).then(said.first().over("property_id"))
    return clean.with_columns(
        pl.coalesce("country_code", of_home, pl.lit(country_code, dtype=pl.String)),
        pl.col("programme_id").fill_null(pl.lit(programme_id, dtype=pl.String)),
    )


def _decided(
    parts: _Parts, clean: pl.DataFrame, odds: list[pl.DataFrame], lines: pl.DataFrame
) -> Intake:
    clean, restored = repair_codes(clean)
    raw, sources = parts.joined("raw"), parts.joined("sources")
    beside = [odd.select("row_id", *_BESIDE) for odd in odds if not odd.is_empty()]
    told = [pl.concat(beside)] if beside else []
    known = [parts.joined("grades"), *told]
    decided = decide_rows(clean, raw.select("row_id", "source_id"), known, lines)
    places = raw.select("row_id", "source_id", pl.col("sheet_row").alias("row")).join(
        sources.select("source_id", "file", "sheet"), on="source_id", how="left"
    )
    none = pl.lit(None, dtype=pl.String)
    of_lines = lines.with_columns(none.alias("field"), none.alias("raw"))
    homes = clean.join(lines, on="row_id", how="anti", maintain_order="left")
    doubtful = doubtful_references(decided.clean, raw)
    for found in (restored, decided.problems, doubtful, of_lines, *_missing_keys(homes)):
        placed = found.join(places, on="row_id", how="left", maintain_order="left")
        parts.add("problems", placed.with_columns(pl.lit(None).alias("column")))
    accepted = decided.clean.select("row_id")
    for odd in odds:
        kept = odd.join(accepted, on="row_id", how="semi")
        _add_sparse(parts, kept)
    return Intake(
        sources=sources,
        columns=parts.joined("columns"),
        raw=raw,
        clean=decided.clean,
        marks=parts.joined("marks").sort("row_id", "field"),
        grades=parts.joined("grades").join(accepted, on="row_id", how="semi").sort("row_id"),
        unknowns=parts.joined("unknowns").sort("row_id", "field"),
        limits=parts.joined("limits").sort("row_id", "field"),
        problems=parts.joined("problems").sort(
            "file", "sheet", "row", "column", "kind", nulls_last=False
        ),
        rows=decided.rows,
    )


def _missing_keys(clean: pl.DataFrame) -> list[pl.DataFrame]:
    return [
        clean.filter(pl.col(name).is_null()).select(
            "row_id",
            pl.lit(kind).alias("kind"),
            pl.lit(name).alias("field"),
            pl.lit(None, dtype=pl.String).alias("raw"),
            pl.lit(message).alias("message"),
        )
        for name, kind, message in _KEY_PROBLEMS
    ]


def _add_sparse(parts: _Parts, odd: pl.DataFrame) -> None:
    for name, column, called in (
        ("marks", "grade", "grade"),
        ("unknowns", "unknown", "kind"),
        ("limits", "flag", "flag"),
    ):
        kept = odd.filter(pl.col(column).is_not_null())
        if name == "unknowns":  # an empty cell needs no row; one that says "n/a" is kept
            usual = pl.col("unknown").is_in(["blank", "not_asked"])
            kept = kept.filter(~(usual & pl.col("raw").is_null()))
        parts.add(name, kept.select("row_id", "field", pl.col(column).alias(called)))
