"""Hashes of everything that a run knew of each home-part, and the pieces that they are made of."""

from collections.abc import Sequence
from pathlib import Path

import polars as pl

from triage.rules.codes import KEY
from triage.store import Store

WRITTEN = ("measure_code", "measure_material", "measure_thickness_mm")
EVIDENCE_KINDS = ("reading", "inspection", "opening", "answer")
TABLES = (
    *("clean_survey", "row_grade", "cell_mark", "cell_unknown", "survey_row", "source_file"),
    *(f"record_{kind}" for kind in (*EVIDENCE_KINDS, "repair", "decision", "event")),
    *("event_hit", "placed_home", "climate_record", "home", "queue"),
)
"""Tables of a run's store that a comparison reads."""
PARTS = ("evidence", "written", "repair", "decision", "event", "place")
"""What is hashed apart for each home-part."""
NEAR = "near_"
HASHES = (*PARTS, *(NEAR + part for part in PARTS))
"""The same, and again over all parts of the whole building, or home where no building is known."""
_NAMES = ("file", "survey_id")  # a survey without an id of its own is named after file and row
_PROVENANCE = ("record_row", "batch", "version", "file", "sheet", "row")
_PIECE = pl.Schema(
    {**dict.fromkeys(("part", *KEY), pl.String()), "text": pl.String(), "label": pl.String()}
)
_SHA = """
SELECT {keys}, sha256(string_agg(text, chr(30) ORDER BY text)) AS digest
FROM piece GROUP BY ALL
"""


def pieces(store: Store) -> pl.DataFrame:
    """Each survey row, record, event and place as one text.

    Returns
    -------
    pl.DataFrame
        `part` (one of PARTS), the key, `text` (what it says, the same whatever file and row it
        came from) and `label` (where it came from). Pieces about a whole home have no part.
    """
    survey = _survey(store)
    parts = [
        _piece("evidence", survey, _said(survey, (*WRITTEN, *_NAMES))),
        _piece("written", survey, _said(survey.select(*KEY, *WRITTEN, "file"), (*KEY, "file"))),
        *(_records(store, kind) for kind in (*EVIDENCE_KINDS, "repair", "decision")),
        _events(store),
        _places(store),
    ]
    return pl.concat([_PIECE.to_frame(), *parts])


def _piece(part: str, frame: pl.DataFrame, text: pl.Expr) -> pl.DataFrame:
    return frame.select(
        pl.lit(part).alias("part"), *KEY, text.alias("text"), pl.col("file").alias("label")
    ).filter(pl.col("text") != "")


def _said(frame: pl.DataFrame, without: Sequence[str] = ()) -> pl.Expr:
    """One text of the columns that are not null: a column that the contract gains changes none."""
    told = []
    for name, dtype in frame.schema.items():
        if name not in without:
            column = pl.col(name)
            value = column.list.join("|") if isinstance(dtype, pl.List) else column.cast(pl.String)
            told.append(pl.lit(f"{name}=") + value)
    return pl.concat_str(told, separator="\x1f", ignore_nulls=True)


def _survey(store: Store) -> pl.DataFrame:
    """Accepted rows with their grade, the marks of their cells and what could not be read."""
    marks = _cells(store.table("cell_mark"), "grade", "marks")
    unknown = _cells(store.table("cell_unknown"), "kind", "unknowns")
    files = store.ask(
        "SELECT row_id, file FROM survey_row JOIN source_file USING (source_id) ORDER BY row_id"
    )
    rows = store.table("clean_survey")
    for more in (store.table("row_grade"), marks, unknown, files):
        rows = rows.join(more, on="row_id", how="left", maintain_order="left")
    return rows.drop("row_id")


def _cells(frame: pl.DataFrame, value: str, name: str) -> pl.DataFrame:
    said = pl.format("{}:{}", "field", value)
    return frame.group_by("row_id").agg(said.sort().str.join(",").alias(name))


def _records(store: Store, kind: str) -> pl.DataFrame:
    frame = store.table(f"record_{kind}")
    if kind == "opening":
        homes = store.table("record_inspection").select("inspection_id", *KEY)
        frame = frame.join(homes, on="inspection_id", how="left", maintain_order="left")
    said = pl.lit(f"{kind} ") + _said(frame, _PROVENANCE)
    return frame.select(
        pl.lit("evidence" if kind in EVIDENCE_KINDS else kind).alias("part"),
        "property_id",
        pl.col("building_part").fill_null("main"),
        said.alias("text"),
        pl.format("{} {}", pl.lit(kind), f"{kind}_id").alias("label"),
    )


def _events(store: Store) -> pl.DataFrame:
    hits = store.table("event_hit").drop("record_row")
    return hits.select(
        pl.lit("event").alias("part"),
        "property_id",
        pl.lit(None, pl.String).alias("building_part"),
        _said(hits).alias("text"),
        pl.format("event {}", "event_id").alias("label"),
    )


def _places(store: Store) -> pl.DataFrame:
    """Where a home stands, with its climate record."""
    climate = store.table("climate_record")
    months = climate.select("climate_id", _said(climate).alias("months"))
    placed = store.table("placed_home").join(
        months, on="climate_id", how="left", maintain_order="left"
    )
    return placed.select(
        pl.lit("place").alias("part"),
        "property_id",
        pl.lit(None, pl.String).alias("building_part"),
        _said(placed).alias("text"),
        pl.col("climate_name").fill_null("no climate record").alias("label"),
    )


def digests(found: pl.DataFrame, homes: pl.DataFrame) -> pl.DataFrame:
    """SHA-256 of the pieces of each home-part.

    Parameters
    ----------
    found
        See `pieces`.
    homes
        `property_id`, `building_id`.

    Returns
    -------
    pl.DataFrame
        The key and HASHES, null where there is nothing.
    """
    sums = _sha(found, ["part", *KEY])
    keys = sums.drop_nulls("building_part").select(KEY).unique().sort(KEY)
    table = keys
    for part in PARTS:
        mine = sums.filter(pl.col("part") == part)
        whole = mine["building_part"].null_count() > 0
        on = ["property_id"] if whole else list(KEY)
        table = table.join(
            mine.select(*on, pl.col("digest").alias(part)), on=on, how="left", maintain_order="left"
        )
    near = homes.select("property_id", pl.coalesce("building_id", "property_id").alias("_building"))
    table = table.join(near, on="property_id", how="left", maintain_order="left")
    said = pl.concat_str(*KEY, "digest", separator=" ").alias("text")
    every = table.unpivot(
        list(PARTS), index=[*KEY, "_building"], variable_name="part", value_name="digest"
    )
    sums = _sha(every.drop_nulls("digest").select("part", "_building", said), ["part", "_building"])
    for part in PARTS:
        mine = sums.filter(pl.col("part") == part)
        whole_building = mine.select("_building", pl.col("digest").alias(NEAR + part))
        table = table.join(whole_building, on="_building", how="left", maintain_order="left")
    return table.drop("_building")


def _sha(frame: pl.DataFrame, keys: list[str]) -> pl.DataFrame:
    with Store(Path(":memory:")) as memory:
        memory.put("piece", frame)
        return memory.ask(_SHA.format(keys=", ".join(f'"{key}"' for key in keys)))


def changed_pieces(before: pl.DataFrame, after: pl.DataFrame) -> pl.DataFrame:
    """Where what is new, changed or gone came from: `part`, the key, `told`."""
    same = ["part", *KEY, "text"]
    new = after.join(before, on=same, how="anti", nulls_equal=True)
    gone = before.join(after, on=same, how="anti", nulls_equal=True)
    labels = pl.concat([new, gone.with_columns(pl.format("{} withdrawn", "label").alias("label"))])
    # What has another text in both runs is told once, by its new one.
    named = new.select("part", *KEY, pl.format("{} withdrawn", "label").alias("label")).unique()
    labels = labels.join(named, on=["part", *KEY, "label"], how="anti", nulls_equal=True)
    return labels.group_by("part", *KEY).agg(
        pl.col("label").unique().sort().str.join(", ").alias("told")
    )
