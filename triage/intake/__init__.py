"""Survey files in any common format to raw and typed rows, with the origin of every cell."""

from triage.intake.check import CheckReport, FileCheck, check_files
from triage.intake.limits import Limits
from triage.intake.read import read_sources
from triage.intake.result import Intake

__all__ = ["CheckReport", "FileCheck", "Intake", "Limits", "check_files", "read_sources"]
