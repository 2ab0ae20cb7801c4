"""The values that an answer may take, and what the rules say of each taken by itself.

Nothing is listed by hand: codes come from the contract, numbers from the limits of the rules that
read the field, from its range and from the stock. Which of them is good is asked of the policy:
every rule that reads the field is put to a home of which nothing else is known.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from itertools import pairwise

import polars as pl

from triage.assemblies.context import context_flags
from triage.assemblies.derived import with_quantities
from triage.contract import Contract, Field
from triage.contract.expressions import bind, names_in
from triage.contract.policy import GATING, Policy, Rule
from triage.rules.board import rule_fields
from triage.rules.frames import MEASURE
from triage.rules.queue import FIX

COMMON = 8  # of the numbers that are most often found in a stock
_CODES = ("code", "codes")
_NUMBERS = ("number", "integer")
_TYPES = {"yes/no": pl.Boolean(), **dict.fromkeys(("class", "code", "condition"), pl.String())}
_PLACE = {
    **dict.fromkeys(("exposure_from_place", "join_quality", "zone_join"), pl.String()),
    **dict.fromkeys(("near_cold_line", "latitude_north", "exposure_computed"), pl.Boolean()),
    **dict.fromkeys(("read_on", "log_on"), pl.Date()),
}

TABLE = pl.Schema(
    {
        **dict.fromkeys(("field", "measure_group"), pl.String()),
        "value_no": pl.Int32(),
        "text": pl.String(),
        **dict.fromkeys(("bad", "good", "open"), pl.Int32()),
        "found": pl.UInt32(),
        "repairs": pl.Boolean(),
    }
)


@dataclass(frozen=True, slots=True)
class Values:
    """Answers by field and measure group, one row each.

    `table` has field, measure_group, `value_no` (place of the value in `values[field]`), `text`,
    `bad` (weighted by severity: rules that fire on it), `good` (rules that cannot fire on it),
    `open` (further work it calls for), `found` (how often the stock holds it), and `repairs`:
    whether it fires a rule of the queue fix-water-first.
    """

    table: pl.DataFrame
    values: dict[str, pl.Series]

    def without(self, texts: Sequence[str]) -> "Values":
        """The same without some answers; value numbers stay as they are."""
        return Values(self.table.filter(~pl.col("text").is_in(list(texts))), self.values)


def possible_values(
    policy: Policy,
    contract: Contract,
    asked: pl.DataFrame,
    evidence: pl.DataFrame,
    said: Mapping[str, pl.Series],
    as_of: date,
) -> Values:
    """List and weigh the values of every field that is asked.

    Parameters
    ----------
    policy, contract
        Rules and fields.
    asked
        Distinct `field`, `measure_group`.
    evidence
        The stock's evidence: a column for each field.
    said
        By field: what homes that are asked already said, which an answer may say again.
    as_of
        Day of judging, the one day considered where a date is asked.

    Returns
    -------
    Values
        In the order of the fields' code lists; numbers from the smallest.
    """
    schema = contract.polars_schema()
    values: dict[str, pl.Series] = {}
    found: dict[str, pl.Series] = {}
    for name in asked["field"].unique().sort():
        counts = _counted(evidence, name)
        listed = pl.Series(
            name, _listed(contract.fields[name], policy, counts, as_of), schema[name]
        )
        known = listed.append(said[name]) if name in said else listed
        values[name] = _once(known, schema[name])
        texts = values[name].to_frame().select(value_text(name, schema[name])).to_series()
        found[name] = texts.replace_strict(counts, default=0, return_dtype=pl.UInt32)
    weighed = [
        _weighed(str(name), str(group), values[str(name)], found[str(name)], policy, schema)
        for name, group in asked.unique().sort("field", "measure_group").iter_rows()
    ]
    return Values(pl.concat([pl.DataFrame(schema=TABLE), *weighed]), values)


def _counted(evidence: pl.DataFrame, name: str) -> dict[str, int]:
    if name not in evidence.columns:
        return {}
    text = value_text(name, evidence.schema[name]).alias("text")
    counts = evidence.select(text).drop_nulls().group_by("text").len()
    return dict(counts.iter_rows())


def value_text(name: str, kind: pl.DataType) -> pl.Expr:
    """A value as text, the same whatever the order of several codes."""
    if isinstance(kind, pl.List):
        return pl.col(name).list.sort().list.join(";")
    return pl.col(name).cast(pl.String)


def _once(values: pl.Series, kind: pl.DataType) -> pl.Series:
    """Each value once, in the order given; several codes are the same in any order."""
    name = values.name
    texts = values.to_frame().with_columns(value_text(name, kind).alias("_text"))
    return texts.unique("_text", keep="first", maintain_order=True)[name]


def _listed(asked: Field, policy: Policy, counts: dict[str, int], as_of: date) -> Sequence[object]:
    """The values to consider of one field; none where its answer is free text."""
    if asked.type == "date":
        return [as_of]
    if asked.type in _CODES:
        return [code if asked.type == "code" else [code] for code in asked.known_codes]
    if asked.type not in _NUMBERS or asked.low is None or asked.high is None:
        return []
    common = sorted(counts, key=lambda text: (-counts[text], float(text)))[:COMMON]
    limits = {v for v in _limits(asked.name, policy) if asked.low < v < asked.high}
    edges = [asked.low, *sorted(limits), asked.high]
    between = [(a + b) / 2 for a, b in pairwise(edges)]
    numbers = {*edges, *between, *(float(text) for text in common)}
    if asked.type == "integer":
        return sorted({int(n) for n in numbers if asked.in_range(int(n))})
    return sorted(n for n in numbers if asked.in_range(n))


def _limits(name: str, policy: Policy) -> set[float]:
    """Limits that stand in a condition with the field, or with a quantity that asks for it."""
    quantities = {q.name for q in policy.quantities.values() if name in q.fields}
    limits: set[float] = set()
    for rule in policy.rules.values():
        for sql in (rule.fires, rule.applies):
            names = set(names_in(sql)) if sql else set()
            if name in names or names & quantities:
                limits |= {policy.number(n) for n in names & policy.parameters.keys()}
    return limits


def _weighed(
    name: str,
    group: str,
    values: pl.Series,
    found: pl.Series,
    policy: Policy,
    schema: dict[str, pl.DataType],
) -> pl.DataFrame:
    """What the rules of one group say of each value, nothing else being known."""
    frame = _nothing_else_known(name, group, values, policy, schema)
    rules = [r for r in policy.rules_of(group) if name in rule_fields(r, group, policy)]
    gating = [r for r in rules if r.outcome in GATING]
    gates = [r for r in rules if r.outcome == "clears-gate"]
    rest = [r for r in rules if r.outcome not in GATING and r.outcome != "clears-gate"]
    fires = {r.id: _fires(r, policy) for r in rules}
    bad = [pl.when(fires[r.id]).then(r.severity).otherwise(0) for r in gating]
    if name == "access_limits":  # an answer that says how little was seen takes others away
        seen_less = list(policy.evidence.limited_by)
        bad.append(pl.col(name).list.set_intersection(seen_less).list.len().cast(pl.Int32))
    good = [(~fires[r.id]).fill_null(value=False).cast(pl.Int32) for r in gating]
    good += [fires[r.id].fill_null(value=False).cast(pl.Int32) for r in gates]
    presumed = [
        bind(item.when, policy.limits).fill_null(value=False).cast(pl.Int32)
        for item in policy.presumptions
        if group in item.groups and name in names_in(item.when)
    ]
    work = [fires[r.id].fill_null(value=False).cast(pl.Int32) for r in rest]
    repairs = [fires[r.id].fill_null(value=False) for r in gating if r.outcome == FIX]
    return frame.select(
        pl.lit(name).alias("field"),
        pl.lit(group).alias("measure_group"),
        pl.int_range(pl.len(), dtype=pl.Int32).alias("value_no"),
        value_text(name, schema[name]).alias("text"),
        _total(bad).alias("bad"),
        _total([*good, *presumed]).alias("good"),
        _total(work).alias("open"),
        pl.lit(found).alias("found"),
        (pl.any_horizontal(repairs) if repairs else pl.lit(value=False)).alias("repairs"),
    )


def _fires(rule: Rule, policy: Policy) -> pl.Expr:
    """The condition, where it is not known that the rule does not concern the row."""
    applies = bind(rule.applies or "TRUE", policy.limits).fill_null(value=True)
    return pl.when(applies).then(bind(rule.fires, policy.limits))


def _total(counts: Sequence[pl.Expr]) -> pl.Expr:
    return (pl.sum_horizontal(counts) if counts else pl.lit(0)).cast(pl.Int32)


def _nothing_else_known(
    name: str, group: str, values: pl.Series, policy: Policy, schema: dict[str, pl.DataType]
) -> pl.DataFrame:
    """Assessment rows with one answer each, and every quantity that it settles by itself."""
    measure = next(m for m in policy.measures.values() if m.group == group)
    blank = {n: pl.lit(None, kind).alias(n) for n, kind in {**schema, **_PLACE}.items()}
    for rule in policy.rules.values():
        for sql in (rule.fires, rule.applies or "TRUE", rule.review_before_repair or "TRUE"):
            for n in names_in(sql):
                if n not in policy.parameters and n not in blank:
                    blank[n] = pl.lit(None, _kind(n, policy)).alias(n)
    for quantity in policy.quantities.values():
        blank.setdefault(
            quantity.name, pl.lit(None, _kind(quantity.name, policy)).alias(quantity.name)
        )
    own = {
        "measure_code": pl.lit(measure.code),
        "measure_group": pl.lit(group),
        "measure_element": pl.lit(policy.groups[group].element),
        "measure_material": pl.lit(measure.default_material, pl.String),
        "measure_thickness_mm": pl.lit(None, pl.Float64),
        "tightening": pl.lit(measure.tightening),
    }
    frame = pl.DataFrame({name: values}).with_columns(
        [e for n, e in blank.items() if n != name and n not in MEASURE],
    )
    frame = frame.with_columns(e.alias(n) for n, e in own.items())
    frame = with_quantities(frame, policy)
    flags = context_flags(frame, policy)
    return frame.with_columns(flags.get_columns())


def _kind(name: str, policy: Policy) -> pl.DataType:
    quantity = policy.quantities.get(name)
    return pl.Float64() if quantity is None else _TYPES.get(quantity.unit, pl.Float64())
