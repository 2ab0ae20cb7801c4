"""What lies below the homes on the page's map: outlines and labels near them."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

import polars as pl

from triage.reference import reference_table

_ROOM = 2.0  # degrees around the homes
_FINE = 0.02  # degrees that an outline of the US may stray; it carries no result
_LEAST = 0.02  # square degrees; smaller areas have no name, and in the US no outline
_SCALE = 1_000
_NEAR = 7  # zoom at which a British region is wider than its name
_Bounds = tuple[float, float, float, float]


@dataclass(frozen=True, slots=True)
class Ground:
    """Outlines and labels.

    rings: closed outlines as [lon, lat, lon, lat, ...], in thousandths of a degree
    labels: [lat, lon, text, zoom], in thousandths of a degree; left out when the map is further
        out than that zoom; where two clash the first one stays
    miles: whether the scale shows miles too
    words: a sentence that says what is drawn
    """

    rings: list[list[int]] = field(default_factory=list)
    labels: list[list[int | str]] = field(default_factory=list)
    miles: bool = False
    words: str = "Grey lines: degrees."

    def to_dict(self) -> dict[str, Any]:
        """The ground for the page's script."""
        return {"rings": self.rings, "labels": self.labels, "miles": self.miles}


def ground_near(country_code: str, homes: pl.DataFrame) -> Ground:
    """Ground for homes with columns lat and lon [degrees]."""
    placed = homes.drop_nulls(["lat", "lon"])
    if placed.is_empty():
        return Ground()
    lat, lon = placed["lat"], placed["lon"]
    south, north = float(lat.min()) - _ROOM, float(lat.max()) + _ROOM  # type: ignore[arg-type]
    west, east = float(lon.min()) - _ROOM, float(lon.max()) + _ROOM  # type: ignore[arg-type]
    if country_code == "US":
        return _zones((west, south, east, north))
    if country_code == "GB":
        return _regions((west, south, east, north))
    return Ground()


def _regions(bounds: _Bounds) -> Ground:
    from triage.report.map_ground import UK_OUTLINES, uk_outlines  # noqa: PLC0415  heavy

    outlines = uk_outlines()
    areas = reference_table("uk_postcodes").filter(pl.col("match_level") == "area")
    codes = [
        [round(lat * _SCALE), round(lon * _SCALE), code, _NEAR]
        for lat, lon, code in areas.select("lat", "lon", "postcode_prefix").sort(pl.all()).rows()
    ]
    shapes = outlines.geometry.array
    mains = [max(_polygons(shape), key=lambda part: part.area) for shape in shapes]
    return Ground(
        rings=[ring for shape in shapes for ring in _rings(shape)],
        labels=_names(outlines["name"], mains, bounds, _NEAR) + codes,
        miles=True,
        words=f"Grey lines: degrees. {UK_OUTLINES} Grey letters: middle of a postcode area.",
    )


def _zones(bounds: _Bounds) -> Ground:
    import shapely  # noqa: PLC0415  only maps with outlines need it

    from triage.report.map_ground import us_zones  # noqa: PLC0415  heavy

    zones = us_zones().to_crs(4326)
    valid = shapely.make_valid(zones.geometry.array)
    return Ground(
        rings=[
            ring for shape in shapely.simplify(valid, _FINE) for ring in _rings(shape, least=_LEAST)
        ],
        labels=_names(zones["label"], valid, bounds),
        miles=True,
        words="Grey lines: degrees. Tinted areas: climate zones, simplified outlines.",
    )


def _rings(shape: Any, least: float = 0.0) -> list[list[int]]:  # noqa: ANN401 - shapely's types
    """Closed outlines of the polygons of a shape that are large enough to see."""
    import shapely  # noqa: PLC0415

    parts = [part for part in _polygons(shape) if part.area >= least]
    lines = [line for part in parts for line in (part.exterior, *part.interiors)]
    thousandths = [shapely.get_coordinates(line) * _SCALE for line in lines]
    return [points.round().astype(int).ravel().tolist() for points in thousandths]


def _names(
    names: Any,  # noqa: ANN401
    shapes: Any,  # noqa: ANN401
    bounds: _Bounds,
    zoom: int = 0,
) -> list[list[int | str]]:
    """Names of areas: where the homes are, in each quarter of that, and in the middle of all."""
    import shapely  # noqa: PLC0415

    west, south, east, north = bounds
    lon, lat = (west + east) / 2, (south + north) / 2
    corners = [(x, y) for x in (west, lon) for y in (south, lat)]
    quarters = [(x, y, x + lon - west, y + lat - south) for x, y in corners]
    pieces = [*(shapely.clip_by_rect(shapes, *box) for box in (bounds, *quarters)), shapes]
    labels = [
        (round(spot.y * _SCALE), round(spot.x * _SCALE), str(name), zoom)
        for some in pieces
        for name, shape in zip(names, some, strict=True)
        for part in _polygons(shape)
        if part.area >= _LEAST
        for spot in [part.representative_point()]
    ]
    return [list(label) for label in dict.fromkeys(labels)]


def _polygons(shape: Any) -> list[Any]:  # noqa: ANN401
    import shapely  # noqa: PLC0415

    return [part for part in shapely.get_parts(shape) if part.geom_type == "Polygon"]
