"""Dwellings that share the roof of their building: one roof's evidence for all of them.

A roof is a building and a part of it; what is communal belongs to the main part. Each dwelling
keeps the answers about itself. An answer about the roof is the best of all surveys of the
building, so that a fault that one surveyor saw holds every dwelling under it, and two flats that
differ about their roof are two records that disagree.
"""

from collections.abc import Sequence

import polars as pl

from triage.contract.policy import Policy
from triage.rules.codes import KEY
from triage.rules.grading import QUALITY, SOURCE

_COMMUNAL, _MAIN = "communal", "main"


def roofs_shared(rows: pl.DataFrame, buildings: pl.DataFrame, policy: Policy) -> pl.DataFrame:
    """The home-parts that share a roof with another one.

    A home of which no survey says what it is shares the roof if a dwelling of its building does.

    Parameters
    ----------
    rows
        Survey rows: the key, `property_type`, `built_form`, and the field that says that another
        dwelling is above.
    buildings
        `property_id`, `building_id` (null: no building is named).

    Returns
    -------
    pl.DataFrame
        The key, `roof_of` (building), `roof_part`, and `is_below`: another dwelling lies above.
    """
    shared = policy.evidence.shared_roof
    above, said = shared.none_above
    listed = pl.col("property_type").is_in(list(shared.property_types)).fill_null(
        value=False
    ) | pl.col("built_form").is_in(list(shared.built_forms)).fill_null(value=False)
    known = pl.col("property_type").is_not_null() | pl.col("built_form").is_not_null()
    parts = (
        rows.group_by(KEY)
        .agg(
            listed.any().alias("_listed"),
            known.any().alias("_known"),
            # Who says once that there is a roof above is under it, whatever another record says.
            ((pl.col(above) == said).any() & (pl.col(above) == said).all()).alias("is_below"),
        )
        .join(buildings.drop_nulls(), on="property_id", how="inner")
        .with_columns(pl.col("_listed", "_known").any().over("property_id"))
    )
    neighbours = pl.col("_listed").any().over("building_id")
    communal = pl.col("building_part") == _COMMUNAL
    members = parts.filter(pl.col("_listed") | communal | (~pl.col("_known") & neighbours)).select(
        *KEY,
        pl.col("building_id").alias("roof_of"),
        pl.when(communal).then(pl.lit(_MAIN)).otherwise("building_part").alias("roof_part"),
        "is_below",
    )
    return members.filter(pl.len().over("roof_of", "roof_part") > 1).sort(KEY)


def roof_fields(fields: Sequence[str], policy: Policy) -> list[str]:
    """Those of the fields that are about a shared roof."""
    wanted = set(policy.evidence.shared_roof.roof)
    return [name for name in fields if name in wanted]


def rows_of_roofs(rows: pl.DataFrame, members: pl.DataFrame, policy: Policy) -> pl.DataFrame:
    """The surveys of the dwellings as surveys of their roofs, with the building for a home.

    A dwelling below another one tells of what it can see from there and of nothing else. The
    column `dwelling` keeps whose survey it was.
    """
    above, said = policy.evidence.shared_roof.none_above
    joined = rows.join(members, on=KEY, how="inner", maintain_order="left")
    hidden = [
        column
        for name in roof_fields(rows.columns, policy)
        if name not in policy.evidence.shared_roof.rain
        for column in (name, QUALITY + name)
        if column in rows.columns
    ]
    seen = joined.with_columns(pl.when(~pl.col("is_below")).then(pl.col(hidden)))
    return seen.with_columns(
        pl.col("property_id").alias("dwelling"),
        pl.col("roof_of").alias("property_id"),
        pl.col("roof_part").alias("building_part"),
        pl.when(pl.col(above).ne_missing(said)).then(above).alias(above),
    ).drop("roof_of", "roof_part", "is_below")


def repairs_of_roofs(repairs: pl.DataFrame, members: pl.DataFrame) -> pl.DataFrame:
    """Repairs on record at the dwellings as repairs of their roofs, the building for a home."""
    joined = repairs.join(members, on=KEY, how="inner", maintain_order="left")
    return joined.with_columns(
        pl.col("roof_of").alias("property_id"), pl.col("roof_part").alias("building_part")
    ).select(repairs.columns)


def under_their_roof(
    table: pl.DataFrame, roofs: pl.DataFrame, members: pl.DataFrame, policy: Policy
) -> pl.DataFrame:
    """Put the answers of each roof in the rows of the dwellings that share it.

    Parameters
    ----------
    table
        One row a home-part: for each field its value, `q__…` and `r__…`.
    roofs
        The same of each roof, the roof's fields only; the building stands for the home.
    members
        See `roofs_shared`.
    """
    mine = members.rename({"roof_of": "_roof", "roof_part": "_part"})
    others = table.join(members, on=KEY, how="anti", maintain_order="left")
    under = table.join(mine, on=KEY, how="inner", maintain_order="left")
    answers = under.select("_roof", "_part").join(
        roofs, left_on=["_roof", "_part"], right_on=list(KEY), how="left", maintain_order="left"
    )
    rain = set(policy.evidence.shared_roof.rain)
    taken = []
    for name in (c.removeprefix(SOURCE) for c in roofs.columns if c.startswith(SOURCE)):
        for column in (name, QUALITY + name, SOURCE + name):
            below = pl.col(column) if name not in rain else answers[column]
            chosen = pl.when("is_below").then(below).otherwise(answers[column])
            taken.append(chosen.alias(column))
    return pl.concat([others, under.with_columns(taken).select(others.columns)])


def told_of_dwellings(
    own: pl.DataFrame, roofs: pl.DataFrame, members: pl.DataFrame, policy: Policy
) -> pl.DataFrame:
    """What was found of dwellings and of roofs, all as found of dwellings.

    Parameters
    ----------
    own, roofs
        Key, `field` and more; `own` counts where the dwelling's own answer is the one taken.
    """
    shared = policy.evidence.shared_roof
    rain, roof = list(shared.rain), list(shared.roof)
    theirs = pl.col("field").is_in(rain) | (pl.col("field").is_in(roof) & ~pl.col("is_below"))
    kept = (
        own.join(members.select(*KEY, "is_below"), on=KEY, how="left", maintain_order="left")
        .filter(~(pl.col("is_below").is_not_null() & theirs).fill_null(value=False))
        .select(own.columns)
    )
    called = roofs.rename({"property_id": "roof_of", "building_part": "roof_part"})
    spread = (
        called.join(members, on=["roof_of", "roof_part"], how="inner", maintain_order="left")
        .filter(theirs)
        .select(own.columns)
    )
    return pl.concat([kept, spread])
