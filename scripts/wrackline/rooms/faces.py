"""Faces of a network: its enclosed spaces, and which edges bound them on which side."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import shapely
from scipy import sparse

from wrackline.walls.closings import NODE_M
from wrackline.walls.network import Network

Array = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]

WIDTH_TOLERANCE_M = 0.01


@dataclass(frozen=True)
class Faces:
    """Enclosed spaces of a network.

    Attributes
    ----------
    polygons : array of Polygon, shape (f,)
        Oriented: outer rings anticlockwise, holes clockwise; the space lies to the left.
    sides : sparse matrix, shape (f, k)
        +1 where a face lies to the left of an edge taken from start to stop, -1 to its right.
    """

    polygons: npt.NDArray[np.object_]
    sides: sparse.csr_matrix

    def neighbours(self) -> sparse.csr_matrix:
        """Return how many edges each pair of faces shares, shape (f, f), diagonal empty."""
        touches = abs(self.sides)
        shared = (touches @ touches.T).tolil()
        shared.setdiag(0)
        return sparse.csr_matrix(shared)


def faces_of(network: Network) -> Faces:
    """Return the faces of a network, sorted by place.

    Parameters
    ----------
    network : Network

    Returns
    -------
    Faces
        The unbounded space outside is no face. An edge with the same face on both sides (it ends
        in the open) bounds nothing and stands in no row.
    """
    lines = shapely.linestrings(network.edges)
    polygons = shapely.get_parts(shapely.polygonize(lines))
    polygons = np.array([shapely.geometry.polygon.orient(p) for p in polygons], dtype=object)
    if len(polygons):
        corner = shapely.bounds(polygons)
        polygons = polygons[np.lexsort((corner[:, 3], corner[:, 2], corner[:, 1], corner[:, 0]))]
    return Faces(polygons, _sides(polygons, network.edges))


def _sides(polygons: npt.NDArray[np.object_], edges: Array) -> sparse.csr_matrix:
    """Return the signed incidence of faces and edges, matched on the node grid."""
    shape = (len(polygons), len(edges))
    if not len(polygons):
        return sparse.csr_matrix(shape)
    rings, owner = shapely.get_rings(polygons, return_index=True)
    xy, ring = shapely.get_coordinates(rings, return_index=True)
    first = np.flatnonzero(np.diff(ring) == 0)
    bounds = np.stack([xy[first], xy[first + 1]], axis=1)
    forward = {key: edge for edge, key in enumerate(_keys(edges))}
    backward = {key: edge for edge, key in enumerate(_keys(edges[:, ::-1]))}
    rows, columns, values = [], [], []
    for face, key in zip(owner[ring[first]], _keys(bounds), strict=True):
        rows.append(face)
        columns.append(forward[key] if key in forward else backward[key])
        values.append(1 if key in forward else -1)
    return sparse.csr_matrix((values, (rows, columns)), shape=shape)


def _keys(edges: Array) -> list[tuple[int, ...]]:
    whole = np.rint(edges.reshape(-1, 4) / NODE_M).astype(np.int64)
    return [tuple(row) for row in whole.tolist()]


def widths(polygons: npt.NDArray[np.object_]) -> Array:
    """Return the diameter of the largest circle inside each polygon [m].

    Examples
    --------
    >>> float(widths(np.array([shapely.box(0, 0, 5, 2)]))[0].round(2))
    2.0
    """
    circles = [shapely.maximum_inscribed_circle(p, WIDTH_TOLERANCE_M) for p in polygons]
    return 2 * np.asarray(shapely.length(np.array(circles, dtype=object)), dtype=float)


def elongations(polygons: npt.NDArray[np.object_]) -> Array:
    """Return length over width of each polygon's smallest enclosing rectangle, 1 or more."""
    corners = shapely.get_coordinates(shapely.oriented_envelope(polygons)).reshape(-1, 5, 2)
    sides = np.hypot(*np.moveaxis(np.diff(corners[:, :3], axis=1), 2, 0))
    return np.asarray(sides.max(axis=1) / sides.min(axis=1))
