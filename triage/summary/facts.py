"""What a report says of the run that it was made from, besides counts."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

import polars as pl

from triage.contract import AreaFile, load_contract
from triage.errors import StoreError
from triage.inputs import changed_inputs, open_stored, stored_inputs
from triage.outputs import CAUTIONS
from triage.report.document import Figure, Words
from triage.report.template import label_text
from triage.store import Store
from triage.summary.areas import area_outlines
from triage.summary.condensate import condensate_blocks
from triage.summary.wave import WaveFound
from triage.summary.work import NAMES, Summary

if TYPE_CHECKING:
    from geopandas import GeoDataFrame


@dataclass(frozen=True)
class Facts:
    """What a report says of the run that it was made from."""

    record: Mapping[str, Any]
    name: str
    programme_id: str
    period: str
    as_of: str
    stock_total: int | None
    audience: str
    climate: tuple[str, ...]
    rule_titles: Mapping[str, str]
    field_labels: Mapping[str, str]
    cautions: tuple[str, ...]
    before: str
    disclosure: str
    signed_by: str
    places: pl.DataFrame  # area, lat, lon: the middle of each area
    condensate: tuple[Words | Figure, ...] = ()  # for the programme itself alone
    country_code: str = ""
    area_words: str = "start of the postal code"  # what an area is
    outlines: GeoDataFrame | None = None  # of the programme's own areas, `label` names them
    other_areas: bool = False  # than the last report had: then none is told
    foam_classes: Mapping[str, str] = field(default_factory=dict)  # number: words
    waves: tuple[WaveFound, ...] = ()

    @property
    def stamp(self) -> str:
        """One line below the title of a map."""
        policy = self.record["policy"]
        said = f"{policy['name']} {policy['version']} ({policy['sha256'][:12]})"
        return f"{self.name} · as of {self.as_of} · policy {said} · run {self.record['run_id']}"


def facts_of(work: Summary) -> Facts:
    """What a report says of its run.

    Raises
    ------
    StoreError
        If the inputs stored with the run were changed.
    """
    record = work.record
    stored = stored_inputs(work.source, record)
    changed = changed_inputs(work.source, stored)
    if changed:
        what = f"the inputs stored with the run are no longer what it read: {changed[0]}"
        raise StoreError(what, str(work.source), "run the programme again, then report")
    programme, policy = open_stored(work.source, stored)
    climate = work.store.table("climate_record").select("climate_name", "dataset").unique()
    told = [" · ".join(t for t in row if t) for row in climate.sort(pl.all()).iter_rows()]
    before = work.earlier
    is_inside = not work.rules.audiences[work.audience].withholds
    return Facts(
        record=record,
        name=programme.name,
        programme_id=programme.programme_id,
        period=f"{before.as_of} to {record['as_of']}" if before else f"to {record['as_of']}",
        as_of=f"{work.as_of:%d %B %Y}".lstrip("0"),
        stock_total=programme.stock_total,
        audience=NAMES[work.audience],
        climate=tuple(told),
        rule_titles={rule.id: rule.title for rule in policy.rules.values()},
        field_labels={name: label_text(f) for name, f in load_contract().fields.items()},
        cautions=CAUTIONS,
        before=before.words if before else "no earlier report or run was given",
        disclosure=f"sha256 {work.rules.digest[:12]}",
        signed_by=work.signed_by,
        places=_places(work.store),
        country_code=programme.country_code,
        other_areas=work.other_areas,
        foam_classes=work.out["foam_classes"],
        **_own_areas(programme.areas),
        condensate=condensate_blocks(work.run, policy, programme) if is_inside else (),
        waves=work.waves,
    )


def _own_areas(areas: AreaFile | None) -> dict[str, Any]:
    """What an area is, and its outlines, where the programme brings a map of them."""
    if areas is None:
        return {}
    words = f"the programme's own map, {areas.shapes.name}"
    return {"area_words": words, "outlines": area_outlines(areas)}


def _places(store: Store) -> pl.DataFrame:
    """The middle of the homes of each area, to a tenth of a degree's hundredth: no home."""
    return store.ask(
        """
        SELECT area, round(avg(lat), 2) AS lat, round(avg(lon), 2) AS lon
        FROM report_home WHERE queue IS NOT NULL AND lat IS NOT NULL
        GROUP BY area HAVING area <> 'not known' ORDER BY area
        """
    )
