"""Records that name a home, a part, a visit or an inspection that nobody knows."""

import polars as pl

from triage.contract import nearest
from triage.records.findings import find, together
from triage.records.known import HOME, Known

_HINTED = 20  # unknown names for which a likely one is looked up: it takes long among many homes
_AS_SURVEYED = "write the reference as the surveys have it, or add the survey of that home first"


def home_findings(rows: pl.DataFrame, known: Known) -> pl.DataFrame:
    """A home, or a part of it, that no survey of the programme has."""
    homes = known.homes.select("property_id").unique()
    strange = rows.drop_nulls("property_id").join(homes, on="property_id", how="anti")
    named = strange.with_columns(_hint(strange, homes["property_id"]))
    home = find(
        named,
        pl.lit(value=True),
        "property_id",
        "unknown_home",
        pl.format("no survey of the programme has the home {}{}", "property_id", "hint"),
        _AS_SURVEYED,
    )
    parts = known.homes.group_by("property_id").agg(
        pl.col("building_part").sort().str.join(", ").alias("parts")
    )
    lost = (
        rows.drop_nulls(HOME)
        .join(homes, on="property_id", how="semi", maintain_order="left")
        .join(known.homes, on=HOME, how="anti", maintain_order="left")
        .join(parts, on="property_id", how="left", maintain_order="left")
    )
    part = find(
        lost,
        pl.lit(value=True),
        "building_part",
        "unknown_part",
        pl.format(
            "the home {} has no part {} in the surveys, only {}",
            "property_id",
            "building_part",
            "parts",
        ),
        "write the part as the surveys have it, or add the survey of that part first",
    )
    return together([home, part])


def _hint(strange: pl.DataFrame, homes: pl.Series) -> pl.Expr:
    names = strange["property_id"].unique().sort().head(_HINTED).to_list()
    near = {name: nearest(name, homes, count=1, cutoff=80) for name in names}
    hints = {name: f"; {found[0]} is near" for name, found in near.items() if found}
    return (
        pl.col("property_id")
        .replace_strict(hints, default="", return_dtype=pl.String)
        .alias("hint")
        if hints
        else pl.lit("").alias("hint")
    )


def with_visit_home(rows: pl.DataFrame, known: Known) -> pl.DataFrame:
    """Readings with the home and part of their visit where they name none and it has one only.

    Adds `visit_places`: how many homes and parts the visit may mean; 0 if nobody knows it.
    """
    named = rows.select("at", "survey_id", *HOME)
    of_visit = named.join(
        known.visits(), left_on="survey_id", right_on="visit_id", suffix="_of_visit"
    )
    fits = of_visit.filter(
        *(pl.col(name).is_null() | (pl.col(name) == pl.col(f"{name}_of_visit")) for name in HOME)
    )
    places = fits.group_by("at").agg(
        pl.len().cast(pl.UInt32).alias("visit_places"),
        *(pl.col(f"{name}_of_visit").first() for name in HOME),
    )
    is_one = pl.col("visit_places") == 1
    return (
        rows.join(places, on="at", how="left", maintain_order="left")
        .with_columns(
            *(
                pl.coalesce(name, pl.when(is_one).then(f"{name}_of_visit")).alias(name)
                for name in HOME
            ),
            pl.col("visit_places").fill_null(0),
        )
        .drop(f"{name}_of_visit" for name in HOME)
    )


def visit_findings(rows: pl.DataFrame) -> pl.DataFrame:
    """Readings of which nobody can say where they were taken; `rows` as `with_visit_home` gives."""
    nowhere = pl.any_horizontal(pl.col(name).is_null() for name in HOME)
    nameless = pl.col("property_id").is_null() & pl.col("building_part").is_null()
    unknown = pl.col("visit_places") == 0
    visit = pl.col("survey_id").fill_null("(blank)")
    fix = "write the home and its part into property_id and building_part"
    return together(
        [
            find(
                rows,
                nowhere & unknown & nameless,
                "survey_id",
                "unknown_visit",
                pl.format("the visit {} is not known, and the reading names no home", visit),
                fix,
            ),
            find(
                rows,
                nowhere & unknown & ~nameless,
                "survey_id",
                "unknown_visit",
                pl.format("the visit {} of that home or part is not known", visit),
                fix,
            ),
            find(
                rows,
                nowhere & ~unknown,
                "survey_id",
                "ambiguous_visit",
                pl.format("the visit {} may be of {} homes or parts", visit, "visit_places"),
                fix,
            ),
        ]
    )
