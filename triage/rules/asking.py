"""The smallest set of answers that would settle a row.

A field that a good answer to another one would let the policy presume is not asked for, as long
as the row stays within the number of topics that may be presumed.
"""

from collections.abc import Mapping, Sequence

import polars as pl

from triage.contract.policy import Presumption
from triage.rules.codes import CONFIRM, EXPIRED, MISSING, PRESUMES, UNDECIDABLE

Lacks = Mapping[str, Sequence[tuple[str, pl.Expr]]]
"""By rule id: fields, and the test that the field is what the rule lacks."""


def smallest_sets(
    board: pl.DataFrame,
    lacks: Lacks,
    weak: Lacks,
    presumptions: Sequence[tuple[int, Presumption]],
    most_topics: int,
) -> pl.DataFrame:
    """Fields to ask for on each row.

    Parameters
    ----------
    board
        Rule results by id, presumptions available today `p<n>` and in hope `o<n>`, those in use
        `topic__<n>`, and whatever the tests below read.
    lacks
        For each rule that can hold a row: fields, and the test that this one is lacking.
    weak
        For each gating rule: fields, and the test that the answer is only assumed.
    presumptions
        The group's presumptions with their numbers.
    most_topics
        Topics that a row may leave presumed.

    Returns
    -------
    pl.DataFrame
        A Boolean `miss__<field>` for each field that any row asks for.
    """
    lacking = _by_field(lacks, (UNDECIDABLE, EXPIRED))
    doubtful = _by_field(weak, (CONFIRM,))
    state = board.with_columns(_any(tests).alias(f"lack|{name}") for name, tests in lacking.items())
    state = state.with_columns(
        (pl.col(f"lack|{item.field}") & pl.col(f"o{number}")).alias(f"hope|{number}")
        for number, item in presumptions
        if item.field in lacking
    )
    state = state.with_columns(_asked_topics(state, presumptions, most_topics))
    wanted: dict[str, list[pl.Expr]] = {}
    for name in lacking:
        wanted.setdefault(name, []).append(
            pl.col(f"lack|{name}") & ~_spared(state, name, presumptions)
        )
    for number, item in presumptions:
        if item.counts:
            used = pl.col(f"{PRESUMES}{number}") & pl.col(f"ask|{item.topic}")
            wanted.setdefault(item.field, []).append(used)
    for name, tests in doubtful.items():
        wanted.setdefault(name, []).extend(tests)
    return state.select(_any(tests).alias(MISSING + name) for name, tests in sorted(wanted.items()))


def _any(tests: Sequence[pl.Expr]) -> pl.Expr:
    if not tests:
        return pl.lit(value=False)
    return pl.any_horizontal(tests).fill_null(value=False)


def _by_field(lacks: Lacks, codes: tuple[int, ...]) -> dict[str, list[pl.Expr]]:
    fields: dict[str, list[pl.Expr]] = {}
    for rule, tests in lacks.items():
        for name, test in tests:
            fields.setdefault(name, []).append(pl.col(rule).is_in(list(codes)) & test)
    return fields


def _topics(presumptions: Sequence[tuple[int, Presumption]]) -> list[tuple[str, list[int]]]:
    """Counted topics; those that one answer settles come first, since they are asked first."""
    topics: dict[str, list[int]] = {}
    fields: dict[str, set[str]] = {}
    for number, item in presumptions:
        if item.counts:
            topics.setdefault(item.topic, []).append(number)
            fields.setdefault(item.topic, set()).add(item.field)
    return sorted(topics.items(), key=lambda topic: len(fields[topic[0]]))


def _asked_topics(
    state: pl.DataFrame, presumptions: Sequence[tuple[int, Presumption]], most: int
) -> list[pl.Expr]:
    """Which topics must be answered because too many would be left presumed: `ask|<topic>`."""
    topics = _topics(presumptions)
    flags = {}
    for topic, numbers in topics:
        columns = [
            c for n in numbers for c in (f"{PRESUMES}{n}", f"hope|{n}") if c in state.columns
        ]
        flags[topic] = _any([pl.col(c) for c in columns])
    over = (
        pl.sum_horizontal([flag.cast(pl.Int32) for flag in flags.values()]) - most
        if flags
        else pl.lit(0)
    )
    before: pl.Expr = pl.lit(0, pl.Int32)
    asked = []
    for topic, flag in flags.items():
        asked.append((flag & (before < over)).alias(f"ask|{topic}"))
        before = before + flag.cast(pl.Int32)
    return asked


def _spared(
    state: pl.DataFrame, name: str, presumptions: Sequence[tuple[int, Presumption]]
) -> pl.Expr:
    """Whether a lacking field may be left to a presumption that the other answers would open."""
    hopes = []
    for number, item in presumptions:
        if item.field == name and f"hope|{number}" in state.columns:
            asked = pl.col(f"ask|{item.topic}") if item.counts else pl.lit(value=False)
            hopes.append(pl.col(f"hope|{number}") & ~asked)
    return _any(hopes)
