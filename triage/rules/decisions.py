"""Decisions of specialists: which fired rules they accept, refuse, or ask evidence for (5.8)."""

from dataclasses import dataclass

import polars as pl

from triage.contract.expressions import bind
from triage.contract.policy import GATING, Policy, Rule
from triage.rules.codes import FIRES, KEY
from triage.rules.conflicts import as_text
from triage.rules.grading import SOURCE
from triage.rules.repairs import fields_of, rules_named

_ACCEPTS = ("accept", "accept_with_conditions")
_ROW = (*KEY, "measure_code")


@dataclass(frozen=True, slots=True)
class Decided:
    """What decisions in force say of assessment rows, in their order.

    `accepted` has a Boolean for each rule that any decision accepts; `told` the columns
    `overridden` (rule ids), `decision_notes`, `decision_checks` (conditions to keep to),
    `decided_until` (Date), `refused` and `wants_evidence`.
    """

    accepted: pl.DataFrame
    told: pl.DataFrame


def decided(
    base: pl.DataFrame,
    results: pl.DataFrame,
    graded: pl.DataFrame,
    decisions: pl.DataFrame,
    policy: Policy,
) -> Decided:
    """Apply the decisions in force to rules that fired.

    A decision covers the evidence that it had: where an answer that the rule reads has become
    another since, the rule is open again. What may not be overridden is never accepted, whatever a
    record says.

    Parameters
    ----------
    base
        Assessment rows: the key, `measure_code` and every survey field.
    results
        Rule answers in the same order.
    graded
        Survey rows as graded.
    decisions
        In force on the day of judging, see `records.Records`.
    """
    named = _by_rule(decisions, policy)
    rows = base.select(_ROW)
    flags: dict[str, pl.Series] = {}
    texts = [pl.Series("_none", [None] * base.height, dtype=pl.String)]
    checks, untils = list(texts), [pl.Series("_none", [None] * base.height, dtype=pl.Date)]
    refused = wants = pl.repeat(value=False, n=base.height, dtype=pl.Boolean, eager=True)
    for rule_id in sorted(set(named["rule"].to_list())):
        rule = policy.rules[rule_id]
        mine = named.filter(pl.col("rule") == rule_id)
        on = rows.join(mine, on=_ROW, how="left", maintain_order="left")
        current = on["decided_on"].is_not_null() & ~_changed(rule, base, on, graded, policy)
        fires = results[rule_id] == FIRES
        verdict = on["decision"].is_in(list(_ACCEPTS)).fill_null(value=False)
        accepted = current & fires & verdict & _may(rule, base, on, policy)
        flags[rule_id] = accepted.fill_null(value=False).alias(rule_id)
        texts.append(_kept(on, flags[rule_id], _sentence(rule)))
        checks.append(_kept(on, flags[rule_id], _condition()))
        untils.append(_kept(on, flags[rule_id], pl.col("expires_on")))
        refused = refused | (on["decision"] == "reject").fill_null(value=False)
        wants = wants | (current & (on["decision"] == "need_evidence")).fill_null(value=False)
    accepted_frame = pl.DataFrame(list(flags.values()))
    told = pl.DataFrame(
        {
            "overridden": _ids(accepted_frame, base.height),
            "decision_notes": _lists(texts),
            "decision_checks": _lists(checks),
            "decided_until": pl.DataFrame([s.alias(str(n)) for n, s in enumerate(untils)]).select(
                pl.min_horizontal(pl.all()).alias("x")
            )["x"],
            "refused": refused,
            "wants_evidence": wants,
        }
    )
    return Decided(accepted_frame, told)


def _by_rule(decisions: pl.DataFrame, policy: Policy) -> pl.DataFrame:
    """The newest decision of each row and rule entry."""
    entries = pl.DataFrame(
        [
            (name, rule.id)
            for name in policy.rules
            for rule in rules_named(name, policy)
            if rule.outcome in GATING
        ],
        schema={"rule_ids": pl.String, "rule": pl.String},
        orient="row",
    )
    return (
        decisions.explode("rule_ids")
        .join(entries, on="rule_ids", how="inner")
        .sort("decided_on", "decision_id", descending=[True, True])
        .unique([*_ROW, "rule"], keep="first", maintain_order=True)
    )


def _changed(
    rule: Rule, base: pl.DataFrame, on: pl.DataFrame, graded: pl.DataFrame, policy: Policy
) -> pl.Series:
    """Whether an answer that the rule reads is none that was on record when it was decided."""
    names = sorted(fields_of(rule, policy) & set(graded.columns) & set(base.columns))
    texts = [as_text(name, base.schema[name]).alias(name) for name in names]
    days = on.select("decided_on").with_row_index("_row")
    rows = days.hstack(base.select(*KEY, *texts)).filter(pl.col("decided_on").is_not_null())
    long = rows.unpivot(names, index=["_row", *KEY, "decided_on"], variable_name="field")
    known = (
        graded.join(rows.select(KEY), on=list(KEY), how="semi")
        .select(*KEY, "survey_on", *texts)
        .unpivot(names, index=[*KEY, "survey_on"], variable_name="field")
    )
    then = long.join(known, on=[*KEY, "field", "value"], how="inner").filter(
        pl.col("survey_on") <= pl.col("decided_on")
    )
    new = long.drop_nulls("value").join(then, on=["_row", "field"], how="anti")
    new = new.join(_from_before(names, days, base, graded), on=["_row", "field"], how="anti")
    return days.select(pl.col("_row").is_in(new["_row"].unique().implode()).alias("x"))["x"]


def _from_before(
    names: list[str], days: pl.DataFrame, base: pl.DataFrame, graded: pl.DataFrame
) -> pl.DataFrame:
    """Answers whose own record is older than the decision: another dwelling's, about the roof."""
    sources = [SOURCE + name for name in names if SOURCE + name in base.columns]
    if not sources:
        return pl.DataFrame(schema={"_row": pl.UInt32, "field": pl.String})
    return (
        days.hstack(base.select(sources))
        .filter(pl.col("decided_on").is_not_null())
        .unpivot(sources, index=["_row", "decided_on"], variable_name="field", value_name="row_id")
        .join(graded.select("row_id", "survey_on"), on="row_id", how="inner")
        .filter(pl.col("survey_on") <= pl.col("decided_on"))
        .select("_row", pl.col("field").str.strip_prefix(SOURCE))
    )


def _may(rule: Rule, base: pl.DataFrame, on: pl.DataFrame, policy: Policy) -> pl.Series:
    """Whether the rule can be accepted on the row, by the person and people of the decision."""
    may = on["competence"].is_in(list(policy.records.competences)).fill_null(value=False)
    if rule.severity >= policy.number("second_person_severity"):
        may = may & (on["second_person"] != on["decided_by"]).fill_null(value=False)
    if rule.not_overridable is None:
        return may
    # The comparison gives a constant condition such as TRUE the height of the frame.
    barred = pl.col("measure_code").is_not_null() & bind(rule.not_overridable, policy.limits)
    return may & ~base.select(barred.alias("barred"))["barred"].fill_null(value=False)


def _sentence(rule: Rule) -> pl.Expr:
    second = pl.when(pl.col("second_person").is_not_null()).then(
        pl.format(" with {}", "second_person")
    )
    papers = pl.col("evidence_refs").list.join(", ")
    rests_on = pl.when(papers != "").then(pl.format("; rests on {}", papers)).otherwise(pl.lit(""))
    return pl.format(
        "{} accepted by {}{} ({}) on {}, until {}: {}{} [{}]",
        pl.lit(rule.id),
        "decided_by",
        second.fill_null(""),
        pl.col("competence").str.replace_all("_", " "),
        pl.col("decided_on").dt.to_string("%Y-%m-%d"),
        pl.col("expires_on").dt.to_string("%Y-%m-%d"),
        "reason",
        rests_on,
        "decision_id",
    )


def _condition() -> pl.Expr:
    return pl.format("Condition of decision {}: {}", "decision_id", "conditions")


def _kept(on: pl.DataFrame, where: pl.Series, what: pl.Expr) -> pl.Series:
    return on.select(pl.when(pl.lit(where)).then(what).alias("x"))["x"]


def _lists(columns: list[pl.Series]) -> pl.Series:
    frame = pl.DataFrame([s.alias(str(n)) for n, s in enumerate(columns)])
    joined = pl.concat_list(pl.all()).list.drop_nulls().list.unique(maintain_order=True)
    return frame.select(joined.alias("x"))["x"]


def _ids(accepted: pl.DataFrame, height: int) -> pl.Series:
    if not accepted.width:
        return pl.Series("x", [[]], dtype=pl.List(pl.String)).new_from_index(0, height)
    named = [pl.when(pl.col(name)).then(pl.lit(name)) for name in accepted.columns]
    return accepted.select(pl.concat_list(named).list.drop_nulls().alias("x"))["x"]
