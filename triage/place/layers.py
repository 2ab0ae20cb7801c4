"""Maps of classes: which class of a polygon layer a place lies in."""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache
from pathlib import Path

import numpy as np
import polars as pl
import shapely
from numpy.typing import NDArray

from triage.errors import Place, PlaceError
from triage.place.sphere import Floats
from triage.reference import reference_table

Shapes = NDArray[np.object_]
NOWHERE = -1
_ZONE_TEXT = r"^(?i:zone\s*)?([0-8])\s*([A-Ca-c])?$"


@dataclass(frozen=True, slots=True)
class Layer:
    """Classes in order of precedence, with one prepared shape each. [degrees, WGS84]."""

    labels: tuple[str, ...]
    shapes: Shapes
    edition: str


@dataclass(frozen=True, slots=True)
class Joined:
    """Where places lie. `first` indexes the layer's labels, `NOWHERE` if in none.

    `second` is another class that also claims the place; `by_fallback` says that the place is in
    no class and took the nearest within the limit.
    """

    first: NDArray[np.intp]
    second: NDArray[np.intp]
    by_fallback: NDArray[np.bool_]


def join_layer(layer: Layer, lat: Floats, lon: Floats, fallback_deg: float) -> Joined:
    """Class of each place; on a shared edge or an overlap the first of the layer's order wins.

    Parameters
    ----------
    layer
        The classes. Few shapes and many places: the shapes are prepared, places stay numbers.
    lat, lon
        Places. [degrees] No NaN.
    fallback_deg
        A place in no class takes the nearest one within this planar distance; 0 for never.
    """
    count = len(layer.labels)
    first = np.full(lat.shape, count, dtype=np.intp)
    second = first.copy()
    for index, shape in enumerate(layer.shapes):
        inside = np.flatnonzero(_inside(shape, lat, lon))
        second[inside] = np.where(first[inside] < count, np.minimum(second[inside], index), count)
        first[inside] = np.minimum(first[inside], index)
    lost = np.flatnonzero(first == count)
    by_fallback = np.zeros(lat.shape, dtype=bool)
    if fallback_deg > 0 and len(lost):
        near, next_near = _nearest_two(layer.shapes, lat[lost], lon[lost], fallback_deg)
        first[lost], second[lost] = near, next_near
        by_fallback[lost] = near < count
    return Joined(
        np.where(first == count, NOWHERE, first),
        np.where(second == count, NOWHERE, second),
        by_fallback,
    )


@cache
def shipped_zones() -> Layer:
    """The 15 climate classes that ship, lowest zone first."""
    table = reference_table("us_zones")  # read without GeoPandas: its import takes a second
    shapes = shapely.from_wkb(table["geometry"].to_numpy())
    shapely.prepare(shapes)
    return Layer(tuple(table["label"]), shapes, table["edition"][0])


def own_zones(path: Path, column: str) -> Layer:
    """A programme's own zones, from any file that GeoPandas reads, in any coordinate system.

    Raises
    ------
    PlaceError
        If the file cannot be read, the column is missing, a zone is not 0 to 8 with A, B, C or
        no letter, the coordinate system is not given, or a shape is broken.
    """
    labels, shapes = _read(path, column)
    zones = pl.Series(labels).str.strip_chars().str.extract_groups(_ZONE_TEXT)
    parts = zones.struct.rename_fields(["number", "letter"]).struct.unnest()
    clean = parts.select(pl.col("number") + pl.col("letter").str.to_uppercase().fill_null(""))
    values = clean.to_series()
    _refuse_values(path, column, labels, values, "a zone is 0 to 8, with A, B, C or no letter")
    return _dissolved(values, shapes, sorted(set(values)), f"programme's own zones: {path.name}")


def own_exposure(path: Path, column: str, spellings: dict[str, str], order: Sequence[str]) -> Layer:
    """A programme's own exposure map; where two classes overlap, the first of `order` counts.

    Parameters
    ----------
    path, column
        The file, and its column of classes.
    spellings
        Lower-case texts that may be met, and the class each means.
    order
        The classes, worst first.

    Raises
    ------
    PlaceError
        As in `own_zones`; a text that is in no spelling is named.
    """
    labels, shapes = _read(path, column)
    texts = pl.Series(labels).str.strip_chars().str.to_lowercase()
    values = texts.replace_strict(spellings, default=None, return_dtype=pl.String)
    _refuse_values(path, column, labels, values, f"write one of {', '.join(sorted(spellings))}")
    present = set(values)
    classes = [name for name in order if name in present]
    return _dissolved(values, shapes, classes, f"programme's own map: {path.name}")


def own_areas(path: Path, column: str) -> Layer:
    """The areas that a programme reports by, in the order of their names.

    Raises
    ------
    PlaceError
        As in `own_zones`, but any name will do that is not blank.
    """
    labels, shapes = _read(path, column)
    texts = pl.Series(labels, dtype=pl.String).str.strip_chars()
    values = texts.set(texts == "", None)
    _refuse_values(path, column, labels, values, "every area needs a name")
    return _dissolved(values, shapes, sorted(set(values)), f"programme's own areas: {path.name}")


def _inside(shape: shapely.Geometry, lat: Floats, lon: Floats) -> NDArray[np.bool_]:
    west, south, east, north = shape.bounds
    inside = (lon >= west) & (lon <= east) & (lat >= south) & (lat <= north)
    # Not `contains`: a place on the edge between two classes would be in neither.
    inside[inside] = shapely.intersects_xy(shape, lon[inside], lat[inside])
    return np.asarray(inside, dtype=bool)


def _nearest_two(
    shapes: Shapes, lat: Floats, lon: Floats, limit: float
) -> tuple[NDArray[np.intp], NDArray[np.intp]]:
    points = shapely.points(lon, lat)
    distance = np.full((len(shapes) + 2, len(points)), np.inf)
    for index, shape in enumerate(shapes):
        near = shapely.dwithin(shape, points, limit)
        distance[index, near] = shapely.distance(shape, points[near])
    order = np.argsort(distance, axis=0, kind="stable")[:2]
    reached = np.isfinite(np.take_along_axis(distance, order, axis=0))
    first, second = np.where(reached, order, len(shapes))
    return first, second


def _read(path: Path, column: str) -> tuple[list[str], Shapes]:
    import geopandas as gpd  # noqa: PLC0415  late: only programmes with own maps pay for it

    if not path.is_file():
        raise PlaceError("the map file is missing", str(path), "mend the path in the programme")
    try:
        is_parquet = path.suffix.lower() in {".parquet", ".geoparquet"}
        frame = gpd.read_parquet(path) if is_parquet else gpd.read_file(path)
    except (OSError, ValueError, RuntimeError) as error:
        fix = "export it again as GeoPackage or GeoParquet"
        raise PlaceError(f"the map file cannot be read ({error})", str(path), fix) from error
    if column not in frame.columns or column == frame.geometry.name:
        names = ", ".join(str(name) for name in frame.columns if name != frame.geometry.name)
        fix = f"name one of its columns: {names}"
        raise PlaceError(f"the map has no column {column!r}", str(path), fix)
    if frame.crs is None:
        fix = "set the coordinate system in the file and export it again"
        raise PlaceError("the map does not say its coordinate system", str(path), fix)
    if frame.empty:
        raise PlaceError("the map holds no shapes", str(path), "export it again")
    shapes = np.asarray(frame.geometry.to_crs("OGC:CRS84").array, dtype=object)
    _refuse_shapes(path, shapes)
    # A column of numbers with holes arrives as decimals: 5.0 is zone 5.
    texts = frame[column].astype("string").fillna("").str.removesuffix(".0")
    return [str(text) for text in texts], shapes


def _refuse_shapes(path: Path, shapes: Shapes) -> None:
    is_area = np.isin(shapely.get_type_id(shapes), [3, 6])  # polygon, multipolygon
    broken = np.flatnonzero(~is_area | ~shapely.is_valid(shapes) | shapely.is_empty(shapes))
    if len(broken):
        first = int(broken[0])
        reason = shapely.is_valid_reason(shapes[first]) if is_area[first] else "not an area"
        what = f"{len(broken)} shapes of the map cannot be used; shape {first + 1}: {reason}"
        where = Place(str(path), row=first + 1)
        raise PlaceError(what, where, "repair the shapes (make valid) and export again")


def _refuse_values(
    path: Path, column: str, labels: list[str], values: pl.Series, rule: str
) -> None:
    wrong = sorted({labels[row] for row in values.is_null().arg_true()})
    if wrong:
        what = f"the map has classes that are not known: {', '.join(map(repr, wrong[:5]))}"
        raise PlaceError(what, Place(str(path), column=column), rule)


def _dissolved(values: pl.Series, shapes: Shapes, classes: Sequence[str], edition: str) -> Layer:
    """One shape a class: thousands of counties cost no more than a few zones."""
    named = values.to_numpy()
    merged = np.array([shapely.union_all(shapes[named == name]) for name in classes], dtype=object)
    shapely.prepare(merged)
    return Layer(tuple(classes), merged, edition)
