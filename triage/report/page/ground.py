"""What lies below the homes on the page's map: outlines and labels near them."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

import polars as pl

from triage.reference import reference_table

_ROOM = 2.0  # degrees around the homes
_FINE = 0.02  # degrees that an outline may stray; it carries no result
_LEAST = 0.02  # square degrees; smaller islands are left out
_SCALE = 1_000


@dataclass(frozen=True, slots=True)
class Ground:
    """Outlines and labels.

    rings: closed outlines as [lon, lat, lon, lat, ...], in thousandths of a degree
    labels: [lat, lon, text], in thousandths of a degree
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
        return _postcodes((west, south, east, north))
    return Ground()


def _postcodes(bounds: tuple[float, float, float, float]) -> Ground:
    west, south, east, north = bounds
    near = reference_table("uk_postcodes").filter(
        pl.col("match_level") == "area",
        pl.col("lat").is_between(south, north),
        pl.col("lon").is_between(west, east),
    )
    labels = [
        [round(lat * _SCALE), round(lon * _SCALE), code]
        for lat, lon, code in near.select("lat", "lon", "postcode_prefix").sort(pl.all()).rows()
    ]
    words = "Grey lines: degrees. Grey letters: middle of a postcode area."
    return Ground(labels=labels, miles=True, words=words)


def _zones(bounds: tuple[float, float, float, float]) -> Ground:
    import shapely  # noqa: PLC0415  only maps of the US need it

    from triage.report.map_ground import us_zones  # noqa: PLC0415

    zones = us_zones().to_crs(4326)
    rings: list[list[int]] = []
    labels: list[list[int | str]] = []
    for label, whole in zip(zones["label"], zones.geometry, strict=True):
        valid = shapely.make_valid(whole)
        for part in _parts(shapely.simplify(valid, _FINE)):
            for ring in (part.exterior, *part.interiors):
                points = shapely.get_coordinates(ring) * _SCALE
                rings.append(points.round().astype(int).ravel().tolist())
        # Named where the homes are, and once more in the middle of what lies elsewhere.
        for part in (*_parts(shapely.clip_by_rect(valid, *bounds)), *_parts(valid)):
            spot = part.representative_point()
            labels.append([round(spot.y * _SCALE), round(spot.x * _SCALE), str(label)])
    words = "Grey lines: degrees. Tinted areas: climate zones, simplified outlines."
    return Ground(rings, labels, miles=True, words=words)


def _parts(shape: Any) -> list[Any]:  # noqa: ANN401 - shapely says nothing of its types
    """The polygons of a shape that are large enough to see."""
    import shapely  # noqa: PLC0415

    return [p for p in shapely.get_parts(shape) if p.geom_type == "Polygon" and p.area >= _LEAST]
