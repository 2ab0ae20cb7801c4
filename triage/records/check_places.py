"""Records that name a home, a part, a visit or an inspection that nobody knows."""

import polars as pl

from triage.records.findings import find, together
from triage.records.known import HOME, Known

_AS_SURVEYED = "write the reference as the surveys have it, or add the survey of that home first"


def home_findings(rows: pl.DataFrame, known: Known) -> pl.DataFrame:
    """A home, or a part of it, that no survey of the programme has."""
    homes = known.homes.select("property_id").unique()
    strange = rows.drop_nulls("property_id").join(homes, on="property_id", how="anti")
    named = _with_hint(strange, homes)
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


def _with_hint(strange: pl.DataFrame, homes: pl.DataFrame) -> pl.DataFrame:
    """Adds `hint`: the home that differs in case, spaces, signs or leading zeros only."""
    bare = (
        pl.col("property_id")
        .str.to_lowercase()
        .str.replace_all(r"[^\p{L}\p{N}]", "")
        .str.replace_all(r"(^|\p{L})0+([0-9])", "$1$2")
    )
    near = homes.select(bare.alias("bare"), pl.format("; {} is near", "property_id").alias("hint"))
    return (
        strange.with_columns(bare.alias("bare"))
        .join(near.unique("bare", keep="none"), on="bare", how="left", maintain_order="left")
        .with_columns(pl.col("hint").fill_null(""))
    )


def with_visit_home(rows: pl.DataFrame, known: Known) -> pl.DataFrame:
    """Readings with the home and part of their visit where they name none and it has one only.

    Adds `visit_places`: how many homes and parts the visit may mean; 0 if nobody knows it.
    """
    visits = known.visits()
    home, part = (pl.col(name).is_null() for name in HOME)
    found = [
        _places(rows.filter(home & part), visits, ["visit_id"]),
        _places(rows.filter(~home & part), visits, ["visit_id", "property_id"]),
        _places(rows.filter(home & ~part), visits, ["visit_id", "building_part"]),
    ]
    is_one = pl.col("visit_places") == 1
    return (
        rows.join(pl.concat(found), on="at", how="left", maintain_order="left")
        .with_columns(
            *(
                pl.coalesce(name, pl.when(is_one).then(f"{name}_of_visit")).alias(name)
                for name in HOME
            ),
            pl.col("visit_places").fill_null(0),
        )
        .drop(f"{name}_of_visit" for name in HOME)
    )


def _places(rows: pl.DataFrame, visits: pl.DataFrame, keys: list[str]) -> pl.DataFrame:
    """How many places the visits with these keys have, and the first of them.

    Visits are counted before they are joined: a survey_id may be that of every home.
    """
    counted = visits.group_by(keys).agg(
        pl.len().cast(pl.UInt32).alias("visit_places"),
        *(pl.col(name).first().alias(f"{name}_of_visit") for name in HOME if name not in keys),
    )
    named = rows.select("at", pl.col("survey_id").alias("visit_id"), *keys[1:])
    joined = named.join(counted, on=keys, how="inner")
    own = [pl.col(name).alias(f"{name}_of_visit") for name in keys[1:]]
    names = [f"{name}_of_visit" for name in HOME]
    return joined.with_columns(own).select("at", "visit_places", *names)


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
