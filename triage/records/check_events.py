"""Checks of events: a home, or an area that can be found on the ground."""

import polars as pl

from triage.records.findings import find, together
from triage.records.known import Known

_CENTRE = ("latitude", "longitude", "radius_km")


def event_homes(rows: pl.DataFrame) -> pl.DataFrame:
    """Each home that an event names, one row each: at, property_id."""
    homes = rows.select("at", pl.col("property_id").str.split(";")).explode("property_id")
    named = homes.with_columns(pl.col("property_id").str.strip_chars())
    return named.filter(pl.col("property_id") != "")


def event_findings(rows: pl.DataFrame, known: Known) -> pl.DataFrame:
    """Checks of events. Where one of several homes is unknown, the event holds for the others."""
    homes = event_homes(rows)
    strange = homes.join(known.homes, on="property_id", how="anti", maintain_order="left")
    counts = homes.group_by("at").len("named")
    lost = strange.group_by("at", maintain_order=True).agg(
        pl.col("property_id").str.join(", ").alias("strange"), pl.len().alias("lost")
    )
    told = rows.join(lost, on="at", maintain_order="left").join(
        counts, on="at", maintain_order="left"
    )
    message = pl.format("no survey of the programme has the home {}", "strange")
    fix = "write the reference as the surveys have it, or add the survey of that home first"
    has_area = pl.col("postal_code").is_not_null() | _has_centre()
    none_left = (pl.col("lost") == pl.col("named")) & ~has_area
    nowhere = pl.col("property_id").is_null() & ~has_area
    given = pl.sum_horizontal(pl.col(name).is_not_null().cast(pl.UInt8) for name in _CENTRE)
    return together(
        [
            find(told, none_left, "property_id", "unknown_home", message, fix),
            find(told, ~none_left, "property_id", "unknown_home", message, fix, refused=False),
            _part_findings(rows, known),
            find(
                rows,
                nowhere,
                "property_id",
                "nowhere",
                "the event names no home, no postcodes and no centre with a radius",
                "name the homes, or the area: postal_code, or latitude, longitude and radius_km",
            ),
            find(
                rows,
                given.is_between(1, 2) & ~nowhere,
                "radius_km",
                "half_a_circle",
                "an area needs latitude, longitude and radius_km; one or two are given",
                "fill in all three, or empty them",
                refused=False,
            ),
        ]
    )


def _has_centre() -> pl.Expr:
    return pl.all_horizontal(pl.col(name).is_not_null() for name in _CENTRE)


def _part_findings(rows: pl.DataFrame, known: Known) -> pl.DataFrame:
    """A part that none of the named homes has; then the event would reach nothing."""
    homes = event_homes(rows)
    with_part = rows.filter(
        pl.col("building_part").is_not_null() & pl.col("property_id").is_not_null()
    )
    reached = (
        homes.join(with_part.select("at", "building_part"), on="at")
        .join(known.homes, on=["property_id", "building_part"], how="semi")
        .select("at")
        .unique()
    )
    surveyed = homes.join(known.homes, on="property_id", how="semi").select("at").unique()
    unreached = with_part.join(reached, on="at", how="anti", maintain_order="left").join(
        surveyed, on="at", how="semi", maintain_order="left"
    )
    message = pl.format("the home has no part {} in the surveys", "building_part")
    fix = "write the part as the surveys have it, or leave the cell empty for all parts"
    return find(unreached, pl.lit(value=True), "building_part", "unknown_part", message, fix)
