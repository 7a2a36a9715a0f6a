"""Which points of a plan get a spot height, and which of them first: places in, ranks out.

A plan has room for few heights, a smaller scale for fewer. So points are chosen in rounds, each at
half the distance of the one before: what a coarse sheet carries is spread over the whole of it,
and a finer one adds to that and takes nothing away.
"""

from __future__ import annotations

from itertools import product

import numpy as np
import numpy.typing as npt
import shapely

Array = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]

APART_M = (20.0, 10.0, 5.0, 2.5)
"""Points of one kind lie this far apart at least, by their rank: 1, up to 2, up to 3, up to 4 (a
height's figures are about 8 mm wide on paper: 4 m at 1:500; no source)."""
CORNER_DEG = 20.0
"""A line that turns by more at a vertex has a corner there (no source)."""
LATTICE_M = 10.0
"""On open ground the seabed's heights stand this far apart."""


def ranks(xy: Array, apart_m: tuple[float, ...] = APART_M) -> Ints:
    """Return the rank of places, the first chosen first.

    Parameters
    ----------
    xy : array, shape (n, 2)
        Places in the order in which they are preferred [m].
    apart_m : tuple of float
        Least distance between the places of ranks up to 1, 2, … [m], each less than the one before.

    Returns
    -------
    array of int, shape (n,)
        1 for what is chosen in the first round, and so on; 0 for what is chosen in none.

    Examples
    --------
    >>> ranks(np.array([[0.0, 0], [4, 0], [9, 0], [30, 0]]), (20.0, 5.0))
    array([1, 0, 2, 1])
    """
    rank = np.zeros(len(xy), dtype=np.int64)
    for number, apart in enumerate(apart_m, start=1):
        rank[_chosen(xy, rank > 0, apart) & (rank == 0)] = number
    return rank


def _chosen(xy: Array, there: npt.NDArray[np.bool_], apart: float) -> npt.NDArray[np.bool_]:
    """Return what stands once every place in turn has been taken that lies clear of all taken."""
    taken: dict[tuple[int, int], list[tuple[float, float]]] = {}
    chosen = there.copy()
    cells = np.floor(xy / apart).astype(np.int64).tolist()
    places = xy.tolist()
    for k in np.flatnonzero(there).tolist():
        taken.setdefault(tuple(cells[k]), []).append(tuple(places[k]))
    for k in np.flatnonzero(~there).tolist():
        (column, row), (x, y) = cells[k], places[k]
        around = (taken.get((column + i, row + j), ()) for i, j in product((-1, 0, 1), repeat=2))
        if all((x - u) ** 2 + (y - v) ** 2 >= apart**2 for near in around for u, v in near):
            chosen[k] = True
            taken.setdefault((column, row), []).append((x, y))
    return chosen


def preferred_vertices(xyz: Array, line: Ints) -> Ints:
    """Return the vertices of wall lines that have a height, the most telling first.

    First the highest and the lowest of each line, then ends and corners, then all others; each of
    them from west to east.

    Parameters
    ----------
    xyz : array, shape (n, 3)
        Vertices, those of a line one after the other; NaN where no height was taken [m].
    line : array of int, shape (n,)
        The line of each.

    Returns
    -------
    array of int
        Places in `xyz`.
    """
    known = np.flatnonzero(np.isfinite(xyz[:, 2]))
    order = np.full(len(xyz), 2)
    order[_turning(xyz[:, :2], line)] = 1
    for way in (1.0, -1.0):
        height = way * xyz[known, 2]
        by_line = known[np.lexsort([xyz[known, 1], xyz[known, 0], height, line[known]])]
        order[by_line[np.diff(line[by_line], prepend=-1) != 0]] = 0
    sorted_ = np.lexsort([xyz[known, 1], xyz[known, 0], order[known]])
    return np.asarray(known[sorted_], dtype=np.int64)


def _turning(xy: Array, line: Ints) -> npt.NDArray[np.bool_]:
    """Tell which vertices are ends of their line, or corners."""
    starts = np.diff(line, prepend=-1) != 0
    ends = np.diff(line, append=-1) != 0
    step = np.diff(xy, axis=0)
    way = np.arctan2(step[:, 1], step[:, 0])
    turn = np.zeros(len(xy))
    turn[1:-1] = np.abs(np.angle(np.exp(1j * np.diff(way))))
    return np.asarray(starts | ends | (turn > np.radians(CORNER_DEG)))


def lattice(
    origin: tuple[float, float], bounds: tuple[float, float, float, float], step_m: float
) -> Array:
    """Return the places of an even grid that counts from the origin, coarse ones first.

    Parameters
    ----------
    origin : tuple of float
        Easting and northing [m].
    bounds : tuple of float
        West, south, east and north edge of what it is to cover [m].
    step_m : float
        From place to place [m].

    Returns
    -------
    array, shape (n, 2)
        Easting and northing; every second one each way comes first, then the others.

    Examples
    --------
    >>> lattice((0.0, 0.0), (0.0, 0.0, 20.0, 10.0), 10.0).tolist()
    [[0.0, 0.0], [20.0, 0.0], [0.0, 10.0], [10.0, 0.0], [10.0, 10.0], [20.0, 10.0]]
    """
    west, south, east, north = ((bounds[k] - origin[k % 2]) / step_m for k in range(4))
    columns = np.arange(int(np.ceil(west)), int(np.floor(east)) + 1)
    rows = np.arange(int(np.ceil(south)), int(np.floor(north)) + 1)
    column, row = (axis.ravel() for axis in np.meshgrid(columns, rows))
    odd = (column % 2 != 0) | (row % 2 != 0)
    order = np.lexsort([row, column, odd])
    return np.asarray(
        np.column_stack([column, row])[order] * step_m + np.asarray(origin), dtype=float
    )


def poles(polygons: npt.NDArray[np.object_]) -> Array:
    """Return the place in each polygon that lies furthest from its outline, shape (n, 2) [m]."""
    if not len(polygons):
        return np.zeros((0, 2))
    radii = shapely.maximum_inscribed_circle(shapely.force_2d(polygons))
    return np.asarray(shapely.get_coordinates(shapely.get_point(radii, 0)))
