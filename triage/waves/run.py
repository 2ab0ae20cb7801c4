"""Draws a wave of inspections from a finished run and writes it into a new folder."""

import json
import tempfile
from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import date
from pathlib import Path
from typing import Any

import polars as pl

from triage.contract import load_contract
from triage.contract.inspection import load_inspection
from triage.contract.policy_load import policy_dir
from triage.errors import StoreError
from triage.inputs import INPUTS, open_stored, stored_inputs
from triage.learn.roofs import foamed_roofs
from triage.learn.selection import Plan, Selection, select_roofs
from triage.report.document import Document
from triage.report.html_document import write_html
from triage.report.inspection_book import write_inspection_book
from triage.report.map_selection import draw_selection_map
from triage.report.pdf import write_pdf
from triage.report.table_book import csv_text
from triage.runs import STORE, need_tables, new_run_folder, read_record
from triage.steps import load_pipeline, run_pipeline
from triage.store import Store
from triage.waves.map_words import map_words, roofs_to_draw
from triage.waves.read import FORMAT, RECORD, file_digests
from triage.waves.words import plan_document

_COPIED = ("queue", "current_evidence", "quantity", "inspection_told")
Say = Callable[[str], None]


@dataclass(frozen=True, slots=True)
class Asked:
    """What a wave is to be.

    `visits` in all (None: as many as detection needs), the share of failing roofs to detect (None:
    that of the policy), whether five openings are made in every roof, and how many roofs of one
    terrace or installer are expected in the sample.
    """

    seed: int
    visits: int | None = None
    detect_share: float | None = None
    thorough: bool = False
    cluster_roofs: float = 1.0


@dataclass
class Wave:
    """What the stages of the pipeline work on."""

    store: Store
    folder: Path
    record: dict[str, Any]
    run_folder: Path
    asked: Asked
    say: Say
    roofs: pl.DataFrame = field(default_factory=pl.DataFrame)
    selection: Selection | None = None
    map_says: str = ""

    @property
    def drawn(self) -> Selection:
        """The selection, once it is drawn."""
        if self.selection is None:
            raise RuntimeError("nothing was selected yet")
        return self.selection

    @property
    def stamp(self) -> str:
        """What every output says of where it comes from."""
        return (
            f"{self.record['programme']} · evidence to {self.record['as_of']} · run "
            f"{self.record['run_id']} · screening result; not a survey, valuation, design or "
            "warranty"
        )


def select_wave(run_folder: Path, out: Path, asked: Asked, say: Say) -> dict[str, Any]:
    """Select foamed roofs of a run to inspect.

    Parameters
    ----------
    run_folder
        A finished run.
    out
        Folder to make.
    asked
        Size and seed; the same run and the same `asked` give the same list.
    say
        Told what is about to happen.

    Returns
    -------
    dict
        What `selection.json` holds.

    Raises
    ------
    StoreError
        If the run is not one, holds no foamed roof, or `out` exists.
    PolicyError
        If the visits do not suffice.
    """
    record = read_record(run_folder)
    pipeline = load_pipeline("foamed_roofs", STAGES)
    with (
        Store(run_folder / STORE, read_only=True) as run,
        new_run_folder(out) as folder,
        tempfile.TemporaryDirectory() as scratch,
        Store(Path(scratch) / "wave.duckdb") as store,
    ):
        need_tables(run, run_folder, _COPIED, "select")
        for name in _COPIED:
            store.put(name, run.table(name))
        wave = Wave(store, folder, record, run_folder, asked, say)
        run_pipeline(pipeline, wave, store, STAGES, {}, say)
        return _told(wave)


def _policy_folder(run_folder: Path) -> Path:
    """The pack that the run kept, if it holds the rules of inspections; else the one here."""
    stored = run_folder / INPUTS / "_policy"
    return stored if (stored / "inspection.toml").is_file() else policy_dir("default")


def _gather(wave: Wave) -> None:
    queue = wave.store.table("queue")
    visits = wave.store.table("roof_visit")
    known = visits.select("property_id", "building_part", "refused_before")
    wave.roofs = foamed_roofs(
        queue, wave.store.table("current_evidence"), wave.store.table("quantity"), known
    )
    if wave.roofs.is_empty():
        what = "this run has no roof that carries foam, or may"
        raise StoreError(what, str(wave.run_folder), "there is nothing to select")


def _select(wave: Wave) -> None:
    opened = wave.store.table("roof_visit").filter("opened")
    done = (
        wave.roofs.explode("property_ids")
        .join(
            opened,
            left_on=["property_ids", "building_part"],
            right_on=["property_id", "building_part"],
            how="semi",
        )["roof_id"]
        .unique()
        .sort()
    )
    plan = Plan(
        load_inspection(_policy_folder(wave.run_folder)),
        visits=wave.asked.visits,
        detect_share=wave.asked.detect_share,
        thorough=wave.asked.thorough,
        cluster_roofs=wave.asked.cluster_roofs,
        done=tuple(done),
    )
    wave.selection = select_roofs(wave.roofs, plan, wave.asked.seed)


def _write(wave: Wave) -> None:
    drawn, folder = wave.drawn, wave.folder
    for name, frame in (
        ("selection", drawn.chosen),
        ("reserve", drawn.reserve),
        ("strata", drawn.strata),
        ("roofs", drawn.roofs),
        # What was recorded by now is no answer to this wave.
        ("before", wave.store.table("inspection_told").select("inspection_id").sort(pl.all())),
    ):
        frame.write_parquet(folder / f"{name}.parquet")
        csv_text(_without_binary(frame)).write_csv(folder / f"{name}.csv")
    wave.say("inspection list")
    write_inspection_book(
        folder / "inspections.xlsx", drawn, load_contract(), wave.stamp, str(wave.record["run_id"])
    )
    wave.say("map")
    programme = open_stored(wave.run_folder, stored_inputs(wave.run_folder, wave.record))[0]
    words = map_words(drawn, wave.record, programme.country_code)
    wave.map_says = draw_selection_map(folder, roofs_to_draw(drawn), words)
    wave.say("plan")
    plan = _document(wave)
    write_pdf(folder / "plan.pdf", plan)
    write_html(folder / "plan.html", plan)
    text = json.dumps(_told(wave), indent=2, ensure_ascii=False, default=str)
    (folder / RECORD).write_text(text + "\n", encoding="utf-8")


def _document(wave: Wave) -> Document:
    return plan_document(wave.drawn, str(wave.record["programme"]), wave.stamp, wave.asked.thorough)


def _without_binary(frame: pl.DataFrame) -> pl.DataFrame:
    return frame.with_columns(
        pl.col(name).cast(pl.List(pl.String))
        for name, kind in frame.schema.items()
        if isinstance(kind, pl.List)
    )


def _told(wave: Wave) -> dict[str, Any]:
    drawn, asked = wave.drawn, wave.asked
    counts = dict(drawn.chosen["stream"].value_counts().iter_rows())
    found = drawn.detection
    return {
        "format": FORMAT,
        "programme_id": wave.record["programme_id"],
        "run_id": wave.record["run_id"],
        "as_of": _day(wave.record["as_of"]),
        "seed": asked.seed,
        "visits": asked.visits,
        "detect_share": found.share,
        "thorough": asked.thorough,
        "cluster_roofs": asked.cluster_roofs,
        "method": drawn.method,
        "frame_sha256": drawn.frame_digest,
        "policy_sha256": drawn.policy_digest,
        "roofs": drawn.roofs.height,
        "strata": drawn.strata.height,
        "random": counts.get("random", 0),
        "targeted": counts.get("targeted", 0),
        "reserve": drawn.reserve.height,
        "openings_to_detect": found.openings,
        "map_says": wave.map_says,
        "files": file_digests(wave.folder),
    }


def _day(value: object) -> str:
    return value.isoformat() if isinstance(value, date) else str(value)


STAGES: dict[str, Callable[[Wave], None]] = {
    "gather_roofs": _gather,
    "select": _select,
    "write": _write,
}
