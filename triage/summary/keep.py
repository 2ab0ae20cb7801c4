"""What a report keeps for the next one: never part of what is sent."""

import json
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any

import polars as pl

from triage.contract.disclosure import Disclosure
from triage.errors import StoreError
from triage.learn.suppression import Release
from triage.runs import RECORD, STORE, read_record
from triage.store import Store

KEEP, SEND = "keep", "send"
FORMAT = 2
_ABOUT = "report.json"


@dataclass(frozen=True)
class Earlier:
    """An earlier report, or a run that none was made of: its homes, and what was printed."""

    words: str
    as_of: str
    programme_id: str
    stock: str
    areas: str  # what said the area of a home
    homes: pl.DataFrame  # property_id, queue
    release: Release | None


def write_kept(folder: Path, release: Release, homes: pl.DataFrame, about: dict[str, Any]) -> None:
    """Write the folder `keep` of a report."""
    folder.mkdir()
    release.cells.sort("cell").write_parquet(folder / "cells.parquet")
    release.sums.sort("sum_id", "cell", "sign").write_parquet(folder / "sums.parquet")
    homes.select("property_id", "queue").sort("property_id").write_parquet(folder / "homes.parquet")
    told = {"format": FORMAT, **about, "rule": asdict(release.rule)}
    text = json.dumps(told, indent=2, ensure_ascii=False) + "\n"
    (folder / _ABOUT).write_text(text, encoding="utf-8", newline="\n")


def read_earlier(folder: Path, *, withholds: bool) -> Earlier:
    """An earlier report by its folder, or an earlier run by its own.

    Parameters
    ----------
    folder
        Folder of a report (it holds `keep`) or of a finished run.
    withholds
        Whether the new report withholds counts: then an earlier one binds it.

    Raises
    ------
    StoreError
        If it is neither, or was made by another version of the format.
    """
    if (folder / RECORD).is_file():
        return _run(folder)
    path = folder / KEEP / _ABOUT
    if not path.is_file():
        raise StoreError(
            "this is neither a report nor a finished run",
            str(folder),
            "name a folder that `triage report` or `triage run` made",
        )
    about = json.loads(path.read_text(encoding="utf-8"))
    if about.get("format") != FORMAT:
        raise StoreError(
            "another version of the tool made this report", str(path), "name the run instead"
        )
    rule = Disclosure(**about["rule"])
    cells, sums = (pl.read_parquet(folder / KEEP / f"{n}.parquet") for n in ("cells", "sums"))
    # What the programme told itself is not out of its hands.
    told = Release(rule, {}, cells, sums) if withholds and rule.withholds else None
    return Earlier(
        words=f"the report of {about['as_of']} for {about['audience']}, run {about['run_id']}",
        as_of=about["as_of"],
        programme_id=about["programme_id"],
        stock=about["stock"],
        areas=about["areas"],
        homes=pl.read_parquet(folder / KEEP / "homes.parquet"),
        release=told,
    )


def _run(folder: Path) -> Earlier:
    record = read_record(folder)
    with Store(folder / STORE, read_only=True) as store:
        homes = store.ask("SELECT property_id, queue FROM home_queue ORDER BY property_id")
    return Earlier(
        words=f"the run {record['run_id']} of {record['as_of']}",
        as_of=str(record["as_of"]),
        programme_id=str(record["programme_id"]),
        stock=stock_name(record),
        areas="",
        homes=homes,
        release=None,
    )


def stock_name(record: dict[str, Any]) -> str:
    """Name of the homes of a run: the same run has the same."""
    return f"{record['as_of']} {record['run_id']}"
