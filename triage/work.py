"""What the stages of one run share."""

from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from triage.contract import Contract, Programme
from triage.contract.assemblies import Library
from triage.contract.policy import Policy
from triage.store import Store


@dataclass
class Work:
    """What the stages of one run share."""

    programme: Programme
    contract: Contract
    policy: Policy
    library: Library
    store: Store
    folder: Path
    say: Callable[[str], None]
    rows: dict[str, int] = field(default_factory=dict)
    records_digest: str = ""
    run_id: str = ""
    outputs: dict[str, str] = field(default_factory=dict)
    written: dict[str, Any] = field(default_factory=dict)
