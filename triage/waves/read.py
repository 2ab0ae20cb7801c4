"""A wave that was drawn before, read back from its folder and checked."""

import hashlib
import json
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import polars as pl

from triage.contract.inspection import InspectionPolicy
from triage.errors import StoreError
from triage.learn.draw import draw_numbers, frame_digest
from triage.learn.selection import RANDOM, Plan

RECORD = "selection.json"
FORMAT = 2
KEPT = ("selection", "reserve", "strata", "roofs", "before")
_AGAIN = "draw it again from its run and seed: the list is the same"


@dataclass(frozen=True, slots=True)
class DrawnWave:
    """What inspections are held against: the frame, its strata and the draw, as they were.

    `roofs` has one row a roof of the frame, `strata` what was planned, `before` the inspections
    (`inspection_id`) that were recorded when it was drawn, and `record` what `selection.json`
    holds. `name` is the same for the same draw.
    """

    roofs: pl.DataFrame
    strata: pl.DataFrame
    before: pl.DataFrame
    record: dict[str, Any]

    @property
    def name(self) -> str:
        """Frame and seed."""
        return f"{str(self.record['frame_sha256'])[:12]} {self.record['seed']}"

    def plan(self, policy: InspectionPolicy) -> Plan:
        """What was asked of the wave, under the numbers of a policy."""
        return Plan(
            policy,
            visits=self.record["visits"],
            detect_share=self.record["detect_share"],
            thorough=self.record["thorough"],
            cluster_roofs=self.record["cluster_roofs"],
        )


def file_digests(folder: Path) -> dict[str, str]:
    """Hash of each file of a wave that a report will rest on."""
    names = [f"{name}.parquet" for name in KEPT]
    return {name: hashlib.sha256((folder / name).read_bytes()).hexdigest() for name in names}


def read_waves(
    folders: Sequence[Path], run: dict[str, Any], *, withholds: bool
) -> tuple[DrawnWave, ...]:
    """The waves whose openings a report counts, the first drawn first.

    Parameters
    ----------
    folders
        What `triage select` made.
    run
        Record of the run that is reported.
    withholds
        Whether small counts are withheld from the reader.

    Raises
    ------
    StoreError
        As for `read_wave`; if a wave is named twice, or several to a reader from whom small
        counts are withheld: their frames overlap, and nothing holds the two against each other.
    """
    if withholds and len(folders) > 1:
        what = "of two waves at once a reader could work out counts that each withholds"
        raise StoreError(what, str(folders[1]), "name the last wave alone")
    found = [read_wave(f, str(run["programme_id"]), str(run["as_of"])) for f in folders]
    names = [wave.name for wave in found]
    for place, (folder, name) in enumerate(zip(folders, names, strict=True)):
        if name in names[:place]:
            raise StoreError("the same wave is named twice", str(folder), "name it once")
    return tuple(sorted(found, key=lambda wave: (wave.record["as_of"], wave.name)))


def read_wave(folder: Path, programme_id: str, as_of: str) -> DrawnWave:
    """Read the folder of a wave.

    Parameters
    ----------
    folder
        What `triage select` made.
    programme_id, as_of
        Of the run that it is to be held against.

    Raises
    ------
    StoreError
        If it is no wave, is of another programme or a later day, was changed since, or is not
        what its seed draws.
    """
    record = _record(folder)
    if record["programme_id"] != programme_id:
        what = f"the wave is of the programme {record['programme_id']!r}, not {programme_id!r}"
        raise StoreError(what, str(folder), "name a wave of this programme")
    if record["as_of"] > as_of:
        what = f"the wave was drawn from evidence to {record['as_of']}, the run ends {as_of}"
        raise StoreError(what, str(folder), "report a run of that day or later")
    missing = [name for name in record["files"] if not (folder / name).is_file()]
    if missing:
        raise StoreError("the wave is not complete", str(folder / missing[0]), _AGAIN)
    now = file_digests(folder)
    changed = [name for name, digest in record["files"].items() if now.get(name) != digest]
    if changed:
        raise StoreError("the file was changed after the draw", str(folder / changed[0]), _AGAIN)
    frames = {name: pl.read_parquet(folder / f"{name}.parquet") for name in KEPT}
    _check_draw(frames["roofs"], frames["strata"], record, folder)
    return DrawnWave(frames["roofs"], frames["strata"], frames["before"], record)


def _record(folder: Path) -> dict[str, Any]:
    path = folder / RECORD
    if not path.is_file():
        raise StoreError("this is no wave", str(folder), "name a folder that `triage select` made")
    try:
        record = json.loads(path.read_text(encoding="utf-8"))
    except ValueError as problem:
        raise StoreError("the record of the wave is damaged", str(path), _AGAIN) from problem
    if not isinstance(record, dict) or record.get("format") != FORMAT:
        raise StoreError("another version of the tool drew this wave", str(path), _AGAIN)
    return record


def _check_draw(
    roofs: pl.DataFrame, strata: pl.DataFrame, record: dict[str, Any], folder: Path
) -> None:
    """The frame is the one recorded, and the random roofs are those that the seed brings up."""
    same = frame_digest(roofs["roof_id"], roofs["stratum"]) == record["frame_sha256"]
    numbered = roofs.filter(~pl.col("is_done")).with_columns(
        draw_numbers(roofs["roof_id"], int(record["seed"])).filter(~roofs["is_done"])
    )
    place = pl.col("draw_number").rank("ordinal").over("stratum")
    drawn = (
        numbered.with_columns(place.alias("_place"))
        .join(strata.select("stratum", "random_n"), on="stratum")
        .filter(pl.col("_place") <= pl.col("random_n"))
    )
    random = roofs.filter(pl.col("stream") == RANDOM)["roof_id"]
    if not same or sorted(drawn["roof_id"]) != sorted(random):
        what = f"the roofs of the wave are not those that the seed {record['seed']} draws"
        raise StoreError(what, str(folder), _AGAIN)
