"""Checks of repairs: who proved them, in which order things happened, and what overlaps."""

from datetime import date

import polars as pl

from triage.contract import did_you_mean
from triage.contract.policy import Policy
from triage.records.check_places import home_findings
from triage.records.findings import find, together
from triage.records.known import Known

_PLACE = ("property_id", "building_part", "repair_type", "spot")
_ORDER = (
    ("ordered_on", "started_on", "started before it was ordered"),
    ("started_on", "completed_on", "completed before it was started"),
    ("ordered_on", "completed_on", "completed before it was ordered"),
    ("completed_on", "verified_on", "verified before it was completed"),
    ("completed_on", "mc_after_date", "read again before it was completed"),
)


def repair_findings(rows: pl.DataFrame, known: Known) -> pl.DataFrame:
    """Checks of repairs. A repair that is refused for another reason overlaps nothing."""
    found = together(
        [
            home_findings(rows, known),
            rule_findings(rows, "trigger_rule_ids", known.policy),
            *_order_findings(rows),
            *_proof_findings(rows),
        ]
    )
    sound = rows.join(found.filter("refused"), on="at", how="anti", maintain_order="left")
    return together([found, _overlaps(sound, known.held["repair"])])


def rule_findings(rows: pl.DataFrame, field: str, policy: Policy) -> pl.DataFrame:
    """Rule ids that the policy does not know."""
    ids = list(dict.fromkeys([*policy.rules, *(rule.base for rule in policy.rules.values())]))
    listed = rows.select("at", field, pl.col(field).alias("each")).explode("each")
    strange = listed.filter(pl.col("each").is_not_null() & ~pl.col("each").is_in(ids))
    hints = {name: did_you_mean(name, ids) for name in strange["each"].unique().sort().head(20)}
    strange = strange.with_columns(
        pl.col("each").replace_strict(hints, default="", return_dtype=pl.String).alias("hint")
        if hints
        else pl.lit("").alias("hint")
    )
    message = pl.format("the policy {} knows no rule {}; {}", pl.lit(policy.name), "each", "hint")
    fix = "write the rule ids as `triage rules` prints them"
    return find(strange, pl.lit(value=True), field, "unknown_rule", message, fix)


def folded(name: str) -> pl.Expr:
    """A name as it is compared: case and spaces make no difference."""
    return pl.col(name).str.strip_chars().str.to_lowercase().str.replace_all(r"\s+", " ")


def _order_findings(rows: pl.DataFrame) -> list[pl.DataFrame]:
    return [
        find(
            rows,
            pl.col(later) < pl.col(earlier),
            later,
            "wrong_order",
            pl.format(what + ": {} is before {}", later, earlier),
            f"correct {later} or {earlier}",
        )
        for earlier, later, what in _ORDER
    ]


def _proof_findings(rows: pl.DataFrame) -> list[pl.DataFrame]:
    """A repair that counts as verified must say who verified it, when, and on what."""
    is_verified = pl.col("repair_verified") == "yes"
    fix = "give what is missing, or write repair_verified as no until it is there"
    needed = [
        (pl.col("verified_by").is_null(), "verified_by", "without the name of who verified it"),
        (pl.col("verified_on").is_null(), "verified_on", "without the day"),
        (pl.col("completed_on").is_null(), "completed_on", "before it was completed"),
        (_empty("evidence_after"), "evidence_after", "without photographs after the repair"),
        (
            pl.col("water_test").is_null() | (pl.col("water_test") == "none"),
            "water_test",
            "without a test by rain or water",
        ),
    ]
    found = [
        find(rows, is_verified & lacks, name, "not_proven", f"verified {what}", fix)
        for lacks, name, what in needed
    ]
    own = find(
        rows,
        is_verified & (folded("verified_by") == folded("contractor_id")),
        "verified_by",
        "verified_by_installer",
        pl.format("verified by {}, who made the repair", "verified_by"),
        "let somebody else look, or write repair_verified as no",
    )
    before = find(
        rows,
        is_verified & _empty("evidence_before"),
        "evidence_before",
        "no_evidence_before",
        "verified without photographs from before the repair",
        "name them if there are any",
        refused=False,
    )
    return [*found, own, before]


def _empty(name: str) -> pl.Expr:
    return pl.col(name).is_null() | (pl.col(name).list.len() == 0)


def _overlaps(rows: pl.DataFrame, held: pl.DataFrame) -> pl.DataFrame:
    """The same repair at the same spot under another id, at the same time.

    Of those that arrive together all but the first are refused, by start and then by id;
    against one that is held, whichever arrives.
    """
    new = _spans(rows).with_columns(is_new=pl.lit(value=True))
    old = _spans(held).join(new, on="repair_id", how="anti")
    spans = pl.concat([old.with_columns(is_new=pl.lit(value=False)), new])
    spans = spans.sort(*_PLACE, "from", "is_new", "repair_id")
    # Sorted by start, a span overlaps an earlier one if it starts before the latest end so far.
    latest = pl.col("until").cum_max().over(_PLACE)
    owner = pl.when(pl.col("until") == latest).then("repair_id").forward_fill().over(_PLACE)
    held_from = pl.when(~pl.col("is_new")).then("from").backward_fill().over(_PLACE)
    held_id = pl.when(~pl.col("is_new")).then("repair_id").backward_fill().over(_PLACE)
    told = spans.with_columns(
        latest.shift(1).over(_PLACE).alias("before"),
        owner.shift(1).over(_PLACE).alias("earlier"),
        held_from.alias("held_from"),
        held_id.alias("later"),
    ).with_columns(
        pl.when(pl.col("from") <= pl.col("before"))
        .then("earlier")
        .when(pl.col("held_from") <= pl.col("until"))
        .then("later")
        .alias("other")
    )
    told = told.filter("is_new", pl.col("other").is_not_null()).select("repair_id", "other")
    overlapping = rows.join(told, on="repair_id", how="inner", maintain_order="left")
    message = pl.format(
        "overlaps the repair {}: same home, part, place and kind, at the same time", "other"
    )
    fix = "use the id of that repair if it is the same work, or correct the days"
    return find(overlapping, pl.lit(value=True), "repair_id", "overlapping_repair", message, fix)


def _spans(rows: pl.DataFrame) -> pl.DataFrame:
    """Where and when each repair went on, by its newest row; one not completed goes on."""
    newest = rows.unique("repair_id", keep="last", maintain_order=True)
    return newest.select(
        "repair_id",
        "property_id",
        "building_part",
        "repair_type",
        folded("defect_location").alias("spot"),
        pl.coalesce("started_on", "completed_on").alias("from"),
        pl.col("completed_on").fill_null(date.max).alias("until"),
    ).drop_nulls(["from", "repair_id", *_PLACE])
