"""What moved between two runs, or between two policy packs, and because of what."""

from triage.compare.policies import compare_policies
from triage.compare.run import compare_runs

__all__ = ["compare_policies", "compare_runs"]
