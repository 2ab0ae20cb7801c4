"""Makes the work orders of a finished run: workbooks, sheets and letters by area or contractor."""

import hashlib
import re
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import polars as pl

from triage.contract import load_contract
from triage.contract.assemblies import load_library
from triage.errors import FileError, Place, StoreError, UnknownHomeError
from triage.inputs import changed_inputs, open_stored, stored_inputs
from triage.orders.papers import Papers
from triage.orders.tasks import Tasks, read_tasks
from triage.outputs import CAUTIONS
from triage.report.cells import inert
from triage.report.home_sheet import Issue, Page, home_sheet, letter
from triage.report.labels import LOOK, QUEUES
from triage.report.order_workbook import OrderBook, write_order_book
from triage.report.sheet_html import page_html
from triage.runs import STORE, new_run_folder, read_record
from triage.store import Store
from triage.work import Work

HOMES_A_FILE = 150  # homes of one PDF: all its pages are held at once
NO_CONTRACTOR = "no contractor"
INDEX = "orders.csv"
Say = Callable[[str], None]


@dataclass(frozen=True, slots=True)
class Wanted:
    """Which orders to make: queues, homes (none: all), and who does which area."""

    queues: tuple[str, ...]
    homes: tuple[str, ...] = ()
    contractors: Path | None = None
    contact: str | None = None


def make_orders(run_folder: Path, out: Path, wanted: Wanted, say: Say) -> dict[str, Any]:
    """Write the work orders of a run into a new folder, and say what was made.

    Parameters
    ----------
    run_folder
        A finished run.
    out
        Folder to make.
    wanted
        Which orders. With homes named, each also gets its sheets and letter as HTML and PDF.
    say
        Told what is about to happen.

    Raises
    ------
    StoreError
        If the run is not one, its stored inputs were changed, or `out` exists.
    UnknownHomeError
        If the run has no row for a home that is named.
    FileError
        If the table of contractors cannot be used.
    """
    record = read_record(run_folder)
    stored = stored_inputs(run_folder, record)
    if changed := changed_inputs(run_folder, stored):
        what = f"the inputs stored with the run are no longer what it read: {changed[0]}"
        raise StoreError(what, str(run_folder), "run the programme again, then make its orders")
    programme, policy = open_stored(run_folder, stored)
    library = load_library(programme.products)
    with Store(run_folder / STORE, read_only=True) as store:
        work = Work(programme, load_contract(), policy, library, store, run_folder, say)
        tasks = read_tasks(work, wanted.queues, wanted.homes)
    _known_homes(tasks, wanted.homes, run_folder)
    tasks = _grouped(tasks, wanted.contractors)
    stamp = (
        f"{programme.name}. Evidence as of {programme.as_of}. Policy {policy.name} "
        f"{policy.version}. Run {record['run_id']}. Screening result; not a survey, valuation, "
        "design or warranty."
    )
    rain = int(policy.limits["repair_rain_min_mm"])
    issue = Issue(programme.name, programme.as_of, stamp, wanted.contact, rain)
    homes = tasks.measures["property_id"].n_unique()
    with new_run_folder(out) as folder, Papers(homes) as papers:
        maker = _Maker(work, tasks, issue, folder, papers, say)
        made = maker.make(alone=bool(wanted.homes))
    return {"format": 1, "run_id": record["run_id"]} | made


def _known_homes(tasks: Tasks, homes: tuple[str, ...], folder: Path) -> None:
    strange = sorted(set(homes) - set(tasks.measures["property_id"].to_list()))
    if strange:
        what = f"the run has no row of these queues for the home {strange[0]!r}"
        raise UnknownHomeError(what, str(folder), "check the property id and --queue")


def _grouped(tasks: Tasks, contractors: Path | None) -> Tasks:
    """Add `group`: the area, or who has it."""
    if contractors is None:
        return Tasks(*(f.with_columns(group="area") for f in (tasks.measures, tasks.tasks)))
    table = _contractors(contractors)
    joined = [
        frame.join(table, on="area", how="left", maintain_order="left").with_columns(
            pl.col("group").fill_null(NO_CONTRACTOR)
        )
        for frame in (tasks.measures, tasks.tasks)
    ]
    return Tasks(*joined)


def _contractors(path: Path) -> pl.DataFrame:
    fix = "give a CSV file in UTF-8 with the columns area and contractor, one row an area"
    try:
        table = pl.read_csv(path, infer_schema=False)
    except (OSError, pl.exceptions.PolarsError) as problem:
        raise FileError(
            f"cannot read the table of contractors: {problem}", str(path), fix
        ) from problem
    if missing := {"area", "contractor"} - set(table.columns):
        raise FileError(f"no column {min(missing)!r}", str(path), fix)
    table = table.with_row_index("row", 2).select(
        "row",
        pl.col("area").str.strip_chars(),
        pl.col("contractor").str.strip_chars().alias("group"),
    )
    twice = table.filter(pl.col("area").is_duplicated())
    blank = table.filter(
        (pl.col("area").fill_null("") == "") | (pl.col("group").fill_null("") == "")
    )
    for bad, what in ((twice, "the area stands twice"), (blank, "a cell is blank")):
        if bad.height:
            raise FileError(what, Place(str(path), row=int(bad["row"][0])), fix)
    return table.drop("row")


def file_name(text: str) -> str:
    """A name of a file that stands for a text of a survey: letters, digits, - and _ only.

    Where the text has to be changed, a part of its SHA-256 keeps it apart from others.
    """
    plain = re.sub(r"[^A-Za-z0-9_-]+", "-", text).strip("-")[:60]
    if plain and plain == text:
        return plain
    return f"{plain or 'x'}-{hashlib.sha256(text.encode()).hexdigest()[:8]}"


class _Maker:
    """Writes the files of one folder of orders."""

    def __init__(
        self, work: Work, tasks: Tasks, issue: Issue, folder: Path, papers: Papers, say: Say
    ) -> None:
        self.work, self.tasks, self.issue = work, tasks, issue
        self.folder, self.papers, self.say = folder, papers, say
        self.files: list[str] = []
        self.names = {m.code: m.name for m in work.policy.measures.values()}

    def make(self, *, alone: bool) -> dict[str, Any]:
        """Write everything; `alone` adds files for single homes."""
        for look in QUEUES:
            rows = self.tasks.measures.filter(pl.col("queue") == look.queue)
            if rows.height:
                self._queue(look.queue, rows)
        self._letters()
        if alone:
            self._homes()
        self._index()
        counts = self.tasks.measures.group_by("queue").len().sort("queue")
        tasks = self.tasks.tasks.group_by("queue").len().sort("queue")
        return {
            "rows": dict(counts.iter_rows()),
            "tasks": dict(tasks.iter_rows()),
            "homes": self.tasks.measures["property_id"].n_unique(),
            "groups": self.tasks.measures["group"].n_unique(),
            "files": sorted(self.files),
        }

    def _path(self, *parts: str) -> Path:
        self.files.append("/".join(parts))
        path = self.folder.joinpath(*parts)
        path.parent.mkdir(parents=True, exist_ok=True)
        return path

    def _queue(self, queue: str, rows: pl.DataFrame) -> None:
        tasks = self.tasks.tasks.filter(pl.col("queue") == queue)
        for group in rows["group"].unique().sort():
            self.say(f"{LOOK[queue].title}: {group}")
            mine = tasks.filter(pl.col("group") == group)
            book = OrderBook(
                f"{LOOK[queue].title}: {group}",
                self.issue.stamp,
                queue,
                mine,
                rows.filter(pl.col("group") == group),
                CAUTIONS,
            )
            name = file_name(group)
            path = self._path(queue, f"{name}.xlsx")
            write_order_book(path, book, self.work.contract, self.names)
            pages = (home_sheet(home, self.issue) for home in _by_home(mine))
            self._pdfs(queue, f"{name}-sheets", book.title, pages)

    def _letters(self) -> None:
        rows = self.tasks.measures
        for group in rows["group"].unique().sort():
            self.say(f"Letters: {group}")
            pages = (letter(r, self.issue) for r in _by_home(rows.filter(pl.col("group") == group)))
            self._pdfs(
                "letters", f"{file_name(group)}-letters", f"Letters: {group}", pages, large=True
            )

    def _pdfs(
        self, folder: str, name: str, title: str, pages: Iterator[Page], *, large: bool = False
    ) -> None:
        """One PDF for each so many homes, so that memory does not grow with the stock."""
        held: list[Page] = []
        number = 0
        for page in pages:
            held.append(page)
            if len(held) == HOMES_A_FILE:
                number += 1
                self.papers.write(self._path(folder, _part(name, number)), title, held, large=large)
                held = []
        if held:
            self.papers.write(self._path(folder, _part(name, number + 1)), title, held, large=large)

    def _homes(self) -> None:
        for queue in self.tasks.tasks["queue"].unique().sort():
            for home in _by_home(self.tasks.tasks.filter(pl.col("queue") == queue)):
                self._single(home_sheet(home, self.issue), queue, large=False)
        for home in _by_home(self.tasks.measures):
            self._single(letter(home, self.issue), "letter", large=True)

    def _single(self, page: Page, name: str, *, large: bool) -> None:
        folder = ("homes", file_name(page.home))
        html = self._path(*folder, f"{name}.html")
        html.write_text(page_html(page), encoding="utf-8", newline="\n")
        self.papers.write(self._path(*folder, f"{name}.pdf"), page.title, [page], large=large)

    def _index(self) -> None:
        """Each row of the queues, its order and where that stands."""
        keys = ("order", "queue", "group", "area", "property_id", "building_part", "measure_code")
        rows = self.tasks.measures
        groups = {group: file_name(group) for group in rows["group"].unique()}
        named = pl.col("group").replace_strict(groups, return_dtype=pl.String)
        index = rows.select(
            *(inert(pl.col(name)).alias(name) for name in keys),
            pl.format("{}/{}.xlsx", "queue", named).alias("workbook"),
        )
        index.write_csv(self._path(INDEX))


def _part(name: str, number: int) -> str:
    return f"{name}.pdf" if number == 1 else f"{name}-{number}.pdf"


def _by_home(frame: pl.DataFrame) -> Iterator[list[Mapping[str, Any]]]:
    """The rows of each home, one home at a time."""
    ordered = frame.sort("property_id", maintain_order=True)
    for rows in ordered.partition_by("property_id", maintain_order=True):
        yield list(rows.iter_rows(named=True))
