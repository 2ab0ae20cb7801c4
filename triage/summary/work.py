"""What the stages of one report share."""

from dataclasses import dataclass, field
from datetime import date
from pathlib import Path
from typing import Any

from triage.contract.disclosure import DisclosureRules
from triage.store import Store
from triage.summary.keep import Earlier
from triage.summary.wave import WaveFound
from triage.waves.read import DrawnWave

NAMES = {
    "internal": "the programme itself",
    "funder": "a funder",
    "lender": "a lender",
    "public": "the public",
}


@dataclass
class Summary:
    """What the stages of one report share."""

    run: Store
    store: Store
    folder: Path
    record: dict[str, Any]
    source: Path
    audience: str
    rules: DisclosureRules
    earlier: Earlier | None
    signed_by: str
    drawn: tuple[DrawnWave, ...] = ()
    waves: tuple[WaveFound, ...] = ()
    other_areas: bool = False  # the last report counted by other areas than this would
    out: dict[str, Any] = field(default_factory=dict)

    @property
    def as_of(self) -> date:
        """The data cut-off."""
        return date.fromisoformat(str(self.record["as_of"]))
