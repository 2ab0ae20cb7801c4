"""SQL conditions of a policy: checked against known names, then compiled to Polars expressions."""

import re
from collections.abc import Collection, Mapping
from functools import cache

import polars as pl

from triage.contract.text import did_you_mean
from triage.errors import Place, PolicyError

_QUOTED = re.compile(r"'(?:[^']|'')*'")
_WORD = re.compile(r"\b[A-Za-z_]\w*\b")
_DIGITS = re.compile(r"(?<![\w.])\d+(?:\.\d+)?\b")
_COALESCE = re.compile(r"\bCOALESCE\s*\(", re.IGNORECASE)


class UnusableExpressionError(ValueError):
    """A condition that cannot be compiled; the caller knows the file and line."""


@cache
def _compile(sql: str) -> pl.Expr:
    try:
        return pl.sql_expr(sql)
    except (pl.exceptions.PolarsError, pl.exceptions.PanicException) as problem:
        raise UnusableExpressionError(str(problem).splitlines()[0]) from problem


@cache
def names_in(sql: str) -> tuple[str, ...]:
    """Columns that an expression reads, each once, in order of appearance."""
    return tuple(dict.fromkeys(_compile(sql).meta.root_names()))


def bind(sql: str, parameters: Mapping[str, float]) -> pl.Expr:
    """Compile a condition with each parameter's name replaced by its value.

    Parameters
    ----------
    sql
        A SQL boolean over fields, quantities and parameter names.
    parameters
        Value of each limit. Text inside quotes is never replaced.

    Returns
    -------
    pl.Expr
        Three-valued: true, false, or null where it cannot be told.

    Raises
    ------
    UnusableExpressionError
        If it is not an expression that Polars can compile.
    """
    quoted = [match.span() for match in _QUOTED.finditer(sql)]

    def value(match: re.Match[str]) -> str:
        inside = any(start <= match.start() < end for start, end in quoted)
        name = match.group()
        return repr(parameters[name]) if not inside and name in parameters else name

    return _compile(_WORD.sub(value, sql))


@cache
def strict_names(sql: str) -> tuple[str, ...]:
    """Columns that stand outside every COALESCE: a null in one of these can decide.

    An optional term is written `COALESCE(term, FALSE)`, so what stands inside one is never
    what a reader must be asked for.
    """
    outside = sql
    while (match := _COALESCE.search(outside)) is not None:
        depth, end = 1, match.end()
        while depth and end < len(outside):
            depth += {"(": 1, ")": -1}.get(outside[end], 0)
            end += 1
        outside = outside[: match.start()] + "FALSE" + outside[end:]
    known = set(names_in(sql))
    bare = _QUOTED.sub("", outside)
    return tuple(dict.fromkeys(word for word in _WORD.findall(bare) if word in known))


def check_condition(
    sql: str, known: Collection[str], parameters: Mapping[str, float], where: Place
) -> list[PolicyError]:
    """Everything that is wrong with a condition: syntax, unknown names, bare digits."""
    try:
        names = names_in(sql)
    except UnusableExpressionError as problem:
        return [PolicyError(f"not a condition: {problem}", where, "write a SQL boolean expression")]
    errors = [
        PolicyError(
            f"the condition names {name!r}, which is neither a field, a quantity nor a parameter",
            where,
            did_you_mean(name, [*known, *parameters]),
        )
        for name in names
        if name not in known and name not in parameters
    ]
    if digits := _DIGITS.findall(_QUOTED.sub("", sql)):
        errors.append(
            PolicyError(
                f"the condition holds the number {digits[0]}",
                where,
                "name the limit in parameters.toml, with unit and source, and use its name",
            )
        )
    return errors
