"""What a records store holds: kinds, records, versions, batches, refused rows."""

from dataclasses import dataclass
from pathlib import Path
from typing import Any

import polars as pl

from triage.contract import load_contract, load_programme
from triage.intake.record_sheets import KINDS, id_column
from triage.records.kept import OWN, RECORDS_STORE, STORED, open_records, stored, versions

_KINDS_SCHEMA = {
    "kind": pl.String,
    "records": pl.UInt32,
    "versions": pl.UInt32,
    "batches": pl.UInt32,
    "refused": pl.UInt32,
}


@dataclass(frozen=True)
class Holdings:
    """`kinds` has one row per kind with its counts, `batches` the table record_batch."""

    store: Path
    kinds: pl.DataFrame
    batches: pl.DataFrame

    def to_dict(self) -> dict[str, Any]:
        """The holdings as plain values, for JSON."""
        return {
            "format": 1,
            "store": self.store.as_posix(),
            "kinds": self.kinds.to_dicts(),
            "batches": self.batches.to_dicts(),
        }


def holdings(programme_path: Path) -> Holdings:
    """Count what the store beside a programme file holds; a store not yet made holds nothing.

    Raises
    ------
    TriageError
        A programme that cannot be read, or a store that is locked or damaged.
    """
    contract = load_contract()
    programme = load_programme(programme_path, contract)
    path = programme.folder / RECORDS_STORE
    batches = pl.DataFrame(schema=STORED["record_batch"])
    every = {kind: pl.DataFrame(schema=contract.polars_schema(kind) | OWN) for kind in KINDS}
    if path.is_file():
        with open_records(path, read_only=True) as store:
            batches = stored(store, "record_batch", STORED["record_batch"])
            every = {kind: versions(store, contract, kind) for kind in KINDS}
    counted = [
        (
            kind,
            frame[id_column(contract, kind)].n_unique(),
            frame.height,
            batches.filter(pl.col("kind") == kind).height,
            int(batches.filter(pl.col("kind") == kind)["rows_refused"].sum()),
        )
        for kind, frame in every.items()
    ]
    kinds = pl.DataFrame(counted, schema=_KINDS_SCHEMA, orient="row")
    return Holdings(path, kinds, batches.sort("batch"))
