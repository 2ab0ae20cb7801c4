"""Makes the summary of a finished run for one reader."""

import tempfile
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import polars as pl

from triage.contract.disclosure import AUDIENCES, DisclosureRules, load_disclosure
from triage.contract.disclosure import FILE as DISCLOSURE
from triage.contract.inspection import FILE as INSPECTION
from triage.contract.inspection import load_inspection
from triage.contract.policy_load import policy_dir
from triage.errors import StoreError
from triage.inputs import INPUTS, open_stored, stored_inputs
from triage.learn.suppression import Release, suppress
from triage.report.cells import inert
from triage.report.document import Document, Grid
from triage.report.html_document import write_html
from triage.report.labels import ENTERED, LEFT, NOT_JUDGED
from triage.report.pdf import write_pdf
from triage.runs import STORE, need_tables, new_run_folder, read_record
from triage.steps import load_pipeline, run_pipeline
from triage.store import Store
from triage.summary.areas import area_of_homes, partition, roof_classes
from triage.summary.content import first_parts
from triage.summary.counts import Counted, Stock, count_all
from triage.summary.facts import Facts, facts_of
from triage.summary.findings import last_parts
from triage.summary.keep import KEEP, SEND, Earlier, read_earlier, stock_name, write_kept
from triage.summary.maps import FOLDER as MAPS
from triage.summary.maps import write_maps
from triage.summary.roofs import known_inspections, roof_tables
from triage.summary.told import Told
from triage.summary.wave import wave_found
from triage.summary.work import NAMES, Summary
from triage.waves.read import read_waves

_COPIED = ("queue", "home", "home_queue", "contradiction", "expiry_calendar", "climate_record")
_RECORDS = (
    "record_repair",
    "record_decision",
    "record_use",
    "record_inspection",
    "inspection_told",
)


@dataclass(frozen=True)
class Made:
    """A finished report: its tables as printed, its files."""

    folder: Path
    counted: Counted
    release: Release
    document: Document


def make_report(
    run_folder: Path,
    audience: str,
    out: Path,
    before: Path | None,
    signed_by: str,
    say: Callable[[str], None],
    waves: Sequence[Path] = (),
) -> Made:
    """Write the summary of a run for one reader into a new folder.

    Parameters
    ----------
    run_folder
        Folder of a finished run.
    audience
        One of `contract.disclosure.AUDIENCES`.
    out
        Folder to make. `send` is for the reader, `keep` for the next report alone.
    before
        The last report, or a run to compare with.
    signed_by
        Who answers for it; empty if nobody yet.
    say
        Told what is about to happen.
    waves
        Folders of waves of inspections, whose random openings are pooled over their strata. A
        reader from whom small counts are withheld is told of one at a time.

    Raises
    ------
    StoreError
        If a folder is not what it should be, or the two are of different programmes.
    DisclosureError
        If an earlier report gives a small count away whatever is withheld now.
    """
    record = read_record(run_folder)
    rules, rule_folder = _rules(run_folder)
    withholds = rules.audiences[audience].withholds
    earlier = read_earlier(before, withholds=withholds) if before is not None else None
    _same_programme(record, earlier, before)
    drawn = read_waves(waves, record, withholds=withholds)
    stages = {
        "areas": _areas,
        "foamed_roofs": lambda work: _foamed_roofs(work, rule_folder),
        "tables": _tables,
        "write": _write,
    }
    pipeline = load_pipeline("programme_summary", stages)
    with (
        new_run_folder(out) as folder,
        tempfile.TemporaryDirectory() as scratch,
        Store(run_folder / STORE, read_only=True) as run,
        Store(Path(scratch) / "report.duckdb") as store,
    ):
        need_tables(run, run_folder, (*_COPIED, *_RECORDS), "report")
        for name in (*_COPIED, *_RECORDS):
            store.put(name, run.table(name))
        work = Summary(
            *(run, store, folder, record, run_folder, audience, rules, earlier, signed_by), drawn
        )
        run_pipeline(pipeline, work, store, stages, {"as_of": work.as_of}, say)
    return Made(out, work.out["counted"], work.out["release"], work.out["document"])


def _rules(run_folder: Path) -> tuple[DisclosureRules, Path]:
    """Disclosure and inspection rules: the run's own pack's if it kept them, else those here."""
    stored = run_folder / INPUTS / "_policy"
    kept = all((stored / name).is_file() for name in (DISCLOSURE, INSPECTION))
    folder = stored if kept else policy_dir("default")
    return load_disclosure(folder), folder


def _same_programme(record: dict[str, Any], earlier: Earlier | None, before: Path | None) -> None:
    if earlier is None:
        return
    ids = earlier.programme_id, str(record["programme_id"])
    if ids[0] != ids[1]:
        what = f"the two are of two programmes, {ids[0]!r} and {ids[1]!r}"
        raise StoreError(what, str(before), "name a report or a run of the same programme")
    if earlier.as_of > str(record["as_of"]):
        what = f"it is of {earlier.as_of}, later than this run of {record['as_of']}"
        raise StoreError(what, str(before), "name an earlier one")


def _areas(work: Summary) -> None:
    programme = open_stored(work.source, stored_inputs(work.source, work.record))[0]
    homes = work.store.table("home_queue")
    work.store.put("report_place", area_of_homes(homes, programme.areas))


def _foamed_roofs(work: Summary, rule_folder: Path) -> None:
    policy = load_inspection(rule_folder)
    tables = roof_tables(work.run, policy, work.as_of)
    inspections = known_inspections(work.run, work.as_of)
    now = tables["report_roof"]["roof_id"]
    work.waves = tuple(wave_found(wave, inspections, policy, now) for wave in work.drawn)
    if work.waves:  # the strata of the last one, as they were drawn
        tables["report_roof"] = work.waves[-1].roofs
    for name, frame in tables.items():
        work.store.put(name, frame)
    homes = work.store.table("report_home").select("property_id", "area")
    work.store.put("report_roof_class", roof_classes(work.run, policy, homes))
    work.out["foam_classes"] = {
        str(number): case.name
        for number, case in zip(policy.class_numbers, policy.classes, strict=True)
    }


def _tables(work: Summary) -> None:
    """Count, then withhold: from here on only printed counts are at hand."""
    rule = work.rules.audiences[work.audience]
    stock = Stock(stock_name(work.record), work.drawn[-1].name if work.drawn else "")
    programme = open_stored(work.source, stored_inputs(work.source, work.record))[0]
    moved = _moved(work.store.table("report_home"), work.earlier)
    last = work.earlier
    told = [last.release] if last is not None and last.release is not None else []
    work.out["areas"] = partition(programme.areas)
    # Two ways of parting the homes would together tell of those that only one has in an area.
    work.other_areas = last is not None and bool(told) and last.areas != work.out["areas"]
    counted = count_all(
        work.store, stock, programme.stock_total, moved, by_area=not work.other_areas
    )
    work.out["counted"] = counted
    work.out["release"] = suppress(counted.tables, rule, told, counted.links)


def _moved(homes: pl.DataFrame, earlier: Earlier | None) -> pl.DataFrame | None:
    """Homes with something judged in either of the two, and the worst queue in each."""
    if earlier is None:
        return None
    now = homes.select("property_id", now="queue", is_now=True)
    then = earlier.homes.select("property_id", then="queue", is_then=True)
    both = now.join(then, on="property_id", how="full", coalesce=True)
    judged = both.filter(pl.col("now").is_not_null() | pl.col("then").is_not_null())
    return judged.sort("property_id").select(
        pl.when(pl.col("is_then").is_null())
        .then(pl.lit(ENTERED))
        .otherwise(pl.col("then").fill_null(NOT_JUDGED))
        .alias("queue_before"),
        pl.when(pl.col("is_now").is_null())
        .then(pl.lit(LEFT))
        .otherwise(pl.col("now").fill_null(NOT_JUDGED))
        .alias("queue"),
        pl.lit(Stock(earlier.stock).of("judged")).alias("population_before"),
    )


def _write(work: Summary) -> None:
    release: Release = work.out["release"]
    told, facts = Told(release), facts_of(work)
    document = document_of(told, facts, work.store)
    send = work.folder / SEND
    send.mkdir()
    write_pdf(send / "report.pdf", document)
    write_html(send / "report.html", document)
    for grid in document.grids():
        _write_csv(send / f"{grid.name}.csv", grid)
    _check_names(document)
    work.out["maps"] = write_maps(send / MAPS, told, facts)
    about = {
        "audience": NAMES[work.audience],
        "as_of": str(work.record["as_of"]),
        "programme_id": str(work.record["programme_id"]),
        "run_id": work.record["run_id"],
        "stock": stock_name(work.record),
        "areas": work.out["areas"],
        "disclosure_sha256": work.rules.digest,
    }
    write_kept(work.folder / KEEP, release, work.store.table("report_home"), about)
    work.out["document"] = document


def document_of(told: Told, facts: Facts, store: Store) -> Document:
    """The whole report, from printed counts and, for the programme itself, its findings."""
    return Document(
        title=facts.name,
        subtitle=f"Moisture screening before insulation: summary for {facts.audience}",
        stamp=f"{facts.programme_id} · evidence to {facts.as_of} · run {facts.record['run_id']} · "
        "screening result; not a survey, valuation, design or warranty",
        sections=(*first_parts(told, facts), *last_parts(told, facts, store)),
        sign_off=(("Name", facts.signed_by), ("Role", ""), ("Date", ""), ("Signature", "")),
    )


def _check_names(document: Document) -> None:
    names = [grid.name for grid in document.grids()]
    if len(names) != len(set(names)):
        raise RuntimeError(f"two tables of a report have one name: {sorted(names)}")


def _write_csv(path: Path, grid: Grid) -> None:
    frame = pl.DataFrame(list(grid.rows), schema=list(grid.columns), orient="row")
    frame.select(inert(pl.col(name)).alias(name) for name in grid.columns).write_csv(path)


__all__ = ["AUDIENCES", "Made", "make_report"]
