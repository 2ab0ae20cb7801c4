"""Distances on the globe, and the nearest of a set of points."""

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

Floats = NDArray[np.float64]

EARTH_RADIUS_KM = 6371.0088  # mean radius of the WGS84 ellipsoid; a sphere is within 0.5 %
_TIE_CHORD = 1e-12  # of the radius: six micrometres, below what coordinates can mean


def great_circle_km(lat: Floats, lon: Floats, other_lat: Floats, other_lon: Floats) -> Floats:
    """Distance along the globe by the haversine formula, element by element.

    Parameters
    ----------
    lat, lon, other_lat, other_lon
        Degrees, broadcast against each other. NaN gives NaN.

    Returns
    -------
    Floats
        Great-circle distance. [km]
    """
    north, other_north = np.radians(lat), np.radians(other_lat)
    half_lat = (other_north - north) / 2
    half_lon = np.radians(np.asarray(other_lon) - np.asarray(lon)) / 2
    square = np.sin(half_lat) ** 2 + np.cos(north) * np.cos(other_north) * np.sin(half_lon) ** 2
    return np.asarray(2 * EARTH_RADIUS_KM * np.arcsin(np.sqrt(np.clip(square, 0, 1))))


class NearestPoint:
    """Finds the nearest of fixed points by great-circle distance.

    Points that are equally near (also: that share a place) are decided by their order: the first
    wins. Sort them by a key of their own, and the answer does not depend on the file's order.
    """

    def __init__(self, lat: Floats, lon: Floats) -> None:
        self._lat, self._lon = np.asarray(lat, np.float64), np.asarray(lon, np.float64)
        # Planar nearest in degrees picks another station for one point in six.
        vectors = _unit_vectors(self._lat, self._lon)
        # Points of one place would fill the short list of candidates; the first stands for all.
        _, first = np.unique(vectors, axis=0, return_index=True)
        self._kept = np.sort(first)
        self._tree = cKDTree(vectors[self._kept])

    def find(self, lat: Floats, lon: Floats) -> tuple[NDArray[np.intp], Floats]:
        """Index of the nearest point and its distance in km, for each place; no NaN allowed."""
        if len(lat) == 0:
            return np.zeros(0, np.intp), np.zeros(0)
        candidates = min(4, len(self._kept))
        chord, index = self._tree.query(_unit_vectors(lat, lon), k=range(1, candidates + 1))
        tied = chord <= chord[:, :1] + _TIE_CHORD
        best = np.where(tied, index, len(self._kept)).min(axis=1)
        chosen = self._kept[best]
        return chosen, great_circle_km(lat, lon, self._lat[chosen], self._lon[chosen])


def _unit_vectors(lat: Floats, lon: Floats) -> Floats:
    north, east = np.radians(lat), np.radians(lon)
    flat = np.cos(north)
    return np.column_stack([flat * np.cos(east), flat * np.sin(east), np.sin(north)])
