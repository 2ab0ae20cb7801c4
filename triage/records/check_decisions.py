"""Checks of specialist decisions: who, on what ground, for which rules, until when."""

import polars as pl

from triage.contract.policy import Policy, Rule
from triage.records.check_places import home_findings
from triage.records.check_repairs import folded, rule_findings
from triage.records.findings import find, together
from triage.records.known import Known

LONGEST_MONTHS = 24  # job notes 5.6: a decision holds no longer
TWO_PEOPLE = 5  # job notes 5.8: severity of the rules that two people must accept
_ACCEPTS = ("accept", "accept_with_conditions")
_LEAK = "W01"


def decision_findings(rows: pl.DataFrame, known: Known) -> pl.DataFrame:
    """Checks of decisions. What a rule asks of the home itself is judged when the home is."""
    return together(
        [
            home_findings(rows, known),
            rule_findings(rows, "rule_ids", known.policy),
            *_day_findings(rows, known),
            *_ground_findings(rows),
            *_rule_limits(rows, known.policy),
        ]
    )


def is_never_accepted(rule: Rule) -> bool:
    """Whether no decision can accept the rule, whatever the home is like (job notes 5.8)."""
    stated = getattr(rule, "not_overridable", None)
    return stated == "TRUE" or rule.base == _LEAK or rule.stop_work is not None


def _day_findings(rows: pl.DataFrame, known: Known) -> list[pl.DataFrame]:
    longest = f"{LONGEST_MONTHS}mo"
    decided, expires = pl.col("decided_on"), pl.col("expires_on")
    return [
        find(
            rows,
            expires < decided,
            "expires_on",
            "wrong_order",
            pl.format("it expires on {}, before it was decided on {}", "expires_on", "decided_on"),
            "correct one of the two days",
        ),
        find(
            rows,
            (expires < known.as_of) & (expires >= decided),
            "expires_on",
            "expired",
            pl.format(
                "it expired on {}; the programme is of {}", "expires_on", pl.lit(known.as_of)
            ),
            "let the specialist decide again",
        ),
        find(
            rows,
            expires > decided.dt.offset_by(longest),
            "expires_on",
            "too_long",
            pl.format(
                "it holds until {}, more than {} months after {}",
                "expires_on",
                pl.lit(LONGEST_MONTHS),
                "decided_on",
            ),
            f"write a day at most {LONGEST_MONTHS} months after the decision",
        ),
    ]


def _ground_findings(rows: pl.DataFrame) -> list[pl.DataFrame]:
    return [
        find(
            rows,
            pl.col("measure_code").str.contains(";", literal=True),
            "measure_code",
            "several_measures",
            pl.format("it names several measures: {}", "measure_code"),
            "write one decision for each measure",
        ),
        find(
            rows,
            (pl.col("decision") == "accept_with_conditions") & pl.col("conditions").is_null(),
            "conditions",
            "no_conditions",
            "accepted with conditions, but none is written",
            "write the conditions, parted by semicolons",
        ),
    ]


def _rule_limits(rows: pl.DataFrame, policy: Policy) -> list[pl.DataFrame]:
    """Rules that cannot be accepted at all, and those that two people must accept."""
    rules = _by_name(policy)
    accepted = (
        rows.filter(pl.col("decision").is_in(_ACCEPTS))
        .with_columns(pl.col("rule_ids").alias("each"))
        .explode("each")
        .join(rules, left_on="each", right_on="name", how="inner", maintain_order="left")
    )
    barred = accepted.filter("barred").group_by("at", maintain_order=True)
    names = barred.agg(pl.col("each").unique().sort().str.join(", ").alias("names"))
    never = find(
        rows.join(names, on="at", maintain_order="left"),
        pl.lit(value=True),
        "rule_ids",
        "not_overridable",
        pl.format("no decision can accept {}", "names"),
        "take the rule out of rule_ids; what it found has to be put right",
    )
    severe = accepted.filter(pl.col("severity") >= TWO_PEOPLE)
    severe = rows.join(severe, on="at", how="semi", maintain_order="left")
    fix = "name the second person who agrees in second_person"
    nobody = find(
        severe,
        pl.col("second_person").is_null(),
        "second_person",
        "no_second_person",
        f"a rule of severity {TWO_PEOPLE} is accepted by one person alone",
        fix,
    )
    same = find(
        severe,
        folded("second_person") == folded("decided_by"),
        "second_person",
        "same_person",
        pl.format("{} decided and agrees: that is one person", "second_person"),
        fix,
    )
    return [never, nobody, same]


def _by_name(policy: Policy) -> pl.DataFrame:
    """Each rule id, the bases among them: the highest severity, and whether it is barred."""
    rules = [
        (name, rule.severity, is_never_accepted(rule))
        for rule in policy.rules.values()
        for name in {rule.id, rule.base}
    ]
    schema = {"name": pl.String, "severity": pl.Int64, "barred": pl.Boolean}
    return (
        pl.DataFrame(rules, schema=schema, orient="row")
        .group_by("name", maintain_order=True)
        .agg(pl.col("severity").max(), pl.col("barred").any())
    )
