"""A rule's SQL condition in words that a practitioner reads."""

import re
from collections.abc import Mapping

_COALESCE = re.compile(r"\bCOALESCE\s*\(", re.IGNORECASE)
_LACKS = re.compile(r"\bNOT array_contains\((\w+), '([^']*)'\)", re.IGNORECASE)
_HAS = re.compile(r"\barray_contains\((\w+), '([^']*)'\)", re.IGNORECASE)
_LIST = re.compile(r"\((?:'[^']*'(?:, )?)+\)")
# In this order: the longer phrase before the one that it holds.
_PHRASES = (
    ("IS NOT NULL", "is known"),
    ("IS NULL", "is not known"),
    ("NOT IN", "is none of"),
    ("IN", "is one of"),
    ("<>", "is not"),
    ("=", "is"),
    ("AND", "and"),
    ("OR", "or"),
    ("NOT", "not"),
    ("TRUE", "true"),
    ("FALSE", "false"),
)


def plain_condition(sql: str, limits: Mapping[str, float]) -> str:
    """Say a condition in words.

    Parameters
    ----------
    sql
        A condition of a policy pack; empty gives empty.
    limits
        Value of each limit: its name is replaced by value and [name].

    Returns
    -------
    str
        `COALESCE(x, FALSE)`, an optional term, reads as x; `COALESCE(x, TRUE)` reads as
        "x, or not known".
    """
    text = _without_coalesce(" ".join(sql.split()))
    text = _HAS.sub(r"\1 has \2", _LACKS.sub(r"\1 lacks \2", text))
    text = _LIST.sub(lambda m: m.group().replace("'", "").replace("(", "{").replace(")", "}"), text)
    for word, plain in _PHRASES:
        text = re.sub(rf"(?<![\w<>=]){re.escape(word)}(?![\w<>=])", plain, text)
    for name, value in limits.items():
        text = re.sub(rf"\b{re.escape(name)}\b", f"{value:g} [{name}]", text)
    return text.replace("'", "").replace("{", "(").replace("}", ")")


def _without_coalesce(sql: str) -> str:
    while (match := _COALESCE.search(sql)) is not None:
        end = _closing(sql, match.end())
        body, _, otherwise = sql[match.end() : end].rpartition(",")
        body = body.strip()
        if otherwise.strip().upper() == "TRUE":
            body = f"({body}, or not known)"
        elif _has_top_level_word(body):
            body = f"({body})"
        sql = sql[: match.start()] + body + sql[end + 1 :]
    return sql


def _closing(sql: str, start: int) -> int:
    """Position of the bracket that closes the one before `start`."""
    depth = 1
    for position in range(start, len(sql)):
        depth += {"(": 1, ")": -1}.get(sql[position], 0)
        if depth == 0:
            return position
    return len(sql)


def _has_top_level_word(body: str) -> bool:
    """Whether the term joins several, so that it needs brackets of its own."""
    depth, outside = 0, []
    for char in body:
        depth += {"(": 1, ")": -1}.get(char, 0)
        outside.append(char if depth == 0 else " ")
    return re.search(r"\b(AND|OR)\b", "".join(outside)) is not None
