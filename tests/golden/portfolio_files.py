"""Writes a generated portfolio as survey files, has it judged whole, and says what came out."""

import csv
import json
import re
import tempfile
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from functools import cache
from pathlib import Path
from random import Random
from typing import Any

import polars as pl
from cli_helpers import write_book
from polars.testing import assert_frame_equal
from portfolios import Book, Portfolio
from rule_homes import AS_OF, CONTRACT

from triage.contract import normalise
from triage.programme_run import judge_programme, open_programme
from triage.records import record_files
from triage.store import Store

ID = ["property_id", "building_part", "measure_code"]
PART = ["property_id", "building_part"]
_REMARKS, _NOTE = "Remarks", "Key with the neighbour, ring twice"
_PROGRAMME = """name = "Generated stock"
programme_id = "generated"
country_code = "GB"
as_of = 2026-10-31

[[measures]]
code = "loft_topup"
where = "roof_form = 'pitched_cold' AND COALESCE(ceiling_insulation_mm < 60, TRUE)"
material = "mineral_wool"
thickness_mm = 300
"""


@dataclass(frozen=True)
class Form:
    """What one team's files look like: by field names, or in words of their own."""

    grade: str | None = None
    worded: bool = False

    @property
    def has_profile(self) -> bool:
        return self.worded or self.grade is not None


FORMS: Mapping[str, Form] = {
    "field": Form(),
    "form": Form(worded=True),
    "photos": Form("photographed"),
    "told": Form("reported"),
    "desk": Form("documented"),
}


def _heading(name: str, form: Form) -> str:
    return CONTRACT.fields[name].headings[0] if form.worded else name


@cache
def _words(name: str) -> dict[str, str]:
    """Code -> a plain word that the contract reads as it, for a field."""
    words: dict[str, str] = {}
    for word, code in CONTRACT.field_spelling(name).items():
        if re.fullmatch("[a-z ]+", word) and word != normalise(code):
            words.setdefault(code, word)
    return words


def _cell(name: str, value: Any, form: Form, suffix: str) -> Any:
    """What is written for a value: words, centimetres and day first on a form; else as it is."""
    if isinstance(value, list):
        return "; ".join(_cell(name, code, form, suffix) for code in value)
    if isinstance(value, date):
        text = value.strftime("%d/%m/%Y") if form.worded else value.isoformat()
        return text if form.worded or suffix == ".csv" else value
    if not form.worded:
        return value
    if isinstance(value, str):
        return _words(name).get(value, value)
    return value / 10 if value is not None and _in_cm(name) else value


def _in_cm(name: str) -> bool:
    return CONTRACT.fields[name].quantity == "length_mm"


def _profile(team: str, form: Form, titles: int) -> str:
    lines = [f'name = "{team}"', "[layout]", f"header_row = {titles + 1}"]
    lines += ["[reading]", f'date_order = "{"DMY" if form.worded else "YMD"}"']
    lines += ["[blank]", 'building_part = "=main"', "[ignore]", f'headings = ["{_REMARKS}"]']
    lines += ["[evidence]", f'grade = "{form.grade}"'] if form.grade else []
    lines.append("[columns]")
    for name in CONTRACT.fields:
        unit = ', unit = "cm"' if form.worded and _in_cm(name) else ""
        lines.append(f'"{_heading(name, form)}" = {{ field = "{name}"{unit} }}')
    return "\n".join(lines) + "\n"


def _grid(book: Book) -> list[list[Any]]:
    """The cells of a file, with everything in its look that must not matter."""
    form, look = FORMS[book.team], book.look
    names = [n for n in CONTRACT.fields if any(row.get(n) is not None for row in book.rows)]
    if look.spare:
        names += [n for n in ("u_value_w_m2k", "foam_air_gap_mm", "age_band") if n not in names]
    dice = Random(look.order)
    if look.order is not None:
        dice.shuffle(names)
    lines = [[_cell(n, row.get(n), form, look.suffix) for n in names] for row in book.rows]
    headings: list[Any] = [_heading(n, form) for n in names]
    if look.spare:
        remarks = [_REMARKS] if form.has_profile else []
        headings = [*headings, *remarks, None]
        lines = [[*line, *[f"remark {n}" for _ in remarks], None] for n, line in enumerate(lines)]
    where = names.index("surveyor_id" if form.has_profile else "property_id")
    for _ in range(look.notes):
        note = [_NOTE if column == where else None for column in range(len(headings))]
        at = dice.randint(0, len(lines))
        lines[at:at] = [note, [None] * len(headings)]
    above = [[f"Survey sheet, part {n}"] for n in range(look.titles)]
    return [*above, headings, *lines]


def write(books: Portfolio, folder: Path) -> Path:
    """Write the survey files, their profiles and the programme; sources in the order of books."""
    text, sources = _PROGRAMME, {}
    for book in books:
        look, form = book.look, FORMS[book.team]
        # A profile states where the headings stand: files laid out alike are one source.
        source = f"{book.team}_{look.titles}" if form.has_profile else book.team
        path = folder / "surveys" / source / f"{book.stem}{look.suffix}"
        assert not path.exists(), path
        if look.suffix == ".csv":
            path.parent.mkdir(parents=True, exist_ok=True)
            with path.open("w", encoding="utf-8", newline="") as file:
                csv.writer(file).writerows(_grid(book))
        else:
            write_book(path, {"Homes": _grid(book)})
        entry = f'\n[[sources]]\nfiles = "surveys/{source}/*.*"\n'
        if form.has_profile:
            profile = _profile(book.team, form, look.titles)
            (folder / f"{source}.toml").write_text(profile, encoding="utf-8")
            entry += f'profile = "{source}.toml"\n'
        sources[source] = entry
    programme = folder / "programme.toml"
    programme.write_text(text + "".join(sources.values()), encoding="utf-8")
    return programme


@dataclass(frozen=True)
class Outcome:
    """What a run came to, without anything that names a file, a row or an order."""

    tables: Mapping[str, pl.DataFrame]
    counts: Mapping[str, int]

    @property
    def queue(self) -> pl.DataFrame:
        return self.tables["queue"]

    def of_homes(self, prefix: str) -> "Outcome":
        """The tables that have homes, of those whose reference begins so."""
        mine = pl.col("property_id").str.starts_with(prefix)
        tables = {
            name: frame.filter(mine)
            for name, frame in self.tables.items()
            if "property_id" in frame.columns
        }
        return Outcome(tables, self.counts)


Batch = Mapping[str, Sequence[Mapping[str, Any]]]  # kind of record -> rows


def judge(books: Portfolio, *batches: Batch) -> Outcome:
    """Read and judge a portfolio by the whole pipeline, pictures and tables to keep apart.

    Records are taken in first as `triage record` takes them, one workbook a batch.
    """
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        path = write(books, folder)
        for number, batch in enumerate(batches):
            _take_in(path, folder / f"records_{number}.xlsx", batch)
        programme, policy = open_programme(path)
        with Store(folder / "store.duckdb") as store:
            judge_programme(programme, policy, store, folder, lambda _: None)
            return _outcome(store)


def _take_in(programme: Path, file: Path, batch: Batch) -> None:
    """Append records; each must be kept, or be held already."""
    sheets = {
        kind: [list(rows[0]), *([row[name] for name in rows[0]] for row in rows)]
        for kind, rows in batch.items()
        if rows
    }
    done = record_files(programme, [write_book(file, sheets)], lambda _: None, AS_OF)
    refused = done.problems.filter("refused").rows()
    assert done.exit_code == 0, (refused[:3], done.errors)
    assert done.total("read") == sum(len(rows) for rows in batch.values())


def _outcome(store: Store) -> Outcome:
    states = store.ask("SELECT status, count(*) FROM survey_row GROUP BY status").rows()
    same = ("queue", "rule_result", "quantity", "gap", "gap_set", "block_queue", "batch_flag")
    tables = {name: store.table(name) for name in (*same, "climate_use")}
    # The reason of a disputed row quotes both cells, file and line, and these are what changes.
    tables["queue"] = tables["queue"].drop("reason", "conflict_notes")
    tables["home_queue"] = store.table("home_queue").drop("surveys")
    current = store.table("current_evidence")
    sources = [name for name in current.columns if name.startswith("r__")]
    # Other readings of disputed evidence are numbered over all homes of a batch, so that other
    # homes change their numbers; what they hold must be the same.
    evidence = current.drop(sources).with_columns(pl.col("variant").clip(-1, 1))
    tables["evidence"] = evidence.sort(pl.all())
    tables["dispute"] = _disputes(store)
    return Outcome(tables, dict(states))


def _disputes(store: Store) -> pl.DataFrame:
    """Disputed fields with both answers and their days in place of row numbers."""
    rows, conflicts = store.table("evidence_row"), store.table("evidence_conflict")
    found = [conflicts.select(*PART, "field").clear()]
    for (name,), pairs in conflicts.partition_by("field", as_dict=True).items():
        value = pl.col(str(name))
        text = value.list.sort().list.join("|") if _is_list(rows, str(name)) else value
        answers = rows.select("row_id", text.cast(pl.String).alias("answer"), "survey_date")
        both = pairs.join(answers, on="row_id").join(
            answers, left_on="other_row_id", right_on="row_id", suffix="_other"
        )
        found.append(both.drop("row_id", "other_row_id"))
    return pl.concat(found, how="diagonal").sort(pl.all())


def _is_list(rows: pl.DataFrame, name: str) -> bool:
    return isinstance(rows.schema[name], pl.List)


def assert_same(after: Outcome, before: Outcome, *but: str, without: tuple[str, ...] = ()) -> None:
    """Hold all tables against each other, except some, and without some columns."""
    assert set(after.tables) == set(before.tables)
    for name in sorted(set(before.tables) - set(but)):
        left, right = (
            side.tables[name].drop(c for c in without if c in side.tables[name].columns)
            for side in (after, before)
        )
        if name == "climate_use":  # the coordinates of one record
            left, right = left.sort(pl.all()), right.sort(pl.all())
        try:
            assert_frame_equal(left, right, check_exact=True)
        except AssertionError as error:
            raise AssertionError(f"table {name}: {error}\n{_differing(left, right)}") from error


def _differing(left: pl.DataFrame, right: pl.DataFrame) -> str:
    """The first rows that only one of two tables has."""
    if left.schema != right.schema:
        return f"{set(left.columns) ^ set(right.columns)}"
    texts = [f.select(pl.struct(pl.all()).struct.json_encode().alias("row")) for f in (left, right)]
    lost = texts[1].join(texts[0], on="row", how="anti")["row"].to_list()
    new = texts[0].join(texts[1], on="row", how="anti")["row"].to_list()
    keys = [set(json.loads(a).items()) ^ set(json.loads(b).items()) for a, b in _flat(new, lost)]
    return f"{len(new)} new, {len(lost)} lost; the first differ by {keys}"


def _flat(new: list[str], lost: list[str]) -> list[tuple[str, str]]:
    def flat(text: str) -> str:
        return json.dumps({k: json.dumps(v) for k, v in json.loads(text).items()})

    return [(flat(a), flat(b)) for a, b in zip(new[:2], lost[:2], strict=False)]
