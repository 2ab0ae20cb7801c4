"""The area that each home and each foamed roof counts in, and the class of the roof."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import polars as pl

from triage.contract.inspection import InspectionPolicy
from triage.contract.programme import AreaFile
from triage.learn.priority import with_priority
from triage.learn.roofs import foamed_roofs
from triage.place.layers import NOWHERE, join_layer, own_areas
from triage.report.page.content import COARSE
from triage.runs import file_digest
from triage.store import Store

if TYPE_CHECKING:
    from geopandas import GeoDataFrame

NOT_KNOWN = "not known"
SCHEMA = pl.Schema({"property_id": pl.String, "area": pl.String})


def area_of_homes(homes: pl.DataFrame, areas: AreaFile | None) -> pl.DataFrame:
    """Homes and their areas by the programme's map.

    Parameters
    ----------
    homes
        property_id, lat, lon [degrees, null: not placed], location_precision.
    areas
        The map; None: there is none, and the postal code says the area.

    Returns
    -------
    pl.DataFrame
        property_id and area, a row a home; no row without a map. A home outside every area is in
        "not known", and so is one that stands at the middle of a ZIP code or a council: it may
        be in the area next door.

    Raises
    ------
    PlaceError
        If the map cannot be read.
    """
    if areas is None:
        return pl.DataFrame(schema=SCHEMA)
    layer = own_areas(areas.shapes, areas.column)
    own_place = pl.col("lat").is_not_null() & ~pl.col("location_precision").is_in(COARSE)
    placed = homes.filter(own_place.fill_null(value=False))
    lat, lon = (placed[name].cast(pl.Float64).to_numpy() for name in ("lat", "lon"))
    first = join_layer(layer, lat, lon, 0).first
    names = np.array([*layer.labels, NOT_KNOWN], dtype=object)
    named = names[np.where(first == NOWHERE, len(layer.labels), first)].tolist()
    found = placed.select("property_id").with_columns(pl.Series("area", named, dtype=pl.String))
    return (
        homes.select("property_id")
        .join(found, on="property_id", how="left", maintain_order="left")
        .with_columns(pl.col("area").fill_null(NOT_KNOWN))
    )


def partition(areas: AreaFile | None) -> str:
    """What says the area of a home: two reports with the same have the same areas."""
    return "postal code" if areas is None else f"{file_digest(areas.shapes)} {areas.column}"


def area_outlines(areas: AreaFile) -> GeoDataFrame:
    """The programme's areas as a map draws them; column `label` holds their names."""
    import geopandas as gpd  # noqa: PLC0415  only programmes with own areas pay for it

    layer = own_areas(areas.shapes, areas.column)
    return gpd.GeoDataFrame({"label": list(layer.labels)}, geometry=list(layer.shapes), crs=4326)


def roof_classes(run: Store, policy: InspectionPolicy, homes: pl.DataFrame) -> pl.DataFrame:
    """Foamed roofs by area and starting class.

    Parameters
    ----------
    run
        The run's store.
    policy
        Says what the classes are.
    homes
        property_id and area of every home.

    Returns
    -------
    pl.DataFrame
        roof_id, area (of its first home) and foam_class ("1" to "6", as the policy numbers them).
    """
    roofs = foamed_roofs(run.table("queue"), run.table("current_evidence"), run.table("quantity"))
    return (
        with_priority(roofs, policy)
        .select(
            "roof_id", "property_id", pl.col("class_number").cast(pl.String).alias("foam_class")
        )
        .join(homes, on="property_id", how="left", maintain_order="left")
        .select("roof_id", pl.col("area").fill_null(NOT_KNOWN), "foam_class")
    )
