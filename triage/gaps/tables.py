"""What the answers would do, counted: by field, by set of fields, by home."""

from collections.abc import Sequence

import polars as pl

from triage.contract.policy import Policy
from triage.gaps.other_answers import rules_read
from triage.gaps.predict import Predicted
from triage.rules.codes import FIRES, KEY
from triage.rules.queue import FIX, SAFE
from triage.rules.table import ID

_OUTCOME = ("queue", "lane", "missing", "asks_for_evidence", "released")


def outcome_table(waiting: pl.DataFrame, predicted: Predicted, policy: Policy) -> pl.DataFrame:
    """What becomes of each waiting home-part-measure.

    Parameters
    ----------
    waiting
        Queue rows that ask for evidence; `missing` is the smallest set of answers that decides
        each, if the answers are good.
    predicted
        The homes judged again.
    policy
        Says which rules are repairs.

    Returns
    -------
    pl.DataFrame
        The key, `measure_code`, `measure_group`, `queue`, `lane`, `missing`; `good_queue`,
        `good_lane`, `good_missing` after good answers; `bad_queue`, `bad_lane` after answers that
        call for repair, with `repairs`, the repair rules that would fire.
    """
    repairs = [rule.id for rule in policy.rules.values() if rule.outcome == FIX]
    fired = pl.concat_list(
        pl.when(pl.col(r) == FIRES).then(pl.lit(r)).otherwise(pl.lit(None, pl.String))
        for r in repairs
    ).list.drop_nulls()
    bad_rules = predicted.bad_results.select(*ID, fired.alias("repairs"))
    good = predicted.good.select(*ID, *(pl.col(n).alias(f"good_{n}") for n in _OUTCOME))
    bad = predicted.bad.select(*ID, *(pl.col(n).alias(f"bad_{n}") for n in ("queue", "lane")))
    return (
        waiting.select(*ID, "measure_group", "queue", "lane", "missing")
        .join(good, on=ID, how="left", maintain_order="left")
        .join(bad, on=ID, how="left", maintain_order="left")
        .join(bad_rules, on=ID, how="left", maintain_order="left")
        .sort(ID)
    )


def field_table(
    outcomes: pl.DataFrame, alone: pl.DataFrame, policy: Policy, order: Sequence[str]
) -> pl.DataFrame:
    """Each missing field: homes that wait for it, that it alone would release or send to repair.

    Parameters
    ----------
    outcomes
        See `outcome_table`.
    alone
        Key and `measure_code` of the rows that one good answer to their only question releases.
    policy
        Says which rules read a field.
    order
        Fields in the order of the form, for ties.

    Returns
    -------
    pl.DataFrame
        field, `homes_waiting`, `homes_waiting_for_it_alone`, `homes_released_alone`,
        `homes_to_repair` (by a bad answer); most released first.
    """
    each = outcomes.explode("missing").rename({"missing": "field"})
    single = outcomes.filter(pl.col("missing").list.len() == 1).explode("missing")
    single = single.rename({"missing": "field"})
    released = single.join(alone, on=ID, how="semi")
    reads = rules_read(policy).unique()
    caused = (
        each.filter(pl.col("bad_queue") == FIX)
        .explode("repairs")
        .join(
            reads,
            left_on=["repairs", "measure_group", "field"],
            right_on=["rule", "measure_group", "field"],
            how="semi",
        )
    )
    table = _homes(each, "homes_waiting")
    for rows, name in (
        (single, "homes_waiting_for_it_alone"),
        (released, "homes_released_alone"),
        (caused, "homes_to_repair"),
    ):
        table = table.join(_homes(rows, name), on="field", how="left")
    places = {name: place for place, name in enumerate(order)}
    counts = [name for name in table.columns if name != "field"]
    return (
        table.with_columns(
            pl.col(counts).fill_null(0),
            pl.col("field").replace_strict(places, default=None, return_dtype=pl.Int32).alias("_n"),
        )
        .sort("homes_released_alone", "homes_waiting", "_n", descending=[True, True, False])
        .drop("_n")
    )


def _homes(rows: pl.DataFrame, name: str) -> pl.DataFrame:
    return rows.group_by("field").agg(pl.col("property_id").n_unique().cast(pl.Int64).alias(name))


def set_table(outcomes: pl.DataFrame) -> pl.DataFrame:
    """Each set of fields that homes wait for together: how many, and what good answers would do.

    Returns
    -------
    pl.DataFrame
        `fields`, `fields_n`, `measure_group`, `homes`, `homes_released`, `homes_to_specialist`,
        `homes_asked_again`; most released first.
    """

    def homes(test: pl.Expr, name: str) -> pl.Expr:
        return pl.col("property_id").filter(test).n_unique().cast(pl.Int64).alias(name)

    again = pl.col("good_asks_for_evidence").fill_null(value=True)
    safe = (pl.col("good_queue") == SAFE).fill_null(value=False)
    return (
        outcomes.with_columns(pl.col("missing").list.join(", ").alias("fields"))
        .group_by("fields", "measure_group")
        .agg(
            pl.col("missing").list.len().first().cast(pl.Int64).alias("fields_n"),
            pl.col("property_id").n_unique().cast(pl.Int64).alias("homes"),
            homes(safe, "homes_released"),
            homes(~safe & ~again, "homes_to_specialist"),
            homes(~safe & again, "homes_asked_again"),
        )
        .sort(
            *("homes_released", "homes", "fields_n", "fields", "measure_group"),
            descending=[True, True, False, False, False],
        )
        .select(
            *("fields", "fields_n", "measure_group", "homes", "homes_released"),
            *("homes_to_specialist", "homes_asked_again"),
        )
    )


def visit_table(cells: pl.DataFrame, outcomes: pl.DataFrame, homes: pl.DataFrame) -> pl.DataFrame:
    """One row a home-part to visit, grouped by area and surveyor.

    Parameters
    ----------
    cells
        Questions with the way of seeing, `survey_method`.
    outcomes
        See `outcome_table`.
    homes
        property_id, `area`, `surveyor_id`.

    Returns
    -------
    pl.DataFrame
        area, surveyor_id, key, `questions`, `see_from` (the ways of seeing that are needed),
        `measures` that wait, `measures_released` by good answers.
    """
    asked = cells.group_by(KEY).agg(
        pl.col("field").sort().alias("questions"),
        pl.col("survey_method").drop_nulls().unique().sort().alias("see_from"),
    )
    safe = (pl.col("good_queue") == SAFE).fill_null(value=False)
    waits = outcomes.group_by(KEY).agg(
        pl.col("measure_code").sort().alias("measures"),
        pl.col("measure_code").filter(safe).sort().alias("measures_released"),
    )
    joined = asked.join(waits, on=KEY, how="left").join(homes, on="property_id", how="left")
    return joined.select(
        *("area", "surveyor_id", *KEY, "questions", "see_from", "measures", "measures_released")
    ).sort("area", "surveyor_id", *KEY, nulls_last=True)


def home_places(survey: pl.DataFrame, places: pl.DataFrame) -> pl.DataFrame:
    """Where each home is and who was there last: property_id, area, surveyor_id.

    The area is the first part of the postal code, else the climate region.

    Parameters
    ----------
    survey
        `property_id`, `survey_date`, `surveyor_id`, `postal_code`.
    places
        `property_id`, `region_name`.
    """
    code = pl.col("postal_code").drop_nulls()
    newest = (
        survey.sort("survey_date", "surveyor_id", nulls_last=False)
        .group_by("property_id")
        .agg(pl.col("surveyor_id").drop_nulls().last(), code.sort().first())
    )
    # The part of a UK postcode before the space; three figures of a ZIP code.
    first = pl.col("postal_code").str.extract(r"^([A-Z]{1,2}[0-9][0-9A-Z]?) ")
    zip3 = pl.col("postal_code").str.extract(r"^([0-9]{3})")
    return newest.join(
        places.select("property_id", "region_name"), on="property_id", how="left"
    ).select(
        "property_id",
        pl.coalesce(first, zip3, "region_name", pl.lit("no area known")).alias("area"),
        "surveyor_id",
    )
