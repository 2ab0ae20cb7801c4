"""Where homes stand, and the climate they stand in."""

from triage.place.climate import PlaceLimits
from triage.place.homes import Placed, place_homes
from triage.place.records import FREEZE_THAW_INDEX_MISSING

__all__ = ["FREEZE_THAW_INDEX_MISSING", "PlaceLimits", "Placed", "place_homes"]
