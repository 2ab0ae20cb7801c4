"""Which records count on the day of judging, and why the others do not."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date

import polars as pl

from triage.contract.policy import Policy
from triage.rules.record_rows import PER_CENT, WOOD

_DAY = {
    "reading": "reading_date",
    "inspection": "inspected_on",
    "repair": "ordered_on",
    "event": "event_on",
    "decision": "decided_on",
    "answer": "observed_on",
}
_NOTHING_SEEN = ("no_access", "refused", "unsafe")
_USE = pl.Schema(
    {
        "kind": pl.String,
        "record_id": pl.String,
        "record_row": pl.UInt32,
        "why_not": pl.String,
    }
)


@dataclass(frozen=True, slots=True)
class InUse:
    """Records that count, by kind, and for every record why it does not (`why_not`; null: it does).

    `use` has one row a record: kind, record_id, record_row, why_not.
    """

    tables: Mapping[str, pl.DataFrame]
    use: pl.DataFrame


def records_in_use(
    tables: Mapping[str, pl.DataFrame], surveys: pl.DataFrame, as_of: date, policy: Policy
) -> InUse:
    """Sort out the records of a programme.

    Parameters
    ----------
    tables
        Latest version of each record by kind, the contract's columns.
    surveys
        Accepted survey rows: `property_id`, `building_part`, `survey_id`.
    as_of
        Day of judging: a record of a later day is not known yet.
    policy
        Says who may decide.
    """
    ready = {**tables, "reading": _at_home(tables, surveys)}
    homes = surveys["property_id"].unique().implode()
    kept: dict[str, pl.DataFrame] = {}
    told = []
    for kind, frame in ready.items():
        if kind == "opening":
            continue
        tests = _tests(kind, homes, as_of, policy)
        why = pl.coalesce(pl.lit(None, pl.String), *tests).alias("why_not")
        judged = frame.with_columns(why)
        told.append(_told(kind, judged))
        kept[kind] = judged.filter(pl.col("why_not").is_null()).drop("why_not")
    visits = kept["inspection"]["inspection_id"].implode()
    lost = pl.when(~pl.col("inspection_id").is_in(visits)).then(
        pl.lit("its inspection is not on record, or does not count")
    )
    openings = ready["opening"].with_columns(lost.alias("why_not"))
    told.append(_told("opening", openings))
    kept["opening"] = openings.filter(pl.col("why_not").is_null()).drop("why_not")
    return InUse(kept, pl.concat([_USE.to_frame(), *told]).sort("kind", "record_id"))


def _told(kind: str, judged: pl.DataFrame) -> pl.DataFrame:
    return judged.select(
        pl.lit(kind).alias("kind"),
        pl.col(f"{kind}_id").alias("record_id"),
        "record_row",
        "why_not",
    )


def _tests(kind: str, homes: pl.Series, as_of: date, policy: Policy) -> list[pl.Expr]:
    """Why a record does not count, each a text or null, the first one decides."""
    tests = [_if(pl.col(_DAY[kind]) > as_of, "dated after the day of judging")]
    if kind == "event":
        return tests
    known = pl.col("property_id").is_in(homes).fill_null(value=False)
    tests.append(_if(~known, "no accepted survey row is about this home"))
    if kind == "reading":
        wood = pl.col("material").is_in(list(WOOD)) & pl.col("scale").is_in(list(PER_CENT))
        text = "not timber on a per cent scale: kept for the trend, never evidence (E05)"
        tests.append(_if(~wood.fill_null(value=False), text))
    if kind == "inspection":
        seen = pl.col("outcome_status").is_in(list(_NOTHING_SEEN))
        tests.append(_if(seen, "nothing was seen: a result of its own, but no evidence"))
    if kind == "decision":
        may = pl.col("competence").is_in(list(policy.records.competences)).fill_null(value=False)
        tests += [
            _if(pl.col("expires_on") < as_of, "past its expiry date"),
            _if(~may, "the policy does not let this competence decide"),
        ]
    return tests


def _if(test: pl.Expr, text: str) -> pl.Expr:
    return pl.when(test).then(pl.lit(text))


def _at_home(tables: Mapping[str, pl.DataFrame], surveys: pl.DataFrame) -> pl.DataFrame:
    """Readings with their home and part: their own words, else those of the visit they name."""
    visits = pl.concat(
        [
            surveys.select("survey_id", "property_id", "building_part"),
            *(
                tables[kind].select(
                    pl.col(f"{kind}_id").alias("survey_id"), "property_id", "building_part"
                )
                for kind in ("inspection", "repair")
            ),
        ]
    )
    # A visit to several parts of a home says which home, and the main part is taken.
    main_first = (pl.col("building_part") != "main").fill_null(value=True)
    one = visits.sort("survey_id", main_first, "property_id", "building_part").unique(
        "survey_id", keep="first", maintain_order=True
    )
    return (
        tables["reading"]
        .join(one, on="survey_id", how="left", maintain_order="left", suffix="_visit")
        .with_columns(
            pl.coalesce("property_id", "property_id_visit").alias("property_id"),
            pl.coalesce("building_part", "building_part_visit").alias("building_part"),
        )
        .drop("property_id_visit", "building_part_visit")
    )
