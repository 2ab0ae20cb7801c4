"""British National Grid coordinates of the invented homes."""

import numpy as np
from pyproj import Transformer

from making.draw import Column

LETTERS = "ABCDEFGHJKLMNOPQRSTUVWXYZ"  # no I


def grid_metres(latitude: Column, longitude: Column) -> tuple[Column, Column]:
    """Eastings and northings in whole metres."""
    to_grid = Transformer.from_crs("EPSG:4326", "EPSG:27700", always_xy=True)
    east, north = to_grid.transform(longitude.astype(float), latitude.astype(float))
    return np.round(east).astype(int).astype(object), np.round(north).astype(int).astype(object)


def grid_reference(latitude: Column, longitude: Column) -> Column:
    """Two letters and eight figures: a square of 10 m."""
    east, north = grid_metres(latitude, longitude)
    return np.array(
        [_reference(int(e), int(n)) for e, n in zip(east, north, strict=True)], dtype=object
    )


def _reference(east: int, north: int) -> str:
    # the grid's false origin lies in the 500 km square S; letters run west to east, north to south
    column, row = east // 100_000 + 10, north // 100_000 + 5
    first = LETTERS[(4 - row // 5) * 5 + column // 5]
    second = LETTERS[(4 - row % 5) * 5 + column % 5]
    return f"{first}{second} {east % 100_000 // 10:04d} {north % 100_000 // 10:04d}"
