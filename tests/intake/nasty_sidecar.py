"""Reads a sidecar: what a fixture was made to hold, written by hand, and how a reading compares."""

import csv
import string
import tomllib
from collections import Counter
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import openpyxl
import polars as pl
from odf.opendocument import load as load_ods
from odf.table import Table, TableCell, TableRow

from triage.intake import Intake

NASTY = Path(__file__).parents[1] / "fixtures" / "nasty"
LETTERS = string.ascii_uppercase
LEFT = "A"  # a made survey_id names the column of a table only where it stands beside another
GIVEN = ("country_code", "programme_id")  # of the programme, not of the file
_PLACES = ("sheet", "row", "column")
_KEYS = {
    *("made", "files", "profile", "lines", "left_out", "text", "row", "rejected"),
    *("superseded", "problem", "refused"),
}


@dataclass(frozen=True)
class Sidecar:
    """What one or more files were made to hold, or how they have to be refused."""

    name: str
    told: dict[str, Any]

    @property
    def files(self) -> list[Path]:
        """The files that are read together, as the sources of one programme."""
        return [(NASTY / name).resolve() for name in self.told["files"]]

    @property
    def is_refused(self) -> bool:
        """Whether the files have to be refused."""
        return "refused" in self.told


def sidecars() -> list[Sidecar]:
    """All of them; one that has an unknown key would check less than it seems to."""
    found = []
    for path in sorted(NASTY.glob("*.toml")):
        told = tomllib.loads(path.read_text(encoding="utf-8"))
        unknown = set(told) - _KEYS
        assert not unknown, f"{path.name}: {unknown}"
        assert told["made"], path.name
        assert ("refused" in told) != ("lines" in told), path.name
        found.append(Sidecar(path.stem, told))
    return found


def rows_read(intake: Intake) -> dict[str, dict[str, Any]]:
    """Everything that is known of each accepted row, by place; null fields left out."""
    places = row_places(intake)
    found = {}
    for clean in intake.clean.to_dicts():
        place = places[clean.pop("row_id")]
        row = {k: v for k, v in clean.items() if v is not None and k not in GIVEN}
        if row["survey_id"].endswith(":" + place.split("@")[0].split("!")[-1].lstrip(LEFT)):
            del row["survey_id"]  # made of file, sheet and row
        found[place] = row
    for frame, key, value in (
        (intake.unknowns, "unknown", "kind"),
        (intake.marks, "grade", "grade"),
        (intake.limits, "limit", "flag"),
    ):
        for row_id, field, told in frame.select("row_id", "field", value).rows():
            found[places[row_id]].setdefault(key, {})[field] = told
    return found


def row_places(intake: Intake) -> dict[int, str]:
    """row_id -> place: `Roofs!12`, or `12` in a text.

    Where a sheet holds several tables, the first column of the table stands before the row
    (`Roofs!E12`); where there are several files, the file behind it (`Roofs!12@week.xlsx`).
    """
    first = intake.columns.filter(pl.col("position").is_not_null()).group_by(
        "source_id", maintain_order=True
    )
    sources = intake.sources.join(first.first(), on="source_id", maintain_order="left")
    several = sources["file"].n_unique() > 1
    shared = sources.select(pl.struct("file", "sheet").is_duplicated()).to_series()
    letters = dict(zip(sources["source_id"], sources["column"], strict=True))
    tables = {k: letters[k] if is_shared else "" for k, is_shared in enumerate(shared)}
    placed = intake.raw.join(sources, on="source_id", maintain_order="left")
    return {
        row["row_id"]: (f"{row['sheet']}!" if row["sheet"] else "")
        + f"{tables[row['source_id']]}{row['sheet_row']}"
        + (f"@{row['file']}" if several else "")
        for row in placed.to_dicts()
    }


def line_of(place: str) -> str:
    """Place of a line of a sheet, whichever table on it has the row."""
    sheet, mark, row = place.split("@", maxsplit=1)[0].rpartition("!")
    return sheet + mark + row.lstrip(LETTERS)


def statuses(intake: Intake, status: str) -> list[dict[str, Any]]:
    """Rows of a status, with place, reason and the row that took their place."""
    places = row_places(intake)
    return [
        {"at": places[row["row_id"]], "why": row["reason"]}
        | ({"by": places[row["superseded_by"]]} if row["superseded_by"] is not None else {})
        for row in intake.rows.filter(pl.col("status") == status).to_dicts()
    ]


def problems_differ(intake: Intake, told: list[dict[str, Any]]) -> str:
    """Empty if the problems are those told, each with its place; else what differs."""
    found = intake.problems.to_dicts()
    said = Counter((p["kind"], *(p[name] for name in _PLACES)) for p in found)
    wanted = Counter((p["kind"], *(p.get(name) for name in _PLACES)) for p in told)
    missing, more = wanted - said, said - wanted
    texts = [f"not said: {dict(missing)}"] if missing else []
    texts += [f"said and not told: {dict(more)}"] if more else []
    for problem in told:
        same = [p for p in found if all(p[k] == problem.get(k) for k in ("kind", *_PLACES))]
        for name in ("field", "raw", "file"):
            if name in problem and all(p[name] != problem[name] for p in same):
                texts.append(f"{problem}: {name} is {[p[name] for p in same]}")
        if "says" in problem and all(problem["says"] not in p["message"] for p in same):
            texts.append(f"{problem}: says {[p['message'] for p in same]}")
    return "\n".join(texts)


def lines_in(path: Path, told: dict[str, Any]) -> dict[str, set[int]] | None:
    """Numbers of the lines with a text, by sheet, from a second reader; None if there is none."""
    if path.suffix == ".xlsx":
        book = openpyxl.load_workbook(path)
        return {
            page.title: {
                n
                for n, row in enumerate(page.iter_rows(values_only=True), start=1)
                if any(v is not None and str(v).strip() for v in row)
            }
            for page in book.worksheets
        }
    if path.suffix == ".ods":
        return _ods_lines(path)
    if path.suffix in (".csv", ".tsv", ".txt"):
        way = told["text"]
        text = path.read_bytes().decode(way["encoding"]).removeprefix("\ufeff")
        records = csv.reader(text.splitlines(keepends=True), delimiter=way["delimiter"])
        start = 0 if way.get("names_delimiter") else 1
        lines = {n for n, r in enumerate(records, start=start) if any(c.strip() for c in r)}
        return {"": lines - {0}}
    return None


def _ods_lines(path: Path) -> dict[str, set[int]]:
    found: dict[str, set[int]] = {}
    for table in load_ods(str(path)).spreadsheet.getElementsByType(Table):
        lines, number = found.setdefault(table.getAttribute("name"), set()), 0
        for row in table.getElementsByType(TableRow):
            repeat = int(row.getAttribute("numberrowsrepeated") or 1)
            cells = row.getElementsByType(TableCell)
            if str(row).strip() or any(c.getAttribute("formula") for c in cells):
                lines.update(range(number + 1, number + 1 + repeat))
            number += repeat
    return found
