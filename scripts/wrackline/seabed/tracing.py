"""Lines of equal height traced across a surface strip by strip, and joined without a seam.

Marching squares: each square of four known cell centres gives directed pieces, with higher ground
on their left, between places on its edges. A place is known by the number of its edge and is
worked out from the edge's two heights alone, so pieces of different strips meet to the last bit.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from numba import njit

from wrackline.rasters import Grid

Array = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]

NORTH, EAST, SOUTH, WEST = 0, 1, 2, 3
WAYS = np.full((16, 2, 2), -1, dtype=np.int64)
"""From which edge to which edge pieces lead, by the corners above the height: 1 north-west, 2
north-east, 4 south-east, 8 south-west. Opposite corners (5, 10) are as if the middle were below."""
for _case, _ways in {
    1: [(WEST, NORTH)],
    2: [(NORTH, EAST)],
    3: [(WEST, EAST)],
    4: [(EAST, SOUTH)],
    5: [(WEST, NORTH), (EAST, SOUTH)],
    6: [(NORTH, SOUTH)],
    7: [(WEST, SOUTH)],
    8: [(SOUTH, WEST)],
    9: [(SOUTH, NORTH)],
    10: [(NORTH, EAST), (SOUTH, WEST)],
    11: [(SOUTH, EAST)],
    12: [(EAST, WEST)],
    13: [(EAST, NORTH)],
    14: [(NORTH, WEST)],
}.items():
    WAYS[_case, : len(_ways)] = _ways
ACROSS = np.array([[[EAST, NORTH], [WEST, SOUTH]], [[NORTH, WEST], [SOUTH, EAST]]], dtype=np.int64)
"""The same for 5 and for 10 where the middle lies above."""


@dataclass(frozen=True)
class Pieces:
    """Pieces of lines at one height.

    Attributes
    ----------
    edges : array of int, shape (n, 2)
        Numbers of the edges on which each begins and ends.
    shares : array, shape (n, 2)
        Where on them, as a share from the edge's north or west end.
    """

    edges: Ints
    shares: Array


@dataclass(frozen=True)
class Traced:
    """Lines at one height: places (n, 2) [m] for each, its first repeated where it is closed."""

    lines: list[Array]


def trace(
    read: Callable[[Grid], Array], grid: Grid, heights: Array, *, most_cells: int
) -> tuple[list[Traced], float]:
    """Return the lines at each of several heights.

    Parameters
    ----------
    read : function
        Returns the surface's heights in a part of its grid, shape `part.shape`, NaN where nothing
        is known [m].
    grid : Grid
    heights : array, shape (k,)
        Rising [m]. Ground that lies at such a height counts as below it.
    most_cells : int
        Of a strip.

    Returns
    -------
    lines : list of Traced, length k
        Directed, with higher ground on the left; open lines from north to south by where they
        begin, then closed ones by their northernmost edge.
    jump_m : float
        Greatest difference of height across a square that a line runs through.
    """
    found: list[list[Pieces]] = [[] for _ in heights]
    jump = 0.0
    for part in grid.strips(most_cells):
        lower = max(part.south - 1, grid.south)
        strip = Grid(part.origin, part.cell_m, part.west, lower, part.east, part.north)
        surface = np.ascontiguousarray(read(strip))
        first = (grid.north - part.north) * grid.shape[1]
        count, most = _count(surface, heights)
        jump = max(jump, most)
        level, edges, shares = _march(surface, heights, WAYS, ACROSS, first, count)
        order = np.argsort(level, kind="stable")
        starts = np.searchsorted(level[order], np.arange(len(heights) + 1))
        for k in range(len(heights)):
            mine = order[starts[k] : starts[k + 1]]
            if len(mine):
                found[k].append(Pieces(edges[mine], shares[mine]))
    return [Traced(_joined(pieces, grid)) for pieces in found], jump


def _joined(pieces: Sequence[Pieces], grid: Grid) -> list[Array]:
    """Return the lines that pieces of all strips make up."""
    if not pieces:
        return []
    edges = np.concatenate([part.edges for part in pieces])
    shares = np.concatenate([part.shares for part in pieces])
    order = np.argsort(edges[:, 0])
    edges, shares = edges[order], shares[order]
    after = np.searchsorted(edges[:, 0], edges[:, 1])
    after = np.where(after < len(edges), after, 0)
    after = np.where(edges[after, 0] == edges[:, 1], after, -1)
    walk, begins = _follow(after)
    start, stop = (_places(edges[:, k], shares[:, k], grid) for k in (0, 1))
    lines = []
    for chain in np.split(walk, begins[1:]):
        line = np.concatenate([start[chain], stop[chain[-1:]]])
        fresh = np.any(np.diff(line, axis=0, prepend=np.nan) != 0, axis=1)
        lines.append(line[fresh])
    return lines


def _places(edge: Ints, share: Array, grid: Grid) -> Array:
    """Return easting and northing of places on edges, shape (n, 2)."""
    cell, down = edge // 2, edge % 2
    row, column = cell // grid.shape[1], cell % grid.shape[1]
    east = grid.west + 0.5 + column + np.where(down == 0, share, 0.0)
    north = grid.north - 0.5 - row - np.where(down == 1, share, 0.0)
    places = np.stack([east, north], axis=-1) * grid.cell_m
    return np.asarray(places + np.array(grid.origin))


@njit(cache=True)
def _follow(after: Ints) -> tuple[Ints, Ints]:
    """Return pieces in the order of their lines, and where each line begins in it."""
    followed = np.zeros(len(after), dtype=np.bool_)
    for k in range(len(after)):
        if after[k] >= 0:
            followed[after[k]] = True
    walk, begins = np.empty(len(after), dtype=np.int64), np.empty(len(after), dtype=np.int64)
    done = np.zeros(len(after), dtype=np.bool_)
    n = lines = 0
    for closed in (False, True):
        for first in range(len(after)):
            if done[first] or followed[first] != closed:
                continue
            begins[lines] = n
            lines += 1
            k = first
            while k >= 0 and not done[k]:
                walk[n], done[k] = k, True
                n, k = n + 1, after[k]
    return walk, begins[:lines]


@njit(cache=True)
def _span(surface: Array, row: int, column: int) -> tuple[float, float]:
    """Return the least and greatest height of a square's corners, NaN where one is unknown."""
    a, b = surface[row, column], surface[row, column + 1]
    c, d = surface[row + 1, column + 1], surface[row + 1, column]
    if np.isnan(a + b + c + d):
        return np.nan, np.nan
    return min(a, b, c, d), max(a, b, c, d)


@njit(cache=True)
def _count(surface: Array, heights: Array) -> tuple[int, float]:
    """Return a bound of the number of pieces, and the greatest span of a square with one."""
    count, most = 0, 0.0
    for row in range(surface.shape[0] - 1):
        for column in range(surface.shape[1] - 1):
            low, high = _span(surface, row, column)
            if low < high:
                inside = np.searchsorted(heights, high) - np.searchsorted(heights, low)
                count += 2 * int(inside)
                if inside:
                    most = max(most, high - low)
    return count, most


@njit(cache=True)
def _march(
    surface: Array, heights: Array, ways: Ints, across: Ints, first: int, count: int
) -> tuple[Ints, Ints, Array]:
    """Return each piece's height by its index, its edges and the shares along them."""
    level = np.empty(count, dtype=np.int64)
    edges, shares = np.empty((count, 2), dtype=np.int64), np.empty((count, 2))
    wide, n = surface.shape[1], 0
    for row in range(surface.shape[0] - 1):
        for column in range(wide - 1):
            low, high = _span(surface, row, column)
            if not low < high:
                continue
            here = first + row * wide + column
            corners = (
                surface[row, column],
                surface[row, column + 1],
                surface[row + 1, column + 1],
                surface[row + 1, column],
            )
            for k in range(np.searchsorted(heights, low), np.searchsorted(heights, high)):
                at = heights[k]
                case = 0
                for corner in range(4):
                    case += (corners[corner] > at) << corner
                pair = ways[case]
                if case in (5, 10) and sum(corners) / 4 > at:
                    pair = across[case // 10]
                for one in range(2):
                    if pair[one, 0] < 0:
                        break
                    level[n] = k
                    for end in range(2):
                        side = pair[one, end]
                        edges[n, end], shares[n, end] = _place(corners, side, at, here, wide)
                    n += 1
    return level[:n], edges[:n], shares[:n]


@njit(cache=True)
def _place(
    corners: tuple[float, float, float, float], side: int, at: float, here: int, wide: int
) -> tuple[int, float]:
    """Return the number of a square's edge, and where on it a height is reached."""
    if side == 0:
        edge, one, other = 2 * here, corners[0], corners[1]
    elif side == 1:
        edge, one, other = 2 * (here + 1) + 1, corners[1], corners[2]
    elif side == 2:
        edge, one, other = 2 * (here + wide), corners[3], corners[2]
    else:
        edge, one, other = 2 * here + 1, corners[0], corners[3]
    return edge, (at - one) / (other - one)
