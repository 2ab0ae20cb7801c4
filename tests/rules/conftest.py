"""Makes the homes of these tests importable, and keeps generated examples the same every time."""

import sys
from pathlib import Path

from hypothesis import HealthCheck, Phase, settings

sys.path.insert(0, str(Path(__file__).parent))

settings.register_profile(
    "rules",
    derandomize=True,
    database=None,
    deadline=None,
    max_examples=3,  # each is forty homes and all that is made of them
    phases=[Phase.explicit, Phase.generate],  # a failure names its home; shrinking 40 takes minutes
    suppress_health_check=[HealthCheck.too_slow, HealthCheck.data_too_large],
)
settings.load_profile("rules")
