"""The programme page of a finished run: reads the run folder, writes one file."""

from collections.abc import Mapping
from contextlib import suppress
from datetime import date
from pathlib import Path
from typing import Any

import polars as pl

from triage.contract import load_contract
from triage.contract.policy_load import load_policy, policy_dir
from triage.errors import FileError, StoreError, TriageError
from triage.outputs import CAUTIONS
from triage.report.labels import plain
from triage.report.page import parts
from triage.report.page.assemble import assemble
from triage.report.page.content import COARSE, KEY, QUEUE_COLUMNS, RunTables, page_data
from triage.report.page.frames import choices, frames
from triage.report.page.ground import Ground, ground_near
from triage.report.template import label_text
from triage.runs import STORE, read_record
from triage.store import Store

CALENDAR = "expiry_calendar.parquet"
_TABLES = {
    *("home", "placed_home", "current_evidence", "queue", "problem", "evidence_conflict"),
    "batch_flag",
}
_STORED_POLICY = ("inputs", "_policy")
_MOVED = (*KEY, "change", "from_queue", "to_queue", "cause", "how")
_AREAS = {
    "GB": "Area: the first half of the postcode.",
    "US": "Area: the five-digit ZIP code.",
}


def write_page(run_folder: Path, out: Path, *, movement: Path | None = None) -> int:
    """Write the programme page of a finished run.

    Parameters
    ----------
    run_folder
        The folder of a finished run.
    out
        The page; it must not exist.
    movement
        movement.parquet of a comparison whose later run this is; None: no movement on the page.

    Returns
    -------
    int
        Size of the page. [bytes]

    Raises
    ------
    StoreError
        If the folder is not a finished run, or `movement` is not about it.
    FileError
        If the page cannot be written there.
    """
    if out.suffix.lower() not in (".html", ".htm"):
        raise FileError("a page is an .html file", str(out), "give it a name that ends in .html")
    if out.exists():
        raise FileError("the page exists already", str(out), "name a new file, or move this away")
    if not out.absolute().parent.is_dir():
        raise FileError("there is no such folder", str(out.absolute().parent), "make it first")
    content = page_of(run_folder, movement=movement).encode("utf-8")
    partial = out.absolute().with_name(f".{out.name}.partial")
    try:
        partial.write_bytes(content)
        partial.rename(out)
    finally:
        partial.unlink(missing_ok=True)
    return len(content)


def page_of(run_folder: Path, *, movement: Path | None = None) -> str:
    """The page as text; see `write_page`."""
    record = read_record(run_folder)
    with Store(run_folder / STORE, read_only=True) as store:
        _refuse_other_version(store, run_folder)
        homes = store.ask(
            """
            SELECT property_id, postal_code, country_code, lat, lon, location_precision
            FROM home LEFT JOIN placed_home USING (property_id) ORDER BY property_id
            """
        )
        foam = store.ask(
            """
            SELECT property_id, building_part, foam_type FROM current_evidence
            WHERE variant = 0 ORDER BY ALL
            """
        )
        queue = store.table("queue").join(
            foam, on=["property_id", "building_part"], how="left", maintain_order="left"
        )
        quality = {
            "problem": store.table("problem"),
            "survey": queue,
            "place": homes,
            "conflict": store.table("evidence_conflict"),
            "batch": store.table("batch_flag"),
        }
    titles = _rule_titles(run_folder, record)
    calendar = run_folder / CALENDAR
    tables = RunTables(
        homes=homes,
        queue=queue,
        calendar=pl.read_parquet(calendar) if calendar.is_file() else None,
        rule_titles=titles,
        field_labels=_field_labels(queue),
    )
    country = _country(homes)
    ground = ground_near(country, homes)
    moved = None if movement is None else _movement(movement, queue)
    data = page_data(tables, ground)
    return assemble(
        {
            **_head(record, queue, homes),
            **_notes(tables, country, ground),
            **frames(calendar=tables.calendar is not None),
            **choices(data),
            "quality": parts.quality(record, quality),
            "movement": parts.movement(moved, queue),
            "limits": parts.limits(record["not_evaluated"]),
        },
        data,
    )


def _refuse_other_version(store: Store, run_folder: Path) -> None:
    """A run of another version of the tool may not hold what the page shows."""
    lacking = sorted(_TABLES - set(store.tables()))
    if "queue" not in lacking:
        held = store.ask("SELECT * FROM queue LIMIT 0").columns
        lacking += sorted(set(QUEUE_COLUMNS) - set(held))
    if lacking:
        what = f"another version of the tool made this run: it holds no {', '.join(lacking)}"
        raise StoreError(what, str(run_folder), "run the programme again, then make the page")


def _head(record: Mapping[str, Any], queue: pl.DataFrame, homes: pl.DataFrame) -> dict[str, str]:
    policy = record["policy"]
    day = date.fromisoformat(record["as_of"])
    stamp = (
        f"As of {day:%d %B %Y} · policy {policy['name']} {policy['version']} "
        f"({policy['sha256'][:12]}) · run {record['run_id']}"
    )
    judged = queue["property_id"].n_unique()
    coverage = (
        f"{homes.height:,} homes surveyed; {judged:,} of them have a proposed measure, and make "
        f"{queue.height:,} home-part-measures."
    )
    return {
        "title": parts.text(record["programme"]),
        "stamp": parts.text(stamp),
        "coverage": parts.text(coverage),
        "cautions": parts.items(CAUTIONS),
        "hatch": parts.hatch(),
        "legend": parts.legend(),
        "definitions": parts.definitions(),
        "queue_words": parts.queue_words(),
    }


def _notes(tables: RunTables, country: str, ground: Ground) -> dict[str, str]:
    unplaced = tables.homes["lat"].is_null().sum()
    coarse = tables.homes["location_precision"].is_in(COARSE).sum()
    words = [ground.words]
    if coarse:
        words.append(
            f"{coarse:,} homes stand at the middle of a ZIP code, postcode area, council or "
            "county: their own place is not on record."
        )
    if unplaced:
        words.append(f"{unplaced:,} homes have no usable place and are not on the map.")
    if tables.calendar is None:
        expiry = (
            "Home-part-measures that are safe now, by the month in which the first answer they "
            "rest on ends. A storm, a leak or a change of use ends it sooner."
        )
    else:
        expiry = (
            "Answers that end soon, and the homes that would leave safe to insulate because of "
            "it, if nothing new is surveyed. A storm, a leak or a change of use ends it sooner."
        )
    untitled = " The policy pack of this run is not at hand, so that rules stand by their ids."
    return {
        "ground_words": parts.text(" ".join(words)),
        "area_words": parts.text(_AREAS.get(country, "Area: the postal code.")),
        "rule_words": "" if tables.rule_titles else parts.text(untitled),
        "expiry_words": parts.text(expiry),
    }


def _country(homes: pl.DataFrame) -> str:
    """The country of most homes."""
    counted = homes.drop_nulls("country_code").group_by("country_code").len()
    ranked = counted.sort("len", "country_code", descending=[True, False])
    return str(ranked["country_code"][0]) if ranked.height else ""


def _rule_titles(run_folder: Path, record: Mapping[str, Any]) -> dict[str, str]:
    """Titles of the rules from the very pack of the run; none if it is not at hand."""
    folders = [run_folder.joinpath(*_STORED_POLICY)]
    with suppress(TriageError):  # a programme's own pack does not ship
        folders.append(policy_dir(record["policy"]["name"]))
    for folder in folders:
        with suppress(TriageError):  # another version of the tool may not read it
            policy = load_policy(folder)
            if policy.digest == record["policy"]["sha256"]:
                return {rule.id: rule.title for rule in policy.rules.values()}
    return {}


def _field_labels(queue: pl.DataFrame) -> dict[str, str]:
    fields = load_contract().fields
    used = pl.concat([queue[name].explode() for name in ("missing", "expired")])
    names = used.drop_nulls().unique().sort().to_list()
    return {n: label_text(fields[n]) if n in fields else plain(n) for n in names}


def _movement(path: Path, queue: pl.DataFrame) -> pl.DataFrame:
    """Read a comparison's movement and make sure that it ends in this run."""
    if not path.is_file():
        raise FileError("there is no such file", str(path), "name a movement.parquet")
    try:
        moved = pl.read_parquet(path)
    except pl.exceptions.PolarsError as problem:
        what = "this is not a Parquet file"
        raise FileError(what, str(path), "name movement.parquet of a comparison") from problem
    lacking = [name for name in _MOVED if name not in moved.columns]
    if not lacking and moved.schema["cause"] != pl.List(pl.String):
        lacking = ["a list of causes"]
    if lacking:
        what = f"this is not the movement of a comparison: it lacks {', '.join(lacking)}"
        raise FileError(what, str(path), "name movement.parquet of a comparison")
    now = moved.filter(pl.col("to_queue").is_not_null()).select(*KEY, queue="to_queue")
    strange = now.join(queue.select(*KEY, "queue"), on=[*KEY, "queue"], how="anti").height
    gone = moved.filter(pl.col("to_queue").is_null()).join(queue, on=KEY, how="semi").height
    if strange or gone:
        what = f"the comparison ends in another run: {strange + gone:,} of its rows are not in this"
        raise StoreError(what, str(path), "compare with this run as the later one")
    # Here, because comparing imports what runs, and a run may want to write this page.
    from triage.compare.words import CAUSES  # noqa: PLC0415

    words = pl.col("cause").list.eval(pl.element().replace(CAUSES)).list.join(", ")
    return moved.with_columns(words.alias("cause"))
