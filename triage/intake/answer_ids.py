"""The id of a question of a visit list: which run asked it, and of what."""

import hashlib
import re
from collections.abc import Mapping

_SHAPE = re.compile(r"(?P<run>.+)-(?P<mark>[0-9a-f]{8})")
KEYS = ("property_id", "building_part", "field")


def question_mark(property_id: str, building_part: str, field: str) -> str:
    """Eight hexadecimal digits that belong to one question: home, part and field."""
    text = "|".join((property_id, building_part, field))
    return hashlib.sha256(text.encode()).hexdigest()[:8]


def answer_id(run_id: str, property_id: str, building_part: str, field: str) -> str:
    """The id of a question, `<run_id>-<8 hex digits>`."""
    return f"{run_id}-{question_mark(property_id, building_part, field)}"


def answer_id_problem(row: Mapping[str, str | None]) -> str | None:
    """What is wrong with the id of an answer, or None.

    Parameters
    ----------
    row
        `answer_id` and the key columns `property_id`, `building_part`, `field`.
    """
    found = _SHAPE.fullmatch(row["answer_id"] or "")
    if found is None:
        return f"{row['answer_id']!r} is no id of a question"
    keys = [row[name] for name in KEYS]
    if any(key is None for key in keys):
        return "a key column of the question was emptied"
    if found["mark"] != question_mark(*(str(key) for key in keys)):
        return "the id does not belong to this home, part and field: one of the four was edited"
    return None
