"""What the intake tests share beside their fixtures."""

from collections.abc import Callable, Sequence
from datetime import date
from pathlib import Path
from typing import Any

from triage.contract.profile import Profile
from triage.intake import Intake

AS_OF = date(2026, 10, 31)
MEASURES = {"loft topup": "loft_topup", "cavity fill": "cavity_fill"}
Rows = Sequence[Sequence[Any]]
WriteBook = Callable[..., Path]
LoadProfile = Callable[[str], Profile]
ReadFiles = Callable[..., Intake]
