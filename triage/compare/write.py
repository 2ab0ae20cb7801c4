"""The files of a comparison: tables of moves and of hashes, and a workbook."""

from dataclasses import replace
from pathlib import Path

import polars as pl

from triage.compare.digests import HASHES
from triage.compare.pictures import figures, write_pictures
from triage.compare.result import Comparison
from triage.report.table_book import TableSheet, csv_text, write_tables
from triage.rules.table import ID
from triage.runs import new_run_folder

_MOVED = (
    *(*ID, "measure_name", "building_id", "change", "from_queue", "from_lane", "from_released"),
    *("from_main_rule", "from_reason", "to_queue", "to_lane", "to_released", "to_main_rule"),
    *("to_reason", "cause", "how", "because"),
)


def write_comparison(made: Comparison, out: Path) -> Comparison:
    """Write movement.parquet, movement.csv, hashes.parquet and movement.xlsx into a new folder.

    And pictures of the moves, moves_of_homes and moves_of_measures, each as SVG and as PNG.

    Raises
    ------
    StoreError
        If the folder exists already.
    """
    moved = made.moved.select(_MOVED)
    names: tuple[str, ...] = ("movement.parquet", "movement.csv")
    names += ("hashes.parquet", "movement.xlsx")
    with new_run_folder(out) as folder:
        moved.write_parquet(folder / names[0])
        csv_text(moved).write_csv(folder / names[1])
        _hashes(made).write_parquet(folder / names[2])
        write_tables(folder / names[3], _sheets(made, moved), _stamp(made))
        drawn = figures(made.rows, made.before, made.after)
        names = (*names, *write_pictures(folder, drawn, _stamp(made)))
    return replace(made, outputs=tuple(out / name for name in names))


def _hashes(made: Comparison) -> pl.DataFrame:
    """The inputs of every row as hashes, before and after: the proof that nothing else changed."""
    pairs = [f"{at}_{name}" for name in HASHES for at in ("was", "is")]
    whole = [
        pl.lit(value).alias(name)
        for at, record in (("was", made.before), ("is", made.after))
        for name, value in (
            (f"{at}_policy", record["policy"]["sha256"]),
            (f"{at}_as_of", record["as_of"]),
        )
    ]
    return made.rows.select(*ID, "change", "same_inputs", *pairs, *whole)


def _stamp(made: Comparison) -> str:
    runs = " → ".join(
        f"run {record['run_id']} as of {record['as_of']}" for record in (made.before, made.after)
    )
    return f"{made.after['programme']} · {runs}"


def _sheets(made: Comparison, moved: pl.DataFrame) -> list[TableSheet]:
    told = [
        *(("differs between the runs", text) for text in made.differs or ("nothing",)),
        *(("note", text) for text in made.notes),
        *((name.replace("_", " "), f"{count:,}") for name, count in made.proof().items()),
    ]
    about = pl.DataFrame(told, schema={"what": pl.String, "value": pl.String}, orient="row")
    back = made.returned.select(*ID, "measure_name", "from_state", "to_reason")
    lost = made.unexplained.select(*ID, "from_state", "to_state")
    return [
        TableSheet("Queues", "From queue (down) to queue (across)", made.queues()),
        TableSheet("Lanes", "The same with lanes and release", made.lanes()),
        TableSheet("Causes", "Why rows moved", made.causes()),
        TableSheet("Moved", "Every home-part-measure that moved, and because of what", moved),
        TableSheet("Came back twice", "Returned from repair a second time", back),
        TableSheet("Unexplained", "Moved although no input of them changed", lost),
        TableSheet("About", "What differs, and what was proven", about),
    ]
