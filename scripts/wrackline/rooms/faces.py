"""Faces of a network: its enclosed spaces, and which edges bound them on which side."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import shapely
from scipy import sparse

from wrackline.walls.network import Network
from wrackline.walls.planar import polygons_of, sides_of

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
    polygons = polygons_of(network.edges)
    return Faces(polygons, sides_of(polygons, network.edges))


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
