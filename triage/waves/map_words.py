"""What the map of a wave of inspections shows and says."""

from collections.abc import Mapping
from datetime import date
from typing import Any

import polars as pl

from triage.learn.selection import Selection
from triage.report.labels import visible
from triage.report.map_selection import RANDOM, RESERVE, TARGETED, WaveWords

_CAUTION = (
    "Rates come from the roofs by chance alone. For the programme and its inspectors. A screening "
    "result from survey records, not a survey, valuation or warranty."
)


def roofs_to_draw(selection: Selection) -> pl.DataFrame:
    """The roofs of a wave, each once: lat, lon, stream, visit_area, visit_order.

    A targeted roof that is also the next in the draw of its stratum stays a targeted one.
    """
    chosen, spare = selection.chosen, spare_roofs(selection)
    kept = ("lat", "lon", "stream", "visit_area", "visit_order")
    waiting = spare.with_columns(
        pl.lit(RESERVE).alias("stream"),
        pl.col("area").fill_null("area not known").alias("visit_area"),
        pl.lit(None, chosen.schema["visit_order"]).alias("visit_order"),
    )
    return pl.concat([chosen.select(kept), waiting.select(kept)])


def spare_roofs(selection: Selection) -> pl.DataFrame:
    """Roofs in reserve that are not visited anyway."""
    return selection.reserve.join(selection.chosen, on="roof_id", how="anti")


def map_words(selection: Selection, record: Mapping[str, Any], country_code: str) -> WaveWords:
    """Title, stamp and notes of the map.

    Parameters
    ----------
    selection
        What was drawn.
    record
        run.json of the run.
    country_code
        Decides projection, ground and whether miles are shown.
    """
    streams = dict(selection.chosen["stream"].value_counts().iter_rows())
    title = (
        f"{selection.chosen.height:,} of {selection.roofs.height:,} foamed roofs to open: "
        f"{streams.get(RANDOM, 0):,} by chance, {streams.get(TARGETED, 0):,} by expected risk"
    )
    policy, day = record["policy"], date.fromisoformat(str(record["as_of"]))
    stamp = (
        f"{visible(str(record['programme']))} · as of {day:%d %B %Y} · policy {policy['name']} "
        f"{policy['version']} ({policy['sha256'][:12]}) · run {record['run_id']}"
    )
    drawn = (
        f"Seed {selection.seed}; {selection.method}; roofs and strata sha256 "
        f"{selection.frame_digest[:12]}: the same run and seed give the same roofs."
    )
    both = selection.reserve.height - spare_roofs(selection).height
    also = f"{both:,} of the reserve are visited by risk anyway and drawn so. " if both else ""
    return WaveWords(title, stamp, (drawn, f"{also}{_CAUTION}"), country_code)
