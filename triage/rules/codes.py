"""The answers that a rule can give, as the small integers that are stored."""

NOT_APPLICABLE = 0
CLEAR = 1
PRESUMED = 2
UNDECIDABLE = 3
EXPIRED = 4
CONFIRM = 5
DISPUTED = 6
FIRES = 7
NOT_EVALUATED = 8

RESULT_WORDS = (
    *("not_applicable", "clear", "presumed", "undecidable", "expired", "confirm_first"),
    *("disputed", "fires", "not_evaluated"),
)
MISSING = "miss__"
PRESUMES = "topic__"
KEY = ("property_id", "building_part")
