"""Strata of foamed roofs: roofs alike in what matters to how they fail, none too small."""

from dataclasses import dataclass

import polars as pl

from triage.contract.expressions import bind
from triage.contract.inspection import InspectionPolicy

UNKNOWN = "unknown"
SEPARATOR = " | "


def strata_keys(roofs: pl.DataFrame, policy: InspectionPolicy) -> pl.DataFrame:
    """Value of every dimension for every roof, in the order of `roofs`; "unknown" is a value."""
    limits = policy.limits
    return roofs.select(
        pl.coalesce(
            *(
                pl.when(bind(when, limits).fill_null(value=False)).then(pl.lit(value))
                for value, when in dimension.values
            ),
            pl.lit(UNKNOWN),
        ).alias(dimension.name)
        for dimension in policy.strata
    )


def with_strata(roofs: pl.DataFrame, policy: InspectionPolicy) -> pl.DataFrame:
    """Add `stratum_key` as found and `stratum` after small strata have joined their nearest.

    A stratum of fewer than `merge_below` roofs, the smallest first, joins the one that differs
    least: dimensions count by their `apart`, then the larger one, then its name in order. The
    name of a merged stratum lists every value it holds.
    """
    keys = strata_keys(roofs, policy)
    key = pl.concat_str(pl.all(), separator=SEPARATOR).alias("stratum_key")
    keyed = keys.with_columns(key)
    counts = keyed.group_by("stratum_key", *keys.columns).len().sort("stratum_key")
    groups = [
        _Group((row["stratum_key"],), tuple((row[n],) for n in keys.columns), row["len"])
        for row in counts.iter_rows(named=True)  # a row a stratum, not a roof
    ]
    weights = tuple(dimension.apart for dimension in policy.strata)
    merged = _merge(groups, weights, int(policy.number("merge_below")))
    names = {k: group.name for group in merged for k in group.keys}
    stratum = pl.col("stratum_key").replace_strict(names, return_dtype=pl.String)
    return roofs.with_columns(keyed["stratum_key"]).with_columns(stratum.alias("stratum"))


@dataclass(frozen=True, slots=True)
class _Group:
    keys: tuple[str, ...]
    values: tuple[tuple[str, ...], ...]
    roofs: int

    @property
    def name(self) -> str:
        return SEPARATOR.join(" + ".join(values) for values in self.values)

    def joined(self, other: "_Group") -> "_Group":
        both = zip(self.values, other.values, strict=True)
        values = tuple(tuple(sorted({*mine, *theirs})) for mine, theirs in both)
        return _Group(tuple(sorted((*self.keys, *other.keys))), values, self.roofs + other.roofs)


def _merge(groups: list[_Group], weights: tuple[float, ...], least: int) -> list[_Group]:
    groups = sorted(groups, key=lambda g: g.name)
    while len(groups) > 1:
        small = min(groups, key=lambda g: (g.roofs, g.name))
        if small.roofs >= least:
            break
        others = [g for g in groups if g is not small]
        near = min(others, key=lambda g: (_apart(small, g, weights), -g.roofs, g.name))
        groups = [g for g in others if g is not near] + [small.joined(near)]
    return sorted(groups, key=lambda g: g.name)


def _apart(one: _Group, two: _Group, weights: tuple[float, ...]) -> float:
    """Sum of the weights of the dimensions in which two strata have no value in common."""
    pairs = zip(weights, one.values, two.values, strict=True)
    return sum(weight for weight, mine, theirs in pairs if not {*mine} & {*theirs})
