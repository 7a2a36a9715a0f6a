"""Pieces of wall as a plane graph: edges from crossing to crossing, and the spaces they enclose.

Polygonising is GEOS's; what is added is which pieces an edge lies on, and which spaces lie beside
it.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
import shapely
from scipy import sparse

from wrackline.walls.linework import Array, Ints
from wrackline.walls.noding import noded

NODE_M = 0.001
"""Grid to which crossings are snapped; a tenth of the best survey's sd changes nothing."""


def node(ends: Array) -> Array:
    """Return the pieces cut at every crossing and touch.

    Parameters
    ----------
    ends : array, shape (m, 2, 2)
        Ends of straight pieces [m].

    Returns
    -------
    array, shape (k, 2, 2)
        Ends of edges on a grid of `NODE_M`, sorted, so that the order of input leaves no trace.

    Examples
    --------
    A cross has four edges:

    >>> len(node(np.array([[[0.0, 1], [2, 1]], [[1.0, 0], [1, 2]]])))
    4
    """
    return noded(ends, NODE_M)[0]


def polygons_of(edges: Array) -> npt.NDArray[np.object_]:
    """Return the spaces that noded edges enclose, oriented, sorted by place.

    Outer rings run anticlockwise, holes clockwise: the space lies to the left. The unbounded space
    outside is none of them.
    """
    polygons = shapely.get_parts(shapely.polygonize(shapely.linestrings(edges)))
    polygons = np.asarray(shapely.orient_polygons(polygons), dtype=object)
    corner = shapely.bounds(polygons)
    return polygons[np.lexsort((corner[:, 3], corner[:, 2], corner[:, 1], corner[:, 0]))]


def sides_of(polygons: npt.NDArray[np.object_], edges: Array) -> sparse.csr_matrix:
    """Return on which side of each edge polygons lie.

    Parameters
    ----------
    polygons : array of Polygon, shape (f,)
        As `polygons_of` gives them.
    edges : array, shape (k, 2, 2)
        Ends of noded edges [m].

    Returns
    -------
    sparse matrix, shape (f, k)
        +1 where a polygon lies to the left of an edge taken from start to stop, -1 to its right.
    """
    shape = (len(polygons), len(edges))
    if not len(polygons):
        return sparse.csr_matrix(shape)
    rings, owner = shapely.get_rings(polygons, return_index=True)
    xy, ring = shapely.get_coordinates(rings, return_index=True)
    first = np.flatnonzero(np.diff(ring) == 0)
    bounds = np.stack([xy[first], xy[first + 1]], axis=1)
    node = numbered(np.concatenate([edges, bounds]))
    count = int(node.max()) + 1
    forward = node[: len(edges), 0] * count + node[: len(edges), 1]
    order = np.argsort(forward)
    ahead, back = (node[len(edges) :, k] * count + node[len(edges) :, 1 - k] for k in (0, 1))
    at = np.searchsorted(forward[order], ahead).clip(max=len(edges) - 1)
    along = forward[order[at]] == ahead
    at = np.where(along, at, np.searchsorted(forward[order], back).clip(max=len(edges) - 1))
    values = np.where(along, 1, -1)
    return sparse.csr_matrix((values, (owner[ring[first]], order[at])), shape=shape)


def cells_beside(cells: npt.NDArray[np.object_], edges: Array) -> Ints:
    """Return the cells to the left and right of edges, shape (k, 2); their number outside.

    Parameters
    ----------
    cells : array of Polygon, shape (c,)
        As `polygons_of` gives them.
    edges : array, shape (k, 2, 2)
        Ends of noded edges [m].
    """
    sides = sides_of(cells, edges).tocoo()
    beside = np.full((len(edges), 2), len(cells), dtype=np.int64)
    beside[sides.col, np.where(sides.data > 0, 0, 1)] = sides.row
    return beside


def widths(polygons: npt.NDArray[np.object_], tolerance_m: float) -> Array:
    """Return the diameter of the largest circle inside each polygon, to within a tolerance [m].

    Examples
    --------
    >>> float(widths(np.array([shapely.box(0, 0, 5, 2)]), 0.01)[0].round(2))
    2.0
    """
    circles = [shapely.maximum_inscribed_circle(p, tolerance_m) for p in polygons]
    return 2 * np.asarray(shapely.length(np.array(circles, dtype=object)), dtype=float)


def numbered(ends: Array) -> Ints:
    """Return a number for each end's place on the node grid, shape (k, 2)."""
    x, y = np.rint(ends.reshape(-1, 2) / NODE_M).astype(np.int64).T
    low, high = (int(f(x, initial=0)) for f in (np.min, np.max))
    place = y * (high - low + 1) + (x - low)
    order = np.argsort(place)
    new = np.diff(place[order], prepend=place[order[:1]]) != 0
    number = np.empty(len(place), dtype=np.int64)
    number[order] = np.cumsum(new)
    return number.reshape(-1, 2)


def dangling(edges: Array, inferred: npt.NDArray[np.bool_]) -> npt.NDArray[np.bool_]:
    """Tell which inferred edges lead nowhere: they end in the open, or at others that do.

    Parameters
    ----------
    edges : array, shape (k, 2, 2)
        Ends of noded edges [m].
    inferred : array of bool, shape (k,)
    """
    ends = numbered(edges)
    gone = np.zeros(len(edges), dtype=bool)
    while True:
        degree = np.bincount(ends[~gone].ravel(), minlength=int(ends.max(initial=-1)) + 1)
        loose = ~gone & inferred & (degree[ends] == 1).any(axis=1)
        if not loose.any():
            return gone
        gone |= loose
